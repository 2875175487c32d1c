//! Least squares whose errors go together inside clusters: panels, lots.
//!
//! Bias-reduced cluster-robust covariance with Satterthwaite degrees of freedom
//! (Bell & McCaffrey 2002, Survey Methodology 28, 169–181, under a working model
//! of independent errors; Pustejovsky & Tipton 2018, J. Bus. Econ. Stat. 36,
//! 672–683, the "CR2" estimator). With one row of equal weight per cluster and a
//! mean as the only term it is the textbook t interval. Unlike the plain
//! sandwich it stays honest with few or unequal clusters, because the degrees
//! of freedom fall as a few clusters come to carry the estimate. Rows of another
//! working model are whitened by it beforehand.

use faer::Mat;

use super::contrast::Contrast;
use super::matrix::{add_outer, apply, dot, eigen, invert, pseudo_inverse, quadratic, root, trace};

/// The rows of one cluster as cross products. The first columns are estimated;
/// columns after them are nuisance columns of the cluster's group that have been
/// taken out of the others and of y beforehand (group means, say) and count only
/// in the leverage.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Cluster {
    /// ZᵀZ.
    pub(crate) cross: Mat<f64>,
    /// Zᵀy.
    pub(crate) product: Vec<f64>,
    /// Which group's nuisance columns, index into the `nuisance` of [`fit`].
    pub(crate) group: usize,
}

impl Cluster {
    /// A cluster without rows.
    pub(crate) fn new(width: usize, group: usize) -> Self {
        Self {
            cross: Mat::zeros(width, width),
            product: vec![0.0; width],
            group,
        }
    }

    /// Adds a row.
    pub(crate) fn add(&mut self, row: &[f64], y: f64) {
        add_outer(&mut self.cross, row, 1.0);
        for (p, x) in self.product.iter_mut().zip(row) {
            *p += x * y;
        }
    }
}

/// A fit with what its contrasts are judged by.
#[derive(Debug, Clone)]
pub(crate) struct ClusterRobust {
    /// Estimates of the first `kept` columns, 0 behind them.
    pub(crate) estimates: Vec<f64>,
    /// (XᵀX)⁻¹ of the kept columns.
    pub(crate) inverse: Mat<f64>,
    /// XᵀX and (XᵀX)⁻¹XᵀX.
    total: Mat<f64>,
    reached: Mat<f64>,
    clusters: Vec<Adjusted>,
    nuisance: Vec<Mat<f64>>,
    kept: usize,
}

/// Rows by cluster, 0..`count`; row i of `x` is `x[i * p..(i + 1) * p]`.
pub(crate) fn gather(x: &[f64], p: usize, y: &[f64], of: &[usize], count: usize) -> Vec<Cluster> {
    let mut clusters = vec![Cluster::new(p, 0); count];
    for ((row, y), cluster) in x.chunks_exact(p).zip(y).zip(of) {
        clusters[*cluster].add(row, *y);
    }
    clusters
}

/// Fits the first `kept` columns by least squares over all clusters.
///
/// `nuisance[g]` is the pseudo-inverse of the cross products of group `g`'s
/// nuisance columns, in the lower right block, zero elsewhere; empty without
/// nuisance columns. None where a value is not finite.
pub(crate) fn fit(
    clusters: &[Cluster],
    nuisance: &[Mat<f64>],
    kept: usize,
) -> Option<ClusterRobust> {
    let width = clusters.first().map_or(kept, |c| c.product.len());
    let nuisance = if nuisance.is_empty() {
        vec![Mat::zeros(width, width)]
    } else {
        nuisance.to_vec()
    };
    let mut total = Mat::<f64>::zeros(width, width);
    let mut right = vec![0.0; width];
    for cluster in clusters {
        for a in 0..kept {
            right[a] += cluster.product[a];
            for b in 0..kept {
                total[(a, b)] += cluster.cross[(a, b)];
            }
        }
    }
    let inverse = pseudo_inverse(&total)?;
    let estimates = apply(&inverse, &right);
    let hats: Vec<Hat> = nuisance
        .iter()
        .map(|own| Hat::new(&inverse + own))
        .collect::<Option<_>>()?;
    let adjusted = clusters
        .iter()
        .map(|cluster| Adjusted::new(cluster, &hats[cluster.group], &estimates, kept))
        .collect::<Option<_>>()?;
    Some(ClusterRobust {
        reached: &inverse * &total,
        estimates,
        inverse,
        total,
        clusters: adjusted,
        nuisance,
        kept,
    })
}

/// Share of a contrast's variance that may hang on what single clusters decide
/// by themselves, whose error leaves no trace.
const CARRIED_ALONE: f64 = 1e-9;

impl ClusterRobust {
    /// Judges cᵀβ; none where it is not estimable, or where one cluster alone
    /// carries a share of it.
    pub(crate) fn contrast(&self, c: &[f64]) -> Option<Contrast> {
        self.contrast_with(c, CARRIED_ALONE)
    }

    /// As [`Self::contrast`] with another share that single clusters may carry;
    /// what they carry is left out of the error.
    pub(crate) fn contrast_with(&self, c: &[f64], carried_alone: f64) -> Option<Contrast> {
        let width = self.estimates.len();
        let mut full = vec![0.0; width];
        full[..c.len()].copy_from_slice(c);
        let largest = full.iter().fold(0.0, |l: f64, v| l.max(v.abs()));
        let estimable = (0..width).all(|j| {
            let back: f64 = (0..width).map(|i| full[i] * self.reached[(i, j)]).sum();
            (back - full[j]).abs() < 1e-6 * largest
        });
        if !estimable {
            return None;
        }
        let xi = apply(&self.inverse, &full);
        let scores = self.clusters.iter().map(|a| dot(&xi, &a.score).powi(2));
        Some(Contrast {
            estimate: dot(&full, &self.estimates),
            std_error: scores.sum::<f64>().sqrt(),
            dof: self.dof(&xi, carried_alone)?,
        })
    }

    /// Judges one coefficient.
    pub(crate) fn coefficient(&self, k: usize) -> Option<Contrast> {
        let mut c = vec![0.0; self.kept];
        c[k] = 1.0;
        self.contrast(&c)
    }

    /// Covariance of two coefficients.
    pub(crate) fn covariance(&self, i: usize, j: usize) -> f64 {
        let row = |k: usize| -> Vec<f64> {
            (0..self.estimates.len())
                .map(|a| self.inverse[(a, k)])
                .collect()
        };
        let (left, right) = (row(i), row(j));
        let each = self.clusters.iter();
        each.map(|a| dot(&left, &a.score) * dot(&right, &a.score))
            .sum()
    }

    /// The change of every estimate when a cluster is left out, by the deletion
    /// formula β − β₋ = (XᵀX − XᵀX of the cluster)⁻¹ Xᵀe of the cluster.
    pub(crate) fn left_out(&self) -> Vec<Option<Vec<f64>>> {
        let clusters = self.clusters.iter();
        clusters
            .map(|a| {
                let inverse = invert(&(&self.total - &a.cross))?;
                Some(apply(&inverse, &a.plain))
            })
            .collect()
    }

    /// (tr B)² / tr(B²), B_gh = p_gᵀp_h, p_g = (I − H)_g A_g X_g M c, in time
    /// linear in the clusters: outside the diagonal p_gᵀp_h = −(Z_gᵀw_g)ᵀ K (Z_hᵀw_h).
    fn dof(&self, xi: &[f64], carried_alone: f64) -> Option<f64> {
        let width = xi.len();
        let mut trace_of = 0.0;
        let mut squares = 0.0;
        let mut by_group = vec![Mat::<f64>::zeros(width, width); self.nuisance.len()];
        let mut all = Mat::<f64>::zeros(width, width);
        let (mut reach, mut carried) = (0.0, 0.0);
        for cluster in &self.clusters {
            let at = apply(&cluster.cross, xi);
            reach += dot(xi, &at);
            carried += cluster
                .alone
                .iter()
                .map(|d| dot(d, &at).powi(2))
                .sum::<f64>();
            let (own, down) = cluster.influence(xi, &at);
            let leverage =
                quadratic(&self.inverse, &down) + quadratic(&self.nuisance[cluster.group], &down);
            trace_of += own - leverage;
            squares += own * own - 2.0 * own * leverage;
            add_outer(&mut by_group[cluster.group], &down, 1.0);
            let mut shared = down;
            shared[self.kept..].fill(0.0);
            add_outer(&mut all, &shared, 1.0);
        }
        if carried > carried_alone * reach {
            return None;
        }
        let twice = |k: &Mat<f64>, z: &Mat<f64>| {
            let kz = k * z;
            trace(&kz, &kz)
        };
        for (own, z) in self.nuisance.iter().zip(&by_group) {
            squares += twice(&(&self.inverse + own), z) - twice(&self.inverse, z);
        }
        squares += twice(&self.inverse, &all);
        (trace_of > 0.0 && squares > 0.0).then(|| trace_of * trace_of / squares)
    }
}

/// K of a group's blocks of the hat matrix, Z·K·Zᵀ, with a root.
struct Hat {
    whole: Mat<f64>,
    root: Mat<f64>,
}

impl Hat {
    fn new(whole: Mat<f64>) -> Option<Self> {
        Some(Self {
            root: root(&whole)?,
            whole,
        })
    }
}

/// A cluster with the adjustment A = (I − H)^(−½) of its residuals, where
/// H = Z·K·Zᵀ = (ZB)(ZB)ᵀ is its block of the hat matrix. With BᵀZᵀZB = QΛQᵀ,
/// A·v = v + ZB·Q φ(Λ) Qᵀ·BᵀZᵀv, φ(λ) = ((1−λ)^(−½) − 1)/λ.
#[derive(Debug, Clone)]
struct Adjusted {
    cross: Mat<f64>,
    group: usize,
    /// Zᵀe and ZᵀA e of the kept columns, e = y − Xβ.
    plain: Vec<f64>,
    score: Vec<f64>,
    /// B·Q φ(Λ) Qᵀ·Bᵀ.
    lift: Mat<f64>,
    /// Directions B·q that this cluster alone determines.
    alone: Vec<Vec<f64>>,
}

/// Below this leverage the first term of φ is exact enough.
const SLIGHT: f64 = 1e-6;
/// Above this leverage a cluster decides a direction alone.
const ALONE: f64 = 1.0 - 1e-8;

impl Adjusted {
    fn new(cluster: &Cluster, hat: &Hat, estimates: &[f64], kept: usize) -> Option<Self> {
        let width = estimates.len();
        let mut lift = Mat::zeros(width, width);
        let mut alone = Vec::new();
        if trace(&hat.whole, &cluster.cross) < SLIGHT {
            lift = &hat.whole * faer::Scale(0.5);
        } else {
            let inner = hat.root.transpose() * &cluster.cross * &hat.root;
            for (leverage, turn) in eigen(&inner)? {
                let direction = apply(&hat.root, &turn);
                if leverage > ALONE {
                    alone.push(direction);
                } else {
                    let factor = if leverage < SLIGHT {
                        0.5
                    } else {
                        ((1.0 - leverage).powf(-0.5) - 1.0) / leverage
                    };
                    add_outer(&mut lift, &direction, factor);
                }
            }
        }
        let fitted = apply(&cluster.cross, estimates);
        let mut plain: Vec<f64> = cluster
            .product
            .iter()
            .zip(fitted)
            .map(|(p, f)| p - f)
            .collect();
        let lifted = apply(&cluster.cross, &apply(&lift, &plain));
        let mut score: Vec<f64> = plain.iter().zip(lifted).map(|(p, l)| p + l).collect();
        score[kept..].fill(0.0);
        plain[kept..].fill(0.0);
        Some(Self {
            cross: cluster.cross.clone(),
            group: cluster.group,
            plain,
            score,
            lift,
            alone,
        })
    }

    /// w = A X M c as w = Z η: returns (wᵀw, Zᵀw) for ξ = M c, `at` = ZᵀZξ.
    fn influence(&self, xi: &[f64], at: &[f64]) -> (f64, Vec<f64>) {
        let mut eta = apply(&self.lift, at);
        for (e, x) in eta.iter_mut().zip(xi) {
            *e += x;
        }
        let down = apply(&self.cross, &eta);
        (dot(&eta, &down), down)
    }
}

#[cfg(test)]
mod published;

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn row(z: &[f64], y: f64, group: usize) -> Cluster {
        let mut cluster = Cluster::new(z.len(), group);
        cluster.add(z, y);
        cluster
    }

    #[test]
    fn a_plain_mean_gives_the_textbook_interval() {
        let y = [3.0, 5.0, 4.0, 8.0];
        let rows: Vec<_> = y.iter().map(|&y| row(&[1.0], y, 0)).collect();
        let fit = fit(&rows, &[], 1).unwrap();
        // mean 5, variance 14/3, standard error √(14/12), t₃ = 3.182446 (any table).
        assert_relative_eq!(fit.estimates[0], 5.0, max_relative = 1e-14);
        let mean = fit.coefficient(0).unwrap();
        assert_relative_eq!(fit.covariance(0, 0), 14.0 / 12.0, max_relative = 1e-12);
        assert_relative_eq!(mean.dof, 3.0, max_relative = 1e-12);
        let ci = mean.interval(0.95);
        assert_relative_eq!(
            ci.high - 5.0,
            3.182_446_305_284_263 * (14.0f64 / 12.0).sqrt(),
            max_relative = 1e-9
        );
    }

    #[test]
    fn an_estimate_that_hangs_on_one_cluster_has_no_interval() {
        let rows: Vec<_> = [1.0, 1.0, 1.0, -1.0]
            .iter()
            .zip([2.0, 2.5, 1.5, 9.0])
            .map(|(&turn, y)| row(&[1.0, turn], y, 0))
            .collect();
        let fit = fit(&rows, &[], 2).unwrap();
        assert_eq!([0, 1].map(|k| fit.coefficient(k)), [None, None]);
    }

    #[test]
    fn what_was_never_varied_is_not_estimable() {
        let rows: Vec<_> = [2.0, 2.5, 1.5]
            .iter()
            .map(|&y| row(&[1.0, 1.0], y, 0))
            .collect();
        let fit = fit(&rows, &[], 2).unwrap();
        assert_eq!([0, 1].map(|k| fit.coefficient(k)), [None, None]);
    }

    /// Group means taken out beforehand must give what a fit with one column per
    /// group gives.
    #[test]
    fn nuisance_columns_agree_with_the_full_design() {
        let data = [
            (0, 1.0, 2.0),
            (0, -1.0, 1.0),
            (0, 1.0, 2.6),
            (0, -1.0, -0.2),
            (1, 1.0, 5.0),
            (1, -1.0, 3.1),
            (1, -1.0, 3.9),
        ];
        let full: Vec<_> = data
            .iter()
            .map(|&(g, x, y)| {
                row(
                    &[x, f64::from(u8::from(g == 0)), f64::from(u8::from(g == 1))],
                    y,
                    0,
                )
            })
            .collect();
        let full = fit(&full, &[], 3).unwrap();
        let mean = |g: usize, of: fn(&(usize, f64, f64)) -> f64| {
            let group: Vec<_> = data.iter().filter(|d| d.0 == g).collect();
            group.iter().map(|d| of(d)).sum::<f64>() / group.len() as f64
        };
        let absorbed: Vec<_> = data
            .iter()
            .map(|&(g, x, y)| row(&[x - mean(g, |d| d.1), 1.0], y - mean(g, |d| d.2), g))
            .collect();
        let nuisance = [4.0, 3.0]
            .map(|n| Mat::from_fn(2, 2, |a, b| if a == 1 && b == 1 { 1.0 / n } else { 0.0 }));
        let absorbed = fit(&absorbed, &nuisance, 1).unwrap();
        let (absorbed, full) = (
            absorbed.coefficient(0).unwrap(),
            full.coefficient(0).unwrap(),
        );
        assert_relative_eq!(absorbed.estimate, full.estimate, max_relative = 1e-12);
        assert_relative_eq!(absorbed.std_error, full.std_error, max_relative = 1e-12);
        assert_relative_eq!(absorbed.dof, full.dof, max_relative = 1e-12);
    }
}
