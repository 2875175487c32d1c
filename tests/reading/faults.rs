//! Faults of folders, files and links.

use std::fs;
use std::path::{Path, PathBuf};

use onus::records::{self, Lost, OnReject, ReadOptions, Records, RecordsError};
use onus::site::Site;
use tempfile::TempDir;

const GOOD: &str = "panel_id,length_mm,width_mm,x_mm,y_mm,defect\nP1,600,400,10,20,scratch\n";

fn folder_with(files: &[(&str, &str)]) -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in files {
        let path = folder.path().join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, text).unwrap();
    }
    folder
}

fn read(inputs: &[PathBuf]) -> Result<Records, RecordsError> {
    records::read(inputs, &Site::default(), &ReadOptions::default())
}

fn skipped<'a>(records: &'a Records, name: &str) -> &'a str {
    let reject = records
        .rejects
        .iter()
        .find(|r| r.file.ends_with(name))
        .unwrap();
    assert_eq!(reject.lost, Lost::File);
    &reject.why
}

#[test]
fn a_missing_path_is_an_error_that_names_it() {
    let error = read(&["no/such/folder".into()]).unwrap_err();
    assert_eq!(error.to_string(), "no/such/folder: no such file or folder");
    assert!(error.hint().is_some());
}

#[test]
fn a_pattern_without_a_match_is_an_error_and_one_with_matches_is_followed() {
    let folder = folder_with(&[("a.csv", GOOD), ("b.txt", GOOD)]);
    let pattern = |p: &str| vec![folder.path().join(p)];
    let error = read(&pattern("*.parquet")).unwrap_err();
    assert!(matches!(error, RecordsError::Pattern { .. }), "{error}");
    assert_eq!(read(&pattern("*.csv")).unwrap().input.files, 1);
    assert_eq!(read(&pattern("?.*")).unwrap().input.panels, 1);
}

#[test]
fn an_empty_folder_and_one_without_tables_are_errors_that_say_what_is_there() {
    let empty = tempfile::tempdir().unwrap();
    let error = read(&[empty.path().to_owned()]).unwrap_err();
    assert!(error.hint().unwrap().contains("empty"), "{error}");
    let photos = folder_with(&[("a.jpg", "x"), ("b.jpg", "x"), ("c.xlsx", "x")]);
    let error = read(&[photos.path().to_owned()]).unwrap_err();
    assert!(error.hint().unwrap().contains("2 .jpg, 1 .xlsx"));
}

#[test]
fn strict_stops_at_the_first_reject_and_says_where() {
    let folder = folder_with(&[("a.csv", &format!("{GOOD}P2,600,400,abc,20,scratch\n"))]);
    let options = ReadOptions {
        on_reject: OnReject::Stop,
        ..ReadOptions::default()
    };
    let inputs = [folder.path().to_owned()];
    let error = records::read(&inputs, &Site::default(), &options).unwrap_err();
    assert!(error.to_string().contains("a.csv, line 3"), "{error}");
    assert!(read(&inputs).is_ok());
}

#[test]
fn the_same_file_given_twice_is_read_once_in_silence() {
    let folder = folder_with(&[("a.csv", GOOD)]);
    let records = read(&[folder.path().join("a.csv"), folder.path().to_owned()]).unwrap();
    assert_eq!(records.input.files, 1);
    assert!(
        !records
            .warnings
            .iter()
            .any(|w| w.code.code() == "duplicate-file")
    );
}

#[cfg(unix)]
#[test]
fn links_that_lead_nowhere_or_in_a_circle_are_skipped_and_named() {
    use std::os::unix::fs::symlink;
    let folder = folder_with(&[("a.csv", GOOD)]);
    let at = |name: &str| folder.path().join(name);
    symlink("nowhere.csv", at("dangling.csv")).unwrap();
    fs::create_dir(at("inner")).unwrap();
    symlink(folder.path(), at("inner/loop")).unwrap();
    let records = read(&[folder.path().to_owned()]).unwrap();
    assert_eq!(records.input.panels, 1);
    assert_eq!(records.input.skipped_files, 2);
    assert!(skipped(&records, "dangling.csv").contains("nowhere"));
    assert!(skipped(&records, "inner/loop").contains("back to a folder"));
}

#[cfg(unix)]
#[test]
fn pipes_and_sockets_are_skipped_and_never_waited_for() {
    let folder = folder_with(&[("a.csv", GOOD)]);
    let socket = folder.path().join("pipe.csv");
    let _listener = std::os::unix::net::UnixListener::bind(&socket).unwrap();
    let records = read(&[
        folder.path().to_owned(),
        socket,
        Path::new("/dev/null").to_owned(),
    ])
    .unwrap();
    assert_eq!(records.input.panels, 1);
    assert!(skipped(&records, "pipe.csv").contains("pipe or a device"));
    assert!(skipped(&records, "/dev/null").contains("pipe or a device"));
}

#[test]
fn a_line_no_table_has_is_refused_by_its_number() {
    let long = "x".repeat(17 << 20);
    let folder = folder_with(&[
        ("a.csv", GOOD),
        ("long.csv", &format!("{GOOD}P2,600,400,1,2,{long}\n")),
    ]);
    let records = read(&[folder.path().to_owned()]).unwrap();
    assert_eq!(records.input.panels, 1);
    assert!(skipped(&records, "long.csv").contains("line 3 is longer than 16 MB"));
}
