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
        shown.contains("1 file: cannot be read as Parquet: the file is damaged; export it again"),
        "{shown}"
    );
    let told = String::from_utf8(done.stderr).unwrap();
    assert!(!told.contains("panicked"), "{told}");
}
