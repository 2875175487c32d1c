//! `onus plan` as a user meets it.

use std::path::Path;
use std::process::Output;

use serde_json::{Value, json};

use crate::shop::{Shop, files, onus};

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

/// `onus plan` with arguments in a folder.
fn plan(folder: &Path, args: &[&str]) -> Output {
    onus()
        .current_dir(folder)
        .arg("plan")
        .args(args)
        .output()
        .unwrap()
}

fn planned(folder: &Path, args: &[&str]) -> Value {
    let done = plan(folder, &[args, &["--json"]].concat());
    assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
    serde_json::from_slice(&done.stdout).unwrap()
}

const TWO: [&str; 4] = [
    "--factor",
    "feed_mm_s=80..140",
    "--factor",
    "force_n=20..40",
];

/// Rows of a sheet without the head.
fn rows(sheet: &str) -> Vec<Vec<String>> {
    let row = |line: &str| line.split(',').map(str::to_owned).collect();
    sheet.lines().skip(1).map(row).collect()
}

fn head(sheet: &str) -> Vec<&str> {
    sheet.lines().next().unwrap().split(',').collect()
}

#[test]
fn a_plan_is_a_folder_with_a_sheet_a_page_and_the_numbers() {
    let folder = tempfile::tempdir().unwrap();
    let done = plan(
        folder.path(),
        &[&TWO[..], &["--out", "plans/first"]].concat(),
    );
    assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
    let made = folder.path().join("plans/first");
    assert_eq!(files(&made), ["plan.json", "plan.pdf", "sheet.csv"]);
    assert!(text(&done.stdout).ends_with("plans/first/sheet.csv\n"));
    assert!(
        text(&done.stdout).contains("guarded, at reduced speed"),
        "the caution is told"
    );
    let sheet = std::fs::read_to_string(made.join("sheet.csv")).unwrap();
    assert_eq!(
        head(&sheet)[..6],
        [
            "plan",
            "plan_block",
            "plan_run",
            "panel_id",
            "feed_mm_s",
            "force_n"
        ]
    );
    // Four corners, and three runs in the middle: first, last and between.
    let rows = rows(&sheet);
    assert_eq!(rows.len(), 7);
    let centre = |row: &&Vec<String>| row[4] == "110" && row[5] == "30";
    assert_eq!(rows.iter().filter(centre).count(), 3);
    assert!(centre(&&rows[0]) && centre(&&rows[6]));
    assert!(
        rows.iter()
            .all(|row| row[0] == "first" && row[3].is_empty())
    );
    let pdf = lopdf::Document::load(made.join("plan.pdf")).unwrap();
    assert_eq!(pdf.get_pages().len(), 1, "one page for the shop floor");
}

#[test]
fn a_long_plan_still_has_one_page() {
    let folder = tempfile::tempdir().unwrap();
    let more = [
        "--factor=passes=2..6",
        "--factor=grit=P240,P320",
        "--runs=8",
        "--lots=2",
        "--out=p",
    ];
    let done = plan(folder.path(), &[&TWO[..], &more].concat());
    assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
    let pdf = lopdf::Document::load(folder.path().join("p/plan.pdf")).unwrap();
    assert_eq!(pdf.get_pages().len(), 1);
    assert!(text(&done.stdout).contains("can’t be told apart by this plan"));
}

#[test]
fn a_plan_is_kept_unless_it_may_be_replaced() {
    let folder = tempfile::tempdir().unwrap();
    let again = [&TWO[..], &["--out", "p"]].concat();
    assert_eq!(plan(folder.path(), &again).status.code(), Some(0));
    let refused = plan(folder.path(), &again);
    assert_eq!(refused.status.code(), Some(1));
    assert!(
        text(&refused.stderr).contains("--replace"),
        "{}",
        text(&refused.stderr)
    );
    let replaced = plan(
        folder.path(),
        &[&again[..], &["--replace", "--seed", "9"]].concat(),
    );
    assert_eq!(
        replaced.status.code(),
        Some(0),
        "{}",
        text(&replaced.stderr)
    );
}

#[test]
fn the_same_seed_gives_the_same_bytes_and_another_one_another_order() {
    let folder = tempfile::tempdir().unwrap();
    let sheet = |out: &str, seed: &str| {
        let args = [&TWO[..], &["--repeats", "4", "--out", out, "--seed", seed]].concat();
        assert_eq!(plan(folder.path(), &args).status.code(), Some(0));
        let text = std::fs::read_to_string(folder.path().join(out).join("sheet.csv")).unwrap();
        text.replace(&format!("{out},"), "")
    };
    assert_eq!(sheet("a", "3"), sheet("b", "3"));
    assert_ne!(sheet("c", "4"), sheet("a2", "3"));
}

#[test]
fn nothing_beyond_the_limits_of_the_site_is_ever_planned() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(
        folder.path().join("onus.toml"),
        "[recipe]\nforce_cap_n = 35\n[recipe.limits]\nfeed_mm_s = { low = 90, high = 130 }\n",
    )
    .unwrap();
    for shape in [
        "two-level",
        "central-composite",
        "d-optimal",
        "d-optimal-curved",
    ] {
        let made = planned(folder.path(), &[&TWO[..], &["--shape", shape]].concat());
        for run in made["runs"].as_array().unwrap() {
            let feed = run["settings"][0].as_f64().unwrap();
            let force = run["settings"][1].as_f64().unwrap();
            assert!((90.0..=130.0).contains(&feed) && (20.0..=35.0).contains(&force));
        }
    }
    let nothing = plan(
        folder.path(),
        &["--factor", "force_n=36..40", "--factor", "passes=1..3"],
    );
    assert_eq!(nothing.status.code(), Some(1));
    let told = text(&nothing.stderr);
    assert!(
        told.contains("leave nothing of 36 to 40") && told.contains("35"),
        "{told}"
    );
    let change = [
        "--change",
        "force_n=30,36",
        "--defect",
        "nib",
        "--rate",
        "1",
    ];
    let beyond = plan(folder.path(), &change);
    assert_eq!(beyond.status.code(), Some(1));
    let told = text(&beyond.stderr);
    assert!(told.contains("force_n: 36 is outside"), "{told}");
}

#[test]
fn settings_that_must_not_meet_are_not_planned_together() {
    let folder = tempfile::tempdir().unwrap();
    let never = [
        "--never",
        "feed_mm_s=120..140&force_n=35..40",
        "--runs",
        "10",
    ];
    let made = planned(folder.path(), &[&TWO[..], &never].concat());
    assert_eq!(made["recipe"]["shape"], "d-optimal");
    let runs = made["runs"].as_array().unwrap();
    assert!(runs.len() >= 10);
    for run in runs {
        let feed = run["settings"][0].as_f64().unwrap();
        let force = run["settings"][1].as_f64().unwrap();
        assert!(feed < 120.0 || force < 35.0, "{feed} with {force}");
    }
}

#[test]
fn the_sheet_is_written_in_the_units_and_words_of_the_site() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(
        folder.path().join("onus.toml"),
        "[columns]\nfeed_mm_s = \"Vorschub\"\npanel_id = \"Platte\"\n[units]\nfeed_mm_s = \"m/min\"\n[numbers]\ndecimal = \"comma\"\n",
    )
    .unwrap();
    let done = plan(folder.path(), &[&TWO[..], &["--out", "p"]].concat());
    assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
    let sheet = std::fs::read_to_string(folder.path().join("p/sheet.csv")).unwrap();
    let head: Vec<&str> = sheet.lines().next().unwrap().split(';').collect();
    assert_eq!(head[3..5], ["Platte", "Vorschub"]);
    let cells: Vec<&str> = sheet
        .lines()
        .skip(1)
        .map(|l| l.split(';').nth(4).unwrap())
        .collect();
    // 80, 110 and 140 mm/s in metres per minute.
    assert!(
        cells.iter().all(|c| ["4,8", "6,6", "8,4"].contains(c)),
        "{cells:?}"
    );
}

#[test]
fn lots_share_a_fraction_without_hiding_a_factor() {
    let folder = tempfile::tempdir().unwrap();
    let args = [
        &TWO[..],
        &["--factor=passes=2..6", "--lots", "L1,L2", "--centres", "0"],
    ]
    .concat();
    let made = planned(folder.path(), &args);
    assert_eq!(made["columns"][0], "lot");
    let runs = made["runs"].as_array().unwrap();
    assert_eq!(runs.len(), 8);
    for lot in ["L1", "L2"] {
        let own: Vec<&Value> = runs.iter().filter(|r| r["settings"][0] == lot).collect();
        assert_eq!(own.len(), 4);
        for factor in 0..3 {
            let sum: f64 = own
                .iter()
                .map(|r| r["coded"][factor].as_f64().unwrap())
                .sum();
            assert_eq!(sum, 0.0, "each factor is as often low as high in {lot}");
        }
    }
    let odd = plan(folder.path(), &[&TWO[..], &["--lots", "3"]].concat());
    assert_eq!(odd.status.code(), Some(2));
    assert!(
        text(&odd.stderr).contains("--repeats 3"),
        "{}",
        text(&odd.stderr)
    );
}

#[test]
fn grit_is_changed_a_few_times_only() {
    let folder = tempfile::tempdir().unwrap();
    let args = [
        &TWO[..],
        &[
            "--factor=grit=P240,P320",
            "--factor=passes=2..6",
            "--runs=16",
        ],
    ]
    .concat();
    let made = planned(folder.path(), &args);
    let grits: Vec<&str> = (made["runs"].as_array().unwrap().iter())
        .map(|r| r["settings"][2].as_str().unwrap())
        .collect();
    let changes = grits.windows(2).filter(|w| w[0] != w[1]).count();
    assert_eq!(changes, 3, "{grits:?}");
    let grit = made["recipe"]["precision"].as_array().unwrap().iter();
    let grit: Vec<&Value> = grit.filter(|p| p["factor"] == "grit").collect();
    assert_eq!(grit[0]["dof"], 2.0, "four stretches tell it");
    assert_eq!(grit[0]["at_best"], true);
}

/// Fold-over: a reversal of all signs frees the factors of a design of resolution 3
/// from pairs (Box & Hunter 1961), here checked on the signs of both plans together.
#[test]
fn a_follow_up_parts_an_effect_from_its_likes() {
    let folder = tempfile::tempdir().unwrap();
    let three = [
        &TWO[..],
        &[
            "--factor=passes=2..6",
            "--runs=4",
            "--out=first",
            "--centres=0",
        ],
    ]
    .concat();
    assert_eq!(plan(folder.path(), &three).status.code(), Some(0));
    let follow = ["--follow", "first", "--free", "feed_mm_s", "--centres", "0"];
    let second = planned(folder.path(), &follow);
    let first: Value =
        serde_json::from_slice(&std::fs::read(folder.path().join("first/plan.json")).unwrap())
            .unwrap();
    let coded = |plan: &Value| -> Vec<Vec<f64>> {
        let run = |r: &Value| {
            r["coded"]
                .as_array()
                .unwrap()
                .iter()
                .map(|v| v.as_f64().unwrap())
                .collect()
        };
        plan["runs"].as_array().unwrap().iter().map(run).collect()
    };
    let both: Vec<Vec<f64>> = [coded(&first), coded(&second)].concat();
    let meet = |runs: &[Vec<f64>]| runs.iter().map(|r| r[0] * r[1] * r[2]).sum::<f64>().abs();
    assert_eq!(
        meet(&coded(&first)),
        4.0,
        "feed and force with passes go together"
    );
    assert_eq!(meet(&both), 0.0, "and are parted by both plans together");
    let unknown = plan(folder.path(), &["--follow", "first", "--free", "grit"]);
    assert_eq!(unknown.status.code(), Some(1));
    assert!(
        text(&unknown.stderr).contains("--free feed_mm_s,passes"),
        "{}",
        text(&unknown.stderr)
    );
}

#[test]
fn wrong_usage_ends_with_2_and_says_what_to_type() {
    let folder = tempfile::tempdir().unwrap();
    for (args, told) in [
        (vec!["--factor", "feed_mm_s"], "feed_mm_s=80..140"),
        (vec!["--factor", "feed_mm_s=80..80"], "LOW..HIGH"),
        (vec!["--factor", "grit=P240"], "LOW..HIGH"),
        (
            vec!["--factor", "fede_mm_s=80..90"],
            "did you mean feed_mm_s",
        ),
        ([&TWO[..], &["--runs", "2"]].concat(), "--runs 3"),
        ([&TWO[..], &["--runs", "0"]].concat(), "four runs"),
        ([&TWO[..], &["--lots", "0"]].concat(), "four runs"),
        (
            [&TWO[..], &["--factor", "feed_mm_s=10..20"]].concat(),
            "once",
        ),
        (
            [&TWO[..], &["--shape", "box-behnken"]].concat(),
            "d-optimal",
        ),
        (
            vec!["--factor", "feed_mm_s=80..140", "--scatter", "nan"],
            "--scatter",
        ),
        (
            vec!["--factor", "feed_mm_s=80..140", "--scatter", "-1"],
            "--scatter",
        ),
        (
            vec!["--factor", "feed_mm_s=80..140", "--power", "2"],
            "--power",
        ),
        (
            vec!["--factor", "feed_mm_s=80..140", "--alpha", "0"],
            "--alpha",
        ),
        (
            vec![
                "--factor",
                "passes=2..3",
                "--factor",
                "feed_mm_s=80..140",
                "--shape",
                "central-composite",
            ],
            "no setting between 2 and 3",
        ),
        (vec!["--settle", "F1"], "--from"),
        (vec!["--change", "recipe=A,B"], "--defect"),
        (
            vec!["--change", "recipe=A,B,C", "--defect", "x", "--rate", "1"],
            "recipe=OLD,NEW",
        ),
        (vec![], "--factor"),
    ] {
        let done = plan(folder.path(), &args);
        assert_eq!(
            done.status.code(),
            Some(2),
            "{args:?}: {}",
            text(&done.stderr)
        );
        assert!(
            text(&done.stderr).contains(told),
            "{args:?}: {}",
            text(&done.stderr)
        );
        assert!(!folder.path().join("plans").exists());
    }
}

#[test]
fn what_nobody_can_run_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    for (args, told) in [
        (vec!["--factor", "feed_mm_s=-80..140"], "-80 is outside"),
        (
            vec!["--factor", "feed_mm_s=80..140", "--repeats", "1000000"],
            "more than 3000 panels",
        ),
        (
            vec!["--factor", "feed_mm_s=80..140", "--centres", "100000000"],
            "more than 3000 panels",
        ),
        (
            vec![
                "--change",
                "recipe=A,B",
                "--defect",
                "nib",
                "--rate",
                "0.00001",
            ],
            "more than 20000 panels",
        ),
        (
            vec![
                "--change",
                "recipe=A,B",
                "--defect",
                "nib",
                "--rate",
                "5",
                "--ratio",
                "0.99",
            ],
            "more than 20000 panels",
        ),
    ] {
        let done = plan(folder.path(), &args);
        assert_eq!(done.status.code(), Some(1), "{args:?}");
        let error = text(&done.stderr);
        assert!(error.contains(told), "{args:?}: {error}");
        assert!(!folder.path().join("plans").exists());
    }
}

/// Panels of a shop whose repeat at 200, 100 is the machine's: how each lay in the
/// cell and, if recorded, at the table.
fn with_repeat(panels: usize, lays: impl Fn(usize) -> (usize, Option<usize>)) -> String {
    let mut all = head_of_inspections();
    for i in 0..panels {
        let (lay, table) = lays(i);
        let facts = format!(
            "Q{i:03},2025-04-{:02}T{:02}:00:00Z,M1,L{},600,400,{lay},{}",
            1 + i / 12,
            6 + i % 12,
            i / 6 % 5,
            table.map_or(String::new(), |t| t.to_string())
        );
        all += &row(&facts, i * 37 % 101 < 33, lay, i);
    }
    all
}

fn head_of_inspections() -> String {
    "panel_id,sanded_at,machine,lot,length_mm,width_mm,lay_deg,inspect_lay_deg,x_mm,y_mm,defect\n"
        .to_owned()
}

/// A panel's row: the machine's mark at 200, 100 as the panel lay in the cell, or none.
fn row(facts: &str, hit: bool, lay: usize, i: usize) -> String {
    let (x, y) = (200 + i % 4, 100 + i % 3);
    let (x, y) = if lay == 180 {
        (600 - x, 400 - y)
    } else {
        (x, y)
    };
    if hit {
        format!("{facts},{x},{y},sand-through\n")
    } else {
        format!("{facts},,,\n")
    }
}

fn reported(all: &str) -> Shop {
    let shop = Shop::without_spot(1);
    std::fs::remove_file(shop.inspections().join("P0000.csv")).unwrap();
    shop.write("all.csv", all);
    let done = shop.report(&[]);
    assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
    shop
}

/// A report with one open repeat: all panels lay the same way.
fn open_question() -> Shop {
    reported(&with_repeat(90, |_| (0, None)))
}

/// Plans, fills the sheet in as the shop runs it, and reports over data and sheet.
fn settled(shop: &Shop) -> Value {
    let done = plan(
        &shop.path(""),
        &["--settle", "all", "--from", "report", "--out", "settle"],
    );
    assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
    let sheet = std::fs::read_to_string(shop.path("settle").join("sheet.csv")).unwrap();
    let columns: Vec<String> = head(&sheet).into_iter().map(str::to_owned).collect();
    let at = |name: &str| columns.iter().position(|c| c == name);
    let mut filled = format!("{}\n", columns.join(","));
    let mut seen = head_of_inspections();
    for (i, mut cells) in rows(&sheet).into_iter().enumerate() {
        let of = |name: &str| at(name).map(|c| cells[c].clone()).unwrap_or_default();
        let lay = of("lay_deg");
        let facts = format!(
            "S{i:03},2025-05-{:02}T{:02}:{:02}:00Z,M1,T{},600,400,{lay},{}",
            1 + i / 40,
            6 + i % 40 / 4,
            i % 4 * 15,
            of("plan_block"),
            of("inspect_lay_deg")
        );
        seen += &row(&facts, i * 61 % 101 < 33, lay.parse().unwrap_or(0), i);
        cells[3] = format!("S{i:03}");
        filled += &format!("{}\n", cells.join(","));
    }
    shop.write("sheet.csv", &filled);
    shop.write("seen.csv", &seen);
    let report = shop.report(&["--replace"]);
    assert_eq!(report.status.code(), Some(0), "{}", text(&report.stderr));
    shop.findings()
}

#[test]
fn a_turn_sheet_that_came_back_says_that_the_place_stays_in_the_machine() {
    let findings = settled(&open_question());
    let back = &findings["plans"][0];
    assert_eq!(back["missing"], serde_json::json!([]), "{back}");
    let parted = &back["turned"][0]["parted"][0];
    assert_eq!(parted["frames"], serde_json::json!(["machine", "panel"]));
    assert_eq!(parted["hit"][1], 0, "{back}");
    let p = |frame: usize| parted["p_adjusted"][frame].as_f64().unwrap();
    assert!(p(0) > 0.01 && p(1) <= 0.01, "{back}");
    assert_eq!(findings["findings"][0]["cause"], "machine", "{findings}");
}

/// Turned panels were turned at the table just as in the cell.
#[test]
fn a_table_never_cleared_gets_a_sheet_that_lays_panels_differently_there() {
    let shop = reported(&with_repeat(90, |i| {
        let lay = if i % 2 == 0 { 0 } else { 180 };
        (lay, Some(lay))
    }));
    let open = shop.findings()["findings"][0]["open"].clone();
    let rivals: Vec<&str> = (open.as_array().unwrap().iter())
        .map(|o| o["rival"].as_str().unwrap())
        .collect();
    assert!(rivals.contains(&"table"), "{open}");
    let findings = settled(&shop);
    let parted = findings["plans"][0]["turned"][0]["parted"].clone();
    let table = (parted.as_array().unwrap().iter())
        .find(|p| p["frames"] == serde_json::json!(["machine", "table"]))
        .unwrap();
    assert!(table["p_adjusted"][1].as_f64().unwrap() <= 0.01, "{parted}");
    assert!(table["p_adjusted"][0].as_f64().unwrap() > 0.01, "{parted}");
}

#[test]
fn data_alone_are_asked_what_they_left_open() {
    let shop = open_question();
    let by_report = planned(&shop.path(""), &["--settle", "all", "--from", "report"]);
    let by_data = planned(&shop.path(""), &["--data", "inspections"]);
    assert_eq!(by_report["runs"], by_data["runs"]);
    assert_eq!(by_report["settle"], by_data["settle"]);
}

/// Feed and passes moved together over all panels: a trial moves them apart, between
/// the ends that were seen.
#[test]
fn factors_that_moved_together_are_parted_by_a_recipe_trial() {
    let mut all =
        "panel_id,sanded_at,machine,lot,length_mm,width_mm,feed_mm_s,passes,x_mm,y_mm,removed_um\n"
            .to_owned();
    for i in 0..60 {
        let (feed, passes) = if i / 3 % 2 == 0 { (80, 2) } else { (120, 3) };
        for k in 0..5 {
            all += &format!(
                "R{i:03},2025-04-{:02}T{:02}:00:00Z,M1,L{},600,400,{feed},{passes},{},200,{}\n",
                1 + i / 12,
                6 + i % 12,
                i / 6 % 5,
                100 + 100 * k,
                20 + (i * 7 + k * 3) % 5
            );
        }
    }
    let shop = reported(&all);
    let inseparable = shop.findings()["removal"]["inseparable"].clone();
    assert!(inseparable.to_string().contains("passes"), "{inseparable}");
    let made = planned(
        &shop.path(""),
        &["--settle", "factors", "--data", "inspections"],
    );
    let factors = made["recipe"]["factors"].as_array().unwrap();
    let ends: Vec<(&str, f64, f64)> = factors
        .iter()
        .map(|f| {
            (
                f["name"].as_str().unwrap(),
                f["low"].as_f64().unwrap(),
                f["high"].as_f64().unwrap(),
            )
        })
        .collect();
    assert_eq!(ends, [("feed_mm_s", 80.0, 120.0), ("passes", 2.0, 3.0)]);
    // Without the data nobody knows the ends.
    let unknown = plan(&shop.path(""), &["--settle", "factors", "--from", "report"]);
    assert_eq!(unknown.status.code(), Some(1));
    assert!(text(&unknown.stderr).contains("--factor feed_mm_s="));
}

#[test]
fn an_open_finding_gets_a_sheet_that_turns_panels_inside_lots() {
    let shop = open_question();
    let findings = shop.findings();
    let id = findings["findings"][0]["id"].as_str().unwrap();
    assert!(
        !findings["findings"][0]["open"]
            .as_array()
            .unwrap()
            .is_empty(),
        "{findings}"
    );
    let made = planned(&shop.path(""), &["--settle", id, "--from", "report"]);
    // the place is M1's, so that is where the sheet is run
    assert_eq!(made["columns"], json!(["machine", "lay_deg"]), "{made}");
    let contrast = &made["settle"][0];
    assert!(contrast["power"].as_f64().unwrap() >= 0.8);
    assert_eq!(contrast["goal"]["alpha"], 0.01);
    for block in 1..=3 {
        let own: Vec<f64> = (made["runs"].as_array().unwrap().iter())
            .filter(|r| r["block"] == block)
            .inspect(|r| assert_eq!(r["settings"][0], "M1"))
            .map(|r| r["settings"][1].as_f64().unwrap())
            .collect();
        let turned = own.iter().filter(|l| **l == 180.0).count();
        assert_eq!(2 * turned, own.len(), "as many turned as not in every lot");
    }
    let all = planned(&shop.path(""), &["--settle", "all", "--from", "report"]);
    assert_eq!(all["columns"], json!(["machine", "lay_deg"]));
    let unknown = plan(&shop.path(""), &["--settle", "F99", "--from", "report"]);
    assert_eq!(unknown.status.code(), Some(1));
    assert!(
        text(&unknown.stderr).contains("there are F1"),
        "{}",
        text(&unknown.stderr)
    );
    let no_report = plan(&shop.path(""), &["--settle", "F1", "--from", "inspections"]);
    assert_eq!(no_report.status.code(), Some(1));
    assert!(text(&no_report.stderr).contains("findings.json"));
}

#[test]
fn old_and_new_by_turns_are_counted_by_the_model_that_compares_them() {
    let folder = tempfile::tempdir().unwrap();
    let args = ["--change", "recipe=A,B", "--defect", "nib", "--rate", "0.8"];
    let half = planned(folder.path(), &args);
    let needed = |plan: &Value| plan["change"]["panels_needed"].as_u64().unwrap();
    let more = planned(folder.path(), &[&args[..], &["--ratio", "0.7"]].concat());
    assert!(
        needed(&more) > 2 * needed(&half),
        "a smaller change takes more panels"
    );
    let runs = half["runs"].as_array().unwrap();
    let new = runs.iter().filter(|r| r["settings"][0] == "B").count();
    assert_eq!(2 * new, runs.len());
    let none = plan(folder.path(), &[&args[..4], &["--rate", "0"]].concat());
    assert_eq!(none.status.code(), Some(2));
}

/// Fills a sheet in: run by run a panel, in order, with inspections beside it.
#[test]
fn a_filled_in_sheet_joins_the_inspections_and_is_told_as_it_was_run() {
    let shop = Shop::without_spot(1);
    std::fs::remove_file(shop.inspections().join("P0000.csv")).unwrap();
    let done = plan(
        &shop.path(""),
        &[
            &TWO[..],
            &["--out", "t1", "--centres", "0", "--repeats", "2"],
        ]
        .concat(),
    );
    assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
    let sheet = std::fs::read_to_string(shop.path("t1").join("sheet.csv")).unwrap();
    let mut filled = format!("{}\n", head(&sheet).join(","));
    let mut seen = "panel_id,sanded_at,length_mm,width_mm,feed_mm_s,x_mm,y_mm,defect\n".to_owned();
    for (at, mut row) in rows(&sheet).into_iter().enumerate() {
        // Run 3 was left out, runs 5 and 6 changed places, run 8 ran at 100 mm/s.
        if at != 2 {
            row[3] = format!("T{at}");
            let place = [0, 1, 2, 3, 5, 4, 6, 7][at];
            let feed = if at == 7 { "100" } else { &row[4] };
            seen += &format!(
                "T{at},2025-05-01T{:02}:00:00Z,600,400,{feed},,,\n",
                6 + place
            );
        }
        filled += &format!("{}\n", row.join(","));
    }
    shop.write("sheet.csv", &filled);
    shop.write("seen.csv", &seen);
    let checked = onus()
        .current_dir(shop.path(""))
        .args(["check", "inspections"])
        .output()
        .unwrap();
    let told = text(&checked.stdout);
    assert!(told.contains("Plan t1: 7 of 8 runs done."), "{told}");
    assert!(told.contains("Plan t1: runs without a panel: 3."), "{told}");
    assert!(
        told.contains("Plan t1: runs out of their order: 5.") || told.contains("order: 6."),
        "{told}"
    );
    assert!(
        told.contains("panel T7 was planned with feed speed") && told.contains("sanded with 100"),
        "{told}"
    );
    let report = shop.report(&[]);
    assert_eq!(report.status.code(), Some(0), "{}", text(&report.stderr));
    let findings = shop.findings();
    assert_eq!(
        findings["input"]["panels"], 7,
        "sheet and inspections are one panel each"
    );
    assert_eq!(findings["plans"][0]["done"], 7);
    assert_eq!(findings["input"]["clean_panels"], 7);
}

#[test]
fn a_sheet_alone_makes_no_clean_panels() {
    let shop = Shop::without_spot(1);
    std::fs::remove_file(shop.inspections().join("P0000.csv")).unwrap();
    shop.write(
        "sheet.csv",
        "plan,plan_block,plan_run,panel_id,length_mm,width_mm\nt,1,1,A,600,400\nt,1,2,B,600,400\n",
    );
    let checked = onus()
        .current_dir(shop.path(""))
        .args(["check", "inspections"])
        .output()
        .unwrap();
    let told = text(&checked.stdout);
    assert!(told.contains("2 panels (0 inspected, 0 clean)"), "{told}");
    assert!(
        told.contains("runs whose panel has no result yet: 1 and 2."),
        "{told}"
    );
}
