//! A station that records mirrored is a fault of the data: warned of, and
//! nobody is accused of what it makes of the marks.

use onus::causes::{Cause, Settings, find};
use onus::records::{Records, WarningCode};
use onus::stats::distributions::binomial;

use crate::shops::{Owner, Repeater, Shop};

/// Chance of a bound that fails although the promise is kept.
const FAILS_BY_CHANCE: f64 = 1e-4;
const RUNS: u64 = 20;

/// A spot that rides the panels, seen at two stations of which the second
/// counts x from the other end, or does not.
fn records(mirrored: bool, seed: u64) -> Records {
    let shop = Shop {
        panels: 200,
        inspectors: 2,
        marks: 1.0,
        repeaters: vec![Repeater::machine(150.0, 90.0, 0.4).owned_by(Owner::Panel)],
        ..Shop::default()
    };
    let mut records = shop.records(seed);
    for defect in &mut records.defects {
        let panel = &records.panels[defect.panel];
        if mirrored && panel.inspector.as_deref() == Some("I2") {
            let flip = |p: onus::records::Point| onus::records::Point {
                x: panel.length_mm - p.x,
                ..p
            };
            defect.place = defect.place.map(flip);
            defect.written = defect.written.map(flip);
        }
    }
    records
}

/// Reports that warn of a mirrored station, and those that accuse a machine.
fn tally(mirrored: bool) -> (u64, u64) {
    let (mut warned, mut accused) = (0, 0);
    for seed in 0..RUNS {
        let causes = find(&records(mirrored, seed), &Settings::default());
        let doubt = |w: &onus::records::Warning| w.code == WarningCode::StationMirrored;
        warned += u64::from(causes.warnings.iter().any(doubt));
        accused += u64::from(causes.findings.iter().any(|f| f.cause == Cause::Machine));
    }
    (warned, accused)
}

#[test]
fn a_mirrored_station_is_warned_of_and_accuses_nobody() {
    let (warned, accused) = tally(true);
    assert!(
        binomial::at_most(warned, RUNS, 0.9) >= FAILS_BY_CHANCE,
        "{warned} of {RUNS}"
    );
    assert!(
        binomial::at_least(accused, RUNS, 0.01) >= FAILS_BY_CHANCE,
        "{accused} of {RUNS}"
    );
}

#[test]
fn stations_that_agree_are_left_alone() {
    let (warned, accused) = tally(false);
    assert!(
        binomial::at_least(warned + accused, 2 * RUNS, 0.01) >= FAILS_BY_CHANCE,
        "{warned} and {accused} of {RUNS}"
    );
}
