//! Lines: how often a faint one is found, and how often one is seen where there is
//! none.

use onus::causes::{Found, LineAxis, Shape, Sharpness};
use onus::stats::binomial_tail;

use crate::scan::{honest, places as found_in};
use crate::shops::{EDGES, Repeater, Shop};

/// Faint lines among marks that lie mostly along the edges are found at least as
/// often as an independent slow implementation of the scan found them, whose
/// shares are given (20 or 60 runs each; bands around marks only, no guard against
/// broad bands).
#[test]
fn faint_lines_are_found_as_often_as_by_a_plain_scan() {
    let runs = 60;
    for (panels, marks, share, found) in [
        (100, 0.5, 0.1, 0.62),
        (100, 2.0, 0.1, 0.22),
        (100, 2.0, 0.2, 0.98),
        (100, 8.0, 0.2, 0.30),
        (30, 2.0, 0.4, 0.80),
    ] {
        let made = Shop {
            panels,
            marks,
            background: EDGES,
            repeaters: vec![Repeater::line(230.0, share)],
            ..Shop::stream()
        };
        let near = |f: &Found| matches!(f.shape, Shape::Line { along: LineAxis::Y, at_mm } if (at_mm - 230.0).abs() < 8.0);
        let seen = (0..runs)
            .filter(|&seed| {
                let found = found_in(&made.view(seed));
                (found.iter()).any(|f| near(f) && f.sharpness == Sharpness::Sharp)
            })
            .count();
        let tail = 1.0 - binomial_tail(runs as usize, found, seen + 1);
        assert!(tail > 0.01, "{seen} of {runs} at {share} of {panels}");
    }
}

/// Off the edges the scan for lines keeps the level of all by itself, whatever the
/// guard against broad bands says afterwards.
#[test]
fn off_the_edges_streams_without_a_repeat_show_no_line_of_any_width() {
    let runs = 200;
    let lines = |seed: u64| {
        let found = found_in(&honest(seed).view(seed + 9000));
        let is_line = |f: &Found| matches!(f.shape, Shape::Line { at_mm, .. } if at_mm > 30.0);
        found.into_iter().find(is_line).map(|f| (seed, f.shape))
    };
    let alarms: Vec<(u64, Shape)> = (0..runs).filter_map(lines).collect();
    let tail = binomial_tail(runs as usize, 0.01, alarms.len());
    assert!(tail > 0.05, "{alarms:?} of {runs}");
}

/// Lines side by side are found, and the background between them is not taken for more
/// of them when their own marks are out.
#[test]
fn between_lines_there_are_no_others() {
    let places = [185.0, 235.0, 285.0, 335.0];
    let made = Shop {
        panels: 200,
        marks: 4.0,
        repeaters: places.map(|x| Repeater::line(x, 0.5)).to_vec(),
        ..Shop::stream()
    };
    let runs = 40;
    let (mut seen, mut others) = (0, 0);
    for seed in 0..runs {
        let near = |f: &Found| match f.shape {
            Shape::Line {
                along: LineAxis::Y,
                at_mm,
            } => places.iter().any(|x| (x - at_mm).abs() < 8.0),
            _ => false,
        };
        let found = found_in(&made.view(seed + 300));
        seen += found.iter().filter(|f| near(f)).count();
        others += usize::from(!found.iter().all(near));
    }
    let tail = binomial_tail(runs as usize, 0.01, others);
    assert!(tail > 0.05, "others in {others} of {runs}");
    let tail = 1.0 - binomial_tail(4 * runs as usize, 0.95, seen + 1);
    assert!(tail > 0.05, "{seen} of {}", 4 * runs);
}
