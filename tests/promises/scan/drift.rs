//! A place that moves by millimetres a week is one repeat with a speed; a place
//! that stands still, or jumps once, has none.

use onus::causes::{Cause, Clock, Found, Kind, Pace, Settings, Sharpness, find, follow_drift};
use onus::records::Point;
use onus::stats::binomial_tail;

use crate::scan::{ONE_STREAM, places};
use crate::shops::{Background, Repeater, Shop};

/// Ten panels a day; lots of ten that come back in turn, if recorded.
fn found(made: &Shop, seed: u64, lots: bool) -> Vec<Found> {
    let view = made.view(seed);
    let clock = Clock {
        pace: Pace::Days,
        days: (0..made.panels).map(|i| Some(i as f64 / 10.0)).collect(),
        lots: (0..made.panels).map(|i| lots.then_some(i / 10)).collect(),
    };
    let mut found = follow_drift(&view, places(&view), &clock, &ONE_STREAM);
    found.retain(|f| f.sharpness == Sharpness::Sharp);
    found
}

/// Streams with a fixed place in all sorts of backgrounds.
fn fixed(seed: u64) -> Shop {
    let left = |left| Background::Edges {
        share: 0.7,
        mean_mm: 15.0,
        left,
    };
    let at = [(300.0, 200.0), (120.0, 60.0), (25.0, 200.0), (400.0, 385.0)];
    let (x, y) = at[(seed % 4) as usize];
    let sd = [1.0, 2.5, 4.0][(seed % 3) as usize];
    let shop = Shop {
        panels: [60, 100, 140][(seed / 3 % 3) as usize],
        marks: [1.0, 2.0, 4.0][(seed / 2 % 3) as usize],
        clump_sd_mm: [None, Some(8.0)][(seed / 4 % 2) as usize],
        background: [Background::Flat, left(1.0), left(5.0)][(seed / 5 % 3) as usize],
        repeaters: vec![Repeater::machine(x, y, 0.35).scattered(sd)],
        ..Shop::stream()
    };
    if seed.is_multiple_of(5) {
        shop.with_bad_lots()
    } else {
        shop
    }
}

/// At most 1 % of streams may show a drift: the count must not be one that a
/// true rate of 1 % reaches less than once in twenty.
#[test]
fn a_place_that_stands_still_does_not_drift() {
    let runs: u32 = 150;
    let (mut seen, mut drifts) = (0, 0);
    for seed in 0..u64::from(runs) {
        let found = found(&fixed(seed), seed + 500, seed % 2 == 0);
        seen += usize::from(!found.is_empty());
        drifts += usize::from(found.iter().any(|f| f.drift.is_some()));
    }
    assert!(seen > 120, "{seen} of {runs} places seen");
    let tail = binomial_tail(runs as usize, 0.01, drifts);
    assert!(tail > 0.05, "{drifts} of {runs} drift");
}

/// 30 mm, 60 mm or 120 mm (which looks like a line) over the run of twenty days: one repeat with the right speed in
/// nine of ten streams (exact binomial, 5 %).
#[test]
fn a_moving_place_is_one_repeat_with_its_speed() {
    for (by, lots) in [(30.0, false), (30.0, true), (60.0, true), (120.0, true)] {
        let mut moving = Repeater::machine(200.0, 150.0, 0.35);
        moving.moves_mm.x = by;
        let made = Shop {
            panels: 200,
            marks: 1.0,
            repeaters: vec![moving],
            ..Shop::stream()
        };
        let runs = 16;
        let right = (0..runs)
            .filter(|&seed| {
                let found = found(&made, seed, lots);
                let [one] = &found[..] else { return false };
                one.drift
                    .is_some_and(|d| (d.x_mm - by / 20.0).abs() < 0.3 && d.y_mm.abs() < 0.3)
            })
            .count();
        let tail = 1.0 - binomial_tail(runs as usize, 0.9, right + 1);
        assert!(tail > 0.05, "{by} mm: {right} of {runs}");
    }
}

/// At most 1 % of true lines may be taken for a place on the move.
#[test]
fn a_line_does_not_drift() {
    let runs = 60;
    let (mut lines, mut drifts) = (0, 0);
    for seed in 0..runs {
        let made = Shop {
            repeaters: vec![Repeater::line(230.0, 0.3).scattered(2.0)],
            ..Shop::stream()
        };
        let found = found(&made, seed + 300, seed % 2 == 0);
        lines += usize::from(!found.is_empty());
        drifts += usize::from(found.iter().any(|f| f.drift.is_some()));
    }
    assert!(lines > 40, "{lines} of {runs} lines seen");
    let tail = binomial_tail(runs as usize, 0.01, drifts);
    assert!(tail > 0.05, "{drifts} of {runs} drift");
}

/// One jump is two places in turn, not a speed.
#[test]
fn a_place_that_jumps_once_does_not_drift() {
    let half = |x| Shop {
        panels: 80,
        marks: 1.0,
        repeaters: vec![Repeater::machine(x, 150.0, 0.5).scattered(2.0)],
        ..Shop::stream()
    };
    for seed in 0..20 {
        let (mut view, later) = (half(200.0).view(seed), half(218.0).view(seed + 50));
        let moved = later.marks.into_iter().map(|mut mark| {
            mark.panel += 80;
            mark
        });
        view.marks.extend(moved);
        view.panels.extend(later.panels);
        let clock = Clock {
            pace: Pace::Days,
            days: (0..160).map(|i| Some(f64::from(i) / 10.0)).collect(),
            lots: vec![None; 160],
        };
        let found = follow_drift(&view, places(&view), &clock, &ONE_STREAM);
        assert!(!found.is_empty(), "seed {seed}");
        assert!(found.iter().all(|f| f.drift.is_none()), "seed {seed}");
    }
}

/// A whole shop whose machine marks at a place that creeps 45 mm: one finding, the
/// machine's, with its speed; the panels at both ends of the way are hits, so that
/// it neither sets in nor ends.
#[test]
fn a_creeping_stop_is_found_and_is_the_machines() {
    let (runs, days) = (12, 240.0 * 7.0 / 1440.0);
    let mut repeater = Repeater::machine(200.0, 150.0, 0.35);
    repeater.moves_mm = Point { x: 27.0, y: -36.0 };
    let shop = Shop {
        panels: 240,
        repeaters: vec![repeater],
        ..Shop::default()
    };
    let right = (0..runs)
        .filter(|&seed| {
            let causes = find(&shop.records(seed), &Settings::default());
            // Nobody is named by a step of the other marks.
            let places: Vec<_> = (causes.findings.iter())
                .filter(|f| f.kind != Kind::Time)
                .collect();
            let [one] = places[..] else {
                return false;
            };
            let speed = one.drift_mm_per_day.unwrap_or(0.0);
            one.cause == Cause::Machine
                && (speed * days - 45.0).abs() < 6.0
                && one.onset_panel.is_none()
                && one.end_panel.is_none()
        })
        .count();
    let tail = 1.0 - binomial_tail(runs as usize, 0.9, right + 1);
    assert!(tail > 0.05, "{right} of {runs}");
}
