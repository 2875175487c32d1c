//! The scan alone keeps its false-alarm law on streams without any repeat, and
//! still finds what is planted.

mod bars;
mod drift;
mod lines;

use onus::causes::{
    Found, LineAxis, ScanSettings, Shape, Sharpness, Tests, View, find_places, smallest_repeat,
};
use onus::records::Lay;
use onus::stats::binomial_tail;

use crate::shops::{Background, EDGES, Repeater, Shop};

pub const ONE_STREAM: ScanSettings = ScanSettings {
    alpha: 0.01,
    streams: 1,
};

/// What repeats in a view of its own.
pub fn places(view: &View) -> Vec<Found> {
    find_places(view, &ONE_STREAM, &Tests::of(view, &ONE_STREAM))
}

/// Streams without a repeat: every background with clumps, bad lots, several sizes,
/// turned panels and round numbers in turn.
pub fn honest(seed: u64) -> Shop {
    let one_sided = |left| Background::Edges {
        share: 0.7,
        mean_mm: 15.0,
        left,
    };
    let corners = |first| Background::Corners {
        share: 0.6,
        mean_mm: 20.0,
        first,
    };
    let backgrounds = [
        Background::Flat,
        EDGES,
        one_sided(5.0),
        corners(1.0),
        corners(3.0),
    ];
    let pick = |n: u64| (seed % n) as usize;
    let rounding = [(0.0, 0.0), (5.0, 1.0), (10.0, 1.0), (50.0, 0.5)][(seed / 5 % 4) as usize];
    let turned = [(Lay::Deg0, 0.5), (Lay::Deg90, 0.5)];
    let shop = Shop {
        panels: [20, 30, 60, 100, 200][pick(7).min(4)],
        marks: [1.0, 2.0, 5.0, 10.0][pick(4)],
        mixing: [1.0, 0.5, 3.0][pick(3)],
        clump_sd_mm: [None, Some(3.0), Some(8.0), Some(20.0)][(seed / 4 % 4) as usize],
        background: backgrounds[pick(5)],
        sizes: if seed.is_multiple_of(6) {
            vec![(600.0, 400.0), (450.0, 300.0), (800.0, 500.0)]
        } else {
            vec![(600.0, 400.0)]
        },
        lays: turned[..if pick(8) == 0 { 2 } else { 1 }].to_vec(),
        rounding_mm: rounding.0,
        rounded_share: rounding.1,
        ..Shop::stream()
    };
    if pick(9) == 0 {
        shop.with_bad_lots()
    } else {
        shop
    }
}

fn sharp(made: &Shop, seed: u64) -> Vec<Shape> {
    places(&made.view(seed))
        .into_iter()
        .filter(|f| f.sharpness == Sharpness::Sharp)
        .map(|f| f.shape)
        .collect()
}

/// At most 1 % of streams may show a repeat: the count must not be one that a
/// true rate of 1 % reaches less than once in twenty.
#[test]
fn streams_without_a_repeat_show_none() {
    let runs = 300;
    let alarms = (0..runs)
        .filter(|&seed| !sharp(&honest(seed), seed + 1000).is_empty())
        .count();
    let tail = binomial_tail(runs as usize, 0.01, alarms);
    assert!(tail > 0.05, "{alarms} of {runs}");
}

#[test]
fn an_edge_that_takes_more_marks_is_not_a_line() {
    let left = Background::Edges {
        share: 0.7,
        mean_mm: 15.0,
        left: 5.0,
    };
    for seed in 0..20 {
        let made = Shop {
            panels: 60,
            marks: 10.0,
            background: left,
            ..Shop::stream()
        };
        let is_line = |s: &Shape| matches!(s, Shape::Line { .. });
        assert!(!sharp(&made, seed).iter().any(is_line), "seed {seed}");
    }
}

/// Nine in ten is what the exact binomial must not rule out at 5 %.
#[test]
fn narrow_lines_are_lines_and_broad_bands_are_not() {
    let runs = 30;
    let lines = |sd: f64| {
        let made = Shop {
            repeaters: vec![Repeater::line(230.0, 0.4).scattered(sd)],
            background: EDGES,
            ..Shop::stream()
        };
        let near = |s: &Shape| {
            let Shape::Line {
                along: LineAxis::Y,
                at_mm,
            } = *s
            else {
                return false;
            };
            (at_mm - 230.0).abs() < 6.0
        };
        (0..runs)
            .filter(|&seed| sharp(&made, seed).iter().any(near))
            .count()
    };
    let found = lines(3.0);
    assert!(
        1.0 - binomial_tail(runs as usize, 0.9, found + 1) > 0.05,
        "{found} of {runs}"
    );
    for (sd, at_most) in [(12.0, 0.1), (15.0, 0.05), (20.0, 0.05)] {
        let broad = lines(sd);
        let tail = binomial_tail(runs as usize, at_most, broad);
        assert!(
            tail > 0.05,
            "{broad} of {runs} bands with {sd} mm are lines"
        );
    }
}

/// Faint places among marks that lie mostly along the edges are found at least as
/// often as an independent slow implementation of the scan found them, whose
/// shares are given (150 runs each; discs around marks only).
#[test]
fn faint_places_are_found_as_often_as_by_a_plain_scan() {
    let runs = 60;
    for (panels, marks, share, y, found) in [
        (30, 0.5, 0.2, 170.0, 0.89),
        (100, 2.0, 0.05, 170.0, 0.59),
        (100, 2.0, 0.1, 170.0, 0.97),
        (100, 2.0, 0.1, 15.0, 0.67),
    ] {
        let made = Shop {
            panels,
            marks,
            background: EDGES,
            repeaters: vec![Repeater::machine(215.0, y, share)],
            ..Shop::stream()
        };
        let near = |s: &Shape| matches!(s, Shape::Spot { centre } if (centre.x - 215.0).hypot(centre.y - y) < 12.0);
        let seen = (0..runs)
            .filter(|&seed| sharp(&made, 3_000 + seed).iter().any(near))
            .count();
        let tail = 1.0 - binomial_tail(runs as usize, found, seen + 1);
        assert!(tail > 0.01, "{seen} of {runs} at {share} of {panels}");
    }
}

/// At the limit that the stream itself states for most of its area, a planted
/// place is found in at least nine of ten streams (exact binomial, 5 %).
#[test]
fn what_would_have_been_seen_is_seen() {
    let ground = Shop {
        panels: 100,
        marks: 2.0,
        clump_sd_mm: Some(8.0),
        background: EDGES,
        ..Shop::stream()
    };
    let view = ground.view(1);
    let share = smallest_repeat(&view, &ONE_STREAM, &Tests::of(&view, &ONE_STREAM))
        .smallest_repeat_seen
        .unwrap();
    let made = Shop {
        repeaters: vec![Repeater::machine(215.0, 170.0, share)],
        ..ground
    };
    let runs = 80;
    let near = |s: &Shape| matches!(s, Shape::Spot { centre } if (centre.x - 215.0).hypot(centre.y - 170.0) < 12.0);
    let seen = (0..runs)
        .filter(|&seed| sharp(&made, seed).iter().any(near))
        .count();
    let tail = 1.0 - binomial_tail(runs as usize, 0.9, seen + 1);
    assert!(tail > 0.05, "{seen} of {runs} at a share of {share}");
}
