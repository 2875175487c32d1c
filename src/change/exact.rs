//! Exact conditional test and interval of a common rate ratio over strata.

use super::strata::Cell;
use crate::stats::StatsError;
use crate::stats::stratified::{Count, ExactRateRatio, RateStratum, exact_rate_ratio};

/// Largest number of defects for which the exact sums are formed; above it the
/// score interval is as good.
pub(super) const MOST_DEFECTS: f64 = 100.0;

/// Twice the smaller tail, so that test and interval agree.
pub(super) fn exact(cells: &[Cell], level: f64) -> Result<ExactRateRatio, StatsError> {
    let strata: Vec<RateStratum> = cells
        .iter()
        .map(|cell| RateStratum {
            before: Count {
                events: cell.before.sum.round() as u64,
                exposure: cell.before.exposure,
            },
            after: Count {
                events: cell.after.sum.round() as u64,
                exposure: cell.after.exposure,
            },
        })
        .collect();
    exact_rate_ratio(&strata, level)
}
