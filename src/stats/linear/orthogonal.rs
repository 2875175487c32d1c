//! Orthogonalisation of a design in its own order, which shows what cannot be
//! separated.

use super::extended::{Extended, compensated_dot};

/// A column whose part outside the columns before it is smaller than this,
/// relative to its own length, adds nothing. The hardest certified data set
/// (NIST Filip, degree 10) has a column at 4e-10; rounding leaves about 1e-15.
const RANK_TOLERANCE: f64 = 1e-11;

/// A share below this in an alias is rounding.
const ALIAS_TOLERANCE: f64 = 1e-6;

/// A column that is a combination of columns before it: their effects cannot
/// be told apart.
#[derive(Debug, Clone, PartialEq)]
pub struct Alias {
    /// Index of the column without a coefficient of its own.
    pub column: usize,
    /// `column` = Σ share × column, over these kept columns.
    pub equals: Vec<(usize, f64)>,
}

/// X = QR with the dependent columns of X left out.
#[derive(Debug, Clone)]
pub(crate) struct Orthogonal {
    /// Indices of the columns kept, rising.
    pub(crate) kept: Vec<usize>,
    /// Columns left out, each with what it equals.
    pub(crate) aliased: Vec<Alias>,
    /// Orthonormal columns.
    pub(crate) q: Vec<Vec<f64>>,
    /// Column j of the upper triangle: r[j][i] for i ≤ j, for columns scaled
    /// to length one.
    r: Vec<Vec<f64>>,
    /// Lengths of the kept columns.
    lengths: Vec<f64>,
}

impl Orthogonal {
    /// Modified Gram–Schmidt, each column orthogonalised twice ("twice is
    /// enough": Giraud, Langou & Rozložník 2005), columns scaled to length one.
    pub(crate) fn new<'a>(columns: impl IntoIterator<Item = &'a [f64]>) -> Orthogonal {
        let mut result = Orthogonal {
            kept: Vec::new(),
            aliased: Vec::new(),
            q: Vec::new(),
            r: Vec::new(),
            lengths: Vec::new(),
        };
        for (index, column) in columns.into_iter().enumerate() {
            result.push(index, column);
        }
        result
    }

    fn push(&mut self, index: usize, column: &[f64]) {
        let length = length(column);
        if length == 0.0 {
            self.aliased.push(Alias {
                column: index,
                equals: Vec::new(),
            });
            return;
        }
        let mut rest: Vec<f64> = column.iter().map(|value| value / length).collect();
        let mut along = vec![0.0; self.q.len()];
        for _ in 0..2 {
            for (share, q) in along.iter_mut().zip(&self.q) {
                let projection = dot(q, &rest);
                for (value, direction) in rest.iter_mut().zip(q) {
                    *value -= projection * direction;
                }
                *share += projection;
            }
        }
        let left = self::length(&rest);
        if left <= RANK_TOLERANCE {
            let shares = self.solve_upper(&along);
            let equals = self
                .kept
                .iter()
                .zip(&self.lengths)
                .zip(shares)
                .filter(|(_, share)| share.abs() > ALIAS_TOLERANCE)
                .map(|((&kept, kept_length), share)| (kept, share * length / kept_length))
                .collect();
            self.aliased.push(Alias {
                column: index,
                equals,
            });
            return;
        }
        for value in &mut rest {
            *value /= left;
        }
        along.push(left);
        self.q.push(rest);
        self.r.push(along);
        self.kept.push(index);
        self.lengths.push(length);
    }

    pub(crate) fn rank(&self) -> usize {
        self.kept.len()
    }

    /// Qᵀv.
    pub(crate) fn project(&self, v: &[f64]) -> Vec<f64> {
        self.q.iter().map(|q| dot(q, v)).collect()
    }

    /// R⁻¹v, for columns scaled to length one.
    fn solve_upper(&self, v: &[f64]) -> Vec<f64> {
        let mut x = v.to_vec();
        for j in (0..self.r.len()).rev() {
            x[j] /= self.r[j][j];
            for i in 0..j {
                x[i] -= self.r[j][i] * x[j];
            }
        }
        x
    }

    /// R⁻ᵀv, for columns scaled to length one.
    fn solve_lower(&self, v: &[f64]) -> Vec<f64> {
        let mut x = v.to_vec();
        for (j, column) in self.r.iter().enumerate() {
            let known: f64 = (0..j).map(|i| column[i] * x[i]).sum();
            x[j] = (x[j] - known) / column[j];
        }
        x
    }

    /// R⁻ᵀl for a combination l of the kept coefficients: |R⁻ᵀl|² is the
    /// variance of lᵀβ̂ in units of σ².
    pub(crate) fn in_orthonormal_basis(&self, combination: &[f64]) -> Vec<f64> {
        let scaled: Vec<f64> = combination
            .iter()
            .zip(&self.lengths)
            .map(|(l, length)| l / length)
            .collect();
        self.solve_lower(&scaled)
    }

    /// R⁻¹u: coefficients from a vector in the orthonormal basis.
    pub(crate) fn coefficients(&self, u: &[f64]) -> Vec<f64> {
        self.solve_upper(u)
            .iter()
            .zip(&self.lengths)
            .map(|(x, length)| x / length)
            .collect()
    }

    /// (XᵀX)⁻¹ = R⁻¹R⁻ᵀ.
    pub(crate) fn unscaled_covariance(&self) -> Vec<Vec<f64>> {
        let rank = self.rank();
        let rows: Vec<Vec<f64>> = (0..rank)
            .map(|i| {
                let mut unit = vec![0.0; rank];
                unit[i] = 1.0;
                self.in_orthonormal_basis(&unit)
            })
            .collect();
        rows.iter()
            .map(|a| rows.iter().map(|b| dot(a, b)).collect())
            .collect()
    }

    /// Diagonal of QQᵀ.
    pub(crate) fn leverage(&self) -> Vec<f64> {
        let rows = self.q.first().map_or(0, Vec::len);
        (0..rows)
            .map(|row| self.q.iter().map(|q| q[row] * q[row]).sum())
            .collect()
    }

    /// ½ ln|XᵀX| = ln|R| of the kept columns.
    pub(crate) fn ln_determinant(&self) -> f64 {
        let diagonal = self.r.iter().enumerate().map(|(j, column)| column[j].ln());
        diagonal.sum::<f64>() + self.lengths.iter().map(|length| length.ln()).sum::<f64>()
    }

    /// Upper triangle for columns scaled to length one, as full rows.
    pub(crate) fn scaled_triangle(&self) -> Vec<Vec<f64>> {
        let rank = self.rank();
        (0..rank)
            .map(|i| {
                (0..rank)
                    .map(|j| self.r[j].get(i).copied().unwrap_or(0.0))
                    .collect()
            })
            .collect()
    }

    /// Least-squares coefficients and residuals, refined with residuals in
    /// twice the working precision (Björck 1967, BIT 7, 257–278).
    pub(crate) fn solve_refined(&self, columns: &[&[f64]], y: &[f64]) -> (Vec<f64>, Vec<f64>) {
        let projected = self.project(y);
        let mut beta = self.coefficients(&projected);
        let mut residual = y.to_vec();
        for (share, q) in projected.iter().zip(&self.q) {
            for (value, direction) in residual.iter_mut().zip(q) {
                *value -= share * direction;
            }
        }
        let mut last_step = f64::INFINITY;
        for _ in 0..6 {
            let misfit: Vec<f64> = (0..y.len())
                .map(|row| {
                    let mut sum = Extended::default();
                    sum.add(y[row]);
                    sum.add(-residual[row]);
                    for (&kept, &b) in self.kept.iter().zip(&beta) {
                        sum.add_product(-columns[kept][row], b);
                    }
                    sum.value()
                })
                .collect();
            let slope: Vec<f64> = self
                .kept
                .iter()
                .zip(&self.lengths)
                .map(|(&kept, length)| -compensated_dot(columns[kept], &residual) / length)
                .collect();
            let lift = self.solve_lower(&slope);
            let step: Vec<f64> = self
                .project(&misfit)
                .iter()
                .zip(&lift)
                .map(|(d, h)| d - h)
                .collect();
            let correction = self.coefficients(&step);
            let size = relative_size(&correction, &beta);
            if size >= 0.5 * last_step {
                break;
            }
            for (b, change) in beta.iter_mut().zip(&correction) {
                *b += change;
            }
            for (row, value) in residual.iter_mut().enumerate() {
                let along: f64 = step
                    .iter()
                    .zip(&self.q)
                    .map(|(share, q)| share * q[row])
                    .sum();
                *value += misfit[row] - along;
            }
            last_step = size;
            if size < f64::EPSILON {
                break;
            }
        }
        (beta, residual)
    }
}

fn relative_size(correction: &[f64], beta: &[f64]) -> f64 {
    correction
        .iter()
        .zip(beta)
        .map(|(change, b)| if *b == 0.0 { 0.0 } else { (change / b).abs() })
        .fold(0.0, f64::max)
}

pub(crate) fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

fn length(v: &[f64]) -> f64 {
    dot(v, v).sqrt()
}
