//! A chain of weekly reports over a made-up plant: a repair, a return, a new
//! repeat, a recipe that is dropped, and what the engineer wrote down.

use std::path::{Path, PathBuf};

use onus::records::{DefectName, Lay, Panel, Point, Records};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::Value;

use crate::shop::onus;
use crate::shops::files::csv;
use crate::shops::{from_machine, mark_on, panel_at};

/// Weeks of the chain.
pub(crate) const WEEKS: usize = 7;
/// The scratch of M1 is away in these weeks.
const REPAIRED: [usize; 2] = [4, 5];
/// Recipe A is dropped from this week on.
const WITHOUT_A: usize = 5;
/// The dent of M2 comes in this week.
const DENT_FROM: usize = 2;

/// One week's file: 160 panels over five days, two machines in turn, four lots
/// that come every day, every other pair of panels turned.
fn week(number: usize) -> String {
    made(number, number)
}

/// What the week of one number holds, in the calendar's place of another.
fn made(number: usize, calendar: usize) -> String {
    let mut rng = ChaCha8Rng::seed_from_u64(number as u64);
    let named = |name: &str| DefectName {
        name: name.into(),
        class: None,
    };
    let mut records = Records {
        defect_names: ["scratch", "dent", "orange peel"].map(named).to_vec(),
        ..Records::default()
    };
    for i in 0..160 {
        let recipe = ["A", "B"][usize::from(number >= WITHOUT_A || i / 4 % 2 == 1)];
        let when = (7 * (calendar - 1) + i / 32, i % 32 / 4 * 60 + i % 4 * 10);
        let panel = Panel {
            id: format!("W{number}-{i:03}"),
            machine: Some(["M1", "M2"][i % 2].into()),
            lot: Some(format!("L{number}{}", i / 8 % 4).into()),
            recipe: Some(recipe.into()),
            lay: [Lay::Deg0, Lay::Deg180][i / 2 % 2],
            lay_recorded: true,
            inspect_lay: Some([Lay::Deg0, Lay::Deg180][i / 3 % 2]),
            ..panel_at(i, when, (600.0, 400.0))
        };
        let mut mark = |kind: usize, at: Point| {
            let tenth = |v: f64| (v * 10.0).round() / 10.0;
            let place = Point {
                x: tenth(at.x),
                y: tenth(at.y),
            };
            records.defects.push(mark_on(i, kind, Some(place)));
        };
        let (first, second) = (i % 2 == 0, i % 2 == 1);
        if first && !REPAIRED.contains(&number) && rng.random::<f64>() < 0.3 {
            mark(0, from_machine(&panel, beside(300.0, 150.0, &mut rng)));
        }
        if second && number >= DENT_FROM && rng.random::<f64>() < 0.35 {
            mark(1, from_machine(&panel, beside(120.0, 310.0, &mut rng)));
        }
        if rng.random::<f64>() < if recipe == "A" { 0.7 } else { 0.1 } {
            let (x, y) = (600.0 * rng.random::<f64>(), 400.0 * rng.random::<f64>());
            mark(2, Point { x, y });
        }
        records.panels.push(panel);
    }
    csv(&records)
}

/// Up to 4 mm beyond a place, along both axes.
pub(crate) fn beside(x: f64, y: f64, rng: &mut ChaCha8Rng) -> Point {
    let [dx, dy] = [0.0; 2].map(|_: f64| 4.0 * rng.random::<f64>());
    Point {
        x: x + dx,
        y: y + dy,
    }
}

/// What a report is made of.
#[derive(Clone, Copy, PartialEq)]
pub(crate) enum Files {
    /// The week's file alone.
    Week,
    /// Every file up to the week's.
    AllSoFar,
}

pub(crate) struct Chain {
    folder: tempfile::TempDir,
    files: Files,
}

impl Chain {
    fn new(files: Files) -> Self {
        Self::of(files, week)
    }

    /// Of weeks of another kind.
    pub(crate) fn of(files: Files, week: impl Fn(usize) -> String) -> Self {
        let folder = tempfile::tempdir().unwrap();
        for number in 1..=WEEKS {
            let path = folder.path().join(format!("week-{number}.csv"));
            std::fs::write(path, week(number)).unwrap();
        }
        Self { folder, files }
    }

    fn inputs(&self, number: usize) -> Vec<PathBuf> {
        let first = match self.files {
            Files::Week => number,
            Files::AllSoFar => 1,
        };
        (first..=number)
            .map(|n| self.folder.path().join(format!("week-{n}.csv")))
            .collect()
    }

    /// The week's report against the one before it.
    pub(crate) fn report(&self, number: usize, more: &[&str]) -> Value {
        let mut command = onus();
        command.current_dir(self.folder.path());
        command
            .arg("report")
            .args(self.inputs(number))
            .arg("--json")
            .args(more);
        if number > 1 {
            command.arg("--previous").arg(self.place(number - 1));
        }
        let done = command.output().unwrap();
        assert!(
            done.status.success(),
            "{}",
            String::from_utf8_lossy(&done.stderr)
        );
        std::fs::create_dir_all(self.place(number)).unwrap();
        std::fs::write(self.place(number).join("findings.json"), &done.stdout).unwrap();
        serde_json::from_slice(&done.stdout).unwrap()
    }

    /// What a terminal shows of the week's report against the one before it, which
    /// is there already; its pages go into the folder.
    pub(crate) fn shown(&self, number: usize, out: &str) -> String {
        let done = onus()
            .current_dir(self.folder.path())
            .arg("report")
            .args(self.inputs(number))
            .args(["--out", out, "--previous"])
            .arg(self.place(number - 1))
            .output()
            .unwrap();
        String::from_utf8(done.stdout).unwrap()
    }

    fn place(&self, number: usize) -> PathBuf {
        self.folder.path().join(format!("report-{number}"))
    }
}

/// Id and life of the findings of a kind.
pub(crate) fn of_kind<'a>(report: &'a Value, defect: &str) -> Vec<(&'a str, Option<&'a str>)> {
    let all = report["findings"].as_array().unwrap().iter();
    all.filter(|f| f["defect"] == defect)
        .map(|f| (f["id"].as_str().unwrap(), f["life"].as_str()))
        .collect()
}

/// The one finding of a kind on a machine.
pub(crate) fn one<'a>(report: &'a Value, defect: &str, machine: &str) -> &'a Value {
    let all = report["findings"].as_array().unwrap();
    let own: Vec<&Value> = (all.iter())
        .filter(|f| f["defect"] == defect && f["machine"] == machine)
        .collect();
    assert_eq!(own.len(), 1, "{defect} on {machine}: {own:#?}");
    own[0]
}

fn a_chain_is_told_as_it_was(files: Files) {
    let chain = Chain::new(files);
    let reports: Vec<Value> = (1..=WEEKS).map(|n| chain.report(n, &[])).collect();
    let lives = |defect: &str, machine: &str, from: usize| -> Vec<String> {
        (from..=WEEKS)
            .map(|n| {
                let finding = one(&reports[n - 1], defect, machine);
                finding["life"].as_str().unwrap_or("none").to_owned()
            })
            .collect()
    };
    assert_eq!(
        lives("scratch", "M1", 1),
        [
            "none", "goes on", "goes on", "gone", "gone", "back", "goes on"
        ]
    );
    assert_eq!(
        lives("dent", "M2", DENT_FROM),
        ["new", "goes on", "goes on", "goes on", "goes on", "goes on"]
    );
    // What was found keeps its number, and no number is given twice.
    for (defect, machine, from) in [("scratch", "M1", 1), ("dent", "M2", DENT_FROM)] {
        let ids: Vec<&Value> = (from..=WEEKS)
            .map(|n| &one(&reports[n - 1], defect, machine)["id"])
            .collect();
        assert!(ids.iter().all(|id| *id == ids[0]), "{defect}: {ids:?}");
    }
    for report in &reports {
        let all = report["findings"].as_array().unwrap();
        let mut ids: Vec<&str> = all.iter().map(|f| f["id"].as_str().unwrap()).collect();
        let before = ids.len();
        ids.sort_unstable();
        ids.dedup();
        assert_eq!(ids.len(), before);
        // Streams speak of findings that are there.
        for share in report["streams"].as_array().unwrap() {
            for cause in share["causes"].as_array().unwrap() {
                let id = cause["finding"].as_str().unwrap();
                let of = all.iter().find(|f| f["id"] == id).unwrap();
                assert_eq!(of["cause"], cause["cause"], "{id}");
                assert_eq!(of["defect"], share["defect"], "{id}");
            }
        }
    }
    let gone = one(&reports[3], "scratch", "M1");
    assert!(
        gone["looked"]["confidence"].as_f64().unwrap() > 0.99,
        "{gone:#}"
    );
    assert_eq!(gone["looked"]["hits"], 0);
    assert_eq!(gone["looked"]["panels"], 80);
    // Last seen in the third week, whose Friday is 2031-03-21.
    let last = gone["last_seen"].as_str().unwrap();
    assert!(("2031-03-17"..="2031-03-21").contains(&last), "{last}");
    // The rate that followed recipe A: known from the first week, gone without it.
    let first = of_kind(&reports[0], "orange peel");
    assert!(!first.is_empty(), "{:#}", reports[0]["findings"]);
    for n in [2, 3, 4] {
        let now = of_kind(&reports[n - 1], "orange peel");
        for (id, _) in &first {
            assert!(now.contains(&(*id, Some("goes on"))), "week {n}: {now:?}");
        }
    }
    let after = of_kind(&reports[WITHOUT_A - 1], "orange peel");
    for (id, _) in &first {
        assert!(after.contains(&(*id, Some("gone"))), "{after:?}");
    }
}

#[test]
fn a_chain_of_the_weeks_own_files_is_told_as_it_was() {
    a_chain_is_told_as_it_was(Files::Week);
}

#[test]
fn a_chain_of_all_files_so_far_is_told_as_it_was() {
    a_chain_is_told_as_it_was(Files::AllSoFar);
}

#[test]
fn a_repaired_place_leaves_headline_and_steps_and_is_good_news() {
    let chain = Chain::new(Files::AllSoFar);
    for n in 1..=3 {
        chain.report(n, &[]);
    }
    let shown = chain.shown(4, "fourth");
    let place = chain.folder.path().join("fourth");
    assert!(
        !shown.lines().next().unwrap().contains("scratch"),
        "{shown}"
    );
    assert!(shown.contains("Scratch at one place on M1 (F"), "{shown}");
    assert!(
        shown.contains("is gone: on 0 of 80 panels since, last seen 2031-03-"),
        "{shown}"
    );
    let html = std::fs::read_to_string(place.join("report.html")).unwrap();
    let front = html.split("</section>").next().unwrap();
    let steps = &front[front.find("<ol>").unwrap()..front.find("</ol>").unwrap()];
    assert!(!steps.contains("cratch"), "{steps}");
    assert!(front.contains("Good news"), "{front}");
}

#[test]
fn a_gone_finding_is_remembered_for_twelve_reports_and_not_longer() {
    let chain = Chain::new(Files::Week);
    for n in 1..=4 {
        chain.report(n, &[]);
    }
    let mut last = chain.place(4);
    let mut held = Vec::new();
    for k in 0..13 {
        // The same quiet week again and again.
        let file = chain.folder.path().join("quiet.csv");
        std::fs::write(&file, made(5, 5 + k)).unwrap();
        let done = onus()
            .arg("report")
            .arg(&file)
            .arg("--json")
            .arg("--previous")
            .arg(&last)
            .output()
            .unwrap();
        assert!(
            done.status.success(),
            "{}",
            String::from_utf8_lossy(&done.stderr)
        );
        let report: Value = serde_json::from_slice(&done.stdout).unwrap();
        held.push(!of_kind(&report, "scratch").is_empty());
        last = chain.folder.path().join(format!("quiet-{k}"));
        std::fs::create_dir(&last).unwrap();
        std::fs::write(last.join("findings.json"), &done.stdout).unwrap();
    }
    // The fourth report is the first of the twelve.
    assert_eq!(held.iter().filter(|h| **h).count(), 11, "{held:?}");
    assert!(held[10] && !held[11]);
}

#[test]
fn what_was_done_is_tested_and_what_is_accepted_is_below_the_line() {
    let chain = Chain::new(Files::AllSoFar);
    let first = chain.report(1, &[]);
    let scratch = one(&first, "scratch", "M1")["id"]
        .as_str()
        .unwrap()
        .to_owned();
    // The list lies among the inspection files and is not read as one of them.
    let list = format!(
        "date,finding,machine,defect,done,state\n\
         2031-03-22,{scratch},,,new stop pad,fixed\n\
         2031-03-15,,M2,dent,cleaned the belt,watch\n\
         2031-03-15,F99,,,nothing we know,watch\n\
         2031-03-20,,M2,dent,we live with it,accepted\n"
    );
    std::fs::write(chain.folder.path().join("actions.csv"), list).unwrap();
    let site = "[report]\nactions = \"actions.csv\"\n[defects.cost]\nscratch = 10\n";
    std::fs::write(chain.folder.path().join("onus.toml"), site).unwrap();
    for n in 2..=4 {
        chain.report(n, &[]);
    }
    let fifth = onus()
        .current_dir(chain.folder.path())
        .args(["report", ".", "--out", "fifth", "--previous", "report-4"])
        .output()
        .unwrap();
    let told = String::from_utf8_lossy(&fifth.stderr).into_owned();
    assert!(fifth.status.success(), "{told}");
    assert!(told.contains("read by the rules of"), "{told}");
    let text = std::fs::read_to_string(chain.folder.path().join("fifth/findings.json")).unwrap();
    let report: Value = serde_json::from_str(&text).unwrap();
    assert_eq!(report["input"]["files"], WEEKS, "{told}");
    let done = |what: &str| {
        let all = report["actions"].as_array().unwrap();
        all.iter().find(|d| d["done"] == what).unwrap().clone()
    };
    // All seven weeks are in the folder: the scratch came back in the sixth.
    let pad = done("new stop pad");
    assert!(
        pad["before"]["hits"].as_u64() > pad["after"]["hits"].as_u64(),
        "{pad:#}"
    );
    assert_eq!(done("nothing we know")["answer"], "unknown");
    let belt = done("cleaned the belt");
    assert_ne!(belt["answer"], "gone", "{belt:#}");
    assert_ne!(belt["answer"], "fewer", "{belt:#}");
    let findings = report["findings"].as_array().unwrap();
    let accepted = findings.iter().filter(|f| f["state"] == "accepted");
    assert!(accepted.clone().all(|f| f["defect"] == "dent"));
    assert!(accepted.count() > 0, "{:#}", report["findings"]);
    let html = std::fs::read_to_string(chain.folder.path().join("fifth/report.html")).unwrap();
    let front = html.split("</section>").next().unwrap();
    assert!(front.contains("Known or accepted"), "{front}");
    let statements = &front[front.find("<table class=\"statements\"").unwrap()..];
    let statements = &statements[..statements.find("</table>").unwrap()];
    assert!(!statements.contains("Dent at"), "{statements}");
}

#[test]
fn an_action_that_worked_is_told_with_what_it_saved() {
    let chain = Chain::new(Files::AllSoFar);
    let first = chain.report(1, &[]);
    let scratch = one(&first, "scratch", "M1")["id"]
        .as_str()
        .unwrap()
        .to_owned();
    let list = format!("date;finding;done;state\n2031-03-23;{scratch};new stop pad;fixed\n");
    let path = chain.folder.path().join("what-we-did.csv");
    std::fs::write(&path, list).unwrap();
    let site = chain.folder.path().join("onus.toml");
    std::fs::write(&site, "[defects.cost]\nscratch = 10\n").unwrap();
    let more = ["--actions", path.to_str().unwrap()];
    for n in 2..=5 {
        chain.report(n, &more);
    }
    let report = read(&chain.place(5));
    let pad = &report["actions"][0];
    assert_eq!(pad["answer"], "gone", "{pad:#}");
    assert_eq!(pad["after"]["hits"], 0);
    // About 0.3 of 160 panels at 10 each: 480; the rate is the sample's own.
    let before = &pad["before"];
    let rate = before["hits"].as_f64().unwrap() / before["panels"].as_f64().unwrap();
    let saved = pad["saved"].as_f64().unwrap();
    assert!((saved - 160.0 * rate * 10.0).abs() < 1e-6, "{pad:#}");
}

fn read(folder: &Path) -> Value {
    serde_json::from_slice(&std::fs::read(folder.join("findings.json")).unwrap()).unwrap()
}

#[test]
fn page_one_of_a_week_counts_the_week_and_names_it() {
    let chain = Chain::new(Files::AllSoFar);
    let done = onus()
        .current_dir(chain.folder.path())
        .arg("report")
        .args(chain.inputs(5))
        .args(["--week", "2031-W14"])
        .output()
        .unwrap();
    let told = String::from_utf8_lossy(&done.stderr).into_owned();
    assert!(done.status.success(), "{told}");
    let place = chain.folder.path().join("reports/2031-W14");
    let html = std::fs::read_to_string(place.join("report.html")).unwrap();
    assert!(html.contains("<title>Surface defects of sanded panels, 2031-W14</title>"));
    let front = html.split("</section>").next().unwrap();
    assert!(
        front.contains("<dd>160</dd><dt>panels inspected</dt>"),
        "{front}"
    );
    assert!(front.contains("Since the report of 2031-W13"), "{front}");
    let report = read(&place);
    // 2031-03-31 is the Monday of the fifth week.
    let scratch = one(&report, "scratch", "M1");
    assert_eq!(scratch["life"], "gone", "{scratch:#}");
    assert_eq!(scratch["in_week"]["hits"], 0);
    let dent = one(&report, "dent", "M2");
    assert_eq!(dent["in_week"]["panels"], 80, "{dent:#}");
    let pdf = lopdf::Document::load(place.join("report.pdf")).unwrap();
    let metadata = pdf.catalog().unwrap().get(b"Metadata").unwrap();
    let metadata = pdf.dereference(metadata).unwrap().1;
    let fields = String::from_utf8_lossy(&metadata.as_stream().unwrap().content).into_owned();
    assert!(fields.contains("2031-W14"), "{fields}");
}

#[test]
fn every_hit_is_listed_with_its_file_and_line() {
    let chain = Chain::new(Files::Week);
    let done = onus()
        .current_dir(chain.folder.path())
        .args(["report", "week-2.csv", "--out", "r"])
        .output()
        .unwrap();
    assert!(done.status.success());
    let csv = std::fs::read_to_string(chain.folder.path().join("r/panels.csv")).unwrap();
    let source = week(2);
    let lines: Vec<&str> = source.lines().collect();
    let x_at = lines[0].split(',').position(|name| name == "x_mm").unwrap();
    let mut checked = 0;
    for row in csv.lines().skip(1) {
        let cells: Vec<&str> = row.split(',').collect();
        let [_, panel, file, line, x, _] = cells.as_slice() else {
            panic!("{row}");
        };
        assert!(file.ends_with("week-2.csv"), "{row}");
        let written = lines[line.parse::<usize>().unwrap() - 1];
        assert!(
            written.starts_with(&format!("{panel},")),
            "{row}: {written}"
        );
        let x: f64 = x.parse().unwrap();
        let own: f64 = written.split(',').nth(x_at).unwrap().parse().unwrap();
        assert!((x - own).abs() <= 0.05, "{row}: {written}");
        checked += 1;
    }
    assert!(checked > 20, "{csv}");
}
