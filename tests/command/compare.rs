//! `onus compare`, `report --week` and `report --previous` as a user meets them.

use onus::records::{DefectName, Panel, Records};

use crate::shop::{Shop, onus};
use crate::shops::files::csv;
use crate::shops::{at_local, mark_on, panel_at};

/// Panels of eight a shift on weekdays from Monday, 2 March 2026, in eight lots that
/// return, as `fill` leaves them; `marks` gives the defects of a panel.
fn table(
    panels: usize,
    fill: impl Fn(usize, &mut Panel),
    marks: impl Fn(usize) -> Vec<&'static str>,
) -> String {
    let mut records = Records::default();
    for i in 0..panels {
        let (day, hour) = (i / 16, 6 + i % 16);
        let date = jiff::civil::date(2026, 3, 2)
            + jiff::Span::new().days((7 * (day / 5) + day % 5) as i64);
        let mut panel = Panel {
            sanded_at: Some(at_local(date.at(i8::try_from(hour).unwrap(), 0, 0, 0))),
            lot: Some(format!("L{}", i / 5 % 8).into()),
            ..panel_at(i, (0, 0), (600.0, 400.0))
        };
        fill(i, &mut panel);
        records.panels.push(panel);
        for defect in marks(i) {
            let known = records.defect_names.iter().position(|n| n.name == defect);
            let name = known.unwrap_or(records.defect_names.len());
            if known.is_none() {
                records.defect_names.push(DefectName {
                    name: defect.into(),
                    class: None,
                });
            }
            records.defects.push(mark_on(i, name, None));
        }
    }
    csv(&records)
}

/// Recipes by turns.
fn in_turn(i: usize, panel: &mut Panel) {
    panel.recipe = Some(recipe(i).into());
}

/// What is printed, and what is told on the other stream.
fn said(text: &str, args: &[&str]) -> (String, String) {
    said_by(text, "", args)
}

/// The same with a site file.
fn said_by(text: &str, site: &str, args: &[&str]) -> (String, String) {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("panels.csv"), text).unwrap();
    if !site.is_empty() {
        std::fs::write(folder.path().join("onus.toml"), site).unwrap();
    }
    let (command, rest) = args.split_first().unwrap();
    let done = onus()
        .current_dir(folder.path())
        .args([command, "panels.csv"])
        .args(rest)
        .output()
        .unwrap();
    (
        String::from_utf8(done.stdout).unwrap(),
        String::from_utf8(done.stderr).unwrap(),
    )
}

fn recipe(i: usize) -> &'static str {
    if (i / 7).is_multiple_of(2) { "A" } else { "B" }
}

/// So many marks on ten panels, spread by a multiplier that runs through all.
fn of_ten(i: usize, marks: usize) -> bool {
    (7 * i + i / 10 + 3) % 10 < marks
}

const A_TO_B: [&str; 5] = ["compare", "--before", "recipe=A", "--after", "recipe=B"];

#[test]
fn what_helped_and_what_only_moved_to_the_other_end_is_told_apart() {
    let data = |over_after: usize| {
        table(480, in_turn, move |i| {
            let (under, over) = match recipe(i) {
                "A" => (6, 3),
                _ => (1, over_after),
            };
            let mut found = Vec::new();
            if of_ten(i, under) {
                found.push("orange peel");
            }
            if of_ten(i + 5, over) {
                found.push("sand-through");
            }
            found
        })
    };
    let (shown, _) = said(&data(1), &A_TO_B);
    assert!(shown.starts_with("Less "), "{shown}");
    assert!(
        shown.contains("helped") && !shown.contains("not helped"),
        "{shown}"
    );
    let (shown, _) = said(&data(8), &A_TO_B);
    assert!(shown.starts_with("More sand-through"), "{shown}");
    assert!(shown.contains("fewer, but not helped"), "{shown}");
    assert!(shown.contains("does not count as helped"), "{shown}");
}

#[test]
fn a_side_without_defects_still_has_an_upper_limit() {
    let data = table(240, in_turn, |i| match recipe(i) {
        "A" if of_ten(i, 4) => vec!["scratch"],
        _ => vec![],
    });
    let (shown, _) = said(&data, &A_TO_B);
    assert!(shown.contains("up to 0."), "{shown}");
    assert!(shown.contains("the upper limit still holds"), "{shown}");
}

#[test]
fn lots_that_changed_with_the_recipe_are_refused_with_what_to_do() {
    let data = table(
        240,
        |i, panel| {
            let side = if i < 120 { "A" } else { "B" };
            panel.recipe = Some(side.into());
            panel.lot = Some(format!("{side}{}", i % 120 / 20).into());
        },
        |i| {
            if of_ten(i, if i < 120 { 6 } else { 2 }) {
                vec!["scratch"]
            } else {
                vec![]
            }
        },
    );
    let (shown, _) = said(&data, &A_TO_B);
    assert!(
        shown.starts_with("What the change did can’t be told: the lots changed with it."),
        "{shown}"
    );
    assert!(
        shown.contains("alternating blocks on the same lots"),
        "{shown}"
    );
    assert!(
        shown.contains("not identifiable: the lots changed too"),
        "{shown}"
    );
    assert!(shown.contains("Lots after against lots before"), "{shown}");
}

#[test]
fn too_few_panels_come_with_how_many_it_takes() {
    let data = table(48, in_turn, |i| {
        if of_ten(i, 2) {
            vec!["scratch"]
        } else {
            vec![]
        }
    });
    let (shown, _) = said(&data, &A_TO_B);
    assert!(shown.contains("too few panels: about "), "{shown}");
    assert!(shown.contains(" in all"), "{shown}");
}

#[test]
fn what_cannot_be_compared_is_told_with_what_to_do() {
    let data = table(
        64,
        |i, panel| {
            in_turn(i, panel);
            panel.abrasive_id = Some(format!("disc-{}", i / 20).into());
        },
        |i| {
            if of_ten(i, 3) {
                vec!["scratch"]
            } else {
                vec![]
            }
        },
    );
    for (args, told) in [
        (
            &["--before", "recipe=A", "--after", "recipe=C"][..],
            &[
                "no inspected panel is after (recipe=C)",
                "the records hold A, B",
            ],
        ),
        (
            &["--before", "recipe=A", "--after", "recipe=A"],
            &["both before and after", "different values"],
        ),
        (
            &["--before", "reciep=A", "--after", "recipe=B"],
            &["no column or factor \"reciep\"", "did you mean recipe?"],
        ),
        (
            &["--before", "A", "--after", "B"],
            &["column=value", "recipe=B2"],
        ),
        (&["--since", "2026-13-01"], &["is not a day", "2026-11-16"]),
        (
            &["--since", "2030-01-01"],
            &["sanded on or after 2030-01-01", "2026-03-02 to 2026-03-05"],
        ),
        (
            &["--since-abrasive", "disc-9"],
            &[
                "no inspected panel is abrasive_id=disc-9",
                "did you mean disc-",
            ],
        ),
        (
            &["--since", "2026-03-03", "--from", "2026-04-01"],
            &[
                "no inspected panel is sanded from 2026-04-01",
                "2026-03-02 to 2026-03-05",
            ],
        ),
        (
            &["--since", "2026-03-03", "--until", "2026-03-02"],
            &[
                "no inspected panel is after",
                "the records hold 2026-03-02 to 2026-03-05",
            ],
        ),
        (
            &["--since", "2026-03-03", "--only", "recipe=Q"],
            &["no inspected panel is recipe=Q", "the records hold A, B"],
        ),
    ] {
        let all: Vec<&str> = std::iter::once("compare")
            .chain(args.iter().copied())
            .collect();
        let (shown, error) = said(&data, &all);
        assert!(shown.is_empty(), "{args:?}: {shown}");
        for part in told {
            assert!(error.contains(part), "{args:?}: {error}");
        }
    }
}

/// Sixteen panels a day: 320 are four weeks, of which days are picked from the
/// second to the third.
#[test]
fn a_window_leaves_out_what_was_sanded_before_and_after_it() {
    let data = table(320, in_turn, |i| match of_ten(i, 4) {
        true => vec!["scratch"],
        false => vec![],
    });
    let counts = |more: &[&str]| {
        let args: Vec<&str> = A_TO_B
            .iter()
            .chain(more)
            .chain(&["--json"])
            .copied()
            .collect();
        let (shown, error) = said(&data, &args);
        let json: serde_json::Value = serde_json::from_str(&shown).expect(&error);
        let change = &json["changes"][0];
        let panels = |side: &str| change[side]["panels"].as_u64().unwrap();
        panels("before") + panels("after")
    };
    assert_eq!(counts(&[]), 320);
    assert_eq!(counts(&["--from", "2026-03-09"]), 240);
    assert_eq!(
        counts(&["--from", "2026-03-09", "--until", "2026-03-18"]),
        128
    );
    let args: Vec<&str> = A_TO_B
        .iter()
        .chain(&["--until", "2026-03-18"])
        .copied()
        .collect();
    let (shown, _) = said(&data, &args);
    assert!(
        shown.contains("before: recipe=A, sanded until 2026-03-18"),
        "{shown}"
    );
}

/// 7 m/min are 116.67 mm/s.
#[test]
fn a_feed_is_asked_for_as_the_files_give_it() {
    let data = table(
        240,
        |i, panel| panel.feed_mm_s = Some([7.0, 5.5][i / 7 % 2]),
        |i| match of_ten(i, 4) {
            true => vec!["scratch"],
            false => vec![],
        },
    )
    .replace("feed_mm_s", "Vorschub");
    let site = "[columns]\nfeed_mm_s = \"Vorschub\"\n[units]\nfeed_mm_s = \"m/min\"\n";
    let asked = |before: &str, after: &str| {
        said_by(
            &data,
            site,
            &["compare", "--before", before, "--after", after],
        )
    };
    let (by_header, error) = asked("Vorschub=7", "Vorschub=5.5");
    assert!(
        by_header.contains("before: feed_mm_s=7 m/min"),
        "{by_header}{error}"
    );
    let (by_unit, _) = asked("feed_mm_s=7 m/min", "feed_mm_s=5.5 m/min");
    assert_eq!(by_unit, by_header);
    let (comma, _) = asked("Vorschub=7,0", "Vorschub=5,5");
    let counts = |text: &str| {
        text.lines()
            .find(|l| l.starts_with("scratch"))
            .map(str::to_owned)
    };
    assert!(counts(&comma).is_some());
    assert_eq!(counts(&comma), counts(&by_header));
    let (_, error) = asked("Vorschub=7", "Vorschub=6");
    assert!(error.contains("7 m/min"), "{error}");
}

#[test]
fn a_week_is_told_on_page_one_and_a_week_without_panels_is_refused() {
    let data = table(
        400,
        |_, _| {},
        |i| {
            let last = i >= 320;
            if of_ten(i, if last { 9 } else { 2 }) {
                vec!["scratch"]
            } else {
                vec![]
            }
        },
    );
    let report = |week| said(&data, &["report", "--out", "r", "--week", week]);
    let (shown, error) = report("2026-W14");
    assert!(
        shown.contains("In 2026-W14 there was more scratch than in the weeks before."),
        "{shown}{error}"
    );
    let (shown, _) = report("2026-W12");
    assert!(
        shown.contains("2026-W12 is not shown to differ from the weeks before."),
        "{shown}"
    );
    let (_, error) = report("2026-W20");
    assert!(error.contains("sanded in 2026-W20"), "{error}");
    assert!(error.contains("2026-W14, 2026-W13"), "{error}");
    let (_, error) = report("2026W14");
    assert!(
        error.contains("is not an ISO week such as 2026-W47"),
        "{error}"
    );
}

/// Sixteen panels a day by turns on two machines; on one of them five days of the
/// fourth week have ten times the scratches.
#[test]
fn a_tenfold_rate_signals_on_its_own_machine_alone() {
    let machine = |i: usize| ["M1", "M2"][i % 2];
    let raised = |i: usize| machine(i) == "M2" && i >= 240;
    let data = table(
        320,
        |i, panel| {
            panel.machine = Some(machine(i).into());
            panel.lot = None;
        },
        |i| match raised(i) {
            true => vec!["scratch"; 2],
            false => vec!["scratch"; usize::from(i % 10 < 2)],
        },
    );
    let (shown, error) = said(&data, &["report", "--json"]);
    let report: serde_json::Value = serde_json::from_str(&shown).expect(&error);
    let charts = report["weekly"]["charts"].as_array().unwrap();
    assert_eq!(charts.len(), 2, "one a machine");
    // those with a signal come first
    assert_eq!(charts[0]["machine"], "M2");
    let signals = |chart: &serde_json::Value| {
        let points = chart["points"].as_array().unwrap().iter();
        let above = points.filter(|p| p["signals"] == serde_json::json!(["above"]));
        above
            .map(|p| p["day"].as_str().unwrap().to_owned())
            .collect::<Vec<_>>()
    };
    let days = signals(&charts[0]);
    assert!(
        days.len() >= 3 && days.iter().all(|d| d >= &"2026-03-23".to_owned()),
        "{days:?}"
    );
    assert!(signals(&charts[1]).is_empty());
}

#[test]
fn what_became_of_old_findings_is_told_and_a_damaged_report_is_refused() {
    let shop = Shop::with_spot(90);
    assert!(shop.report(&[]).status.success());
    std::fs::rename(shop.path("report"), shop.path("last")).unwrap();
    let old = shop.path("last/findings.json");
    let whole = std::fs::read_to_string(&old).unwrap();
    let next = shop.report(&["--previous", "last"]);
    let shown = String::from_utf8(next.stdout).unwrap();
    // the same panels again: none was sanded since
    assert!(
        shown.contains(
            "F1 (sand-through): can’t be told yet: no panel has been inspected there since"
        ),
        "{shown}"
    );
    for (text, told) in [
        (
            whole.replacen("\"schema\": 1", "\"schema\": 2", 1),
            "its schema is 2, not 1",
        ),
        (
            whole[..whole.len() / 2].to_owned(),
            "not the findings of a report",
        ),
        (String::new(), "not the findings of a report"),
    ] {
        std::fs::write(&old, text).unwrap();
        let refused = shop.report(&["--previous", "last", "--replace"]);
        assert_eq!(refused.status.code(), Some(1));
        let error = String::from_utf8(refused.stderr).unwrap();
        assert!(error.contains(told), "{error}");
    }
    std::fs::remove_file(&old).unwrap();
    let refused = shop.report(&["--previous", "last", "--replace"]);
    let error = String::from_utf8(refused.stderr).unwrap();
    assert!(
        error.contains("give the folder of an earlier report"),
        "{error}"
    );
}

#[test]
fn a_comparison_is_written_like_a_report() {
    let shop = Shop::with_spot(80);
    let run = |more: &[&str]| {
        onus()
            .current_dir(shop.path(""))
            .args([
                "compare",
                "inspections",
                "--since",
                "2025-03-03",
                "--out",
                "answer",
            ])
            .args(more)
            .output()
            .unwrap()
    };
    let done = run(&[]);
    assert!(
        done.status.success(),
        "{}",
        String::from_utf8_lossy(&done.stderr)
    );
    let html = std::fs::read_to_string(shop.path("answer/report.html")).unwrap();
    assert!(html.contains("Before and since 2025-03-03"), "{html}");
    assert!(
        std::fs::read(shop.path("answer/report.pdf"))
            .unwrap()
            .starts_with(b"%PDF")
    );
    let text = std::fs::read_to_string(shop.path("answer/findings.json")).unwrap();
    let json: serde_json::Value = serde_json::from_str(&text).unwrap();
    assert!(!json["changes"].as_array().unwrap().is_empty());
    assert_eq!(run(&[]).status.code(), Some(1), "not replaced unasked");
    assert!(run(&["--replace"]).status.success());
}
