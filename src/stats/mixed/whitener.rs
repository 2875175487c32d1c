//! Columns freed of what the rows of a group share.
use faer::{Mat, Side};

use super::sums::Sums;

/// Multiplies columns by V^(−1/2), V relative to φ: the first grouping within
/// its groups, then the others by the symmetric root of what they add.
#[derive(Debug, Clone)]
pub(super) struct Whitener {
    root_v: Vec<f64>,
    /// Group of each row and share of its sum that every row gives up.
    first: Option<(Vec<usize>, Vec<f64>)>,
    /// Dense group of each row, per grouping.
    dense: Vec<Vec<usize>>,
    /// Λ^½ K Λ^½.
    kernel: Mat<f64>,
}

impl Whitener {
    /// `columns` is row-major, `width` wide.
    pub(super) fn apply(&self, columns: &[f64], width: usize) -> Vec<f64> {
        let mut white: Vec<f64> = columns
            .iter()
            .enumerate()
            .map(|(k, value)| value / self.root_v[k / width])
            .collect();
        self.within(&mut white, width);
        let q = self.kernel.nrows();
        if q == 0 {
            return white;
        }
        let mut back = white.clone();
        self.within(&mut back, width);
        let mut sums = Mat::<f64>::zeros(q, width);
        for of in &self.dense {
            for (i, &g) in of.iter().enumerate() {
                for a in 0..width {
                    sums[(g, a)] += back[i * width + a] / self.root_v[i];
                }
            }
        }
        let moved = &self.kernel * &sums;
        let mut spread = vec![0.0; white.len()];
        for of in &self.dense {
            for (i, &g) in of.iter().enumerate() {
                for a in 0..width {
                    spread[i * width + a] += moved[(g, a)] / self.root_v[i];
                }
            }
        }
        self.within(&mut spread, width);
        for (w, s) in white.iter_mut().zip(&spread) {
            *w += s;
        }
        white
    }

    fn within(&self, white: &mut [f64], width: usize) {
        let Some((of, share)) = &self.first else {
            return;
        };
        let mut sum = vec![0.0; share.len() * width];
        for (i, &g) in of.iter().enumerate() {
            for a in 0..width {
                sum[g * width + a] += white[i * width + a] / self.root_v[i];
            }
        }
        for (i, &g) in of.iter().enumerate() {
            let give = share[g] / self.root_v[i];
            for a in 0..width {
                white[i * width + a] -= give * sum[g * width + a];
            }
        }
    }
}

impl Sums<'_> {
    /// V^(−1/2) at these ratios.
    pub(super) fn whitener(&self, ratios: &[f64], v: &[f64]) -> Option<Whitener> {
        let reduced = self.reduce(ratios);
        let q = reduced.root.len();
        let mut kernel = Mat::zeros(q, q);
        if q > 0 {
            let eigen = reduced.system().self_adjoint_eigen(Side::Lower).ok()?;
            let (u, s) = (eigen.U(), eigen.S());
            // (I + UU')^(−1/2) = I + U E ((1 + s)^(−1/2) − 1)/s E'U', U'U = E s E'.
            for k in 0..q {
                let beyond = (s[k] - 1.0).max(0.0);
                let gain = if beyond < 1e-9 {
                    -0.5
                } else {
                    (1.0 / (1.0 + beyond).sqrt() - 1.0) / beyond
                };
                for a in 0..q {
                    let left = gain * u[(a, k)] * reduced.root[a];
                    for b in 0..q {
                        kernel[(a, b)] += left * u[(b, k)] * reduced.root[b];
                    }
                }
            }
        }
        let first = self.first.filter(|k| ratios[*k] > 0.0).map(|k| {
            let share = self
                .first_weight
                .iter()
                .map(|w| (1.0 - 1.0 / (1.0 + ratios[k] * w).sqrt()) / w);
            (self.groupings[k].of.clone(), share.collect())
        });
        let dense = (0..self.groupings.len())
            .filter(|k| self.first != Some(*k))
            .map(|k| {
                let of = self.groupings[k].of.iter();
                of.map(|g| self.starts[k] + g).collect()
            })
            .collect();
        Some(Whitener {
            root_v: v.iter().map(|v| v.sqrt()).collect(),
            first,
            dense,
            kernel,
        })
    }
}
