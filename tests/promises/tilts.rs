//! Tilted heads and warped panels, from marks and from readings: named where
//! they are, never the machine's where they come with the panels, and listed in
//! the order of what they do.

use onus::causes::{Cause, Causes, Finding, Kind, NextCheck, Settings, Side, UNEVEN_REMOVAL, find};
use onus::records::{DefectName, Panel, Point, Records};
use onus::site::DefectClass;
use onus::stats::distributions::binomial;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::shops::files::{csv, report_on};
use crate::shops::{Shop, add_readings, from_machine};

/// Chance of a bound that fails although the promise is kept.
const FAILS_BY_CHANCE: f64 = 1e-4;
const RUNS: u64 = 20;

#[track_caller]
fn at_least(share: f64, seen: u64, runs: u64) {
    let chance = binomial::at_most(seen, runs, share);
    assert!(
        chance >= FAILS_BY_CHANCE,
        "{seen} of {runs}, promised {share}"
    );
}

#[track_caller]
fn at_most(share: f64, seen: u64, runs: u64) {
    let chance = binomial::at_least(seen, runs, share);
    assert!(
        chance >= FAILS_BY_CHANCE,
        "{seen} of {runs}, promised at most {share}"
    );
}

/// Which way a panel gets too much at one place and too little at another.
#[derive(Clone, Copy, PartialEq)]
enum Uneven {
    /// One side of the machine.
    Side,
    /// One corner of the machine.
    Corner,
    /// One corner of the panel.
    OwnCorner,
    /// One side of the panel, another one on every panel.
    Warp,
}

/// Eighty panels, half of them turned, with marks of both classes: too much in
/// the outer quarter of one side or corner, too little across.
fn marked(uneven: Uneven, seed: u64) -> Records {
    let shop = Shop {
        panels: 80,
        lots: 8,
        marks: 0.3,
        ..Shop::default()
    };
    let mut records = shop.records(seed);
    records.defect_names.push(DefectName {
        name: "orange peel".into(),
        class: Some(DefectClass::Under),
    });
    let mut rng = ChaCha8Rng::seed_from_u64(40_000 + seed);
    for panel in 0..records.panels.len() {
        let flipped = rng.random::<bool>();
        for name in [0, 1] {
            let count = rng.random_range(0..4);
            for _ in 0..count {
                let place = place(
                    uneven,
                    (name == 1, flipped),
                    &records.panels[panel],
                    &mut rng,
                );
                records
                    .defects
                    .push(crate::shops::mark_on(panel, name, Some(place)));
            }
        }
    }
    records.defects.sort_by_key(|d| d.panel);
    records
}

fn place(
    uneven: Uneven,
    (under, flipped): (bool, bool),
    panel: &Panel,
    rng: &mut ChaCha8Rng,
) -> Point {
    let mut outer = |high: bool| {
        let share = 0.25 * rng.random::<f64>();
        if high { 1.0 - share } else { share }
    };
    let (x, y) = match uneven {
        Uneven::Side => (outer(!under), f64::NAN),
        Uneven::Corner | Uneven::OwnCorner => (outer(!under), outer(under)),
        Uneven::Warp => (outer(under == flipped), f64::NAN),
    };
    let y = if y.is_nan() { rng.random::<f64>() } else { y };
    let at = Point {
        x: x * panel.length_mm,
        y: y * panel.width_mm,
    };
    match uneven {
        Uneven::Side | Uneven::Corner => from_machine(panel, at),
        Uneven::OwnCorner | Uneven::Warp => at,
    }
}

fn runs(uneven: Uneven, holds: impl Fn(&Causes) -> bool) -> u64 {
    let found = |seed| find(&marked(uneven, seed), &Settings::default());
    (0..RUNS).filter(|&seed| holds(&found(seed))).count() as u64
}

fn accuses(causes: &Causes) -> bool {
    let found = causes.findings.iter().any(|f| f.cause == Cause::Machine);
    found || causes.streams.iter().any(|s| s.cause == Cause::Machine)
}

fn asks(causes: &Causes, check: &NextCheck) -> usize {
    let own = |f: &&Finding| f.cause == Cause::Machine && f.next_check == *check;
    causes.findings.iter().filter(own).count()
}

#[test]
fn a_head_that_leans_is_named_with_the_side_that_takes_more() {
    let check = NextCheck::CheckHeadTilt {
        takes_more: Some(Side::HighX),
    };
    at_least(0.9, runs(Uneven::Side, |c| asks(c, &check) == 2), RUNS);
}

#[test]
fn a_head_that_leans_across_the_diagonal_is_a_tilt_and_no_two_corners() {
    let check = NextCheck::CheckDiagonalTilt {
        takes_more: (Side::HighX, Side::LowY),
    };
    at_least(0.9, runs(Uneven::Corner, |c| asks(c, &check) == 2), RUNS);
}

#[test]
fn what_the_panels_bring_is_never_the_heads() {
    at_most(0.01, runs(Uneven::OwnCorner, accuses), RUNS);
    at_most(0.01, runs(Uneven::Warp, accuses), RUNS);
}

#[test]
fn sides_that_change_from_panel_to_panel_are_the_parts_and_settle_both_streams() {
    let named = |causes: &Causes| {
        let warp = (causes.findings.iter())
            .any(|f| f.kind == Kind::OppositeSides && f.cause == Cause::Part);
        warp && causes.streams.iter().all(|s| s.cause == Cause::Part)
    };
    at_least(0.9, runs(Uneven::Warp, named), RUNS);
}

/// Causes of the findings on readings, in the order of the list; panels' spread
/// and machine's slope in µm per half extent.
fn listed(slope: f64, panel_sd: f64, seed: u64) -> Vec<String> {
    let shop = Shop {
        panels: 60,
        lots: 6,
        marks: 0.3,
        ..Shop::default()
    };
    let mut records = shop.records(seed);
    add_readings(&mut records, 3, 25.0, (slope, 0.0), panel_sd, 0.7, seed);
    let found = report_on(&csv(&records), None);
    let list = found["findings"].as_array().unwrap();
    let at: Vec<usize> = (0..list.len())
        .filter(|&i| list[i]["defect"] == UNEVEN_REMOVAL)
        .collect();
    // What stands on the same readings stands together.
    assert!(at.windows(2).all(|w| w[1] == w[0] + 1), "{list:?}");
    at.iter()
        .map(|&i| list[i]["cause"].as_str().unwrap().to_owned())
        .collect()
}

#[test]
fn tilt_and_warp_are_listed_together_the_larger_share_first() {
    for seed in 0..3 {
        assert_eq!(listed(2.0, 0.3, seed), ["machine"], "tilt alone");
        assert_eq!(listed(0.0, 3.0, seed), ["part"], "warp alone");
        assert_eq!(listed(7.0, 3.0, seed), ["machine", "part"], "mostly tilt");
        assert_eq!(listed(2.5, 3.5, seed), ["part", "machine"], "mostly warp");
    }
}
