//! Exit codes and messages.

use crate::shop::{Shop, onus};

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

#[test]
fn a_report_ends_with_0_and_names_its_file() {
    let shop = Shop::with_spot(90);
    let done = shop.report(&[]);
    assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
    assert!(text(&done.stdout).ends_with("report/report.pdf\n"));
    assert!(text(&done.stdout).starts_with("M1 leaves sand-through at one place"));
    let findings = shop.findings();
    assert_eq!(findings["schema"], 1);
    assert_eq!(findings["input"]["panels"], 90);
    assert_eq!(findings["findings"][0]["cause"], "machine");
    assert_eq!(findings["findings"][0]["kind"], "spot");
}

#[test]
fn json_prints_the_findings_file_and_nothing_else() {
    let shop = Shop::with_spot(30);
    let done = shop.report(&["--json"]);
    assert_eq!(done.status.code(), Some(0));
    assert_eq!(done.stdout, shop.made("findings.json"));
    let alone = onus()
        .current_dir(shop.path(""))
        .args(["report", "inspections", "--json"])
        .output()
        .unwrap();
    assert_eq!(alone.stdout, done.stdout, "no folder is needed for it");
}

#[test]
fn wrong_usage_ends_with_2() {
    for args in [
        vec!["report"],
        vec!["report", "x.csv", "--out", "r", "--paper", "a9"],
        vec!["report", "x.csv", "--out", "r", "--week", "soon"],
        vec!["sand"],
        vec![],
    ] {
        let done = onus().args(&args).output().unwrap();
        assert_eq!(done.status.code(), Some(2), "{args:?}");
    }
}

#[test]
fn what_cannot_be_read_ends_with_1_and_a_hint() {
    let shop = Shop::with_spot(3);
    let run = |args: &[&str]| {
        let done = onus()
            .current_dir(shop.path(""))
            .args(args)
            .output()
            .unwrap();
        (done.status.code(), text(&done.stderr))
    };
    let (code, message) = run(&["report", "nowhere", "--out", "r"]);
    assert_eq!(code, Some(1));
    assert!(
        message.contains("error: nowhere") && message.contains("hint:"),
        "{message}"
    );

    std::fs::create_dir(shop.path("empty")).unwrap();
    let (code, message) = run(&["report", "empty", "--out", "r"]);
    assert_eq!(code, Some(1));
    assert!(message.contains("hint:"), "{message}");

    std::fs::write(shop.path("bad.toml"), "[site]\nnmae = \"x\"\n").unwrap();
    let (code, message) = run(&["report", "inspections", "--out", "r", "--site", "bad.toml"]);
    assert_eq!(code, Some(1));
    assert!(
        message.contains("line 2") && message.contains("`name`"),
        "{message}"
    );
    assert!(!shop.path("r").exists());
}

#[test]
fn strict_stops_at_a_reject_and_writes_nothing() {
    let shop = Shop::with_spot(6);
    shop.write(
        "bad.csv",
        "panel_id,length_mm,width_mm,x_mm,y_mm,defect\nQ1,600,400,abc,3,nib\n",
    );
    let strict = shop.report(&["--strict"]);
    assert_eq!(strict.status.code(), Some(1));
    assert!(
        text(&strict.stderr).contains("--strict"),
        "{}",
        text(&strict.stderr)
    );
    assert!(!shop.path("report").exists());
    let lax = shop.report(&[]);
    assert_eq!(lax.status.code(), Some(0));
    let rejects = text(&shop.made("rejects.csv"));
    assert!(rejects.contains("bad.csv,2,x_mm,abc,row,"), "{rejects}");
}

#[test]
fn little_data_gets_an_honest_report() {
    let header = "panel_id,length_mm,width_mm,x_mm,y_mm,defect\n";
    let spot = "P1,600,400,10,20,nib\n";
    for (name, rows) in [
        ("one clean panel", "P1,600,400,,,\n".to_owned()),
        ("one panel", spot.to_owned()),
        (
            "no defects",
            (0..40).map(|i| format!("P{i},600,400,,,\n")).collect(),
        ),
        (
            "no clean panel",
            (0..5)
                .map(|i| format!("P{i},600,400,{i}0,20,nib\n"))
                .collect(),
        ),
    ] {
        let shop = Shop::with_spot(0);
        shop.write("all.csv", &format!("{header}{rows}"));
        let done = shop.report(&[]);
        assert_eq!(
            done.status.code(),
            Some(0),
            "{name}: {}",
            text(&done.stderr)
        );
        let findings = shop.findings();
        assert!(
            findings["findings"]
                .as_array()
                .unwrap()
                .iter()
                .all(|f| f["cause"] != "machine"),
            "{name}"
        );
        assert!(shop.made("report.pdf").starts_with(b"%PDF"), "{name}");
    }
}

#[test]
fn no_colour_or_bar_reaches_a_pipe() {
    let shop = Shop::with_spot(6);
    let done = shop.report(&[]);
    assert!(!done.stdout.contains(&0x1b) && !done.stderr.contains(&0x1b));
}

#[test]
fn completions_and_manual_come_from_the_commands_themselves() {
    let text_of = |args: &[&str]| text(&onus().args(args).output().unwrap().stdout);
    for shell in ["bash", "zsh", "fish"] {
        let script = text_of(&["completions", shell]);
        for word in ["report", "compare", "previous", "actions", "week"] {
            assert!(script.contains(word), "{shell}: {word}");
        }
    }
    let page = text_of(&["man", "report"]);
    assert!(page.contains(".TH onus-report"), "{page}");
    assert!(
        page.contains("previous") && page.contains("actions"),
        "{page}"
    );
    assert!(text_of(&["man"]).contains("compare"));
    let none = onus().args(["man", "sand"]).output().unwrap();
    assert_eq!(none.status.code(), Some(1));
    assert!(text(&none.stderr).contains("hint: there are report, check"));
}

#[test]
fn a_site_file_beside_the_input_is_used_and_told() {
    let shop = Shop::with_spot(30);
    std::fs::write(shop.path("onus.toml"), "[site]\nname = \"Our shop\"\n").unwrap();
    let done = shop.report(&[]);
    let told = text(&done.stderr);
    assert!(
        told.contains("note: read by the rules of onus.toml"),
        "{told}"
    );
    let html = text(&shop.made("report.html"));
    assert!(html.contains("Our shop"));
}

#[test]
fn without_out_the_report_goes_to_reports_and_the_period() {
    let shop = Shop::with_spot(30);
    let run = || {
        onus()
            .current_dir(shop.path(""))
            .args(["report", "inspections"])
            .output()
            .unwrap()
    };
    let done = run();
    let shown = text(&done.stdout);
    // 30 panels, 20 a day from 2025-03-01 on.
    assert!(
        shown.ends_with("reports/2025-03-01_2025-03-02/report.pdf\n"),
        "{shown}"
    );
    assert!(
        shop.path("reports/2025-03-01_2025-03-02/findings.json")
            .exists()
    );
    assert_eq!(
        run().status.code(),
        Some(1),
        "and is not replaced by itself"
    );
}

#[test]
fn a_short_report_is_page_one_and_the_findings() {
    let shop = Shop::with_spot(90);
    assert!(shop.report(&["--short"]).status.success());
    let html = text(&shop.made("report.html"));
    let pages: Vec<&str> = html
        .split("<section id=\"")
        .skip(1)
        .filter_map(|part| part.split('"').next())
        .collect();
    assert_eq!(pages[0], "front");
    assert!(
        pages.len() > 1 && pages[1..].iter().all(|p| p.starts_with("finding")),
        "{pages:?}"
    );
}
