//! Uneven removal: coverage of the intervals and false machine tilts, over
//! panels whose own tilt is many times the machine's or none, lots that share a
//! tilt, few lots, few panels, few points.

use std::sync::Arc;

use onus::causes::{Surface, SurfaceCause, surfaces};
use onus::records::{Lay, Panel, Point, Reading, Records};
use onus::stats::Interval;
use onus::stats::distributions::binomial;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::shops::draws::normal;

/// How panels lay.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Laid {
    /// All alike.
    Alike,
    /// Each by 0 or 180 degrees at random.
    HalfTurns,
    /// Each by any quarter turn at random.
    QuarterTurns,
    /// Every other lot turned as a whole.
    LotsTurned,
    /// The last few panels turned.
    LastTurned(usize),
}

/// Why slopes may differ from panel to panel though no panel is warped.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Moved {
    /// They do not.
    Never,
    /// The head leans the other way from the middle of the run on.
    Halfway,
    /// Two heads that nobody wrote down take panels in turns.
    TwoHeads,
    /// Panels are turned at random and nobody wrote it down.
    TurnedUnwritten,
    /// One nest leans one way, the other the other way; written down.
    TwoNests,
    /// One of two inspectors holds the gauge askew along the panel; written down.
    Gauge,
}

/// A simulated machine. µm per half extent for slopes, µm for the rest.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Setting {
    pub(super) panels: usize,
    /// Points: 5 = corners and middle, otherwise a square grid.
    pub(super) points: usize,
    pub(super) laid: Laid,
    pub(super) machine: f64,
    pub(super) panel_sd: f64,
    /// Lots; 0 = not recorded.
    pub(super) lots: usize,
    pub(super) lot_sd: f64,
    /// Taper of all panels along their length.
    pub(super) taper: f64,
    /// Machines, each with as many panels.
    pub(super) machines: usize,
    /// What else moves slopes, by `machine`.
    pub(super) moved: Moved,
}

pub(super) const PLAIN: Setting = Setting {
    panels: 20,
    points: 9,
    laid: Laid::Alike,
    machine: 0.4,
    panel_sd: 0.0,
    lots: 0,
    lot_sd: 0.0,
    taper: 0.0,
    machines: 1,
    moved: Moved::Never,
};

const GAUGE: f64 = 1.0;

fn points(count: usize) -> Vec<(f64, f64)> {
    if count == 5 {
        return vec![
            (-0.9, -0.9),
            (0.9, -0.9),
            (0.0, 0.0),
            (-0.9, 0.9),
            (0.9, 0.9),
        ];
    }
    let side = (1..).find(|s| s * s >= count).unwrap();
    let at = |k: usize| -0.9 + 1.8 * k as f64 / (side - 1) as f64;
    (0..count).map(|j| (at(j % side), at(j / side))).collect()
}

impl Setting {
    fn lay(&self, i: usize, lot: usize, rng: &mut ChaCha8Rng) -> Lay {
        let turned = match self.laid {
            Laid::Alike => false,
            Laid::HalfTurns => rng.random::<bool>(),
            Laid::QuarterTurns => {
                return [Lay::Deg0, Lay::Deg90, Lay::Deg180, Lay::Deg270][rng.random_range(0..4)];
            }
            Laid::LotsTurned => lot % 2 == 1,
            Laid::LastTurned(last) => i + last >= self.panels,
        };
        if turned { Lay::Deg180 } else { Lay::Deg0 }
    }

    fn records(&self, rng: &mut ChaCha8Rng) -> Records {
        let mut records = Records::default();
        let points = points(self.points);
        for machine in 0..self.machines {
            self.add_machine(machine, &mut records, &points, rng);
        }
        records
    }

    fn add_machine(
        &self,
        machine: usize,
        records: &mut Records,
        points: &[(f64, f64)],
        rng: &mut ChaCha8Rng,
    ) {
        let lot_tilts: Vec<(f64, f64)> = (0..self.lots.max(1))
            .map(|_| (self.lot_sd * normal(rng), self.lot_sd * normal(rng)))
            .collect();
        for i in 0..self.panels {
            let lot = i * self.lots.max(1) / self.panels;
            let lay = self.lay(i, lot, rng);
            let other = match self.moved {
                Moved::Never => false,
                Moved::Halfway => 2 * i >= self.panels,
                Moved::TurnedUnwritten => rng.random::<bool>(),
                _ => i % 2 == 1,
            };
            let level = |of: Moved, name: &str| {
                (self.moved == of).then(|| Arc::from(format!("{name}{}", u8::from(other))))
            };
            let panel = Panel {
                fixture: level(Moved::TwoNests, "N"),
                inspector: level(Moved::Gauge, "I"),
                id: format!("M{machine}-{i:04}"),
                machine: Some(Arc::from(format!("M{machine}"))),
                lot: (self.lots > 0).then(|| Arc::from(format!("L{lot}"))),
                length_mm: 600.0,
                width_mm: 400.0,
                lay,
                lay_recorded: self.moved != Moved::TurnedUnwritten,
                ..Panel::default()
            };
            let own = (
                lot_tilts[lot].0 + self.panel_sd * normal(rng),
                lot_tilts[lot].1 + self.panel_sd * normal(rng),
            );
            let index = records.panels.len();
            for &(p, q) in points {
                let place = Point {
                    x: 300.0 * (1.0 + p),
                    y: 200.0 * (1.0 + q),
                };
                let at = panel.to_machine(place);
                let rect = panel.machine_rect();
                let u = 2.0 * at.x / rect.width() - 1.0;
                let (lean, askew) = match (self.moved, other) {
                    (Moved::Never, _) => (self.machine, 0.0),
                    (Moved::Gauge, other) => (0.0, if other { self.machine } else { 0.0 }),
                    (_, other) => (if other { -self.machine } else { self.machine }, 0.0),
                };
                let removed = 20.0
                    + lean * u
                    + (self.taper + askew + own.0) * p
                    + own.1 * q
                    + GAUGE * normal(rng);
                records.readings.push(Reading {
                    panel: index,
                    place: Some(place),
                    removed_um: Some(removed),
                    film_um: None,
                });
            }
            records.panels.push(panel);
        }
    }

    pub(super) fn run(&self, runs: usize, alpha: f64, seed: u64) -> Tally {
        let mut tally = Tally::default();
        for run in 0..runs {
            let mut rng = ChaCha8Rng::seed_from_u64(seed);
            rng.set_stream(run as u64);
            let found = surfaces(&self.records(&mut rng), alpha);
            tally.add(self, &found);
        }
        tally
    }
}

/// What a number of reports gave.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Tally {
    pub(super) runs: u64,
    /// Intervals that hold the truth, first machine.
    pub(super) slope: u64,
    pub(super) spread: u64,
    pub(super) gauge: u64,
    /// Reports that name a machine's tilt, the parts, even removal.
    pub(super) machine: u64,
    pub(super) part: u64,
    pub(super) even: u64,
}

impl Tally {
    fn add(&mut self, setting: &Setting, found: &[Surface]) {
        let holds = |ci: Option<Interval>, truth: f64| {
            u64::from(ci.is_some_and(|ci| ci.low <= truth && truth <= ci.high))
        };
        let named = |cause: SurfaceCause| u64::from(found.iter().any(|s| s.cause == cause));
        let shared = if setting.laid == Laid::Alike {
            setting.machine + setting.taper
        } else {
            setting.machine
        };
        let surface = &found[0];
        self.runs += 1;
        self.slope += holds(surface.slope_x.machine_ci, shared);
        self.spread += holds(
            surface.slope_x.part_sd_ci,
            setting.panel_sd.hypot(setting.lot_sd),
        );
        self.gauge += holds(surface.gauge_sd_ci, GAUGE);
        self.machine += named(SurfaceCause::Machine);
        self.part += named(SurfaceCause::Part);
        self.even += named(SurfaceCause::None);
    }
}

/// Chance of a bound that fails although the promise is kept.
const FAILS_BY_CHANCE: f64 = 1e-4;

/// Coverage is not below nominal, beyond Monte Carlo error, and not so far
/// above it that the interval says nothing.
fn assert_covers(what: &str, held: u64, runs: u64) {
    const NOMINAL: f64 = 0.95;
    /// The wider of two intervals holds more often than either.
    const CAUTIOUS: f64 = 0.99;
    assert!(
        binomial::at_most(held, runs, NOMINAL) >= FAILS_BY_CHANCE,
        "{what}: only {held} of {runs}"
    );
    assert!(
        binomial::at_least(held, runs, CAUTIOUS) >= FAILS_BY_CHANCE,
        "{what}: {held} of {runs}"
    );
}

#[test]
fn intervals_hold_the_truth_as_often_as_they_say() {
    let sizes = [
        (8, 5, 600),
        (8, 25, 300),
        (20, 9, 300),
        (100, 5, 100),
        (400, 9, 40),
    ];
    let lots = [(0, 0.0), (3, 3.0), (10, 3.0)];
    let mut seed = 1;
    for laid in [Laid::Alike, Laid::HalfTurns, Laid::QuarterTurns] {
        for (lots, lot_sd) in lots {
            for (panels, points, runs) in sizes {
                let panel_sd = if seed % 2 == 0 { 4.0 } else { 0.0 };
                seed += 1;
                if lots > panels {
                    continue;
                }
                let setting = Setting {
                    panels,
                    points,
                    laid,
                    panel_sd,
                    lots,
                    lot_sd,
                    ..PLAIN
                };
                let tally = setting.run(runs, 0.01, seed);
                assert_covers(&format!("slope of {setting:?}"), tally.slope, tally.runs);
                assert_covers(&format!("gauge of {setting:?}"), tally.gauge, tally.runs);
                if panel_sd + lot_sd > 0.0 {
                    assert_covers(&format!("spread of {setting:?}"), tally.spread, tally.runs);
                }
            }
        }
    }
}

/// Nothing here is the machine's: tapers that all panels bring, tilts many times
/// the gauge, lots that share one, lots turned as a whole, a few turned panels,
/// four machines in one report. At most the report's level of all reports may
/// name a machine.
#[test]
fn no_more_reports_than_the_level_accuse_a_machine_without_tilt() {
    let honest = Setting {
        machine: 0.0,
        taper: 1.0,
        panel_sd: 2.0,
        ..PLAIN
    };
    let lots = Setting {
        lots: 6,
        lot_sd: 4.0,
        ..honest
    };
    let settings = [
        Setting {
            laid: Laid::Alike,
            ..honest
        },
        Setting {
            laid: Laid::HalfTurns,
            panels: 8,
            points: 5,
            ..honest
        },
        Setting {
            laid: Laid::HalfTurns,
            panel_sd: 0.0,
            ..honest
        },
        Setting {
            laid: Laid::QuarterTurns,
            panels: 12,
            ..honest
        },
        Setting {
            laid: Laid::HalfTurns,
            ..lots
        },
        Setting {
            laid: Laid::LotsTurned,
            panels: 36,
            ..lots
        },
        Setting {
            laid: Laid::LotsTurned,
            panels: 16,
            lots: 4,
            ..lots
        },
        Setting {
            laid: Laid::LotsTurned,
            panels: 16,
            lots: 2,
            ..lots
        },
        Setting {
            laid: Laid::LastTurned(1),
            panels: 30,
            ..honest
        },
        Setting {
            laid: Laid::LastTurned(2),
            panels: 30,
            ..honest
        },
        Setting {
            laid: Laid::LastTurned(5),
            panels: 30,
            ..lots
        },
        Setting {
            laid: Laid::HalfTurns,
            machines: 4,
            panels: 10,
            ..honest
        },
    ];
    for alpha in [0.05, 0.01] {
        let (mut accused, mut reports) = (0, 0);
        for (seed, setting) in settings.iter().enumerate() {
            let tally = setting.run(150, alpha, 100 + seed as u64);
            accused += tally.machine;
            reports += tally.runs;
        }
        assert!(
            binomial::at_least(accused, reports, alpha) >= FAILS_BY_CHANCE,
            "{accused} of {reports} at {alpha}"
        );
    }
}

#[test]
fn a_real_tilt_is_named_where_panels_were_turned_and_undecided_where_not() {
    let tilted = Setting {
        machine: 1.3,
        panel_sd: 1.0,
        panels: 40,
        ..PLAIN
    };
    let turned = Setting {
        laid: Laid::HalfTurns,
        lots: 4,
        lot_sd: 2.0,
        ..tilted
    };
    let tally = turned.run(100, 0.01, 7);
    assert!(tally.machine >= 95, "{tally:?}");
    let alike = tilted.run(100, 0.01, 8);
    assert_eq!((alike.machine, alike.even), (0, 0));
}

#[test]
fn warp_is_the_parts_and_even_removal_is_nobodys() {
    let warped = Setting {
        machine: 0.0,
        panel_sd: 3.0,
        ..PLAIN
    };
    let tally = warped.run(100, 0.01, 9);
    assert!(tally.part >= 95 && tally.machine == 0, "{tally:?}");
    let even = Setting {
        machine: 0.0,
        ..PLAIN
    };
    let tally = even.run(200, 0.01, 10);
    assert!(tally.even >= 190 && tally.machine == 0, "{tally:?}");
}

#[test]
fn a_lean_that_somebody_moved_is_never_the_panels() {
    for moved in [
        Moved::Halfway,
        Moved::TwoHeads,
        Moved::TurnedUnwritten,
        Moved::TwoNests,
        Moved::Gauge,
    ] {
        for panels in [40, 120] {
            let laid = if moved == Moved::TurnedUnwritten {
                Laid::Alike
            } else {
                Laid::HalfTurns
            };
            let setting = Setting {
                panels,
                laid,
                machine: 3.0,
                lots: 8,
                moved,
                ..PLAIN
            };
            let tally = setting.run(60, 0.01, 4_711);
            let bound = binomial::at_least(tally.part, tally.runs, 0.01);
            assert!(bound >= FAILS_BY_CHANCE, "{moved:?}, {panels}: {tally:?}");
            let named = binomial::at_least(tally.machine, tally.runs, 0.01);
            assert!(named >= FAILS_BY_CHANCE, "{moved:?}, {panels}: {tally:?}");
        }
    }
}
