//! Variance components: how far rows of a group go together.

use super::sums::Sums;
use crate::stats::minimise::{lowest, minimise};

/// How the variances of the groups are estimated.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Variances {
    /// Restricted maximum likelihood; a component may be zero.
    Restricted,
    /// With the penalty of Chung, Rabe-Hesketh, Dorie, Gelman & Liu (2013),
    /// Psychometrika 78, 685: a density that rises with the standard deviation
    /// from zero. It keeps the estimates off zero, where few groups put them too
    /// often and where the intervals of whatever moves between groups would be
    /// those of single rows.
    OffZero,
}

/// Range of ln λ against the rows' own variance in the first look.
const RANGE: (f64, f64) = (-9.0, 4.0);
/// Sweeps over the components in the first look, steps of each.
const SWEEPS: usize = 2;
const GRID: usize = 6;
const REFINE: usize = 3;
/// Standard deviations below this against the rows' own are tried at zero.
const NEARLY_ZERO: f64 = 1e-3;
/// Deviance lost by setting a component to zero that counts as nothing.
const NO_LOSS: f64 = 1e-7;

/// The ratios λ of the groupings with the least restricted deviance; `typical`
/// is the rows' own typical variance, `start` holds the last ratios.
pub(super) fn search(
    sums: &Sums<'_>,
    typical: f64,
    variances: Variances,
    start: Option<&[f64]>,
) -> Vec<f64> {
    let count = sums.groupings.len();
    // Standard deviations of the groups against the rows' own.
    let ratios = |sds: &[f64]| -> Vec<f64> { sds.iter().map(|t| typical * t * t).collect() };
    let deviance = |sds: &[f64]| {
        let penalty = match variances {
            Variances::Restricted => 0.0,
            Variances::OffZero => -sds.iter().map(|t| 2.0 * t.abs().ln()).sum::<f64>(),
        };
        sums.solve(&ratios(sds))
            .map_or(f64::INFINITY, |l| l.deviance + penalty)
    };
    let sds = match start {
        Some(last) => last.iter().map(|l| (l / typical).sqrt()).collect(),
        None => {
            let mut logs = vec![-1.5; count];
            let sds = |logs: &[f64]| -> Vec<f64> { logs.iter().map(|t| (t / 2.0).exp()).collect() };
            for _ in 0..if count > 1 { SWEEPS } else { 1 } {
                for k in 0..count {
                    let along = |log: f64| {
                        let mut trial = logs.clone();
                        trial[k] = log;
                        deviance(&sds(&trial))
                    };
                    logs[k] = lowest(along, RANGE.0, RANGE.1, GRID, REFINE);
                }
            }
            sds(&logs)
        }
    };
    let least = minimise(deviance, &sds);
    let mut sds = least.at;
    if variances == Variances::Restricted {
        for k in 0..count {
            if sds[k].abs() < NEARLY_ZERO {
                let mut without = sds.clone();
                without[k] = 0.0;
                if deviance(&without) <= least.value + NO_LOSS {
                    sds = without;
                }
            }
        }
    }
    ratios(&sds)
}
