//! Bars of one pitch: none where there are none, found where they are, with an
//! interval that holds the pitch, and laid to the machine only where the feed, a
//! turn or their places tell.

use std::sync::Arc;

use onus::causes::{Bars, Cause, Finding, Kind, LineAxis, Settings, find, find_bars};
use onus::records::{DefectName, Lay, Panel, Point, Records};
use onus::stats::binomial_tail;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};

use crate::made_streams::{BarPhase, Ground, Made, Planted};
use crate::scan::{ONE_STREAM, honest, places};

fn bars(made: &Made, seed: u64) -> Vec<Bars> {
    let view = made.view(seed);
    let found = places(&view);
    find_bars(&view, &found, &vec![None; made.panels], &ONE_STREAM)
}

/// At most 1 % of streams may show bars: the count must not be one that a true
/// rate of 1 % reaches less than once in twenty.
fn assert_rare(alarms: usize, runs: u64) {
    let tail = binomial_tail(runs as usize, 0.01, alarms);
    assert!(tail > 0.05, "{alarms} of {runs}");
}

#[test]
fn streams_without_a_repeat_have_no_bars() {
    let runs = 200;
    let any = |seed: &u64| !bars(&honest(*seed), seed + 3000).is_empty();
    assert_rare((0..runs).filter(any).count(), runs);
}

/// Several places or lines are no bars unless they are equally spaced.
#[test]
fn places_and_lines_are_not_bars() {
    let places = [100.0, 150.0, 290.0, 333.0, 480.0];
    let spot = |share| {
        places
            .map(|x| {
                (
                    Planted::Spot {
                        x,
                        y: 200.0,
                        sd: 2.5,
                    },
                    share,
                )
            })
            .to_vec()
    };
    let lines = |share| {
        places
            .map(|x| (Planted::LineAlongY { x, sd: 2.5 }, share))
            .to_vec()
    };
    let planted = [spot(0.5), spot(0.06), lines(0.3), lines(0.06)];
    let runs = 80;
    let any = |seed: &u64| {
        let made = Made {
            planted: planted[(seed % 4) as usize].clone(),
            panels: [60, 200][(seed / 4 % 2) as usize],
            ..Made::default()
        };
        !bars(&made, seed + 5000).is_empty()
    };
    assert_rare((0..runs).filter(any).count(), runs);
}

/// 100 panels, half of which show six marks on bars 40 mm apart, among two
/// ordinary marks a panel: nine in ten are found with the right pitch, whether the
/// phase is the same on all panels or not, and nineteen in twenty intervals hold
/// it (exact binomial, 5 %).
#[test]
fn bars_are_found_with_their_pitch() {
    let (mut found, mut inside) = (0, 0);
    let runs = 40;
    for seed in 0..runs {
        let phase = [BarPhase::Slips, BarPhase::Fixed][(seed % 2) as usize];
        let planted = Planted::Bars {
            pitch: 40.0,
            sd: 1.5,
            marks: 6.0,
            phase,
        };
        let made = Made {
            ground: Ground::Edges {
                share: 0.7,
                mean_mm: 15.0,
                left: 1.0,
            },
            planted: vec![(planted, 0.5)],
            ..Made::default()
        };
        for bars in bars(&made, seed + 900) {
            if bars.along == LineAxis::Y && (bars.pitch_mm - 40.0).abs() < 1.0 {
                found += 1;
                let ci = bars.pitch_ci.unwrap();
                inside += usize::from(ci.low <= 40.0 && 40.0 <= ci.high);
            }
        }
    }
    let at_most = |n: usize, share: f64, hits: usize| 1.0 - binomial_tail(n, share, hits + 1);
    assert!(
        at_most(runs as usize, 0.9, found) > 0.05,
        "{found} of {runs}"
    );
    assert!(at_most(found, 0.95, inside) > 0.05, "{inside} of {found}");
}

/// What turns with what in a made shop.
#[derive(Debug, Clone, Copy)]
struct Shop {
    /// Bars lie across the panel's length, not across machine x.
    on_panel: bool,
    /// Their pitch is 40 mm at 100 mm/s and proportional to the feed.
    with_feed: bool,
    /// Lays, in turn.
    lays: [Lay; 2],
    /// Feeds, mm/s, in turn by tens of panels.
    feeds: [f64; 3],
    /// The share of panels with bars on another machine that ran every second
    /// panel.
    other: Option<f64>,
}

const ALIKE: Shop = Shop {
    on_panel: false,
    with_feed: false,
    lays: [Lay::Deg0; 2],
    feeds: [100.0; 3],
    other: None,
};

/// 120 panels of 600 × 600 mm in twelve lots on each machine; two ordinary marks each, and on half
/// of them about six on bars that start anew on every panel.
fn records(shop: &Shop, seed: u64) -> Records {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let error = Normal::new(0.0, 3.0).unwrap();
    let mut records = Records {
        defect_names: vec![DefectName {
            name: "chatter mark".into(),
            class: None,
        }],
        ..Records::default()
    };
    let machines = 1 + usize::from(shop.other.is_some());
    for i in 0..120 * machines {
        let there = machines * (i / machines) != i;
        let i = i / machines;
        let feed = shop.feeds[i / 10 % 3];
        let panel = Panel {
            id: format!("P{i:04}-{there}"),
            machine: Some(if there { "M2" } else { "M1" }.into()),
            lot: Some(Arc::from(format!("L{}", i / 10))),
            length_mm: 600.0,
            width_mm: 600.0,
            lay: shop.lays[rng.random_range(0..2)],
            inspect_lay: None,
            feed_mm_s: Some(feed),
            inspected: true,
            ..Panel::default()
        };
        let mut places: Vec<Point> = (0..2)
            .map(|_| Point {
                x: 600.0 * rng.random::<f64>(),
                y: 600.0 * rng.random::<f64>(),
            })
            .collect();
        let barred = if there {
            shop.other.unwrap_or(0.0)
        } else {
            0.5
        };
        if rng.random::<f64>() < barred {
            let pitch = if shop.with_feed { 0.4 * feed } else { 40.0 };
            let first = pitch * rng.random::<f64>();
            for _ in 0..6 {
                let bar = rng.random_range(0..(600.0 / pitch) as u32 - 1);
                let laid = Point {
                    x: first + pitch * f64::from(bar) + error.sample(&mut rng),
                    y: 600.0 * rng.random::<f64>(),
                };
                places.push(if shop.on_panel {
                    laid
                } else {
                    on_panel(&panel, laid)
                });
            }
        }
        for place in places {
            records
                .defects
                .push(crate::shops::mark_on(records.panels.len(), 0, Some(place)));
        }
        records.panels.push(panel);
    }
    records
}

/// Where a point of the machine lies on a square panel at the stop corner: the lay
/// that undoes the panel's.
fn on_panel(panel: &Panel, laid: Point) -> Point {
    let undone = match panel.lay {
        Lay::Deg0 => Lay::Deg0,
        Lay::Deg90 => Lay::Deg270,
        Lay::Deg180 => Lay::Deg180,
        Lay::Deg270 => Lay::Deg90,
    };
    undone.place(laid, panel.length_mm, panel.width_mm)
}

fn bars_of(shop: &Shop, seed: u64) -> Option<Finding> {
    let causes = find(&records(shop, seed), &Settings::default());
    causes.findings.into_iter().find(|f| f.bars.is_some())
}

/// In at least eight of ten runs (exact binomial, 5 %) `right` must hold.
fn mostly(shop: &Shop, right: impl Fn(&Finding) -> bool) {
    let runs = 12;
    let held = (0..runs)
        .filter(|&seed| bars_of(shop, seed + 40).is_some_and(|f| right(&f)))
        .count();
    let tail = 1.0 - binomial_tail(runs as usize, 0.8, held + 1);
    assert!(tail > 0.05, "{held} of {runs}");
}

#[test]
fn a_pitch_proportional_to_the_feed_is_the_machines() {
    let shop = Shop {
        with_feed: true,
        feeds: [80.0, 100.0, 125.0],
        ..ALIKE
    };
    mostly(&shop, |finding| {
        let bars = finding.bars.clone().unwrap();
        // 100 mm/s over 40 mm
        finding.cause == Cause::Machine
            && finding.kind == Kind::Periodic
            && bars.pitch_follows_feed == Some(true)
            && (bars.frequency_hz.unwrap() - 2.5).abs() < 0.1
    });
}

#[test]
fn bars_that_keep_their_direction_on_panels_turned_across_are_the_machines() {
    let across = Shop {
        lays: [Lay::Deg0, Lay::Deg90],
        ..ALIKE
    };
    mostly(&across, |finding| finding.cause == Cause::Machine);
    let on_panel = Shop {
        on_panel: true,
        ..across
    };
    mostly(&on_panel, |finding| finding.cause == Cause::Part);
}

/// Nothing tells bars of the machine from bars of the part where panels lay alike
/// or half turned and the feed did not matter.
#[test]
fn bars_without_a_contrast_are_never_the_machines() {
    let shops = [
        ALIKE,
        Shop {
            lays: [Lay::Deg0, Lay::Deg180],
            ..ALIKE
        },
        Shop {
            feeds: [80.0, 100.0, 125.0],
            ..ALIKE
        },
        Shop {
            on_panel: true,
            lays: [Lay::Deg0, Lay::Deg180],
            feeds: [80.0, 100.0, 125.0],
            ..ALIKE
        },
    ];
    for seed in 0..24 {
        let found = bars_of(&shops[(seed % 4) as usize], seed + 70);
        assert!(
            found.is_none_or(|f| f.cause != Cause::Machine),
            "seed {seed}"
        );
    }
}

/// Where another machine ran the same lots, panels all lying alike: bars that only
/// this one makes are its own, those that both show are not.
#[test]
fn a_machine_without_bars_on_the_same_lots_clears_the_part() {
    let only_here = Shop {
        other: Some(0.0),
        ..ALIKE
    };
    mostly(&only_here, |finding| {
        finding.cause == Cause::Machine && finding.machine.as_deref() == Some("M1")
    });
    for (seed, other) in [0.5, 0.35, 0.2].into_iter().cycle().take(24).enumerate() {
        let of_parts = Shop {
            other: Some(other),
            ..ALIKE
        };
        let causes = find(&records(&of_parts, seed as u64 + 400), &Settings::default());
        let accuses = |f: &Finding| f.bars.is_some() && f.cause == Cause::Machine;
        assert!(!causes.findings.iter().any(accuses), "seed {seed}, {other}");
    }
}
