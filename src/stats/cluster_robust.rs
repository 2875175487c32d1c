//! Least squares whose errors go together inside clusters: panels, lots.
//!
//! Bias-reduced cluster-robust covariance with Satterthwaite degrees of freedom
//! (Bell & McCaffrey 2002, Survey Methodology 28, 169–181, under a working model
//! of independent errors; Pustejovsky & Tipton 2018, J. Bus. Econ. Stat. 36,
//! 672–683, the "CR2" estimator). With one row of equal weight per cluster and a
//! mean as the only term it is the textbook t interval. Unlike the plain
//! sandwich it stays honest with few or unequal clusters, because the degrees
//! of freedom fall as a few clusters come to carry the estimate.

use super::distributions::student_t;
use super::small_symmetric::{Square, add, add_outer, apply, dot, eigen, product, pseudo_inverse};
use super::{Interval, small_symmetric::RANK_TOLERANCE};

/// The rows of one cluster as cross products, in `D` columns. The first columns
/// are estimated; columns after them are nuisance columns of the cluster's
/// group that have been taken out of the others and of y beforehand (group
/// means, say) and count only in the leverage.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cluster<const D: usize> {
    /// ZᵀZ.
    pub cross: Square<D>,
    /// Zᵀy.
    pub product: [f64; D],
    /// Which group's nuisance columns, index into the `nuisance` of [`fit`].
    pub group: usize,
}

/// A fit with its cluster-robust covariance.
#[derive(Debug, Clone, PartialEq)]
pub struct ClusterRobust<const D: usize> {
    /// Estimates of the first `kept` columns, 0 behind them.
    pub estimates: [f64; D],
    /// Covariance of the estimates.
    pub covariance: Square<D>,
    /// (XᵀX)⁻¹ of the kept columns.
    pub inverse: Square<D>,
    /// Degrees of freedom of each estimate; none where it is not estimable, or
    /// where one cluster alone carries it, so that its error leaves no trace.
    pub dof: [Option<f64>; D],
    /// Clusters.
    pub clusters: usize,
}

impl<const D: usize> ClusterRobust<D> {
    /// Standard error of estimate `k`; none where `dof` is none.
    #[must_use]
    pub fn std_error(&self, k: usize) -> Option<f64> {
        self.dof[k]?;
        Some(self.covariance[k][k].max(0.0).sqrt())
    }

    /// Two-sided interval of estimate `k`.
    #[must_use]
    pub fn interval(&self, k: usize, level: f64) -> Option<Interval> {
        let reach = self.std_error(k)? * student_t::two_sided_quantile(level, self.dof[k]?);
        Some(Interval {
            low: self.estimates[k] - reach,
            high: self.estimates[k] + reach,
            level,
        })
    }

    /// Two-sided p-value of estimate `k` against zero; 0 where the data leave no
    /// scatter at all and the estimate is not zero.
    #[must_use]
    pub fn p_value(&self, k: usize) -> Option<f64> {
        let (std_error, dof) = (self.std_error(k)?, self.dof[k]?);
        if self.estimates[k] == 0.0 {
            return Some(1.0);
        }
        if std_error == 0.0 {
            return Some(0.0);
        }
        Some(student_t::two_sided_p(self.estimates[k] / std_error, dof))
    }
}

/// Fits the first `kept` columns by least squares over all clusters.
///
/// `nuisance[g]` is the pseudo-inverse of the cross products of group `g`'s
/// nuisance columns, in the lower right block, zero elsewhere; a fit without
/// nuisance columns passes one matrix of zeros. A cluster with a share of the
/// leverage of one in a direction that the estimate uses makes that estimate's
/// `dof` none.
#[must_use]
pub fn fit<const D: usize>(
    clusters: &[Cluster<D>],
    nuisance: &[Square<D>],
    kept: usize,
) -> ClusterRobust<D> {
    let mut total = [[0.0; D]; D];
    let mut right = [0.0; D];
    for cluster in clusters {
        for (sum, row) in total.iter_mut().zip(&cluster.cross).take(kept) {
            for (s, value) in sum.iter_mut().zip(row).take(kept) {
                *s += value;
            }
        }
        for (r, value) in right.iter_mut().zip(&cluster.product).take(kept) {
            *r += value;
        }
    }
    let (inverse, _) = pseudo_inverse(&total);
    let estimates = apply(&inverse, &right);
    let checked: Vec<Adjusted<D>> = clusters
        .iter()
        .map(|cluster| {
            let mut hat = inverse;
            add(&mut hat, &nuisance[cluster.group]);
            Adjusted::new(cluster, &hat)
        })
        .collect();

    let mut meat = [[0.0; D]; D];
    for adjusted in &checked {
        let mut score = adjusted.score(&estimates);
        score[kept..].fill(0.0);
        add_outer(&mut meat, &score, 1.0);
    }
    let covariance = product(&product(&inverse, &meat), &inverse);

    let reached = product(&inverse, &total);
    let mut dof = [None; D];
    for k in 0..kept {
        let mut unit = [0.0; D];
        unit[k] = 1.0;
        let estimable = (0..kept).all(|j| (reached[k][j] - unit[j]).abs() < 1e-6);
        if estimable {
            dof[k] =
                degrees_of_freedom(&checked, nuisance, &inverse, &apply(&inverse, &unit), kept);
        }
    }
    ClusterRobust {
        estimates,
        covariance,
        inverse,
        dof,
        clusters: clusters.len(),
    }
}

/// A cluster with the adjustment A = (I − H)^(−½) of its residuals, where
/// H = Z·K·Zᵀ = (ZB)(ZB)ᵀ is its block of the hat matrix. With BᵀZᵀZB = QΛQᵀ,
/// A·v = v + ZB·Q φ(Λ) Qᵀ·BᵀZᵀv, φ(λ) = ((1−λ)^(−½) − 1)/λ.
struct Adjusted<const D: usize> {
    cross: Square<D>,
    product: [f64; D],
    group: usize,
    /// B·Q φ(Λ) Qᵀ·Bᵀ.
    lift: Square<D>,
    /// Directions B·q that this cluster alone determines.
    alone: Vec<[f64; D]>,
}

impl<const D: usize> Adjusted<D> {
    fn new(cluster: &Cluster<D>, hat: &Square<D>) -> Self {
        let (values, vectors) = eigen(hat);
        let largest = values.iter().copied().fold(0.0, f64::max);
        let mut root = [[0.0; D]; D];
        for k in 0..D {
            if values[k] > RANK_TOLERANCE * largest {
                for i in 0..D {
                    root[i][k] = vectors[i][k] * values[k].sqrt();
                }
            }
        }
        let inner = product(&transposed(&root), &product(&cluster.cross, &root));
        let (leverages, turns) = eigen(&inner);
        let directions = product(&root, &turns);
        let mut lift = [[0.0; D]; D];
        let mut alone = Vec::new();
        for k in 0..D {
            let direction = directions.map(|row| row[k]);
            let leverage = leverages[k].clamp(0.0, 1.0);
            if leverage > 1.0 - 1e-8 {
                alone.push(direction);
            } else {
                let factor = if leverage < 1e-8 {
                    0.5 + 0.375 * leverage
                } else {
                    ((1.0 - leverage).powf(-0.5) - 1.0) / leverage
                };
                add_outer(&mut lift, &direction, factor);
            }
        }
        Self {
            cross: cluster.cross,
            product: cluster.product,
            group: cluster.group,
            lift,
            alone,
        }
    }

    /// ZᵀA e, e = y − Xβ.
    fn score(&self, estimates: &[f64; D]) -> [f64; D] {
        let fitted = apply(&self.cross, estimates);
        let mut plain = self.product;
        for (p, f) in plain.iter_mut().zip(fitted) {
            *p -= f;
        }
        let lifted = apply(&self.cross, &apply(&self.lift, &plain));
        let mut out = plain;
        for (o, l) in out.iter_mut().zip(lifted) {
            *o += l;
        }
        out
    }

    /// w = A X M c as w = Z η: returns (wᵀw, Zᵀw) for ξ = M c.
    fn influence(&self, xi: &[f64; D]) -> (f64, [f64; D]) {
        let mut eta = apply(&self.lift, &apply(&self.cross, xi));
        for (e, x) in eta.iter_mut().zip(xi) {
            *e += x;
        }
        let down = apply(&self.cross, &eta);
        (dot(&eta, &down), down)
    }
}

/// (tr B)² / tr(B²), B_gh = p_gᵀp_h, p_g = (I − H)_g A_g X_g M c, in time linear
/// in the clusters: outside the diagonal p_gᵀp_h = −(Z_gᵀw_g)ᵀ K (Z_hᵀw_h).
fn degrees_of_freedom<const D: usize>(
    clusters: &[Adjusted<D>],
    nuisance: &[Square<D>],
    inverse: &Square<D>,
    xi: &[f64; D],
    kept: usize,
) -> Option<f64> {
    let mut trace = 0.0;
    let mut squares = 0.0;
    let mut by_group = vec![[[0.0; D]; D]; nuisance.len()];
    let mut all = [[0.0; D]; D];
    let mut reach = 0.0;
    for cluster in clusters {
        reach += dot(xi, &apply(&cluster.cross, xi));
    }
    for cluster in clusters {
        let at = apply(&cluster.cross, xi);
        let carried: f64 = cluster.alone.iter().map(|d| dot(d, &at).powi(2)).sum();
        if carried > 1e-9 * reach {
            return None;
        }
        let (own, down) = cluster.influence(xi);
        let mut hat = *inverse;
        add(&mut hat, &nuisance[cluster.group]);
        let leverage = dot(&down, &apply(&hat, &down));
        trace += own - leverage;
        squares += own * own - 2.0 * own * leverage;
        add_outer(&mut by_group[cluster.group], &down, 1.0);
        let mut shared = down;
        shared[kept..].fill(0.0);
        add_outer(&mut all, &shared, 1.0);
    }
    let twice = |k: &Square<D>, z: &Square<D>| {
        let kz = product(k, z);
        (0..D)
            .map(|i| (0..D).map(|j| kz[i][j] * kz[j][i]).sum::<f64>())
            .sum::<f64>()
    };
    for (own, z) in nuisance.iter().zip(&by_group) {
        let mut hat = *inverse;
        add(&mut hat, own);
        squares += twice(&hat, z) - twice(inverse, z);
    }
    squares += twice(inverse, &all);
    (trace > 0.0 && squares > 0.0).then(|| trace * trace / squares)
}

fn transposed<const D: usize>(a: &Square<D>) -> Square<D> {
    let mut out = [[0.0; D]; D];
    for (i, row) in a.iter().enumerate() {
        for (j, value) in row.iter().enumerate() {
            out[j][i] = *value;
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn row<const D: usize>(z: [f64; D], y: f64, group: usize) -> Cluster<D> {
        let mut cross = [[0.0; D]; D];
        add_outer(&mut cross, &z, 1.0);
        Cluster {
            cross,
            product: z.map(|v| v * y),
            group,
        }
    }

    #[test]
    fn a_plain_mean_gives_the_textbook_interval() {
        let y = [3.0, 5.0, 4.0, 8.0];
        let rows: Vec<_> = y.iter().map(|&y| row([1.0], y, 0)).collect();
        let fit = fit(&rows, &[[[0.0]]], 1);
        // mean 5, variance 14/3, standard error √(14/12), t₃ = 3.182446 (any table).
        assert_relative_eq!(fit.estimates[0], 5.0, max_relative = 1e-14);
        assert_relative_eq!(fit.covariance[0][0], 14.0 / 12.0, max_relative = 1e-12);
        assert_relative_eq!(fit.dof[0].unwrap(), 3.0, max_relative = 1e-12);
        let ci = fit.interval(0, 0.95).unwrap();
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
            .map(|(&turn, y)| row([1.0, turn], y, 0))
            .collect();
        let fit = fit(&rows, &[[[0.0; 2]; 2]], 2);
        assert_eq!(fit.dof, [None, None]);
    }

    #[test]
    fn what_was_never_varied_is_not_estimable() {
        let rows: Vec<_> = [2.0, 2.5, 1.5]
            .iter()
            .map(|&y| row([1.0, 1.0], y, 0))
            .collect();
        let fit = fit(&rows, &[[[0.0; 2]; 2]], 2);
        assert_eq!(fit.dof, [None, None]);
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
                    [x, f64::from(u8::from(g == 0)), f64::from(u8::from(g == 1))],
                    y,
                    0,
                )
            })
            .collect();
        let full = fit(&full, &[[[0.0; 3]; 3]], 3);
        let mean = |g: usize, of: fn(&(usize, f64, f64)) -> f64| {
            let group: Vec<_> = data.iter().filter(|d| d.0 == g).collect();
            group.iter().map(|d| of(d)).sum::<f64>() / group.len() as f64
        };
        let absorbed: Vec<_> = data
            .iter()
            .map(|&(g, x, y)| row([x - mean(g, |d| d.1), 1.0], y - mean(g, |d| d.2), g))
            .collect();
        let nuisance = [[[0.0, 0.0], [0.0, 0.25]], [[0.0, 0.0], [0.0, 1.0 / 3.0]]];
        let absorbed = fit(&absorbed, &nuisance, 1);
        assert_relative_eq!(
            absorbed.estimates[0],
            full.estimates[0],
            max_relative = 1e-12
        );
        assert_relative_eq!(
            absorbed.covariance[0][0],
            full.covariance[0][0],
            max_relative = 1e-12
        );
        assert_relative_eq!(
            absorbed.dof[0].unwrap(),
            full.dof[0].unwrap(),
            max_relative = 1e-12
        );
    }
}
