//! Variances of several groupings at once: sums, least squares, whitening.
//!
//! V/φ = D + Σ λₖ ZₖZₖ', D = diag(vᵢ), one Z per grouping of the panels (lots,
//! days, stretches of one setting), which may cross. Rows are read once; a set
//! of ratios λ then costs only sums over groups: the grouping with most groups
//! is eliminated on its diagonal, the others by a dense factorisation (Henderson
//! 1975, Biometrics 31, 423, for the equations).

use faer::linalg::solvers::{DenseSolveCore, Solve};
use faer::{Mat, Side};

use super::Grouping;

/// Sums over rows for given vᵢ. Columns are those of x, then z.
pub(super) struct Sums<'a> {
    pub(super) n: usize,
    pub(super) p: usize,
    pub(super) groupings: &'a [&'a Grouping],
    /// Position of the grouping with most groups.
    pub(super) first: Option<usize>,
    /// First dense position of each other grouping.
    pub(super) starts: Vec<usize>,
    /// [x z]'D⁻¹[x z].
    cross: Mat<f64>,
    log_v: f64,
    /// Of every group of the first grouping: Σ 1/v, Σ [x z]/v, and Σ 1/v shared
    /// with dense groups.
    pub(super) first_weight: Vec<f64>,
    pub(super) first_sum: Vec<f64>,
    pub(super) meets: Vec<Vec<(usize, f64)>>,
    /// The same of the dense groups: Z'D⁻¹Z and Z'D⁻¹[x z].
    dense: Mat<f64>,
    dense_sum: Mat<f64>,
}

/// Generalised least squares for given variances.
pub(super) struct Least {
    pub(super) beta: Vec<f64>,
    pub(super) unscaled: Mat<f64>,
    pub(super) rss: f64,
    /// −2 log restricted likelihood, profiled over φ.
    pub(super) deviance: f64,
    /// −2 log likelihood, profiled over φ.
    pub(super) full_deviance: f64,
}

/// What is left of the sums once the first grouping is eliminated.
pub(super) struct Reduced {
    cross: Mat<f64>,
    log_det: f64,
    /// Z'D⁻¹Z and Z'D⁻¹[x z] of the dense groups.
    pub(super) dense: Mat<f64>,
    pub(super) sum: Mat<f64>,
    /// Λ^½.
    pub(super) root: Vec<f64>,
}

impl Reduced {
    /// I + Λ^½ Z'D⁻¹Z Λ^½.
    pub(super) fn system(&self) -> Mat<f64> {
        let root = &self.root;
        Mat::from_fn(root.len(), root.len(), |a, b| {
            root[a] * self.dense[(a, b)] * root[b] + f64::from(u8::from(a == b))
        })
    }

    fn scaled_sum(&self) -> Mat<f64> {
        Mat::from_fn(self.sum.nrows(), self.sum.ncols(), |a, b| {
            self.root[a] * self.sum[(a, b)]
        })
    }
}

fn largest(groupings: &[&Grouping]) -> Option<usize> {
    (0..groupings.len()).max_by_key(|&k| (groupings[k].count, std::cmp::Reverse(k)))
}

fn starts(groupings: &[&Grouping], first: Option<usize>) -> (Vec<usize>, usize) {
    let mut total = 0;
    let starts = (0..groupings.len())
        .map(|k| {
            let own = total;
            total += if first == Some(k) {
                0
            } else {
                groupings[k].count
            };
            own
        })
        .collect();
    (starts, total)
}

impl<'a> Sums<'a> {
    /// `x` is row-major, `p` wide.
    pub(super) fn new(
        x: &[f64],
        p: usize,
        groupings: &'a [&'a Grouping],
        z: &[f64],
        v: &[f64],
    ) -> Self {
        let n = z.len();
        let first = largest(groupings);
        let (starts, q) = starts(groupings, first);
        let groups = first.map_or(0, |k| groupings[k].count);
        let width = p + 1;
        let mut cross = vec![0.0; width * width];
        let mut first_weight = vec![0.0; groups];
        let mut first_sum = vec![0.0; groups * (p + 1)];
        let mut meets = vec![Vec::new(); groups];
        let mut dense = Mat::zeros(q, q);
        let mut dense_sum = Mat::zeros(q, p + 1);
        let mut log_v = 0.0;
        let mut row = vec![0.0; p + 1];
        let mut places = Vec::new();
        for i in 0..n {
            row[..p].copy_from_slice(&x[i * p..(i + 1) * p]);
            row[p] = z[i];
            let w = 1.0 / v[i];
            log_v += v[i].ln();
            for (a, sums) in cross.chunks_exact_mut(width).enumerate() {
                let left = w * row[a];
                for (sum, right) in sums.iter_mut().zip(&row[..=a]) {
                    *sum += left * right;
                }
            }
            places.clear();
            places.extend(
                (0..groupings.len())
                    .filter(|k| first != Some(*k))
                    .map(|k| starts[k] + groupings[k].of[i]),
            );
            for &a in &places {
                for (b, value) in row.iter().enumerate() {
                    dense_sum[(a, b)] += w * value;
                }
                for &b in &places {
                    dense[(a, b)] += w;
                }
            }
            let Some(first) = first else { continue };
            let g = groupings[first].of[i];
            first_weight[g] += w;
            for (b, value) in row.iter().enumerate() {
                first_sum[g * (p + 1) + b] += w * value;
            }
            for &a in &places {
                let met: &mut Vec<(usize, f64)> = &mut meets[g];
                match met.iter_mut().find(|m| m.0 == a) {
                    Some(found) => found.1 += w,
                    None => met.push((a, w)),
                }
            }
        }
        Self {
            n,
            p,
            groupings,
            first,
            starts,
            cross: Mat::from_fn(width, width, |a, b| cross[a * width + b]),
            log_v,
            first_weight,
            first_sum,
            meets,
            dense,
            dense_sum,
        }
    }

    fn shrink(&self, g: usize, ratio: f64) -> f64 {
        ratio / (1.0 + ratio * self.first_weight[g])
    }

    pub(super) fn reduce(&self, ratios: &[f64]) -> Reduced {
        let p = self.p;
        let mut cross = self.cross.clone();
        let mut log_det = self.log_v;
        let mut dense = self.dense.clone();
        let mut sum = self.dense_sum.clone();
        let own = self.first.map_or(0.0, |k| ratios[k]);
        if own > 0.0 {
            for (g, met) in self.meets.iter().enumerate() {
                let shrink = self.shrink(g, own);
                log_det += (own * self.first_weight[g]).ln_1p();
                let row = &self.first_sum[g * (p + 1)..(g + 1) * (p + 1)];
                for a in 0..=p {
                    for b in 0..=a {
                        cross[(a, b)] -= shrink * row[a] * row[b];
                    }
                }
                for &(a, left) in met {
                    for (b, value) in row.iter().enumerate() {
                        sum[(a, b)] -= shrink * left * value;
                    }
                    for &(b, right) in met {
                        dense[(a, b)] -= shrink * left * right;
                    }
                }
            }
        }
        Reduced {
            cross,
            log_det,
            dense,
            sum,
            root: self.roots(ratios),
        }
    }

    /// Λ^½ of the dense groups.
    fn roots(&self, ratios: &[f64]) -> Vec<f64> {
        let mut root = Vec::with_capacity(self.dense.nrows());
        for (k, grouping) in self.groupings.iter().enumerate() {
            if self.first != Some(k) {
                root.extend(std::iter::repeat_n(ratios[k].sqrt(), grouping.count));
            }
        }
        root
    }

    /// Least squares at the ratios λ, one per grouping.
    pub(super) fn solve(&self, ratios: &[f64]) -> Option<Least> {
        let p = self.p;
        let mut reduced = self.reduce(ratios);
        if !reduced.root.is_empty() {
            let factor = reduced.system().llt(Side::Lower).ok()?;
            let sum = reduced.scaled_sum();
            let solved = factor.solve(&sum);
            let lower = factor.L();
            for k in 0..reduced.root.len() {
                reduced.log_det += 2.0 * lower[(k, k)].ln();
            }
            for a in 0..=p {
                for b in 0..=a {
                    let mut taken = 0.0;
                    for k in 0..reduced.root.len() {
                        taken += sum[(k, a)] * solved[(k, b)];
                    }
                    reduced.cross[(a, b)] -= taken;
                }
            }
        }
        let xx = Mat::from_fn(p, p, |a, b| reduced.cross[(a.max(b), a.min(b))]);
        let right = Mat::from_fn(p, 1, |a, _| reduced.cross[(p, a)]);
        let zz = reduced.cross[(p, p)];
        let factor = xx.llt(Side::Lower).ok()?;
        let solution = factor.solve(&right);
        let beta: Vec<f64> = (0..p).map(|a| solution[(a, 0)]).collect();
        let explained: f64 = (0..p).map(|a| beta[a] * right[(a, 0)]).sum();
        let total = self.cross[(p, p)];
        let rss = (zz - explained).max(1e-12 * total.max(f64::MIN_POSITIVE));
        let lower = factor.L();
        let log_xx: f64 = (0..p).map(|a| 2.0 * lower[(a, a)].ln()).sum();
        let free = self.n.saturating_sub(p).max(1) as f64;
        let all = self.n as f64;
        let least = Least {
            unscaled: factor.inverse(),
            rss,
            deviance: reduced.log_det + log_xx + free * (rss / free).ln(),
            full_deviance: reduced.log_det + all * (rss / all).ln(),
            beta,
        };
        (least.deviance.is_finite() && least.beta.iter().all(|b| b.is_finite())).then_some(least)
    }

    /// Predicted effects of every group of every grouping at the coefficients:
    /// mean residuals, drawn towards zero.
    pub(super) fn effects(&self, beta: &[f64], ratios: &[f64]) -> Option<Vec<Vec<f64>>> {
        let p = self.p;
        let reduced = self.reduce(ratios);
        let left =
            |row: &dyn Fn(usize) -> f64| row(p) - (0..p).map(|a| row(a) * beta[a]).sum::<f64>();
        let q = reduced.root.len();
        let mut dense = vec![0.0; q];
        if q > 0 {
            let right = Mat::from_fn(q, 1, |k, _| {
                reduced.root[k] * left(&|a| reduced.sum[(k, a)])
            });
            let solved = reduced.system().llt(Side::Lower).ok()?.solve(&right);
            for k in 0..q {
                dense[k] = reduced.root[k] * solved[(k, 0)];
            }
        }
        let effects = self.groupings.iter().enumerate().map(|(k, grouping)| {
            if self.first != Some(k) {
                return dense[self.starts[k]..self.starts[k] + grouping.count].to_vec();
            }
            (0..grouping.count)
                .map(|g| {
                    let own = left(&|a| self.first_sum[g * (p + 1) + a]);
                    let met: f64 = self.meets[g].iter().map(|(a, w)| w * dense[*a]).sum();
                    self.shrink(g, ratios[k]) * (own - met)
                })
                .collect()
        });
        Some(effects.collect())
    }
}
