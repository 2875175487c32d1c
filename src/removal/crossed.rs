//! Variances of several groupings at once: sums, least squares, whitening.
//!
//! V/φ = D + Σ λₖ ZₖZₖ', D = diag(vᵢ), one Z per grouping of the panels (lots,
//! days, stretches of one setting), which may cross. Rows are read once; a set
//! of ratios λ then costs only sums over groups: the grouping with most groups
//! is eliminated on its diagonal, the others by a dense factorisation (Henderson
//! 1975, Biometrics 31, 423, for the equations).

use faer::linalg::solvers::{DenseSolveCore, Solve};
use faer::{Mat, Side};

use super::inference::Grouping;

/// Sums over rows for given vᵢ. Columns are those of x, then z.
pub(super) struct Sums<'a> {
    n: usize,
    p: usize,
    shared: &'a [&'a Grouping],
    /// Position of the grouping with most groups.
    first: Option<usize>,
    /// First dense position of each other grouping.
    starts: Vec<usize>,
    /// [x z]'D⁻¹[x z].
    cross: Mat<f64>,
    log_v: f64,
    /// Of every group of the first grouping: Σ 1/v, Σ [x z]/v, and Σ 1/v shared
    /// with dense groups.
    first_weight: Vec<f64>,
    first_sum: Vec<f64>,
    meets: Vec<Vec<(usize, f64)>>,
    /// The same of the dense groups: Z'D⁻¹Z and Z'D⁻¹[x z].
    dense: Mat<f64>,
    dense_sum: Mat<f64>,
}

/// Generalised least squares for given variances.
pub(super) struct Least {
    pub(super) beta: Vec<f64>,
    pub(super) unscaled: Mat<f64>,
    pub(super) rss: f64,
    /// ln |V| + ln |X'V⁻¹X| with V relative to φ.
    pub(super) log_det: f64,
    /// −2 log restricted likelihood, profiled over φ.
    pub(super) deviance: f64,
    /// −2 log likelihood, profiled over φ.
    pub(super) full_deviance: f64,
}

/// What is left of the sums once the first grouping is eliminated.
struct Reduced {
    cross: Mat<f64>,
    log_det: f64,
    /// I + Λ^½ A Λ^½ and Λ^½ B of the dense groups.
    system: Mat<f64>,
    sum: Mat<f64>,
    /// Λ^½.
    root: Vec<f64>,
}

fn largest(shared: &[&Grouping]) -> Option<usize> {
    (0..shared.len()).max_by_key(|&k| (shared[k].count, std::cmp::Reverse(k)))
}

fn starts(shared: &[&Grouping], first: Option<usize>) -> (Vec<usize>, usize) {
    let mut total = 0;
    let starts = (0..shared.len())
        .map(|k| {
            let own = total;
            total += if first == Some(k) { 0 } else { shared[k].count };
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
        shared: &'a [&'a Grouping],
        z: &[f64],
        v: &[f64],
    ) -> Self {
        let n = z.len();
        let first = largest(shared);
        let (starts, q) = starts(shared, first);
        let groups = first.map_or(0, |k| shared[k].count);
        let mut cross = Mat::zeros(p + 1, p + 1);
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
            for a in 0..=p {
                for b in 0..=a {
                    cross[(a, b)] += w * row[a] * row[b];
                }
            }
            places.clear();
            places.extend(
                (0..shared.len())
                    .filter(|k| first != Some(*k))
                    .map(|k| starts[k] + shared[k].of[i]),
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
            let g = shared[first].of[i];
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
            shared,
            first,
            starts,
            cross,
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

    fn reduce(&self, ratios: &[f64]) -> Reduced {
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
        let root = self.roots(ratios);
        let q = root.len();
        let system = Mat::from_fn(q, q, |a, b| {
            root[a] * dense[(a, b)] * root[b] + f64::from(u8::from(a == b))
        });
        let sum = Mat::from_fn(q, p + 1, |a, b| root[a] * sum[(a, b)]);
        Reduced {
            cross,
            log_det,
            system,
            sum,
            root,
        }
    }

    /// Λ^½ of the dense groups.
    fn roots(&self, ratios: &[f64]) -> Vec<f64> {
        let mut root = Vec::with_capacity(self.dense.nrows());
        for (k, grouping) in self.shared.iter().enumerate() {
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
            let factor = reduced.system.llt(Side::Lower).ok()?;
            let solved = factor.solve(&reduced.sum);
            let lower = factor.L();
            for k in 0..reduced.root.len() {
                reduced.log_det += 2.0 * lower[(k, k)].ln();
            }
            for a in 0..=p {
                for b in 0..=a {
                    let mut taken = 0.0;
                    for k in 0..reduced.root.len() {
                        taken += reduced.sum[(k, a)] * solved[(k, b)];
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
            log_det: reduced.log_det + log_xx,
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
            let right = Mat::from_fn(q, 1, |k, _| left(&|a| reduced.sum[(k, a)]));
            let solved = reduced.system.llt(Side::Lower).ok()?.solve(&right);
            for k in 0..q {
                dense[k] = reduced.root[k] * solved[(k, 0)];
            }
        }
        let effects = self.shared.iter().enumerate().map(|(k, grouping)| {
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

    /// V^(−1/2) at these ratios.
    pub(super) fn whitener(&self, ratios: &[f64], v: &[f64]) -> Option<Whitener> {
        let reduced = self.reduce(ratios);
        let q = reduced.root.len();
        let mut kernel = Mat::zeros(q, q);
        if q > 0 {
            let eigen = reduced.system.self_adjoint_eigen(Side::Lower).ok()?;
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
            (self.shared[k].of.clone(), share.collect())
        });
        let dense = (0..self.shared.len())
            .filter(|k| self.first != Some(*k))
            .map(|k| {
                let of = self.shared[k].of.iter();
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
