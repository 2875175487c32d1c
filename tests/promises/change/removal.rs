//! Removal before against after, over whole comparisons: the intervals hold the
//! truth as often as they say, nothing is said to have moved where nothing did,
//! and the panels asked for show what they were asked for.

use onus::change::{Measure, RemovalChange, Settings, Spread, compare};
use onus::records::{Panel, Point, Reading, Records};
use onus::stats::distributions::binomial;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;

use crate::change::shop::{ChangeShop, SHOP, old_against_new};
use crate::shops::draws::normal;

/// A share this unlikely at the stated rate fails the promise.
const SURPRISE: f64 = 1e-3;

/// Readings on a panel, and their standard deviation, µm.
const READINGS: usize = 4;
const READING_SD: f64 = 1.5;

/// What sanding removes: 20 µm, in standard deviations of its ln.
#[derive(Debug, Clone, Copy)]
struct Sanding {
    panels: usize,
    a_day: usize,
    lot_sd: f64,
    day_sd: f64,
    day_memory: f64,
    panel_sd: f64,
    /// True ratio after over before: of the mean, and of the panels' spread.
    ratio: f64,
    spread_ratio: f64,
}

const SANDING: Sanding = Sanding {
    panels: 240,
    a_day: 20,
    lot_sd: 0.1,
    day_sd: 0.05,
    day_memory: 0.5,
    panel_sd: 0.08,
    ratio: 1.0,
    spread_ratio: 1.0,
};

impl Sanding {
    fn records(&self, seed: u64) -> Records {
        let shop = ChangeShop {
            panels: self.panels,
            a_day: self.a_day,
            ..SHOP
        };
        let mut records = shop.records(seed);
        let rng = &mut ChaCha8Rng::seed_from_u64(seed ^ 0x5eed);
        let lots: Vec<f64> = (0..1000).map(|_| self.lot_sd * normal(rng)).collect();
        let mut day = normal(rng);
        for k in 0..self.panels {
            if k > 0 && k.is_multiple_of(self.a_day) {
                let fresh = (1.0 - self.day_memory.powi(2)).sqrt();
                day = self.day_memory * day + fresh * normal(rng);
            }
            let panel: &Panel = &records.panels[k];
            let lot: usize = panel.lot.as_deref().unwrap()[4..].parse().unwrap();
            let after = panel.recipe.as_deref() == Some("new");
            let (ratio, spread) = if after {
                (self.ratio, self.spread_ratio)
            } else {
                (1.0, 1.0)
            };
            let ln = lots[lot] + self.day_sd * day + spread * self.panel_sd * normal(rng);
            for reading in 0..READINGS {
                records.readings.push(Reading {
                    panel: k,
                    place: Some(Point {
                        x: 100.0 * (1 + reading) as f64,
                        y: 200.0,
                    }),
                    removed_um: Some(20.0 * ratio * ln.exp() + READING_SD * normal(rng)),
                    film_um: None,
                });
            }
        }
        records
    }

    fn compared(&self, seed: u64) -> Vec<RemovalChange> {
        let changes = compare(
            &self.records(seed),
            &old_against_new(),
            &Settings::default(),
        )
        .unwrap();
        changes.comparisons[0].removal.clone()
    }

    fn measured(&self, measure: Measure, seed: u64) -> RemovalChange {
        let all = self.compared(seed);
        all.into_iter().find(|r| r.measure == measure).unwrap()
    }
}

/// Coverage of every measure, and how often any is said to have moved.
#[derive(Debug, Default, Clone, Copy)]
struct Tally {
    given: [u64; 3],
    held: [u64; 3],
    moved: u64,
}

fn tally(sanding: Sanding, runs: u64, seed: u64) -> Tally {
    let all: Vec<Vec<RemovalChange>> = (0..runs)
        .into_par_iter()
        .map(|run| sanding.compared(seed + run))
        .collect();
    let mut tally = Tally::default();
    for changes in all {
        let moved = |r: &RemovalChange| matches!(r.verdict, Spread::Less | Spread::More);
        tally.moved += u64::from(changes.iter().any(moved));
        for removal in &changes {
            let k = removal.measure as usize;
            let Some(estimate) = removal.estimate else {
                continue;
            };
            let truth = if removal.measure == Measure::Mean {
                sanding.ratio
            } else {
                1.0
            };
            tally.given[k] += 1;
            let ci = estimate.ratio_ci;
            tally.held[k] += u64::from(ci.low <= truth && truth <= ci.high);
        }
    }
    tally
}

/// What days, lots and panels may do.
fn shops() -> Vec<(&'static str, Sanding)> {
    let drifting = Sanding {
        day_sd: 0.1,
        day_memory: 0.8,
        ..SANDING
    };
    vec![
        (
            "calm days",
            Sanding {
                day_sd: 0.0,
                ..SANDING
            },
        ),
        ("days .05/.5", SANDING),
        ("days .1/.8", drifting),
        (
            "days .15/.5",
            Sanding {
                day_sd: 0.15,
                ..SANDING
            },
        ),
        (
            "days .1/.5, 480",
            Sanding {
                panels: 480,
                day_sd: 0.1,
                ..SANDING
            },
        ),
        (
            "days .1/.5, 80",
            Sanding {
                panels: 80,
                day_sd: 0.1,
                ..SANDING
            },
        ),
        (
            "days .1/.5, 60 a day",
            Sanding {
                a_day: 60,
                day_sd: 0.1,
                ..SANDING
            },
        ),
        (
            "a day each",
            Sanding {
                panels: 120,
                a_day: 60,
                day_sd: 0.1,
                ..SANDING
            },
        ),
        (
            "wild lots",
            Sanding {
                lot_sd: 0.3,
                ..SANDING
            },
        ),
        (
            "wild panels",
            Sanding {
                panel_sd: 0.3,
                ..SANDING
            },
        ),
    ]
}

#[test]
fn intervals_of_removal_hold_the_truth_and_nothing_moves_by_itself() {
    for (k, (name, sanding)) in shops().into_iter().enumerate() {
        let tally = tally(sanding, 100, 1000 * (k as u64 + 1));
        for measure in 0..3 {
            let (held, given) = (tally.held[measure], tally.given[measure]);
            assert!(given >= 90, "{name}: {tally:?}");
            assert!(
                binomial::at_most(held, given, 0.95) > SURPRISE,
                "{name}, measure {measure}: {tally:?}"
            );
        }
        assert!(
            binomial::at_least(tally.moved, 100, 0.05) > SURPRISE,
            "{name}: {tally:?}"
        );
    }
}

#[test]
fn a_tenth_less_removal_lies_in_its_interval() {
    let tally = tally(
        Sanding {
            ratio: 0.9,
            ..SANDING
        },
        120,
        21_000,
    );
    assert!(
        binomial::at_most(tally.held[0], tally.given[0], 0.95) > SURPRISE,
        "{tally:?}"
    );
}

/// Half the spread between panels is shown by the panels asked for.
#[test]
fn the_panels_asked_for_show_half_the_spread() {
    let small = Sanding {
        panels: 24,
        a_day: 6,
        lot_sd: 0.0,
        day_sd: 0.0,
        panel_sd: 0.3,
        spread_ratio: 0.5,
        ..SANDING
    };
    let mut asked: Vec<usize> = (0..60)
        .filter_map(|run| small.measured(Measure::BetweenPanels, 31_000 + run).needed)
        .map(|needed| needed.panels)
        .collect();
    assert!(asked.len() >= 10, "asked for in only {} runs", asked.len());
    asked.sort_unstable();
    let panels = asked[asked.len() / 2];
    let runs = 100;
    let large = Sanding { panels, ..small };
    let shown = (0..runs)
        .into_par_iter()
        .filter(|run| large.measured(Measure::BetweenPanels, 32_000 + run).verdict == Spread::Less)
        .count() as u64;
    assert!(
        binomial::at_most(shown, runs, Settings::default().power) > SURPRISE,
        "{panels} panels show it in {shown} of {runs}"
    );
}

/// The table of all shops, for DEVELOPERS.md.
#[test]
#[ignore = "calibration, minutes"]
#[allow(clippy::print_stdout, reason = "the table")]
fn calibration_of_removal_changes() {
    for (k, (name, sanding)) in shops().into_iter().enumerate() {
        let runs = 400;
        let tally = tally(sanding, runs, 100_000 + 10_000 * k as u64);
        let share = |n: u64, of: u64| 100.0 * n as f64 / of.max(1) as f64;
        println!(
            "| {name} | {:.1} % | {:.1} % | {:.1} % | {:.1} % |",
            share(tally.held[0], tally.given[0]),
            share(tally.held[1], tally.given[1]),
            share(tally.held[2], tally.given[2]),
            share(tally.moved, runs)
        );
    }
}
