//! Counts, places, unevenness and charts through the binary: what a user reads in
//! `findings.json` and what `onus compare` prints, against R and published values.
//!
//! The scripts that made the values lie in `fixtures/published/scripts/`.

use std::fmt::Write as _;
use std::process::Command;

use onus::stats::distributions::student_t::two_sided_quantile;
use serde_json::Value;

use crate::published::{Row, handbook, published};
use crate::shops::files::report_on;

/// `findings.json` holds nine digits.
const WRITTEN: f64 = 5e-9;

/// The changes that `onus compare` finds between panels of recipe `before` and of
/// recipe `after`.
fn compared(csv: &str, more: &[&str]) -> Vec<Value> {
    let folder = tempfile::tempdir().unwrap();
    let input = folder.path().join("inspections.csv");
    std::fs::write(&input, csv).unwrap();
    let done = Command::new(env!("CARGO_BIN_EXE_onus"))
        .args(["compare", "--before", "recipe=before"])
        .args(["--after", "recipe=after", "--json"])
        .args(more)
        .arg(&input)
        .output()
        .unwrap();
    let told = String::from_utf8_lossy(&done.stderr);
    assert!(done.status.success(), "{told}");
    let json: Value = serde_json::from_slice(&done.stdout).unwrap();
    json["changes"].as_array().unwrap().clone()
}

/// Adds `panels` panels to the rows, each with the same facts, and spreads the
/// kinds' marks over them, one panel after the other.
fn add_panels(text: &mut String, facts: &str, panels: u64, kinds: &[(&str, u64)]) {
    let mut on: Vec<Vec<&str>> = vec![Vec::new(); panels as usize];
    let all = kinds.iter();
    let marks = all.flat_map(|&(kind, count)| std::iter::repeat_n(kind, count as usize));
    for (k, kind) in marks.enumerate() {
        on[k % panels as usize].push(kind);
    }
    let first = text.lines().count();
    for (i, kinds) in on.iter().enumerate() {
        let clean = kinds.is_empty().then_some(&"");
        for kind in kinds.iter().chain(clean) {
            writeln!(text, "P{:05},{facts},{kind}", first + i).unwrap();
        }
    }
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value}"))
}

/// Exposures are numbers of panels here, so that no part sizes differ.
#[test]
fn ratios_of_few_marks_are_the_exact_conditional_ones() {
    let mut exact = 0;
    for row in published("poisson_rate_ratio.csv") {
        let (after, before) = (row.count("x1"), row.count("x2"));
        // the report forms exact sums of up to fifty marks
        if after + before > 50 {
            continue;
        }
        let mut text = "panel_id,length_mm,width_mm,recipe,defect\n".to_owned();
        for (side, marks, panels) in [("after", after, "t1"), ("before", before, "t2")] {
            let facts = format!("600,400,{side}");
            add_panels(&mut text, &facts, row.count(panels), &[("speck", marks)]);
        }
        let change = &compared(&text, &[])[0];
        let ci = [&change["ratio_ci"][0], &change["ratio_ci"][1]];
        if after > 0 && before > 0 {
            exact += 1;
            assert_eq!(change["method"], "exact-conditional");
            row.check("p_two_sided_central", number(&change["p"]), WRITTEN);
            row.check("lower", number(ci[0]), WRITTEN);
            row.check("upper", number(ci[1]), WRITTEN);
            // the mean of the model's law
            row.check("rate_ratio", number(&change["ratio"]), 1e-6);
        } else {
            // On purpose: without a mark on one side the model takes half of one,
            // and where its law is wider than the exact one it counts.
            assert!(number(&change["p"]) >= row.number("p_two_sided_central"));
            let (low, high) = (number(ci[0]), ci[1].as_f64().unwrap_or(f64::INFINITY));
            assert!(low <= row.number("lower"), "{row:?} {low}");
            assert!(high >= row.number("upper"), "{row:?} {high}");
        }
    }
    assert!(exact >= 3, "only {exact} published ratios were compared");
}

fn of_kind<'a>(table: &'a [Row], kind: &Value) -> &'a Row {
    let found = table.iter().find(|row| *kind == row.text("kind"));
    found.unwrap_or_else(|| panic!("no row of {kind}"))
}

/// Five kinds on two machines, machines as strata, and Holm's step-down over them.
#[test]
fn stratified_exact_ratios_and_their_adjustment_are_rs() {
    let kinds = ["scratch", "burn", "nib", "dent", "swirl"];
    let mut text = "panel_id,length_mm,width_mm,machine,recipe,defect\n".to_owned();
    for row in published("end_to_end_counts.csv") {
        let facts = format!("600,400,{},{}", row.text("machine"), row.text("side"));
        let marks = kinds.map(|kind| (kind, row.count(kind)));
        add_panels(&mut text, &facts, row.count("panels"), &marks);
    }
    let table = published("end_to_end_changes.csv");
    let together = compared(&text, &[]);
    assert_eq!(together.len(), kinds.len());
    let mut exact = 0;
    for change in &together {
        let row = of_kind(&table, &change["defect"]);
        if change["method"] == "exact-conditional" {
            exact += 1;
            row.check("p", number(&change["p"]), WRITTEN);
            row.check("holm", number(&change["p_adjusted"]), WRITTEN);
        } else {
            // On purpose: where the model's law, which knows that panels scatter
            // more than single marks, is the wider one, it counts.
            let p = number(&change["p"]);
            assert!((1.0..1.5).contains(&(p / row.number("p"))), "{change}");
            // the smallest of five, by Holm
            let holm = number(&change["p_adjusted"]);
            assert!((holm / (5.0 * p) - 1.0).abs() < WRITTEN, "{change}");
        }
    }
    assert_eq!(exact, 4);
    for kind in kinds {
        let change = &compared(&text, &["--on", kind])[0];
        let row = of_kind(&table, &change["defect"]);
        row.check("low95", number(&change["ratio_ci"][0]), WRITTEN);
        row.check("high95", number(&change["ratio_ci"][1]), WRITTEN);
        // the model's mean, between the conditional and the plain ratio
        row.check("ratio", number(&change["ratio"]), 0.02);
    }
}

/// The report's law is wider than a profile likelihood on purpose: it integrates
/// over all standard deviations of lots and days that few of them leave possible,
/// lets the change act on lots differently and panels scatter more than single
/// marks, which also weighs lots more evenly. It must hold the profile limits and
/// stay within one standard error and 1.75 of their width.
#[test]
fn ratios_of_many_marks_hold_the_mixed_models_limits() {
    let mut cbpp = "panel_id,length_mm,width_mm,lot,recipe,defect\n".to_owned();
    for row in published("cbpp.csv") {
        let side = match row.count("period") {
            1 => "before",
            4 => "after",
            _ => continue,
        };
        let size = 10 * row.count("size");
        let facts = format!("{size},1000,H{},{side}", row.text("herd"));
        add_panels(&mut cbpp, &facts, 1, &[("speck", row.count("incidence"))]);
    }
    let mut made_up = "panel_id,length_mm,width_mm,lot,sanded_at,recipe,defect\n".to_owned();
    for row in published("mixed_counts.csv") {
        let side = ["before", "after"][row.count("side") as usize];
        let date = jiff::civil::date(2026, 3, 2) + jiff::Span::new().days(row.count("day") as i64);
        let (length, lot) = (1000.0 * row.number("area"), row.text("lot"));
        let facts = format!("{length},1000,L{lot},{date}T12:00:00Z,{side}");
        add_panels(&mut made_up, &facts, 1, &[("speck", row.count("count"))]);
    }
    for row in published("end_to_end_mixed.csv") {
        let text = match row.text("set") {
            "cbpp" => &cbpp,
            _ => &made_up,
        };
        let change = &compared(text, &[])[0];
        assert_eq!(change["method"], "mixed");
        let estimate = number(&change["ratio"]).ln();
        row.check_within("estimate", estimate, row.number("std_error"));
        let [low, high] = [0, 1].map(|k| number(&change["ratio_ci"][k]).ln());
        assert!(low <= row.number("low"), "{row:?} {low}");
        assert!(high >= row.number("high"), "{row:?} {high}");
        let wider = (high - low) / (row.number("high") - row.number("low"));
        assert!(wider < 1.75, "{row:?} {wider}");
    }
}

/// A mark at one place of the machine on as many panels as the published interval
/// had successes.
#[test]
fn hit_rates_have_the_published_clopper_pearson_limits() {
    let mut compared = 0;
    for row in published("binomial_ci.csv") {
        let (hits, panels) = (row.count("x"), row.count("n"));
        // on fewer panels nothing is named
        if hits < 5 {
            continue;
        }
        let mut text =
            "panel_id,machine,lot,length_mm,width_mm,lay_deg,x_mm,y_mm,defect\n".to_owned();
        for i in 0..panels {
            let facts = format!("P{i:04},M1,L{},600,400", i / 5 % 7);
            let (x, y) = (212 + i % 5, 96 + i % 4);
            let hit = (i + 1) * hits / panels > i * hits / panels;
            match (hit, i % 2) {
                (false, lay) => writeln!(text, "{facts},{},,,", 180 * lay).unwrap(),
                (true, 0) => writeln!(text, "{facts},0,{x},{y},burn").unwrap(),
                (true, _) => writeln!(text, "{facts},180,{},{},burn", 600 - x, 400 - y).unwrap(),
            }
        }
        let report = report_on(&text, None);
        let finding = &report["findings"][0];
        assert_eq!(finding["panels_hit"], hits);
        assert_eq!(finding["panels_exposed"], panels);
        row.check("cp_lower", number(&finding["hit_rate_ci"][0]), WRITTEN);
        row.check("cp_upper", number(&finding["hit_rate_ci"][1]), WRITTEN);
        compared += 1;
    }
    assert!(compared >= 4, "only {compared} intervals were compared");
}

/// Variance components of an optimiser that stops at about eight digits.
const REML: f64 = 1e-6;

/// Panels never turned: slopes, curvature and twist as random coefficients of
/// panels. Readings that weigh alike on every panel give lme4's restricted fit.
#[test]
fn unevenness_of_removal_is_lme4s() {
    let mut text = "panel_id,machine,length_mm,width_mm,x_mm,y_mm,removed_um\n".to_owned();
    for row in published("surface_lme4_data.csv") {
        let x = 300.0 * (1.0 + row.number("u"));
        let y = 200.0 * (1.0 + row.number("v"));
        let (panel, removed) = (row.count("panel"), row.text("removed_um"));
        writeln!(text, "P{panel:03},M1,600,400,{x},{y},{removed}").unwrap();
    }
    let surface = &report_on(&text, None)["surface"][0];
    let terms = [
        ("u", "slope_x"),
        ("v", "slope_y"),
        ("I(u^2)", "crown_x"),
        ("I(v^2)", "crown_y"),
        ("I(u * v)", "twist"),
    ];
    let reach = two_sided_quantile(0.95, 59.0);
    let table = published("surface_lme4.csv");
    let find = |quantity: String| {
        let row = table.iter().find(|row| row.text("quantity") == quantity);
        row.unwrap_or_else(|| panic!("no {quantity}"))
    };
    for (name, field) in terms {
        let term = &surface[field];
        let ci = [0, 1].map(|k| number(&term["machine_ci"][k]));
        find(format!("fixed {name}")).check("value", number(&term["machine"]), REML);
        find(format!("std_error {name}")).check("value", (ci[1] - ci[0]) / 2.0 / reach, REML);
        find(format!("variance {name}")).check("value", number(&term["part_sd"]).powi(2), REML);
    }
    let gauge = number(&surface["gauge_sd_um"]).powi(2);
    find("residual variance".into()).check("value", gauge, REML);
}

/// The wafers of the e-Handbook's 6.3.3.1 as days of one square metre. The centre is
/// the handbook's. The limits are wider on purpose: wafers spread more than single
/// marks, as their moving ranges show, and what 25 points leave unknown of that adds
/// to it: at most one count below and three above R's negative binomial.
#[test]
fn control_limits_allow_for_the_wafers_spread() {
    let mut text = "panel_id,length_mm,width_mm,sanded_at,defect\n".to_owned();
    for (day, row) in published("nist_handbook_counts_chart.csv")
        .iter()
        .enumerate()
    {
        let date = jiff::civil::date(2026, 3, 2) + jiff::Span::new().days(day as i64);
        let facts = format!("1000,1000,{date}T12:00:00Z");
        add_panels(&mut text, &facts, 1, &[("speck", row.count("defects"))]);
    }
    let site = "[analysis]\nsubgroup = \"day\"\n";
    let report = report_on(&text, Some(site));
    let chart = &report["weekly"]["charts"][0];
    assert_eq!(chart["points"].as_array().unwrap().len(), 25);
    handbook("counts_chart_6.3.3.1", "center").check("printed", number(&chart["centre"]), WRITTEN);
    let row = &published("end_to_end_limits.csv")[0];
    row.check("centre", number(&chart["centre"]), WRITTEN);
    // moving ranges of counts rather than of normal values
    row.check("dispersion", number(&chart["dispersion"]), 0.03);
    for point in chart["points"].as_array().unwrap() {
        let [low, high] = [0, 1].map(|k| number(&point["limits"][k]));
        let below = row.number("low") - low;
        let above = high - row.number("high");
        assert!((0.0..=1.0).contains(&below), "{point}");
        assert!((0.0..=3.0).contains(&above), "{point}");
    }
}
