//! The handbook's control-chart examples: NIST/SEMATECH e-Handbook of
//! Statistical Methods 6.3.2.3, 6.3.2.4, 6.3.3.1, 6.3.3.2.

use crate::comparisons::result;
use crate::published::{CLOSED_FORM, column, published};
use onus::change::control_charts;
use onus::records::{Defect, DefectName, Moment, Panel, Records};
use onus::site::{Analysis, Subgroup};
use onus::stats::control_chart::{
    CountLaw, cumulative_sum, proportion_limits, rate_limits, weighted_mean,
};

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

/// The wafers as days of one square metre. Under single independent marks wafer
/// 24 lies outside the limits of the report's chart too. But neighbouring wafers
/// differ more than that, by moving ranges 1.7 times the variance, and the
/// report allows for it: its limits are wider, and the wafer is no signal.
#[test]
fn the_reports_chart_has_the_handbooks_centre_and_allows_for_its_spread() {
    let counts = column(&published("nist_handbook_counts_chart.csv"), "defects");
    let mut records = Records {
        defect_names: vec![DefectName {
            name: "speck".into(),
            class: None,
        }],
        ..Records::default()
    };
    let start: jiff::civil::DateTime = "2031-03-03T12:00:00".parse().unwrap();
    for (day, count) in counts.iter().enumerate() {
        let local = start + jiff::Span::new().days(day as i64);
        records.panels.push(Panel {
            id: format!("W{day}"),
            sanded_at: Some(Moment {
                instant: jiff::tz::TimeZone::UTC.to_timestamp(local).unwrap(),
                local,
            }),
            length_mm: 1000.0,
            width_mm: 1000.0,
            inspected: true,
            ..Panel::default()
        });
        let defect = Defect {
            panel: day,
            name: 0,
            place: None,
            written: None,
            area_mm2: None,
            severity: None,
        };
        records
            .defects
            .extend(std::iter::repeat_n(defect, *count as usize));
    }
    let analysis = Analysis {
        subgroup: Subgroup::Day,
        ..Analysis::default()
    };
    let charts = control_charts(&records, &analysis, None);
    let chart = &charts[0];
    result("counts_chart_6.3.3.1", "center").check(
        "printed",
        chart.centre.expect("25 points carry limits"),
        CLOSED_FORM,
    );
    // no more than 0.00135 beyond either limit; P(X > 28), the printed limit,
    // is 0.0022
    let single = CountLaw {
        mean: 16.0,
        factor: 1.0,
    };
    assert_eq!(single.limits(0.00135), (5.0, 29.0));
    let dispersion = chart.dispersion.expect("25 points carry limits");
    let mut ranges = 0.0;
    for pair in counts.windows(2) {
        ranges += (pair[1] - pair[0]).abs();
    }
    // variance from the mean moving range over the mean; d2 is that of normal
    // pairs, from which counts of mean 16 are not far
    let constants = published("control_chart_constants.csv");
    let pairs = constants.iter().find(|row| row.count("n") == 2).unwrap();
    let by_hand = (ranges / 24.0 / pairs.number("d2")).powi(2) / 16.0;
    assert!(
        (dispersion / by_hand - 1.0).abs() < 0.03,
        "{dispersion} {by_hand}"
    );
    // exactly that of counts: the mean distance of two negative binomial counts
    let law = CountLaw {
        mean: 16.0,
        factor: dispersion,
    };
    assert!((law.mean_range() * 24.0 / ranges - 1.0).abs() < 1e-6);
    let wafer = &chart.points[23];
    let (low, high) = wafer.limits.expect("25 points carry limits");
    assert!(low < 5.0 && high > 31.0, "{low} {high}");
    assert_eq!((wafer.defects, wafer.signals.as_slice()), (31, &[][..]));
}
