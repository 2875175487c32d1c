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
        "panels.csv",
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
    let (images, drawings): (Vec<&str>, Vec<&str>) =
        (charts.iter().map(|n| n.as_str())).partition(|n| n.ends_with(".png"));
    assert_eq!(images.len(), drawings.len(), "an image of every chart");
    for image in images {
        // PNG (ISO/IEC 15948): eight bytes, then the header with width and height.
        let bytes = shop.made(image);
        assert_eq!(&bytes[..8], b"\x89PNG\r\n\x1a\n", "{image}");
        let side = |at: usize| u32::from_be_bytes(bytes[at..at + 4].try_into().unwrap());
        assert!(side(16) >= 600 && side(20) >= 100, "{image}: {}", side(16));
    }
    for chart in drawings {
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
fn a_read_only_place_is_named_with_what_to_do() {
    let shop = Shop::with_spot(3);
    // Nobody may make folders there, not even root.
    let done = onus()
        .current_dir(shop.path(""))
        .args(["report", "inspections", "--out", "/sys/kernel/report"])
        .output()
        .unwrap();
    assert_eq!(done.status.code(), Some(1));
    let message = String::from_utf8_lossy(&done.stderr).into_owned();
    assert!(
        message.contains("/sys/kernel: cannot be written"),
        "{message}"
    );
    assert!(
        message.contains("hint: give --out a place that you may write to"),
        "{message}"
    );
}

/// A shell sets the limit, since only the run itself may be stopped by it; the
/// signal is ignored, so that the write fails as on a full disk.
fn with_file_limit(shop: &Shop, blocks: u32, out: &str) -> std::process::Output {
    std::process::Command::new("sh")
        .current_dir(shop.path(""))
        .args([
            "-c",
            "trap '' XFSZ; ulimit -f \"$1\"; shift; exec \"$@\"",
            "sh",
        ])
        .arg(blocks.to_string())
        .arg(env!("CARGO_BIN_EXE_onus"))
        .args(["report", "inspections", "--replace", "--out", out])
        .output()
        .unwrap()
}

#[test]
fn a_write_that_fails_half_way_leaves_the_old_report_and_nothing_beside_it() {
    let shop = Shop::with_spot(12);
    assert!(shop.report(&[]).status.success());
    let names = files(&shop.path("report"));
    let bytes = || -> Vec<Vec<u8>> { names.iter().map(|n| shop.made(n)).collect() };
    let whole = bytes();
    shop.write("P9999.csv", "panel_id,length_mm,width_mm\nP9999,600,400\n");
    // Blocks are 512 or 1024 bytes, as the shell has it: less than any file,
    // than a chart, than the PDF.
    for blocks in [0, 8, 40] {
        let done = with_file_limit(&shop, blocks, "report");
        assert_eq!(done.status.code(), Some(1), "{blocks} blocks");
        let message = String::from_utf8_lossy(&done.stderr).into_owned();
        assert!(message.contains("cannot be written"), "{message}");
        assert!(message.contains("hint: raise the limit"), "{message}");
        assert_eq!(files(&shop.path("report")), names, "{blocks} blocks");
        assert_eq!(bytes(), whole, "{blocks} blocks");
        let mut beside: Vec<_> = std::fs::read_dir(shop.path(""))
            .unwrap()
            .map(|e| e.unwrap().file_name())
            .collect();
        beside.sort();
        assert_eq!(beside, ["inspections", "report"], "{blocks} blocks");
        // Where there was no report, there is none.
        assert_eq!(with_file_limit(&shop, blocks, "new").status.code(), Some(1));
        assert!(!shop.path("new").exists(), "{blocks} blocks");
    }
    assert!(with_file_limit(&shop, 100_000, "report").status.success());
    assert_ne!(bytes(), whole, "the limit alone was in the way");
}

#[test]
fn a_full_disk_behind_the_output_ends_with_1_and_says_so() {
    let shop = Shop::with_spot(3);
    for command in ["check", "report"] {
        let full = std::fs::File::options()
            .write(true)
            .open("/dev/full")
            .unwrap();
        let done = onus()
            .current_dir(shop.path(""))
            .args([command, "inspections", "--json"])
            .stdout(full)
            .output()
            .unwrap();
        assert_eq!(done.status.code(), Some(1), "{command}");
        let message = String::from_utf8_lossy(&done.stderr).into_owned();
        assert!(
            message.contains("error: cannot write the result: No space left"),
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
