//! What comes round every k-th panel, also where a nest is skipped now and then
//! and nothing records it.

use onus::causes::{Causes, Kind, Period, Settings, find};
use onus::records::{Point, Records};
use onus::stats::distributions::binomial;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::shops::{Shop, from_machine};

/// Chance of a bound that fails although the promise is kept.
const FAILS_BY_CHANCE: f64 = 1e-4;
const RUNS: u64 = 20;
const PANELS: usize = 240;

/// A machine spot on three of four panels of one nest in `nests`; a nest is
/// skipped with chance `slips` a panel. With `nests` 1 it comes on a fifth of
/// all panels at random.
fn records(nests: usize, slips: f64, seed: u64) -> Records {
    let shop = Shop {
        panels: PANELS,
        lots: 12,
        marks: 0.5,
        ..Shop::default()
    };
    let mut records = shop.records(seed);
    let mut rng = ChaCha8Rng::seed_from_u64(60_000 + seed);
    let mut nest = 0;
    for panel in 0..PANELS {
        nest += 1 + usize::from(rng.random::<f64>() < slips);
        let share = if nests == 1 { 0.2 } else { 0.75 };
        if !nest.is_multiple_of(nests) || rng.random::<f64>() >= share {
            continue;
        }
        let mut near = |v: f64| v + 6.0 * (rng.random::<f64>() - 0.5);
        let at = Point {
            x: near(210.0),
            y: near(130.0),
        };
        let place = Some(from_machine(&records.panels[panel], at));
        records.defects.push(crate::shops::mark_on(panel, 0, place));
    }
    records.defects.sort_by_key(|d| d.panel);
    records
}

/// The period that the report names, if any.
fn period(causes: &Causes) -> Option<usize> {
    causes
        .findings
        .iter()
        .find_map(|f| match f.evidence.period {
            Some(Period::EveryKth { every, .. }) if f.kind == Kind::Periodic => Some(every),
            _ => None,
        })
}

fn count(nests: usize, slips: f64, holds: impl Fn(Option<usize>) -> bool) -> u64 {
    let found = |seed| period(&find(&records(nests, slips, seed), &Settings::default()));
    (0..RUNS).filter(|&seed| holds(found(seed))).count() as u64
}

#[test]
fn every_kth_panel_is_named_with_its_period() {
    for nests in [4, 6] {
        let named = count(nests, 0.0, |p| p == Some(nests));
        assert!(
            binomial::at_most(named, RUNS, 0.95) >= FAILS_BY_CHANCE,
            "{named} of {RUNS} at {nests}"
        );
    }
}

#[test]
fn a_nest_skipped_now_and_then_does_not_hide_the_period() {
    let named = count(5, 0.02, |p| p == Some(5));
    assert!(
        binomial::at_most(named, RUNS, 0.9) >= FAILS_BY_CHANCE,
        "{named} of {RUNS}"
    );
}

#[test]
fn a_repeat_without_a_period_is_given_none() {
    let named = count(1, 0.0, |p| p.is_some());
    // Two tests at 1 % each.
    assert!(
        binomial::at_least(named, RUNS, 0.02) >= FAILS_BY_CHANCE,
        "{named} of {RUNS}"
    );
}
