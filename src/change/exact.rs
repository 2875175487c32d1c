//! Exact conditional test and interval of a common rate ratio, for few marks.

use super::items::Item;
use super::matched::groups;
use crate::stats::StatsError;
use crate::stats::stratified::{ExactRateRatio, RateStratum, exact_rate_ratio};

/// Largest number of marks for which the exact sums are formed; above it the
/// model's law is as good.
const MOST_MARKS: f64 = 50.0;

/// Counts by machine, where they are few enough to be judged exactly.
pub(super) fn few(items: &[Item]) -> Option<Vec<RateStratum>> {
    let marks: f64 = items.iter().map(|i| i.value).sum();
    (marks <= MOST_MARKS).then(|| groups(items, |i| Some(i.stream)))
}

/// Twice the smaller tail, so that test and interval agree.
pub(super) fn exact(strata: &[RateStratum], level: f64) -> Result<ExactRateRatio, StatsError> {
    exact_rate_ratio(strata, level)
}

#[cfg(test)]
mod tests {
    use super::super::Side;
    use super::*;

    #[test]
    fn fifty_marks_are_few() {
        let item = |side, value| Item {
            side,
            value,
            ..Item::of_a_day(0)
        };
        let of = |marks| few(&[item(Side::Before, 20.0), item(Side::After, marks - 20.0)]);
        assert!(of(50.0).is_some() && of(51.0).is_none());
    }
}
