//! The report's chart on the handbook's example of counts: NIST/SEMATECH
//! e-Handbook of Statistical Methods 6.3.3.1.

use crate::published::{CLOSED_FORM, column, handbook as result, published};
use onus::change::control_charts;
use onus::records::{Defect, DefectName, Moment, Panel, Records};
use onus::site::{Analysis, Subgroup};
use statrs::distribution::{DiscreteCDF, Poisson};

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
    let charts = control_charts(&records, &analysis, None, &[]);
    let chart = &charts[0];
    result("counts_chart_6.3.3.1", "center").check(
        "printed",
        chart.centre.expect("25 points carry limits"),
        CLOSED_FORM,
    );
    // no more than 0.00135 beyond either limit; P(X > 28), the printed limit,
    // is 0.0022
    let poisson = Poisson::new(16.0).unwrap();
    assert!(poisson.sf(28) > 0.00135);
    assert!(poisson.sf(29) < 0.00135);
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
    assert!((mean_range(16.0, dispersion) * 24.0 / ranges - 1.0).abs() < 1e-6);
    let wafer = &chart.points[23];
    let (low, high) = wafer.limits.expect("25 points carry limits");
    assert!(low < 5.0 && high > 31.0, "{low} {high}");
    assert_eq!((wafer.defects, wafer.signals.as_slice()), (31, &[][..]));
}

/// E|X − Y| of two negative binomial counts with variance `factor` times the
/// mean, term by term.
fn mean_range(mean: f64, factor: f64) -> f64 {
    let (size, share) = (mean / (factor - 1.0), 1.0 - 1.0 / factor);
    let mut chances = vec![(1.0 - share).powf(size)];
    for k in 0..400 {
        let k = f64::from(k);
        let last = chances[chances.len() - 1];
        chances.push(last * share * (k + size) / (k + 1.0));
    }
    let mut sum = 0.0;
    for (x, p) in chances.iter().enumerate() {
        for (y, q) in chances.iter().enumerate() {
            sum += p * q * (x as f64 - y as f64).abs();
        }
    }
    sum
}
