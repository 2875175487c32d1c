//! The penalised least-squares problem of a mixed model, by blocks.
//!
//! The term with most groups comes first: its part of the system falls apart
//! into one small block per group, which is eliminated on its own; what is left
//! (other terms, fixed effects, response) is a small dense system. Cost per
//! evaluation: groups × (columns it meets)², plus (what is left)³/3.

use super::term::RandomTerm;

/// One group of the first term.
struct Group {
    /// ZᵀZ, q × q.
    cross: Vec<Vec<f64>>,
    /// Indices of the columns of the rest that this group meets.
    meets: Vec<usize>,
    /// Zᵀ(rest), q × meets.
    with_rest: Vec<Vec<f64>>,
}

/// Cross products of a mixed model: computed once, factored for every θ.
pub(super) struct Blocks {
    groups: Vec<Group>,
    /// Columns per group of the first term.
    first_columns: usize,
    /// (groups, columns) of the other terms, in order.
    others: Vec<(usize, usize)>,
    /// Fixed columns.
    pub(super) fixed: usize,
    /// (rest)ᵀ(rest); rest = other terms, fixed columns, response.
    rest: Vec<Vec<f64>>,
}

/// The system factored at one θ.
pub(super) struct Factored {
    /// ln|ΛᵀZᵀZΛ + I|.
    pub(super) ln_determinant: f64,
    /// ln|R_XᵀR_X| for the fixed columns given.
    pub(super) ln_fixed_determinant: f64,
    /// Penalised residual sum of squares.
    pub(super) penalised: f64,
    /// Cholesky factor of the rest (lower), response last.
    lower: Vec<Vec<f64>>,
    /// Per group L⁻¹Λᵀ(rest), and L.
    eliminated: Vec<(Matrix, Matrix)>,
}

/// Rows of a small dense matrix.
type Matrix = Vec<Vec<f64>>;

/// Λ of every term: lower triangles in the order of the terms.
pub(super) type Factors = Vec<Vec<Vec<f64>>>;

impl Blocks {
    /// `terms` ordered with the one to eliminate first; `columns[t][j]` the
    /// weighted (and scaled) random columns; `fixed` the weighted fixed columns.
    pub(super) fn new(
        terms: &[&RandomTerm],
        columns: &[Vec<Vec<f64>>],
        fixed: &[Vec<f64>],
        response: &[f64],
    ) -> Blocks {
        let n = response.len();
        let first_columns = terms[0].columns.len();
        let others: Vec<(usize, usize)> = terms[1..]
            .iter()
            .map(|term| (term.groups(), term.columns.len()))
            .collect();
        let random: usize = others
            .iter()
            .map(|(groups, columns)| groups * columns)
            .sum();
        let size = random + fixed.len() + 1;
        let mut rest = vec![vec![0.0; size]; size];
        let mut rows_of_group = vec![Vec::new(); terms[0].groups()];
        for (row, &group) in terms[0].group_of_row.iter().enumerate() {
            rows_of_group[group].push(row);
        }
        // The non-zero entries of one row of the rest.
        let entries = |row: usize| -> Vec<(usize, f64)> {
            let mut entries = Vec::new();
            let mut offset = 0;
            for (t, term) in terms.iter().enumerate().skip(1) {
                let q = term.columns.len();
                for (j, column) in columns[t].iter().enumerate() {
                    entries.push((offset + term.group_of_row[row] * q + j, column[row]));
                }
                offset += term.groups() * q;
            }
            for (j, column) in fixed.iter().enumerate() {
                entries.push((random + j, column[row]));
            }
            entries.push((size - 1, response[row]));
            entries
        };
        for row in 0..n {
            let entries = entries(row);
            for &(i, a) in &entries {
                for &(j, b) in &entries {
                    rest[i][j] += a * b;
                }
            }
        }
        let mut position = vec![usize::MAX; size];
        let groups = rows_of_group
            .iter()
            .map(|rows| {
                let mut meets: Vec<usize> = rows
                    .iter()
                    .flat_map(|&row| entries(row))
                    .map(|(index, _)| index)
                    .collect();
                meets.sort_unstable();
                meets.dedup();
                for (place, &index) in meets.iter().enumerate() {
                    position[index] = place;
                }
                let mut cross = vec![vec![0.0; first_columns]; first_columns];
                let mut with_rest = vec![vec![0.0; meets.len()]; first_columns];
                for &row in rows {
                    for i in 0..first_columns {
                        let z = columns[0][i][row];
                        for (j, column) in columns[0].iter().enumerate() {
                            cross[i][j] += z * column[row];
                        }
                        for (index, value) in entries(row) {
                            with_rest[i][position[index]] += z * value;
                        }
                    }
                }
                Group {
                    cross,
                    meets,
                    with_rest,
                }
            })
            .collect();
        Blocks {
            groups,
            first_columns,
            others,
            fixed: fixed.len(),
            rest,
        }
    }

    fn random(&self) -> usize {
        self.others
            .iter()
            .map(|(groups, columns)| groups * columns)
            .sum()
    }

    /// Factors the system at Λ; `None` if it is not positive definite.
    pub(super) fn factor(&self, factors: &Factors) -> Option<Factored> {
        let (q, size, random) = (self.first_columns, self.rest.len(), self.random());
        let first = &factors[0];
        let mut system = self.rest.clone();
        let mut ln_determinant = 0.0;
        let mut eliminated = Vec::with_capacity(self.groups.len());
        for group in &self.groups {
            // ΛᵀCΛ + I and its Cholesky factor.
            let half: Vec<Vec<f64>> = (0..q)
                .map(|i| {
                    (0..q)
                        .map(|j| (j..q).map(|k| group.cross[i][k] * first[k][j]).sum())
                        .collect()
                })
                .collect();
            let mut block: Vec<Vec<f64>> = (0..q)
                .map(|i| {
                    (0..q)
                        .map(|j| {
                            let value: f64 = (i..q).map(|k| first[k][i] * half[k][j]).sum();
                            if i == j { value + 1.0 } else { value }
                        })
                        .collect()
                })
                .collect();
            cholesky(&mut block, 0.0)?;
            let mut carried: Vec<Vec<f64>> = (0..q)
                .map(|i| {
                    (0..group.meets.len())
                        .map(|c| (i..q).map(|k| first[k][i] * group.with_rest[k][c]).sum())
                        .collect()
                })
                .collect();
            for i in 0..q {
                let (done, current) = carried.split_at_mut(i);
                for (k, row) in done.iter().enumerate() {
                    let share = block[i][k];
                    for (value, known) in current[0].iter_mut().zip(row) {
                        *value -= share * known;
                    }
                }
                for value in &mut current[0] {
                    *value /= block[i][i];
                }
                ln_determinant += 2.0 * block[i][i].ln();
            }
            for row in &carried {
                for (a, &i) in row.iter().zip(&group.meets) {
                    for (b, &j) in row.iter().zip(&group.meets) {
                        system[i][j] -= a * b;
                    }
                }
            }
            eliminated.push((carried, block));
        }
        self.scale(&mut system, factors);
        for (i, row) in system.iter_mut().enumerate().take(random) {
            row[i] += 1.0;
        }
        // The response's own pivot may vanish (an exact fit), the others not.
        cholesky(&mut system, 1e-14)?;
        ln_determinant += (0..random).map(|i| 2.0 * system[i][i].ln()).sum::<f64>();
        let ln_fixed_determinant = (random..size - 1).map(|i| 2.0 * system[i][i].ln()).sum();
        Some(Factored {
            ln_determinant,
            ln_fixed_determinant,
            penalised: system[size - 1][size - 1].powi(2),
            lower: system,
            eliminated,
        })
    }

    /// Λᵀ · system · Λ on the columns of the other terms.
    fn scale(&self, system: &mut [Vec<f64>], factors: &Factors) {
        let size = system.len();
        let mut offset = 0;
        for (&(groups, q), factor) in self.others.iter().zip(&factors[1..]) {
            for group in 0..groups {
                let base = offset + group * q;
                for row in system.iter_mut() {
                    let old: Vec<f64> = row[base..base + q].to_vec();
                    for j in 0..q {
                        row[base + j] = (j..q).map(|k| old[k] * factor[k][j]).sum();
                    }
                }
                for column in 0..size {
                    let old: Vec<f64> = (0..q).map(|k| system[base + k][column]).collect();
                    for j in 0..q {
                        system[base + j][column] = (j..q).map(|k| old[k] * factor[k][j]).sum();
                    }
                }
            }
            offset += groups * q;
        }
    }

    /// Fixed effects and random effects (per term, group, column) at `factored`.
    pub(super) fn solve(
        &self,
        factored: &Factored,
        factors: &Factors,
    ) -> (Vec<f64>, Vec<Vec<Vec<f64>>>) {
        let size = self.rest.len();
        let mut solution: Vec<f64> = factored.lower[size - 1][..size - 1].to_vec();
        for i in (0..size - 1).rev() {
            solution[i] /= factored.lower[i][i];
            for j in 0..i {
                solution[j] -= factored.lower[i][j] * solution[i];
            }
        }
        let fixed = solution[self.random()..].to_vec();
        let spread = |factor: &[Vec<f64>], u: &[f64]| -> Vec<f64> {
            (0..u.len())
                .map(|i| (0..=i).map(|j| factor[i][j] * u[j]).sum())
                .collect()
        };
        // Back to effects: b = Λu, also as coefficients of the rest's columns.
        let mut offset = 0;
        let mut effects = vec![Vec::new()];
        for (&(groups, q), factor) in self.others.iter().zip(&factors[1..]) {
            let mut term = Vec::with_capacity(groups);
            for group in 0..groups {
                let base = offset + group * q;
                let b = spread(factor, &solution[base..base + q]);
                solution[base..base + q].copy_from_slice(&b);
                term.push(b);
            }
            offset += groups * q;
            effects.push(term);
        }
        let q = self.first_columns;
        for (group, (carried, block)) in self.groups.iter().zip(&factored.eliminated) {
            let mut u: Vec<f64> = carried
                .iter()
                .map(|row| {
                    row.iter()
                        .zip(&group.meets)
                        .map(|(value, &index)| {
                            if index == size - 1 {
                                *value
                            } else {
                                -value * solution[index]
                            }
                        })
                        .sum()
                })
                .collect();
            for i in (0..q).rev() {
                u[i] /= block[i][i];
                for j in 0..i {
                    u[j] -= block[i][j] * u[i];
                }
            }
            effects[0].push(spread(&factors[0], &u));
        }
        (fixed, effects)
    }

    /// Solves L_X w = v, L_X the fixed columns' block of the factor: |w|²σ² is
    /// the variance of vᵀγ̂.
    pub(super) fn fixed_forward(&self, factored: &Factored, v: &[f64]) -> Vec<f64> {
        let start = self.random();
        let mut w = v.to_vec();
        for i in 0..self.fixed {
            let known: f64 = (0..i)
                .map(|j| factored.lower[start + i][start + j] * w[j])
                .sum();
            w[i] = (w[i] - known) / factored.lower[start + i][start + i];
        }
        w
    }
}

/// Lower Cholesky factor in place (the upper triangle is left as it is). The
/// last pivot may be as small as `slack` times its diagonal, or zero.
fn cholesky(matrix: &mut [Vec<f64>], slack: f64) -> Option<()> {
    let n = matrix.len();
    for i in 0..n {
        for j in 0..=i {
            let (head, tail) = matrix.split_at_mut(i);
            let row = &mut tail[0];
            if i == j {
                let known: f64 = row[..j].iter().map(|x| x * x).sum();
                let mut pivot = row[i] - known;
                if i + 1 == n && slack > 0.0 {
                    pivot = pivot.max(slack * slack * row[i].abs());
                }
                if !(pivot > 0.0 || (i + 1 == n && pivot == 0.0 && slack > 0.0)) {
                    return None;
                }
                row[i] = pivot.sqrt();
            } else {
                let other = &head[j];
                let known: f64 = row[..j].iter().zip(&other[..j]).map(|(a, b)| a * b).sum();
                row[j] = (row[j] - known) / other[j];
            }
        }
    }
    Some(())
}
