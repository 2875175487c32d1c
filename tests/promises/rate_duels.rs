//! Whoever a rate is put down to has beaten every recorded rival: plain causes
//! are named, what only goes with a cause or with the day is not.

use std::collections::BTreeMap;

use onus::causes::{Cause, Settings, find};
use onus::records::{DefectName, Panel, Point, Records};
use onus::site::DefectClass;
use onus::stats::distributions::binomial;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::shops::draws::{normal, poisson};
use crate::shops::panel_at;

/// Chance of a bound that fails although the promise is kept.
const FAILS_BY_CHANCE: f64 = 1e-4;
const RUNS: u64 = 20;
const FEEDS: [f64; 4] = [70.0, 100.0, 140.0, 180.0];

/// Panels of one machine, and the marks that each is to get.
struct Plant {
    rng: ChaCha8Rng,
    per_day: usize,
    panels: Vec<Panel>,
    rate: Vec<f64>,
}

impl Plant {
    fn new(panels: usize, per_day: usize, seed: u64) -> Self {
        let panel = |i: usize| {
            let minute = i % per_day * 14 * 60 / per_day;
            Panel {
                machine: Some("M1".into()),
                ..panel_at(i, (i / per_day, minute), (600.0, 400.0))
            }
        };
        Self {
            rng: ChaCha8Rng::seed_from_u64(seed),
            per_day,
            rate: vec![1.0; panels],
            panels: (0..panels).map(panel).collect(),
        }
    }

    /// Lots of so many panels in order; they do nothing.
    fn lots(mut self, each: usize) -> Self {
        for (i, panel) in self.panels.iter_mut().enumerate() {
            panel.lot = Some(format!("L{:02}", i / each).into());
        }
        self
    }

    /// Days differ by themselves.
    fn days_unlike(mut self) -> Self {
        let mut of_day: BTreeMap<usize, f64> = BTreeMap::new();
        for i in 0..self.panels.len() {
            let rng = &mut self.rng;
            let day = of_day.entry(i / self.per_day);
            self.rate[i] *= *day.or_insert_with(|| f64::exp(0.6 * normal(rng)));
        }
        self
    }

    /// Draws one of `count` for every stretch of `each` panels and deals it out.
    fn dealt(mut self, each: usize, count: usize, deal: fn(&mut Panel, &mut f64, usize)) -> Self {
        let mut now = 0;
        for i in 0..self.panels.len() {
            if i % each == 0 {
                now = self.rng.random_range(0..count);
            }
            deal(&mut self.panels[i], &mut self.rate[i], now);
        }
        self
    }

    /// What the position in the order says.
    fn ordered(mut self, deal: fn(usize, &mut Panel, &mut f64)) -> Self {
        for (i, (panel, rate)) in self.panels.iter_mut().zip(&mut self.rate).enumerate() {
            deal(i, panel, rate);
        }
        self
    }

    /// Marks anywhere on the panels, so many on one of rate 1.
    fn marked(mut self, marks: f64) -> Records {
        let mut defects = Vec::new();
        for (panel, rate) in self.rate.iter().enumerate() {
            for _ in 0..poisson(marks * rate, &mut self.rng) {
                let place = Some(Point {
                    x: 600.0 * self.rng.random::<f64>(),
                    y: 400.0 * self.rng.random::<f64>(),
                });
                defects.push(crate::shops::mark_on(panel, 0, place));
            }
        }
        Records {
            panels: self.panels,
            defects,
            defect_names: vec![DefectName {
                name: "orange peel".into(),
                class: Some(DefectClass::Under),
            }],
            ..Records::default()
        }
    }
}

/// In how many of the runs a report names each cause.
fn named(make: fn(u64) -> Records) -> BTreeMap<Cause, u64> {
    let mut out = BTreeMap::new();
    for seed in 0..RUNS {
        let causes = find(&make(7000 + seed), &Settings::default());
        let mut own: Vec<Cause> = causes.findings.iter().map(|f| f.cause).collect();
        own.sort_unstable();
        own.dedup();
        for cause in own.into_iter().filter(|c| *c != Cause::Undecided) {
            *out.entry(cause).or_default() += 1;
        }
    }
    out
}

fn inspector(panel: &mut Panel, now: usize) {
    panel.inspector = Some(["A", "B"][now].into());
}

#[test]
fn a_plain_cause_of_a_rate_is_named() {
    type Case = (&'static str, Cause, fn(u64) -> Records);
    let cases: [Case; 4] = [
        ("feed by panel", Cause::Recipe, |seed| {
            Plant::new(120, 24, seed)
                .lots(12)
                .dealt(1, 4, |panel, rate, now| {
                    panel.feed_mm_s = Some(FEEDS[now]);
                    *rate *= (FEEDS[now] / 110.0).powf(1.4);
                })
                .marked(1.2)
        }),
        ("one lot of eight that come back", Cause::Part, |seed| {
            Plant::new(160, 40, seed)
                .ordered(|i, panel, rate| {
                    panel.lot = Some(format!("L{}", i / 8 % 8).into());
                    *rate *= if i / 8 % 8 == 3 { 4.0 } else { 1.0 };
                })
                .marked(1.0)
        }),
        ("one fixture of four", Cause::Machine, |seed| {
            Plant::new(160, 20, seed)
                .lots(20)
                .dealt(1, 4, |panel, rate, now| {
                    panel.fixture = Some(format!("F{now}").into());
                    *rate *= if now == 2 { 4.0 } else { 1.0 };
                })
                .marked(0.6)
        }),
        ("an inspector", Cause::Inspection, |seed| {
            Plant::new(200, 20, seed)
                .lots(20)
                .dealt(5, 2, |panel, rate, now| {
                    inspector(panel, now);
                    *rate *= if now == 1 { 2.5 } else { 1.0 };
                })
                .marked(1.0)
        }),
    ];
    for (name, cause, make) in cases {
        let found = named(make);
        let right = found.get(&cause).copied().unwrap_or(0);
        assert!(
            binomial::at_most(right, RUNS, 0.9) >= FAILS_BY_CHANCE,
            "{name}: {found:?} of {RUNS}"
        );
    }
}

#[test]
fn what_only_goes_with_the_cause_is_not_named() {
    type Case = (&'static str, fn(u64) -> Records);
    let cases: [Case; 6] = [
        ("days unlike, inspector and lots by day", |seed| {
            Plant::new(240, 20, seed)
                .lots(15)
                .days_unlike()
                .dealt(20, 2, |panel, _, now| inspector(panel, now))
                .marked(1.2)
        }),
        ("days unlike, feed by day", |seed| {
            Plant::new(240, 20, seed)
                .lots(20)
                .days_unlike()
                .dealt(20, 4, |panel, _, now| panel.feed_mm_s = Some(FEEDS[now]))
                .marked(1.2)
        }),
        ("a recipe of its own for each part", |seed| {
            Plant::new(160, 20, seed)
                .lots(8)
                .dealt(8, 2, |panel, rate, now| {
                    panel.part = Some(["A", "B"][now].into());
                    panel.recipe = Some(["R1", "R2"][now].into());
                    *rate *= if now == 1 { 3.0 } else { 1.0 };
                })
                .marked(1.0)
        }),
        ("a fresh disc for each pallet", |seed| {
            Plant::new(160, 20, seed)
                .lots(10)
                .ordered(|i, panel, rate| {
                    panel.abrasive_id = Some(format!("D{}", i / 10).into());
                    panel.abrasive_age = Some((i % 10) as f64);
                    *rate *= if i / 10 % 5 == 2 { 4.0 } else { 1.0 };
                })
                .marked(1.0)
        }),
        ("first of the day, a fresh disc each morning", |seed| {
            Plant::new(240, 24, seed)
                .ordered(|i, panel, rate| {
                    panel.abrasive_age = Some((i % 24) as f64);
                    *rate *= if i % 24 < 5 { 4.0 } else { 1.0 };
                })
                .marked(0.6)
        }),
        ("a slow drift, all set anew in mid-week", |seed| {
            Plant::new(120, 24, seed)
                .lots(12)
                .ordered(|i, panel, rate| {
                    panel.feed_mm_s = Some(FEEDS[1 + i / 60]);
                    panel.supplier = Some(["S1", "S2"][i / 60].into());
                    inspector(panel, i / 60);
                    *rate *= 1.0 + i as f64 / 40.0;
                })
                .marked(1.0)
        }),
    ];
    let mut all: BTreeMap<Cause, u64> = BTreeMap::new();
    for (name, make) in cases {
        let found = named(make);
        for (cause, count) in &found {
            assert!(
                binomial::at_least(*count, RUNS, 0.01) >= FAILS_BY_CHANCE,
                "{name}: {found:?} of {RUNS}"
            );
            *all.entry(*cause).or_default() += count;
        }
    }
    for (cause, count) in all {
        let runs = RUNS * cases.len() as u64;
        assert!(
            binomial::at_least(count, runs, 0.01) >= FAILS_BY_CHANCE,
            "{cause:?}: {count} of {runs}"
        );
    }
}
