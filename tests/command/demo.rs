//! The demo's truth is known: what its report says of it.

use std::path::Path;
use std::process::Command;
use std::sync::OnceLock;

use serde_json::Value;

fn demo(folder: &Path) -> Value {
    let run = Command::new(env!("CARGO_BIN_EXE_onus"))
        .args(["demo", "--out"])
        .arg(folder)
        .output()
        .unwrap();
    assert!(
        run.status.success(),
        "{}",
        String::from_utf8_lossy(&run.stderr)
    );
    let text = std::fs::read(folder.join("report/findings.json")).unwrap();
    serde_json::from_slice(&text).unwrap()
}

/// The demo as it is without options, made once for all tests that only read it.
pub(crate) fn made() -> &'static (tempfile::TempDir, Value) {
    static MADE: OnceLock<(tempfile::TempDir, Value)> = OnceLock::new();
    MADE.get_or_init(|| {
        let folder = tempfile::tempdir().unwrap();
        let found = demo(folder.path());
        (folder, found)
    })
}

fn items<'a>(findings: &'a Value, list: &str, keep: impl Fn(&Value) -> bool) -> Vec<&'a Value> {
    findings[list]
        .as_array()
        .unwrap()
        .iter()
        .filter(|item| keep(item))
        .collect()
}

#[test]
fn the_demos_truth_is_found_and_nobody_else_is_accused() {
    let (folder, found) = made();

    // the spot of cell north, and no other place or stream of a machine
    let machine = items(found, "findings", |f| {
        f["cause"] == "machine" && f["kind"] == "spot"
    });
    assert_eq!(machine.len(), 1, "{machine:?}");
    let spot = machine[0];
    assert_eq!(
        (&spot["machine"], &spot["defect"]),
        (&"north".into(), &"sand-through".into())
    );
    let near = |value: &Value, truth: f64, by: f64| (value.as_f64().unwrap() - truth).abs() <= by;
    assert!(
        near(&spot["x_mm"], 318.0, 3.0) && near(&spot["y_mm"], 203.0, 3.0),
        "{spot}"
    );
    // it came with the fourth day's panels, 61 to 80
    let onset = spot["onset_panel"].as_str().unwrap();
    assert!(("N10055".."N10080").contains(&onset), "{onset}");
    for stream in items(found, "streams", |s| s["cause"] == "machine") {
        assert_eq!(
            (&stream["machine"], &stream["defect"]),
            (&spot["machine"], &spot["defect"])
        );
    }

    // the glue spots of lot K3 ride the panels of both cells
    let glue = items(found, "findings", |f| f["defect"] == "glue spot");
    assert_eq!(glue.len(), 2, "{glue:?}");
    for finding in glue {
        assert_eq!(
            (&finding["cause"], &finding["lots"]),
            (&"part".into(), &vec!["K3"].into())
        );
        assert!(near(&finding["x_mm"], 140.0, 5.0) && near(&finding["y_mm"], 210.0, 5.0));
    }

    // nibs wander
    assert!(items(found, "findings", |f| f["defect"] == "dust nib").is_empty());

    // the head of cell south leans by 4 µm per half length, that of north does not
    let surface = |cell: &str| items(found, "surface", |s| s["machine"] == cell)[0].clone();
    let lean = surface("south")["slope_x"]["machine_ci"].clone();
    assert_eq!(surface("south")["cause"], "machine");
    assert!(
        lean[0].as_f64().unwrap() < 4.0 && lean[1].as_f64().unwrap() > 4.0,
        "{lean}"
    );
    assert_ne!(surface("north")["cause"], "machine");

    // the slower recipe leaves a quarter of the orange peel
    let change = items(found, "changes", |c| c["defect"] == "orange peel left");
    assert_eq!(change.len(), 1, "{change:?}");
    assert_eq!(change[0]["verdict"], "helped");
    let ci = &change[0]["ratio_ci"];
    assert!(
        ci[0].as_f64().unwrap() < 0.25 && ci[1].as_f64().unwrap() > 0.25,
        "{ci}"
    );

    // three spoiled files: a value, a row and a panel lost
    assert_eq!(found["input"]["files"], 400);
    assert_eq!(found["input"]["rejected_panels"], 1);
    let rejects = std::fs::read_to_string(folder.path().join("report/rejects.csv")).unwrap();
    for lost in ["severity", "4l2", "panel"] {
        assert!(rejects.contains(lost), "{lost}: {rejects}");
    }
}

/// The kinds whose truth is known: orange peel is the recipe's and dust nobody's,
/// wherever the report speaks of them.
#[test]
fn the_demos_report_says_one_thing_of_each_kind_and_is_short() {
    let (folder, found) = made();
    for stream in found["streams"].as_array().unwrap() {
        let cause = stream["cause"].as_str().unwrap();
        match stream["defect"].as_str().unwrap() {
            // cell north kept one recipe
            "orange peel left" if stream["machine"] == "south" => {
                assert_eq!(cause, "recipe", "{stream:#}");
            }
            "orange peel left" => assert_ne!(cause, "machine", "{stream:#}"),
            "dust nib" => assert!(["part", "undecided"].contains(&cause), "{stream:#}"),
            _ => {}
        }
    }
    let pdf = std::fs::read(folder.path().join("report/report.pdf")).unwrap();
    let pages = crate::document::text_of(&pdf);
    assert!(pages.len() <= 10, "{} pages", pages.len());
    // Numbers that a typesetting which never settles would get wrong.
    for (at, page) in pages.iter().enumerate() {
        let footer = format!("Page {} of {}", at + 1, pages.len());
        assert!(page.contains(&footer), "{footer}: {page}");
    }
    assert!(
        pages[0].contains("Did the latest change help?"),
        "{}",
        pages[0]
    );
    assert!(pages[0].contains("orange peel left fewer"), "{}", pages[0]);
}

#[test]
fn a_second_demo_replaces_the_first_with_the_same_bytes() {
    let folder = tempfile::tempdir().unwrap();
    let pdf = |folder: &Path| std::fs::read(folder.join("report/report.pdf")).unwrap();
    demo(folder.path());
    demo(folder.path());
    assert!(
        pdf(made().0.path()) == pdf(folder.path()),
        "the report's bytes changed"
    );
}
