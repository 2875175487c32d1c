//! The folder appears whole or not at all.

use std::os::unix::fs::PermissionsExt;

use crate::shop::{Shop, files, onus};

#[test]
fn the_folder_holds_what_is_promised() {
    let shop = Shop::with_spot(90);
    assert!(shop.report(&[]).status.success());
    let names = files(&shop.path("report"));
    for name in [
        "findings.csv",
        "findings.json",
        "rejects.csv",
        "report.html",
        "report.pdf",
    ] {
        assert!(names.contains(&name.to_owned()), "{name} of {names:?}");
    }
    let charts: Vec<_> = names.iter().filter(|n| n.starts_with("charts/")).collect();
    assert!(charts.iter().any(|n| n.ends_with("-kinds.svg")));
    assert!(charts.iter().any(|n| n.contains("-where-")));
    assert!(charts.iter().any(|n| n.contains("-when")));
    for chart in charts {
        let text = String::from_utf8(shop.made(chart)).unwrap();
        assert!(
            text.contains("<title>") && text.contains("<desc>"),
            "{chart}"
        );
    }
    let mode = std::fs::metadata(shop.path("report"))
        .unwrap()
        .permissions()
        .mode();
    assert_eq!(mode & 0o500, 0o500, "the folder can be entered");
}

#[test]
fn an_existing_report_is_replaced_only_when_asked() {
    let shop = Shop::with_spot(12);
    assert!(shop.report(&[]).status.success());
    let first = shop.made("findings.json");
    shop.write("P9999.csv", "panel_id,length_mm,width_mm\nP9999,600,400\n");
    let refused = shop.report(&[]);
    assert_eq!(refused.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&refused.stderr).contains("--replace"));
    assert_eq!(shop.made("findings.json"), first);
    assert!(shop.report(&["--replace"]).status.success());
    assert_ne!(shop.made("findings.json"), first);
    // Nothing is left beside it.
    let mut beside: Vec<_> = std::fs::read_dir(shop.path(""))
        .unwrap()
        .map(|e| e.unwrap().file_name())
        .collect();
    beside.sort();
    assert_eq!(beside, ["inspections", "report"]);
}

#[test]
fn replace_never_touches_the_input_or_a_foreign_folder() {
    let shop = Shop::with_spot(3);
    let run = |out: &str| {
        onus()
            .current_dir(shop.path(""))
            .args(["report", "inspections", "--replace", "--out", out])
            .output()
            .unwrap()
    };
    for out in ["inspections", ".", "inspections/P0000.csv"] {
        let refused = run(out);
        assert_eq!(refused.status.code(), Some(1), "{out}");
    }
    std::fs::create_dir(shop.path("notes")).unwrap();
    std::fs::write(shop.path("notes/mine.txt"), "mine").unwrap();
    assert_eq!(run("notes").status.code(), Some(1));
    assert_eq!(files(&shop.path("notes")), ["mine.txt"]);
    assert_eq!(files(&shop.inspections()).len(), 3);
}

#[test]
fn a_target_that_cannot_be_written_gives_a_clear_error() {
    let shop = Shop::with_spot(3);
    std::fs::write(shop.path("file"), "x").unwrap();
    for (out, told) in [
        ("file", "file: is not a folder"),
        ("file/below", "cannot be written"),
        ("/proc/nowhere/report", "/proc/nowhere: cannot be written"),
    ] {
        let done = onus()
            .current_dir(shop.path(""))
            .args(["report", "inspections", "--out", out])
            .output()
            .unwrap();
        assert_eq!(done.status.code(), Some(1), "{out}");
        let message = String::from_utf8_lossy(&done.stderr).into_owned();
        assert!(
            message.contains("error: ") && message.contains(told),
            "{message}"
        );
    }
}

#[test]
fn two_runs_into_the_same_folder_leave_one_whole_report() {
    let shop = Shop::with_spot(12);
    assert!(shop.report(&[]).status.success());
    let whole = files(&shop.path("report"));
    let mut runs: Vec<_> = (0..3)
        .map(|_| {
            shop.command(&["--replace"])
                .stdout(std::process::Stdio::null())
                .spawn()
                .unwrap()
        })
        .collect();
    for run in &mut runs {
        assert!(run.wait().unwrap().success());
    }
    assert_eq!(files(&shop.path("report")), whole);
}
