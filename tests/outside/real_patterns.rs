//! Real point patterns as panels: no machine made them, so none may be accused;
//! a repeat planted in them is found.
//!
//! Source: replicated point patterns of R spatstat.data 3.0-0 (see
//! `fixtures/published/replicated_points.csv`).

use std::collections::BTreeMap;
use std::fmt::Write as _;

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::Value;

use crate::published::published;
use crate::shops::files::report_on;

/// One pattern as a panel: its extent and its points, mm.
struct Pattern {
    name: String,
    size: [f64; 2],
    points: Vec<[f64; 2]>,
}

/// The patterns of a set, scaled so that a window's longer side is 500 mm.
fn patterns(set: &str) -> Vec<Pattern> {
    let mut windows: BTreeMap<String, Vec<[f64; 2]>> = BTreeMap::new();
    for row in published("replicated_windows.csv") {
        let corners = windows.entry(row.text("pattern").into()).or_default();
        corners.push([row.number("x"), row.number("y")]);
    }
    let mut points: BTreeMap<String, Vec<[f64; 2]>> = BTreeMap::new();
    for row in published("replicated_points.csv") {
        if row.text("set") == set {
            let all = points.entry(row.text("pattern").into()).or_default();
            all.push([row.number("x"), row.number("y")]);
        }
    }
    let pattern = |(name, points): (String, Vec<[f64; 2]>)| {
        let span = |axis: usize| {
            let values = windows[&name].iter().map(|corner| corner[axis]);
            let low = values.clone().fold(f64::INFINITY, f64::min);
            (low, values.fold(f64::NEG_INFINITY, f64::max) - low)
        };
        let (x, y) = (span(0), span(1));
        let scale = 500.0 / x.1.max(y.1);
        Pattern {
            name,
            size: [x.1 * scale, y.1 * scale],
            points: points
                .iter()
                .map(|p| [(p[0] - x.0) * scale, (p[1] - y.0) * scale])
                .collect(),
        }
    };
    points.into_iter().map(pattern).collect()
}

/// The patterns as inspection records of one machine; `extra` are marks added
/// to a panel, in its own frame, and `turned` says which panels lay turned.
fn records(
    patterns: &[Pattern],
    turned: impl Fn(usize) -> bool,
    extra: &BTreeMap<usize, [f64; 2]>,
) -> String {
    let mut text = String::from("panel_id,machine,length_mm,width_mm,lay_deg,x_mm,y_mm,defect\n");
    for (i, pattern) in patterns.iter().enumerate() {
        let lay = if turned(i) { 180 } else { 0 };
        for p in pattern.points.iter().chain(extra.get(&i)) {
            let (name, [l, w]) = (&pattern.name, pattern.size);
            writeln!(
                text,
                "{name},bench,{l:.3},{w:.3},{lay},{:.3},{:.3},mark",
                p[0], p[1]
            )
            .unwrap();
        }
    }
    text
}

fn accused(findings: &Value) -> bool {
    let machine = |list: &str| {
        findings[list]
            .as_array()
            .unwrap()
            .iter()
            .any(|item| item["cause"] == "machine")
    };
    machine("findings") || machine("streams")
}

/// Whether a finding is the crowding along the edge to which a window was cut.
fn at_a_low_edge(finding: &Value) -> bool {
    let at_edge = |axis: &str| finding[axis].as_f64().is_some_and(|at| at < 2.0);
    finding["cause"] != "machine" && (at_edge("x_mm") || at_edge("y_mm"))
}

#[test]
fn no_machine_is_accused_of_patterns_that_no_machine_made() {
    for (set, panels) in [("pyramidal", 31), ("waterstriders", 3), ("bdspots", 3)] {
        let patterns = patterns(set);
        assert_eq!(patterns.len(), panels, "{set}");
        for turned in [false, true] {
            let lay = |i: usize| turned && i % 2 == 1;
            let found = report_on(&records(&patterns, lay, &BTreeMap::new()), None);
            assert_eq!(found["input"]["panels"], panels, "{set}");
            assert!(
                !accused(&found),
                "{set}, turned {turned}: {}",
                found["findings"]
            );
            // The windows of the pyramidal patterns were cut to their outermost
            // points: each of the 31 has a point 0.001 of the side from the low-x
            // and from the low-y edge. That repeats indeed; nothing else may.
            for repeat in found["findings"].as_array().unwrap() {
                assert!(
                    set == "pyramidal" && at_a_low_edge(repeat),
                    "{set}, turned {turned}: {repeat}"
                );
            }
        }
    }
}

#[test]
fn three_panels_are_too_few_to_clear_anybody() {
    for set in ["waterstriders", "bdspots"] {
        let found = report_on(&records(&patterns(set), |_| false, &BTreeMap::new()), None);
        let stream = &found["streams"][0];
        assert_eq!(stream["cause"], "undecided", "{set}");
        assert!(stream["smallest_repeat_seen"].is_null(), "{set}: {stream}");
        let warned = found["warnings"].as_array().unwrap();
        assert!(
            warned.iter().any(|w| w["code"] == "few-panels"),
            "{set}: {warned:?}"
        );
    }
}

#[test]
fn a_repeat_planted_in_the_pyramidal_patterns_is_found_where_it_was_put() {
    // 45 marks a panel on 0.25 m²: dense, so the planted share is high. Twelve
    // of twelve leaves a power below 0.78 at 5 % (0.78¹² = 0.05).
    let patterns = patterns("pyramidal");
    for seed in 0..12 {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let turned: Vec<bool> = patterns.iter().map(|_| rng.random()).collect();
        let place = [
            100.0 + 140.0 * rng.random::<f64>(),
            100.0 + 300.0 * rng.random::<f64>(),
        ];
        let mut extra = BTreeMap::new();
        for (i, pattern) in patterns.iter().enumerate() {
            if rng.random::<f64>() < 0.7 {
                let scatter = |rng: &mut ChaCha8Rng| 6.0 * (rng.random::<f64>() - 0.5);
                let machine = [place[0] + scatter(&mut rng), place[1] + scatter(&mut rng)];
                let [l, w] = pattern.size;
                let own = if turned[i] {
                    [l - machine[0], w - machine[1]]
                } else {
                    machine
                };
                extra.insert(i, own);
            }
        }
        let found = report_on(&records(&patterns, |i| turned[i], &extra), None);
        let findings = found["findings"].as_array().unwrap();
        let inside: Vec<&Value> = findings.iter().filter(|f| !at_a_low_edge(f)).collect();
        let [finding] = inside.as_slice() else {
            panic!("seed {seed}: {findings:?}");
        };
        assert_eq!(finding["cause"], "machine", "seed {seed}: {finding}");
        let off = |axis: &str, at: f64| (finding[axis].as_f64().unwrap() - at).abs();
        assert!(
            off("x_mm", place[0]) < 3.0 && off("y_mm", place[1]) < 3.0,
            "seed {seed}: {finding}"
        );
    }
}
