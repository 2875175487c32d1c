//! Real fault records: faults on steel plates, with places but without panels.
//!
//! Source: Buscema, Terzi & Tastle (2010), Steel Plates Faults, UCI Machine
//! Learning Repository, CC BY 4.0 (see `fixtures/published/steel_plates_faults.csv`).

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::path::Path;

use serde_json::Value;

use crate::published::published;
use crate::shops::files::{report_on, run_report};

/// Length of a piece along the strip and width of the strip, the source's pixels.
const PIECE: u64 = 20_000;
const WIDTH: u64 = 1_720;

/// The strip's own column names, for a site that calls a piece a panel.
const SITE: &str = r#"
[columns]
panel_id = "piece"
length_mm = "piece_length"
width_mm = "strip_width"
x_mm = "along"
y_mm = "across"
defect = "fault"
"#;

/// Cuts the strip into pieces of equal length; each fault lies where the middle
/// of its bounding box lies. With `whole`, pieces without a fault are written too,
/// as if the whole strip had been looked at.
fn pieces(whole: bool) -> String {
    let mut text = String::from("piece,piece_length,strip_width,along,across,fault\n");
    let mut seen = BTreeSet::new();
    let mut last = 0;
    for row in published("steel_plates_faults.csv") {
        let middle = |low: &str, high: &str| (row.count(low) + row.count(high)) / 2;
        let (along, across) = (
            middle("y_minimum", "y_maximum"),
            middle("x_minimum", "x_maximum"),
        );
        let piece = along / PIECE;
        last = last.max(piece);
        seen.insert(piece);
        let (at, kind) = (along % PIECE, row.text("fault"));
        writeln!(
            text,
            "piece-{piece:04},{PIECE},{WIDTH},{at},{across},{kind}"
        )
        .unwrap();
    }
    for piece in (0..=last).filter(|piece| whole && !seen.contains(piece)) {
        writeln!(text, "piece-{piece:04},{PIECE},{WIDTH},,,").unwrap();
    }
    text
}

fn warned(found: &Value, code: &str) -> bool {
    found["warnings"]
        .as_array()
        .unwrap()
        .iter()
        .any(|w| w["code"] == code)
}

#[test]
fn as_they_are_the_records_are_refused_with_what_is_missing() {
    let file =
        Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/published/steel_plates_faults.csv");
    let run = run_report(&[&file], None);
    assert_eq!(run.status.code(), Some(1));
    let said = String::from_utf8(run.stderr).unwrap();
    assert!(said.contains("panel_id"), "{said}");
}

#[test]
fn pieces_with_faults_only_give_no_rate_to_trust() {
    let found = report_on(&pieces(false), Some(SITE));
    assert_eq!(found["input"]["defects"], 1941);
    assert_eq!(found["input"]["clean_panels"], 0);
    assert!(warned(&found, "no-clean-panels"));
}

#[test]
fn faults_along_a_strip_accuse_no_machine() {
    let found = report_on(&pieces(true), Some(SITE));
    assert_eq!(found["input"]["defects"], 1941);
    assert!(!warned(&found, "no-clean-panels"));
    // The strip was never turned and no machine, lot or supplier is recorded: a
    // fault that keeps its distance from the strip's edge can be anybody's.
    for list in ["findings", "streams"] {
        for item in found[list].as_array().unwrap() {
            assert_ne!(item["cause"], "machine", "{item}");
        }
    }
    let kinds: BTreeSet<&str> = found["streams"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|s| s["defect"].as_str())
        .collect();
    assert_eq!(kinds.len(), 7, "{kinds:?}");
}
