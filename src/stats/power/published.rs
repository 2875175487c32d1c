//! Against full enumeration.

use super::{rates_exposure, rates_power};
use crate::stats::published::{CLOSED_FORM, published};

/// Sums over a few hundred totals.
const ENUMERATION: f64 = 1e-10;

#[test]
fn exposure_and_exact_power_for_two_rates_agree_with_full_enumeration() {
    for row in published("power_poisson_rates.csv") {
        let (rate0, rate1, alpha) = (
            row.number("rate0"),
            row.number("rate1"),
            row.number("alpha"),
        );
        let exposure = rates_exposure(rate0, rate1, alpha, row.number("power_target")).unwrap();
        row.check("time_per_group_formula", exposure, CLOSED_FORM);
        let power = rates_power(rate0 * exposure, rate1 * exposure, 0.5, alpha).unwrap();
        row.check(
            "exact_power_of_central_conditional_test_at_that_time",
            power,
            ENUMERATION,
        );
    }
}
