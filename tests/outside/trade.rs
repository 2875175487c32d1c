//! Facts of the trade, through the binary: what a practitioner would do first.
//!
//! Every fact here is common practice, no source.

use onus::records::{Lay, Panel, Point, Records};
use onus::site::DefectClass;
use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use serde_json::Value;

use crate::shops::draws::{normal, poisson};
use crate::shops::files::{csv, report_on};
use crate::shops::{Owner, Repeater, Shop, add_marks};

const OVER: (&str, Option<DefectClass>) = ("sand-through", Some(DefectClass::Over));
const UNDER: (&str, Option<DefectClass>) = ("under-sanded", Some(DefectClass::Under));

/// Classes of the kinds used here.
const SITE: &str = "[defects.classes]\n\"sand-through\" = \"over\"\n\"under-sanded\" = \"under\"\n\
                    \"orange peel\" = \"under\"\n\"nib\" = \"incoming\"\n";

/// A clean shop: 60 panels, lots that return, half of them turned.
fn clean() -> Shop {
    Shop {
        panels: 60,
        lots: 3,
        marks: 0.0,
        defect: OVER,
        ..Shop::default()
    }
}

fn findings(records: &Records) -> Value {
    report_on(&csv(records), Some(SITE))
}

fn list<'a>(report: &'a Value, key: &str) -> &'a Vec<Value> {
    report[key].as_array().unwrap()
}

/// The next checks of all findings, in order of strength.
fn checks(report: &Value) -> Vec<String> {
    let check = |f: &Value| f["next_check"].as_str().unwrap_or_default().to_lowercase();
    list(report, "findings").iter().map(check).collect()
}

/// Positions of the words in a sentence; each must be there.
fn in_order(sentence: &str, words: &[&str]) -> bool {
    let at = |w: &&str| {
        sentence
            .find(*w)
            .unwrap_or_else(|| panic!("{w}: {sentence}"))
    };
    words.iter().map(at).collect::<Vec<_>>().is_sorted()
}

/// A point at these shares of the panel as it lies in the machine.
fn share(panel: &Panel, x: f64, y: f64) -> Point {
    let rect = panel.machine_rect();
    Point {
        x: rect.x0 + x * rect.width(),
        y: rect.y0 + y * rect.height(),
    }
}

/// Two marks near high x, anywhere along y.
fn at_high_x(panel: &Panel, rng: &mut ChaCha8Rng) -> Vec<Point> {
    (0..2)
        .map(|_| share(panel, 0.8 + 0.2 * rng.random::<f64>(), rng.random::<f64>()))
        .collect()
}

#[test]
fn marks_on_one_side_of_every_panel_ask_for_the_heads_tilt() {
    for lays in [
        vec![(Lay::Deg0, 0.5), (Lay::Deg180, 0.5)],
        vec![(Lay::Deg0, 1.0)],
    ] {
        let turned = lays.len() > 1;
        let mut records = Shop { lays, ..clean() }.records(1);
        add_marks(&mut records, OVER, 2, at_high_x);
        let report = findings(&records);
        let checks = checks(&report);
        assert!(checks[0].starts_with("check the head's tilt"), "{checks:?}");
        assert!(checks[0].contains("it takes more at high x"), "{checks:?}");
        let finding = &report["findings"][0];
        assert_eq!(finding["kind"], "side");
        // Only panels laid the other way tell the head from a taper.
        let cause = if turned { "machine" } else { "undecided" };
        assert_eq!(finding["cause"], cause);
    }
}

/// Both opposite sides: flatness, never a tilt, whoever `cause` says.
fn flatness_not_tilt(records: &Records, cause: &str) {
    let report = findings(records);
    let opposite = list(&report, "findings")
        .iter()
        .find(|f| f["kind"] == "opposite-sides")
        .unwrap_or_else(|| panic!("{:?}", checks(&report)));
    assert_eq!(opposite["cause"], cause);
    let check = opposite["next_check"].as_str().unwrap().to_lowercase();
    assert!(check.contains("flatness"), "{check}");
    assert!(
        check.contains("tilting the head would only move"),
        "{check}"
    );
    let machine = |f: &&Value| f["cause"] == "machine";
    assert_eq!(list(&report, "findings").iter().filter(machine).count(), 0);
    assert!(!checks(&report).iter().any(|c| c.contains("head's tilt")));
}

/// Two marks at each end of the panel's length, the middle spared.
fn at_both_ends(panel: &Panel, rng: &mut ChaCha8Rng) -> Vec<Point> {
    let across = panel.lay == Lay::Deg90 || panel.lay == Lay::Deg270;
    let mut at = |along: f64| {
        let along = along + 0.22 * rng.random::<f64>();
        let beside = rng.random::<f64>();
        if across {
            share(panel, beside, along)
        } else {
            share(panel, along, beside)
        }
    };
    vec![at(0.08), at(0.08), at(0.7), at(0.7)]
}

/// A crowned panel: its ends are marked whichever way it lies.
#[test]
fn marks_on_both_opposite_sides_are_the_parts_and_tilting_cures_nothing() {
    let lays = vec![(Lay::Deg0, 0.5), (Lay::Deg90, 0.5)];
    let mut records = Shop { lays, ..clean() }.records(3);
    add_marks(&mut records, OVER, 4, at_both_ends);
    flatness_not_tilt(&records, "part");
}

/// Where panels never lay across, their ends are the ends of the path as well.
#[test]
fn marks_on_both_ends_of_panels_never_laid_across_accuse_nobody() {
    let mut records = clean().records(3);
    add_marks(&mut records, OVER, 4, at_both_ends);
    flatness_not_tilt(&records, "undecided");
}

/// A warped panel: too much on one side, too little on the other, now this
/// way, now that.
#[test]
fn too_much_and_too_little_that_change_sides_are_the_parts_too() {
    let mut records = clean().records(15);
    let mut high = Vec::new();
    add_marks(&mut records, OVER, 16, |panel, rng| {
        high.push(rng.random::<bool>());
        let from = if high[high.len() - 1] { 0.7 } else { 0.0 };
        let x = from + 0.3 * rng.random::<f64>();
        vec![share(panel, x, rng.random::<f64>())]
    });
    let mut panel = 0;
    add_marks(&mut records, UNDER, 17, |about, rng| {
        let from = if high[panel] { 0.0 } else { 0.7 };
        panel += 1;
        let x = from + 0.3 * rng.random::<f64>();
        vec![share(about, x, rng.random::<f64>())]
    });
    flatness_not_tilt(&records, "part");
}

#[test]
fn a_mark_seen_once_is_no_reason_to_adjust() {
    let mut records = clean().records(5);
    let mut left = 1;
    add_marks(&mut records, OVER, 6, |panel, _| {
        let now = std::mem::take(&mut left);
        vec![share(panel, 0.3, 0.4); now]
    });
    let report = findings(&records);
    assert!(list(&report, "findings").is_empty());
    let check = report["streams"][0]["next_check"].as_str().unwrap();
    assert!(
        check.starts_with("Don't adjust: it was seen on one panel only."),
        "{check}"
    );
}

#[test]
fn the_same_mark_at_the_same_place_is_the_machines() {
    let shop = Shop {
        marks: 0.5,
        lots: 6,
        repeaters: vec![Repeater::machine(170.0, 120.0, 0.7)],
        ..clean()
    };
    let report = findings(&shop.records(7));
    let finding = &report["findings"][0];
    assert_eq!(finding["cause"], "machine");
    assert_eq!(finding["kind"], "spot");
    // The same mark on the same place of the part is the part's.
    let part = Shop {
        repeaters: vec![Repeater::machine(170.0, 120.0, 0.7).owned_by(Owner::Panel)],
        ..shop
    };
    assert_eq!(findings(&part.records(7))["findings"][0]["cause"], "part");
}

#[test]
fn wandering_marks_came_with_the_parts() {
    let shop = Shop {
        panels: 120,
        lots: 6,
        marks: 1.5,
        defect: ("nib", Some(DefectClass::Incoming)),
        ..Shop::default()
    };
    let report = findings(&shop.records(8));
    assert!(list(&report, "findings").is_empty());
    assert_eq!(report["streams"][0]["cause"], "part");
    let check = report["streams"][0]["next_check"].as_str().unwrap();
    assert!(check.starts_with("Leave the machine as it is"), "{check}");
}

#[test]
fn orange_peel_left_everywhere_asks_to_slow_down_first_and_for_force_last() {
    let shop = Shop {
        marks: 4.0,
        mixing: 20.0,
        defect: ("orange peel", Some(DefectClass::Under)),
        ..clean()
    };
    let report = findings(&shop.records(9));
    let check = report["streams"][0]["next_check"].as_str().unwrap();
    assert!(
        in_order(
            check,
            &["force", "slow down first", "passes", "grit", "force last"]
        ),
        "{check}"
    );
}

#[test]
fn sand_throughs_everywhere_ask_for_the_force_then_speed_then_a_finer_grit() {
    let shop = Shop {
        marks: 4.0,
        mixing: 20.0,
        ..clean()
    };
    let report = findings(&shop.records(10));
    let check = report["streams"][0]["next_check"].as_str().unwrap();
    assert!(
        in_order(check, &["contact force", "speed up", "finer grit"]),
        "{check}"
    );
}

/// Removal by Preston's law over mixed settings; marks of a kind where it is
/// `more` or less than the mean.
fn with_recipes(kind: (&str, Option<DefectClass>), sign: f64) -> Records {
    let mut records = Shop {
        panels: 200,
        lots: 8,
        ..clean()
    }
    .records(11);
    let mut removed = Vec::new();
    for (i, panel) in records.panels.iter_mut().enumerate() {
        let feed = [60.0, 90.0, 130.0][i % 3];
        // The last panel, the present setting, has a lever free either way.
        let passes = [2.0, 3.0, 1.0][i / 3 % 3];
        let force = [15.0, 20.0, 30.0][i / 9 % 3];
        panel.feed_mm_s = Some(feed);
        panel.passes = Some(passes);
        panel.force_n = Some(force);
        removed.push((passes * force / feed / 0.4_f64).ln());
    }
    let mut panel = 0;
    add_marks(&mut records, kind, 12, |about, rng| {
        let off = removed[panel] + 0.2 * normal(rng);
        panel += 1;
        let mean = 0.7 * (1.5 * sign * off).exp();
        (0..poisson(mean, rng))
            .map(|_| share(about, rng.random(), rng.random()))
            .collect()
    });
    records
}

/// Where the recipe is recorded, the levers come in the trade's order.
#[test]
fn levers_come_in_the_trades_order() {
    for (kind, sign) in [(("orange peel", UNDER.1), -1.0), (OVER, 1.0)] {
        let report = findings(&with_recipes(kind, sign));
        let advice = report["removal"]["advice"].as_array().unwrap();
        let levers: Vec<&str> = advice.iter().filter_map(|a| a["factor"].as_str()).collect();
        assert_eq!(levers, ["feed_mm_s", "passes", "force_n"], "{kind:?}");
        // Too little is left: slower. Too much: faster.
        let [from, to] = ["from", "to"].map(|k| advice[0][k].as_f64().unwrap());
        assert!((to - from) * sign > 0.0, "{from} to {to}");
    }
}

/// One edge, its last third, panel after panel: the float has run out there.
#[test]
fn an_edge_under_sanded_at_one_end_asks_for_the_stand_off_not_the_tilt() {
    let mut records = clean().records(13);
    add_marks(&mut records, UNDER, 14, |panel, rng| {
        (0..2)
            .map(|_| {
                share(
                    panel,
                    0.7 + 0.3 * rng.random::<f64>(),
                    0.06 * rng.random::<f64>(),
                )
            })
            .collect()
    });
    let report = findings(&records);
    let checks = checks(&report);
    assert!(checks[0].starts_with("check the stand-off"), "{checks:?}");
    assert!(checks[0].contains("not the tilt"), "{checks:?}");
    assert!(!checks.iter().any(|c| c.contains("head's tilt")));
    assert_eq!(report["findings"][0]["cause"], "machine");
}
