//! A station that records mirrored is a fault of the data: warned of, and
//! nobody is accused of what it makes of the marks.

use onus::causes::{Cause, NextCheck, Settings, find};
use onus::records::{Records, WarningCode};
use onus::stats::distributions::binomial;

use crate::shops::{Owner, Repeater, Shop};

/// Chance of a bound that fails although the promise is kept.
const FAILS_BY_CHANCE: f64 = 1e-4;
const RUNS: u64 = 20;

/// A spot of `owner`, and one more in the middle of the length if that is the
/// machine, seen at two stations of which the second counts x from the other
/// end, or does not.
fn records(owner: Owner, mirrored: bool, seed: u64) -> Records {
    let shop = Shop {
        panels: 200,
        inspectors: 2,
        marks: 1.0,
        repeaters: std::iter::once(Repeater::machine(150.0, 90.0, 0.4))
            .chain((owner == Owner::Machine).then(|| Repeater::machine(300.0, 120.0, 0.4)))
            .map(|repeater| repeater.owned_by(owner))
            .collect(),
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
        let causes = find(&records(Owner::Panel, mirrored, seed), &Settings::default());
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

/// A machine's spot in the middle of the length, where a mirrored station puts it
/// too, beside one that shows which station is mirrored.
#[test]
fn a_machine_is_held_back_while_a_station_that_saw_it_is_in_doubt() {
    let station = NextCheck::CheckStation {
        inspector: "I2".into(),
    };
    let (mut named, mut asked) = (0, 0);
    for seed in 0..RUNS {
        let honest = find(&records(Owner::Machine, false, seed), &Settings::default());
        named += usize::from(honest.findings.iter().any(|f| f.cause == Cause::Machine));
        let records = records(Owner::Machine, true, seed);
        let causes = find(&records, &Settings::default());
        let warned = causes
            .warnings
            .iter()
            .any(|w| w.code == WarningCode::StationMirrored);
        for finding in causes.findings {
            let seen_there = finding
                .evidence
                .hits
                .iter()
                .any(|hit| records.panels[hit.panel].inspector.as_deref() == Some("I2"));
            assert!(
                !(warned && seen_there && finding.cause == Cause::Machine),
                "{finding:?}"
            );
            asked += usize::from(finding.next_check == station);
        }
    }
    // with stations that agree the place is the machine's
    assert!(
        named >= 15 && asked >= 10,
        "{named} named, {asked} held back"
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
