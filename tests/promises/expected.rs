//! What the report says chance alone would put at a place is what chance puts
//! there: shops without the repeat, simulated again and again, are counted.

use onus::causes::{Settings, find};
use onus::records::{Point, Records};
use onus::stats::distributions::binomial;
use rayon::prelude::*;

use crate::shops::{Background, Repeater, Shop};

const EDGES: Background = Background::Edges {
    share: 0.3,
    mean_mm: 20.0,
    left: 1.0,
};
/// So far off, either way, at most one place in twenty is: the background of each is
/// told by some tens of marks around it. None is twice as far off.
const FACTOR: f64 = 1.5;
const OFF: f64 = 0.05;
const FAILS_BY_CHANCE: f64 = 1e-3;
/// Panels enough that the marks around a place tell its background.
const PANELS: usize = 250;
/// Shops without the repeat that are counted for each place.
const COUNTED: u64 = 40;

/// Panels with a mark within reach of the place.
fn hit(records: &Records, at: Point, reach_mm: f64) -> usize {
    let near = |d: &&onus::records::Defect| {
        let place = d.place.map(|p| records.panels[d.panel].to_machine(p));
        place.is_some_and(|p| (p.x - at.x).hypot(p.y - at.y) <= reach_mm)
    };
    let mut panels: Vec<usize> = (records.defects.iter())
        .filter(near)
        .map(|d| d.panel)
        .collect();
    panels.dedup();
    panels.len()
}

#[test]
fn expected_hits_are_those_of_chance() {
    let places = [
        (300.0, 200.0),
        (180.0, 90.0),
        (450.0, 300.0),
        (60.0, 200.0),
        (300.0, 45.0),
    ];
    let shops = [
        (Background::Flat, 4.0),
        (EDGES, 4.0),
        (Background::Flat, 8.0),
        (EDGES, 8.0),
    ];
    let cases: Vec<_> = (0..40)
        .map(|i| (i as u64, places[i % 5], shops[i % 4]))
        .collect();
    let off: Vec<(f64, String)> = cases
        .into_par_iter()
        .filter_map(|(seed, (x, y), (background, marks))| {
            let quiet = Shop {
                panels: PANELS,
                marks,
                background,
                mixing: 4.0,
                ..Shop::default()
            };
            let shop = Shop {
                repeaters: vec![Repeater::machine(x, y, 0.35)],
                ..quiet.clone()
            };
            let causes = find(&shop.records(6_000 + seed), &Settings::default());
            let (finding, at) = causes.findings.iter().find_map(|f| {
                let at = Point {
                    x: f.x_mm?,
                    y: f.y_mm?,
                };
                ((at.x - x).hypot(at.y - y) < 12.0).then_some((f, at))
            })?;
            let (told, reach) = finding.expected_hits.zip(finding.reach_mm)?;
            let counted: usize = (0..COUNTED)
                .map(|k| hit(&quiet.records(100_000 + 1_000 * seed + k), at, reach))
                .sum();
            let truth =
                counted as f64 / COUNTED as f64 * finding.panels_exposed as f64 / PANELS as f64;
            let off = (told / truth).max(truth / told);
            let text =
                format!("({x}, {y}), {background:?}, {marks}: {told:.2}, counted {truth:.2}");
            Some((off, text))
        })
        .collect();
    assert_eq!(off.len(), 40, "found");
    let far = off.iter().filter(|o| o.0 > FACTOR).count() as u64;
    assert!(
        binomial::at_least(far, 40, OFF) > FAILS_BY_CHANCE,
        "{far} of 40: {off:#?}"
    );
    assert!(off.iter().all(|o| o.0 < 2.0 * FACTOR), "{off:#?}");
}
