//! Variance components: how far panels of a lot, a day or a stretch of one
//! setting go together, and how well that is known.
//!
//! Restricted likelihood with the penalty of Chung, Rabe-Hesketh, Dorie, Gelman
//! & Liu (2013), Psychometrika 78, 685: a density that rises with the standard
//! deviation from zero. It keeps the estimates off zero, where few groups put
//! them too often and where the intervals of whatever moves between groups
//! would be those of single panels. Degrees of freedom after Satterthwaite
//! (1946), Biometrics Bull. 2, 110, in the form of Giesbrecht & Burns (1985),
//! Biometrics 41, 477, with logarithms of the components as parameters.

use faer::Mat;

use super::crossed::Sums;
use super::inference::invert;
use super::quasi::quadratic;

/// Range of ln λ against the panels' own variance.
const RANGE: (f64, f64) = (-9.0, 4.0);
/// Sweeps over the components in the first search and in later ones, which
/// look only so far around the last values.
const SWEEPS: (usize, usize) = (4, 1);
const NEARBY: f64 = 1.5;
/// Step of the numerical second derivatives, on the log scale.
const STEP: f64 = 0.2;

/// The ratios λ of their logs against `typical`.
pub(super) fn ratios(logs: &[f64], typical: f64) -> Vec<f64> {
    logs.iter().map(|t| typical * t.exp()).collect()
}

/// The penalised ratios λ of the groupings, as logs against `typical`, the
/// panels' own typical variance; `start` holds the last ones.
pub(super) fn search(
    sums: &Sums<'_>,
    count: usize,
    typical: f64,
    start: Option<&[f64]>,
) -> Vec<f64> {
    let mut logs = start.map_or_else(|| vec![-1.5; count], <[f64]>::to_vec);
    let sweeps = if start.is_some() { SWEEPS.1 } else { SWEEPS.0 };
    for sweep in 0..sweeps {
        for k in 0..count {
            let objective = |log: f64| {
                let mut trial = logs.clone();
                trial[k] = log;
                let least = sums.solve(&ratios(&trial, typical));
                least.map_or(f64::INFINITY, |l| l.deviance - trial.iter().sum::<f64>())
            };
            let (low, high, grid) = if start.is_none() && sweep == 0 {
                (RANGE.0, RANGE.1, 10)
            } else {
                let at = logs[k];
                ((at - NEARBY).max(RANGE.0), (at + NEARBY).min(RANGE.1), 2)
            };
            logs[k] = lowest(objective, low, high, grid, 8);
        }
    }
    logs
}

/// Where a function on [`low`, `high`] is lowest: the best of `grid` + 1 even
/// steps, refined by golden section between its neighbours.
pub(super) fn lowest(
    f: impl Fn(f64) -> f64,
    low: f64,
    high: f64,
    grid: usize,
    refine: usize,
) -> f64 {
    let at = |i: usize| low + (high - low) * i as f64 / grid as f64;
    let values: Vec<f64> = (0..=grid).map(|i| f(at(i))).collect();
    let best = (0..=grid).fold(0, |best, i| if values[i] < values[best] { i } else { best });
    let mut low = at(best.saturating_sub(1));
    let mut top = at((best + 1).min(grid));
    let golden = (5.0_f64.sqrt() - 1.0) / 2.0;
    let (mut a, mut b) = (top - golden * (top - low), low + golden * (top - low));
    let (mut fa, mut fb) = (f(a), f(b));
    for _ in 0..refine {
        if fa <= fb {
            top = b;
            (b, fb) = (a, fa);
            a = top - golden * (top - low);
            fa = f(a);
        } else {
            low = a;
            (a, fa) = (b, fb);
            b = low + golden * (top - low);
            fb = f(b);
        }
    }
    let inner = if fa <= fb { (a, fa) } else { (b, fb) };
    if values[best] <= inner.1 {
        at(best)
    } else {
        inner.0
    }
}

/// How the covariance of the coefficients moves with ln φ and the ln λ, and
/// how well these are known.
#[derive(Debug, Clone)]
pub(super) struct Known {
    /// ∂(X'V⁻¹X)⁻¹/∂ ln λₖ.
    slopes: Vec<Mat<f64>>,
    /// Covariance of (ln φ, ln λ…).
    covariance: Mat<f64>,
}

impl Known {
    /// At the ratios given by their logs, with φ at `scale`; none where the
    /// likelihood cannot be followed.
    pub(super) fn at(
        sums: &Sums<'_>,
        logs: &[f64],
        typical: f64,
        scale: f64,
        free: f64,
    ) -> Option<Self> {
        let k = logs.len();
        let solved = |moves: &[(usize, f64)]| {
            let mut trial = logs.to_vec();
            for &(j, by) in moves {
                trial[j] += by;
            }
            sums.solve(&ratios(&trial, typical))
        };
        let deviance = |moves: &[(usize, f64)]| {
            Some({
                let l = solved(moves)?;
                (l.log_det + l.rss / scale, l.rss)
            })
        };
        let centre = deviance(&[])?;
        let mut hessian = Mat::zeros(k + 1, k + 1);
        hessian[(0, 0)] = free;
        let mut slopes = Vec::new();
        for i in 0..k {
            let (up, down) = (solved(&[(i, STEP)])?, solved(&[(i, -STEP)])?);
            let value = |l: &super::crossed::Least| l.log_det + l.rss / scale;
            hessian[(i + 1, i + 1)] = (value(&up) - 2.0 * centre.0 + value(&down)) / (STEP * STEP);
            let cross = -(up.rss - down.rss) / (2.0 * STEP * scale);
            hessian[(0, i + 1)] = cross;
            hessian[(i + 1, 0)] = cross;
            let p = up.unscaled.nrows();
            slopes.push(Mat::from_fn(p, p, |a, b| {
                (up.unscaled[(a, b)] - down.unscaled[(a, b)]) / (2.0 * STEP)
            }));
            for j in 0..i {
                let four = [(STEP, STEP), (STEP, -STEP), (-STEP, STEP), (-STEP, -STEP)];
                let mut sum = 0.0;
                for (a, b) in four {
                    sum += (a * b).signum() * deviance(&[(i, a), (j, b)])?.0;
                }
                let mixed = sum / (4.0 * STEP * STEP);
                hessian[(i + 1, j + 1)] = mixed;
                hessian[(j + 1, i + 1)] = mixed;
            }
        }
        // Where the likelihood is flat in a component it must not look known.
        let mut ridge = 0.0;
        let inverse = loop {
            let lifted = Mat::from_fn(k + 1, k + 1, |a, b| {
                hessian[(a, b)] + if a == b && a > 0 { ridge } else { 0.0 }
            });
            match invert(&lifted) {
                Some(inverse) => break inverse,
                None if ridge < 8.0 => ridge = 2.0 * ridge + 0.25,
                None => return None,
            }
        };
        Some(Self {
            slopes,
            covariance: Mat::from_fn(k + 1, k + 1, |a, b| 2.0 * inverse[(a, b)]),
        })
    }

    /// Degrees of freedom of the variance φ·c'Mc, `unscaled` being M.
    pub(super) fn dof(&self, unscaled: &Mat<f64>, c: &[f64]) -> f64 {
        let total = quadratic(unscaled, c);
        let mut slope = vec![1.0];
        slope.extend(self.slopes.iter().map(|m| quadratic(m, c) / total));
        let variance = quadratic(&self.covariance, &slope);
        2.0 / variance
    }
}
