//! `onus check` in the terminal.

use std::path::Path;

use crate::shop::onus;

fn check(files: &[(&str, &str)]) -> String {
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in files {
        std::fs::write(folder.path().join(name), text).unwrap();
    }
    let done = onus().arg("check").arg(folder.path()).output().unwrap();
    assert!(done.status.success());
    String::from_utf8(done.stdout).unwrap()
}

#[test]
fn a_panel_lost_with_all_its_rows_counts_once() {
    let good = "panel_id,length_mm,width_mm,defect\nP1,600,400,\n";
    let no_size = "panel_id,lot,defect\nP2,A,scratch\nP2,A,dust nib\nP3,A,\n";
    let shown = check(&[("a.csv", good), ("b.csv", no_size)]);
    assert!(shown.contains("\n  2 panels: "), "{shown}");
    let shown = check(&[
        ("a.csv", good),
        ("b.csv", "panel_id,defect\nP2,scratch\nP2,nib\n"),
    ]);
    assert!(shown.contains("\n  1 panel: "), "{shown}");
}

#[test]
fn a_file_that_breaks_the_decoder_is_named_and_no_panic_is_shown() {
    let messy = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/messy/stored");
    let done = onus()
        .arg("check")
        .args([messy.join("bent.parquet"), messy.join("rest.csv")])
        .env("RUST_BACKTRACE", "1")
        .output()
        .unwrap();
    let shown = String::from_utf8(done.stdout).unwrap();
    assert!(done.status.success(), "{shown}");
    assert!(
        shown.contains("1 file: cannot be read as Parquet: ") && shown.contains("bent.parquet"),
        "{shown}"
    );
    let told = String::from_utf8(done.stderr).unwrap();
    assert!(!told.contains("panicked"), "{told}");
}

#[test]
fn a_site_file_from_a_sample_needs_no_more_than_the_names_it_asks_for() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    std::fs::write(
        at("station.csv"),
        "\u{feff}Platte;length;width;x;y;Fehler\n;mm;mm;in;in;\nP1;600;400;1,5;2;Kratzer\nP2;600;400;;;\n",
    )
    .unwrap();
    let run = |args: &[&str]| {
        let done = onus()
            .current_dir(folder.path())
            .args(args)
            .output()
            .unwrap();
        let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
        (done.status.code(), text(done.stdout), text(done.stderr))
    };
    let (code, _, message) = run(&["check", "station.csv"]);
    assert_eq!(code, Some(1));
    assert!(message.contains("no column \"panel_id\""), "{message}");
    let (code, written, _) = run(&["columns", "--site", "station.csv"]);
    assert_eq!(code, Some(0));
    assert!(
        written.contains("\nx_mm = \"x\"  # such as \"1,5\""),
        "{written}"
    );
    assert!(written.contains("\npanel_id = \"Platte\""), "{written}");
    assert!(written.contains("\ndefect = \"Fehler\""), "{written}");
    std::fs::write(at("onus.toml"), written).unwrap();
    let (code, shown, message) = run(&["check", "station.csv", "--site", "onus.toml", "--json"]);
    assert_eq!(code, Some(0), "{message}");
    let checked: serde_json::Value = serde_json::from_str(&shown).unwrap();
    assert_eq!(checked["input"]["panels"], 2);
    assert_eq!(checked["input"]["clean_panels"], 1);
    assert_eq!(checked["defects"][0]["defect"], "Kratzer");
    let x = checked["ranges"]
        .as_array()
        .unwrap()
        .iter()
        .find(|r| r["column"] == "x_mm")
        .unwrap();
    let low = x["low"].as_f64().unwrap();
    assert!((low - 1.5 * 25.4).abs() < 1e-9, "{low}");
}
