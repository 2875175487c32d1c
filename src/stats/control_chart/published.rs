//! The handbook's control-chart examples: NIST/SEMATECH e-Handbook of
//! Statistical Methods 6.3.2.3, 6.3.2.4, 6.3.3.1, 6.3.3.2.

use super::{
    average_run_length, cumulative_sum, ewma_run_length, proportion_limits, rate_limits,
    weighted_mean,
};
use crate::stats::distributions::normal;
use crate::stats::published::{CLOSED_FORM, column, handbook as result, published};

/// The computed values have nine digits.
const NINE_DIGITS: f64 = 5e-9;

/// Positions counted from 1, in a cell as "15 23".
fn positions(outside: impl Iterator<Item = bool>) -> String {
    let numbers: Vec<String> = outside
        .enumerate()
        .filter(|(_, out)| *out)
        .map(|(k, _)| (k + 1).to_string())
        .collect();
    numbers.join(" ")
}

#[test]
fn the_counts_chart_has_the_printed_limits() {
    let counts = column(&published("nist_handbook_counts_chart.csv"), "defects");
    let mean = counts.iter().sum::<f64>() / counts.len() as f64;
    let chart = rate_limits(mean, 1.0, 3.0).unwrap();
    for (quantity, value) in [
        ("center", chart.centre),
        ("ucl", chart.upper),
        ("lcl", chart.lower),
    ] {
        let row = result("counts_chart_6.3.3.1", quantity);
        row.check("computed", value, CLOSED_FORM);
        row.check_printed("printed", value);
    }
    let out = positions(counts.iter().map(|c| *c > chart.upper || *c < chart.lower));
    assert_eq!(
        result("counts_chart_6.3.3.1", "points_out_1_based").text("printed"),
        out
    );
}

#[test]
fn the_proportions_chart_has_the_printed_limits() {
    let rows = published("nist_handbook_proportions_chart.csv");
    let (bad, size) = (column(&rows, "defective"), column(&rows, "n"));
    let share = bad.iter().sum::<f64>() / size.iter().sum::<f64>();
    let chart = proportion_limits(share, size[0], 3.0).unwrap();
    for (quantity, value) in [
        ("center", chart.centre),
        ("ucl", chart.upper),
        ("lcl", chart.lower),
    ] {
        let row = result("proportions_chart_6.3.3.2", quantity);
        row.check("computed", value, NINE_DIGITS);
        if quantity != "ucl" {
            row.check_printed("printed", value);
        }
    }
    // two copies of the page print .4102, one .4103
    assert_eq!(format!("{:.4}", chart.upper), "0.4102");
    let out = positions(bad.iter().zip(&size).map(|(bad, size)| {
        let share = bad / size;
        share > chart.upper || share < chart.lower
    }));
    assert_eq!(
        result("proportions_chart_6.3.3.2", "points_out_1_based").text("printed"),
        out
    );
}

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

#[test]
fn the_cumulative_sums_are_the_printed_ones() {
    let rows = published("nist_handbook_cusum.csv");
    let chart = cumulative_sum(&column(&rows, "x"), 325.0, 0.3175, 4.1959);
    for ((row, high), low) in rows.iter().zip(&chart.high).zip(&chart.low) {
        // differences of values near 325
        row.check_within("s_hi_computed", *high, 1e-10);
        row.check_within("s_lo_computed", *low, 1e-10);
        row.check_printed("s_hi_printed", *high);
        row.check_printed("s_lo_printed", *low);
    }
    let first = chart.first_signal.expect("a sum leaves its limit") as f64 + 1.0;
    result("cusum_6.3.2.3", "first_signal").check("printed", first, 0.0);
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
        let below = |z: f64| normal::tails(z - shift).lower();
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
