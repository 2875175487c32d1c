//! Intervals that count how often a factor was really set.
//!
//! Two ways to judge a contrast of coefficients, of which the wider counts: the
//! mixed model's own, with Satterthwaite's degrees of freedom from how well its
//! variances are known; and cluster-robust ones by stretches of one setting and,
//! where the contrast moves mainly between them, by days and lots. The robust ones
//! use the bias-reduced sandwich and degrees of freedom of Bell & McCaffrey
//! (2002), Survey Methodology 28, 169, in the form of Pustejovsky & Tipton
//! (2018), J. Bus. Econ. Stat. 36, 672, on the whitened rows of the mixed model:
//! whitened by less than what panels share, clusters that cross lots would not be
//! independent. Counts add what few panels hit take from both.
//! A factor set on four days thus gets an interval of four days, not of four
//! hundred panels.

use faer::{Mat, Side};
use statrs::distribution::{ContinuousCDF, StudentsT};

use super::quasi::{Fit, quadratic};
use super::result::Unit;
use crate::stats::Interval;

/// A way to gather panels that may share what the model does not know.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Grouping {
    pub(super) unit: Unit,
    /// Cluster of each row, 0..count.
    pub(super) of: Vec<usize>,
    pub(super) count: usize,
}

/// An estimate on the log scale with the widest of its intervals.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Judged {
    pub(super) estimate: f64,
    pub(super) std_error: Option<f64>,
    pub(super) dof: Option<f64>,
    pub(super) ci: Option<Interval>,
    pub(super) p_value: Option<f64>,
    pub(super) unit: Unit,
}

/// Share of a contrast's movement between clusters above which the clusters
/// count as its units.
const MAINLY_BETWEEN: f64 = 0.5;
/// Above so many clusters the small-sample corrections no longer matter.
const MANY: usize = 1500;
/// A direction that one cluster decides by itself has 1 − s² below this.
const DECIDED: f64 = 1e-8;
/// Share of a contrast that single clusters may decide.
const MOSTLY_SHARED: f64 = 0.05;

/// One cluster's part of the sandwich.
struct Cluster {
    rows: f64,
    /// Σ x.
    sum: Vec<f64>,
    /// Σ x e.
    score: Vec<f64>,
    /// Σ x x'.
    gram: Mat<f64>,
    /// (I − H)^(−1/2) = I + X·adjust·X'.
    adjust: Mat<f64>,
    /// Directions that this cluster alone decides (columns, in x coordinates).
    decided: Vec<Vec<f64>>,
}

struct Prepared {
    unit: Unit,
    clusters: Vec<Cluster>,
    small: bool,
}

/// The judge of a fit's contrasts.
pub(super) struct Inference<'a> {
    fit: &'a Fit,
    level: f64,
    rows: usize,
    prepared: Vec<Prepared>,
}

impl<'a> Inference<'a> {
    /// Prepares the sums per cluster.
    pub(super) fn new(fit: &'a Fit, groupings: &[Grouping], level: f64) -> Self {
        let rows = fit.white_residual.len();
        let prepared = groupings
            .iter()
            .filter(|g| g.count >= 2)
            .map(|g| prepare(fit, g))
            .collect();
        Self {
            fit,
            level,
            rows,
            prepared,
        }
    }

    /// Judges c'β. The groupings `always` count in any case, the others where
    /// the contrast moves mainly between their clusters.
    pub(super) fn judge(&self, c: &[f64], always: &[Unit]) -> Judged {
        let fit = self.fit;
        let estimate: f64 = c.iter().zip(&fit.beta).map(|(c, b)| c * b).sum();
        let k: Vec<f64> = (0..fit.p)
            .map(|a| (0..fit.p).map(|b| fit.unscaled[(a, b)] * c[b]).sum())
            .collect();
        let total = quadratic(&fit.unscaled, c);
        let free = fit
            .known
            .as_ref()
            .map_or((self.rows - fit.p) as f64, |k| k.dof(&fit.unscaled, c));
        let spread = |unit, std_error: f64, dof: f64| {
            let (wider, most) = self.few_hits();
            spread(unit, std_error * wider, dof.min(most), self.level)
        };
        let mut widest = spread(Unit::Mixed, (fit.scale * total).sqrt(), free);
        let mut p_value = widest.map(|w| two_sided(estimate, w.std_error, w.dof));
        for group in &self.prepared {
            if !always.contains(&group.unit) && between(group, &k, total) < MAINLY_BETWEEN {
                continue;
            }
            let robust =
                sandwich(fit, group, &k, total).and_then(|(se, dof)| spread(group.unit, se, dof));
            match (robust, widest) {
                (Some(robust), Some(model)) => {
                    let p = two_sided(estimate, robust.std_error, robust.dof);
                    p_value = p_value.map(|old| old.max(p));
                    if robust.half > model.half {
                        widest = Some(robust);
                    }
                }
                _ => {
                    return Judged {
                        estimate,
                        std_error: None,
                        dof: None,
                        ci: None,
                        p_value: None,
                        unit: group.unit,
                    };
                }
            }
        }
        Judged {
            estimate,
            std_error: widest.map(|w| w.std_error),
            dof: widest.map(|w| w.dof),
            ci: widest.map(|w| Interval {
                low: estimate - w.half,
                high: estimate + w.half,
                level: self.level,
            }),
            p_value,
            unit: widest.map_or(Unit::Mixed, |w| w.unit),
        }
    }

    /// Factor on standard errors and most degrees of freedom: the coefficients
    /// of counts rest on the panels hit, and both kinds of standard error are
    /// too small where these are few. By the jackknife's factor 1 / (1 − h)
    /// (MacKinnon & White 1985, J. Econometrics 29, 305) at the mean leverage h
    /// of a panel hit.
    fn few_hits(&self) -> (f64, f64) {
        let Some(hit) = self.fit.hit else {
            return (1.0, f64::INFINITY);
        };
        let free = hit as f64 - self.fit.p as f64;
        if free < 1.0 {
            return (f64::INFINITY, 0.0);
        }
        (hit as f64 / free, free)
    }

    /// The change of every coefficient when a cluster of the grouping of that
    /// unit is left out, by the deletion formula; one entry per cluster.
    pub(super) fn left_out(&self, unit: Unit) -> Vec<Option<Vec<f64>>> {
        let Some(group) = self.prepared.iter().find(|g| g.unit == unit && g.small) else {
            return Vec::new();
        };
        let p = self.fit.p;
        let Some(information) = invert(&self.fit.unscaled) else {
            return Vec::new();
        };
        group
            .clusters
            .iter()
            .map(|cluster| {
                // β − β₋ = (X'X − G)⁻¹ X_g' e_g.
                let rest = Mat::from_fn(p, p, |a, b| information[(a, b)] - cluster.gram[(a, b)]);
                let inverse = invert(&rest)?;
                Some(
                    (0..p)
                        .map(|a| (0..p).map(|b| inverse[(a, b)] * cluster.score[b]).sum())
                        .collect(),
                )
            })
            .collect()
    }
}

#[derive(Clone, Copy)]
struct Spread {
    unit: Unit,
    std_error: f64,
    dof: f64,
    half: f64,
}

fn spread(unit: Unit, std_error: f64, dof: f64, level: f64) -> Option<Spread> {
    if !(std_error.is_finite() && dof >= 1.0) {
        return None;
    }
    let t = StudentsT::new(0.0, 1.0, dof)
        .ok()?
        .inverse_cdf((1.0 + level) / 2.0);
    let half = t * std_error;
    half.is_finite().then_some(Spread {
        unit,
        std_error,
        dof,
        half,
    })
}

/// Two-sided p-value of a Student t statistic.
pub(super) fn two_sided(estimate: f64, std_error: f64, dof: f64) -> f64 {
    if std_error <= 0.0 {
        return if estimate == 0.0 { 1.0 } else { 0.0 };
    }
    StudentsT::new(0.0, 1.0, dof).map_or(1.0, |t| 2.0 * t.sf((estimate / std_error).abs()))
}

/// Inverse of a symmetric positive definite matrix.
pub(super) fn invert(m: &Mat<f64>) -> Option<Mat<f64>> {
    use faer::linalg::solvers::DenseSolveCore;
    m.llt(Side::Lower).ok().map(|l| l.inverse())
}

fn prepare(fit: &Fit, grouping: &Grouping) -> Prepared {
    let p = fit.p;
    let small = grouping.count <= MANY;
    let mut clusters: Vec<Cluster> = (0..grouping.count)
        .map(|_| Cluster {
            rows: 0.0,
            sum: vec![0.0; p],
            score: vec![0.0; p],
            gram: Mat::zeros(if small { p } else { 0 }, if small { p } else { 0 }),
            adjust: Mat::zeros(0, 0),
            decided: Vec::new(),
        })
        .collect();
    for (i, &g) in grouping.of.iter().enumerate() {
        let row = &fit.white_x[i * p..(i + 1) * p];
        let cluster = &mut clusters[g];
        cluster.rows += 1.0;
        for a in 0..p {
            cluster.sum[a] += row[a];
            cluster.score[a] += row[a] * fit.white_residual[i];
            if small {
                for b in 0..p {
                    cluster.gram[(a, b)] += row[a] * row[b];
                }
            }
        }
    }
    if small {
        let root = square_root(&fit.unscaled);
        for cluster in &mut clusters {
            adjust(cluster, root.as_ref(), p);
        }
    }
    Prepared {
        unit: grouping.unit,
        clusters,
        small,
    }
}

/// Symmetric square root of a positive semidefinite matrix.
fn square_root(m: &Mat<f64>) -> Option<Mat<f64>> {
    let eigen = m.self_adjoint_eigen(Side::Lower).ok()?;
    let (u, s) = (eigen.U(), eigen.S());
    let p = m.nrows();
    Some(Mat::from_fn(p, p, |a, b| {
        (0..p)
            .map(|k| u[(a, k)] * s[k].max(0.0).sqrt() * u[(b, k)])
            .sum()
    }))
}

/// Fills in the cluster's adjustment: with X·M^(1/2) = U S V', (I − H)^(−1/2) =
/// I + U((1 − S²)^(−1/2) − 1)U'.
fn adjust(cluster: &mut Cluster, root: Option<&Mat<f64>>, p: usize) {
    cluster.adjust = Mat::zeros(p, p);
    let Some(root) = root else { return };
    let inner = root * &cluster.gram * root;
    let Ok(eigen) = inner.self_adjoint_eigen(Side::Lower) else {
        return;
    };
    let (u, s) = (eigen.U(), eigen.S());
    for k in 0..p {
        let s2 = s[k].clamp(0.0, 1.0);
        if s2 < 1e-14 {
            continue;
        }
        let direction: Vec<f64> = (0..p)
            .map(|a| (0..p).map(|b| root[(a, b)] * u[(b, k)]).sum())
            .collect();
        let gain = if 1.0 - s2 < DECIDED {
            cluster.decided.push(direction.clone());
            -1.0 / s2
        } else {
            (1.0 / (1.0 - s2).sqrt() - 1.0) / s2
        };
        for a in 0..p {
            for b in 0..p {
                cluster.adjust[(a, b)] += gain * direction[a] * direction[b];
            }
        }
    }
}

/// Share of the contrast's movement that lies between clusters, 0..1.
fn between(group: &Prepared, k: &[f64], total: f64) -> f64 {
    let sum: f64 = group
        .clusters
        .iter()
        .filter(|c| c.rows > 0.0)
        .map(|c| dot(k, &c.sum).powi(2) / c.rows)
        .sum();
    if total > 0.0 { sum / total } else { 0.0 }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

fn times(m: &Mat<f64>, v: &[f64]) -> Vec<f64> {
    (0..m.nrows())
        .map(|a| (0..m.ncols()).map(|b| m[(a, b)] * v[b]).sum())
        .collect()
}

/// Standard error and degrees of freedom of the contrast k = Mc; none where
/// single clusters decide it.
fn sandwich(fit: &Fit, group: &Prepared, k: &[f64], total: f64) -> Option<(f64, f64)> {
    let p = fit.p;
    let count = group.clusters.len() as f64;
    if !group.small {
        let sum: f64 = group
            .clusters
            .iter()
            .map(|c| dot(k, &c.score).powi(2))
            .sum();
        let dof = count - p as f64;
        return Some(((sum * count / (count - 1.0)).sqrt(), dof));
    }
    let mut sum = 0.0;
    let mut decided = 0.0;
    let mut trace = 0.0;
    let mut squares = 0.0;
    let mut bb = Mat::<f64>::zeros(p, p);
    for cluster in &group.clusters {
        let gk = times(&cluster.gram, k);
        for direction in &cluster.decided {
            decided += dot(direction, &gk).powi(2);
        }
        let extra = times(&cluster.adjust, &gk);
        let g_extra = times(&cluster.gram, &extra);
        sum += (dot(k, &cluster.score) + dot(&extra, &cluster.score)).powi(2);
        let length = dot(k, &gk) + 2.0 * dot(&gk, &extra) + dot(&extra, &g_extra);
        let b: Vec<f64> = gk.iter().zip(&g_extra).map(|(x, y)| x + y).collect();
        let own = quadratic(&fit.unscaled, &b);
        trace += length - own;
        squares += length * length - 2.0 * length * own;
        for i in 0..p {
            for j in 0..p {
                bb[(i, j)] += b[i] * b[j];
            }
        }
    }
    if decided > MOSTLY_SHARED * total {
        return None;
    }
    let mb = &fit.unscaled * &bb;
    for i in 0..p {
        for j in 0..p {
            squares += mb[(i, j)] * mb[(j, i)];
        }
    }
    (squares > 0.0 && trace > 0.0).then(|| (sum.sqrt(), trace * trace / squares))
}
