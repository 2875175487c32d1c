//! The handbook's control-chart examples: NIST/SEMATECH e-Handbook of
//! Statistical Methods 6.3.2.4; run lengths as each test names.

use super::{average_run_length, ewma_run_length, weighted_mean};
use crate::stats::distributions::normal;
use crate::stats::published::{column, handbook as result, published};

/// The computed values have nine digits.
const NINE_DIGITS: f64 = 5e-9;

#[test]
fn the_weighted_mean_and_its_limits_are_the_printed_ones() {
    let rows = published("nist_handbook_ewma.csv");
    let chart = weighted_mean(&column(&rows, "y"), 50.0, 2.0539, 0.3, 3.0);
    for (row, got) in rows.iter().zip(&chart.values) {
        row.check("ewma_computed", *got, NINE_DIGITS);
        row.check_printed("ewma_printed", *got);
    }
    // The handbook draws the limits that the chart settles down to: after 20
    // points they are reached to 3e-7 of their distance from the target.
    let reach = chart.limits[19];
    let row = result("ewma_6.3.2.4", "ucl");
    row.check("computed", 50.0 + reach, 2e-8);
    row.check_printed("printed", 50.0 + reach);
    let row = result("ewma_6.3.2.4", "lcl");
    row.check("computed", 50.0 - reach, 2e-8);
    // printed with the last digit cut off
    row.check_printed_unit("printed", 50.0 - reach);
    let out = result("ewma_6.3.2.4", "points_out");
    assert_eq!(out.text("printed"), "none");
    assert!(chart.values.iter().all(|z| (z - 50.0).abs() < reach));
}

/// The table has six decimals on values of 4.9 or more.
const SIX_DECIMALS: f64 = 1e-7;

/// Rules 1 and 4: a point beyond three standard deviations, or eight in a row
/// on one side. The other sets of zone rules are not used.
#[test]
fn beyond_the_limits_or_eight_on_one_side_runs_as_long_as_the_chain_says() {
    let mut checked = 0;
    for row in published("zone_rules_average_run_length.csv") {
        if row.text("rules") != "1 4" {
            continue;
        }
        let shift = row.number("mean_shift_sigma");
        let below = |z: f64| normal::lower(z - shift);
        let got = average_run_length(below(3.0) - below(0.0), below(0.0) - below(-3.0), 8);
        row.check("average_run_length", got, SIX_DECIMALS);
        checked += 1;
    }
    assert_eq!(checked, 4);
}

/// Printed to three figures.
const THREE_FIGURES: f64 = 5e-3;

#[test]
fn the_weighted_mean_runs_as_long_as_the_published_table_says() {
    let rows = published("ewma_average_run_length.csv");
    assert_eq!(rows.len(), 12);
    for row in rows {
        let got = ewma_run_length(
            row.number("weight"),
            row.number("width"),
            row.number("mean_shift_sigma"),
        );
        row.check("average_run_length", got, THREE_FIGURES);
    }
}
