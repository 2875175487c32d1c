//! Run lengths of control-chart rules against an absorbing Markov chain.

use crate::published::published;
use onus::stats::control_chart::{average_run_length, ewma_run_length};
use onus::stats::distributions::normal;

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
