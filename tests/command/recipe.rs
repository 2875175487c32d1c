//! Recipe columns that say little or something odd: each is told, and what they
//! cannot carry gets no number.

use serde_json::Value;

use crate::shop::Shop;

const HEADER: &str =
    "panel_id,machine,lot,length_mm,width_mm,feed_mm_s,passes,force_n,grit,removed_um,defect\n";

/// One panel's recipe.
#[derive(Clone)]
struct Set {
    lot: String,
    feed: f64,
    passes: f64,
    force: f64,
    grit: &'static str,
    /// Without one, no reading.
    reading: Option<f64>,
    defect: &'static str,
}

/// Rows of panels that follow the trade's law, all factors varied by themselves,
/// each panel as `change` leaves it.
fn rows(panels: usize, change: impl Fn(usize, &mut Set)) -> String {
    let mut text = HEADER.to_owned();
    for i in 0..panels {
        let mut set = Set {
            lot: format!("L{}", i / 5 % 6),
            feed: [80.0, 100.0, 125.0, 160.0][i * 7 % 13 % 4],
            passes: [1.0, 2.0, 3.0][i * 5 % 11 % 3],
            force: [16.0, 20.0, 26.0][i * 3 % 7 % 3],
            grit: "P320",
            reading: None,
            defect: "",
        };
        set.reading = Some(20.0 * (100.0 / set.feed) * set.passes / 2.0 * set.force / 20.0);
        change(i, &mut set);
        for k in 0..3 {
            let scatter = 1.0 + 0.1 * (((i * 37 + k * 61) % 17) as f64 / 17.0 - 0.5);
            let reading = set
                .reading
                .map_or_else(String::new, |r| format!("{:.3}", r * scatter));
            let defect = if k == 0 { set.defect } else { "" };
            text += &format!(
                "P{i:03},M1,{},800,500,{},{},{},{},{reading},{defect}\n",
                set.lot, set.feed, set.passes, set.force, set.grit
            );
        }
    }
    text
}

fn shop(csv: &str) -> Shop {
    let shop = Shop::with_spot(0);
    shop.write("all.csv", csv);
    shop
}

/// The findings of a report that must succeed.
fn report(csv: &str) -> Value {
    let shop = shop(csv);
    let done = shop.report(&[]);
    let told = String::from_utf8_lossy(&done.stderr).into_owned();
    assert!(done.status.success(), "{told}");
    let found = shop.findings();
    let text = found.to_string();
    assert!(!text.contains("NaN") && !text.contains("inf"), "{text}");
    found
}

fn exponent(found: &Value, factor: &str) -> Option<f64> {
    let terms = found["removal"]["terms"].as_array().unwrap();
    let term = terms.iter().find(|t| t["factor"] == factor)?;
    term["exponent"].as_f64()
}

fn noted<'a>(found: &'a Value, note: &str) -> Option<&'a Value> {
    let notes = found["removal"]["notes"].as_array().unwrap();
    notes.iter().find(|n| n["note"] == note)
}

fn warned(found: &Value, code: &str) -> bool {
    let warnings = found["warnings"].as_array().unwrap();
    warnings.iter().any(|w| w["code"] == code)
}

#[test]
fn the_law_comes_back_where_nothing_is_odd() {
    let found = report(&rows(60, |_, _| {}));
    for (factor, law) in [("feed_mm_s", -1.0), ("passes", 1.0), ("force_n", 1.0)] {
        let told = exponent(&found, factor).unwrap();
        assert!((told - law).abs() < 0.1, "{factor}: {told}");
    }
    for note in [
        "incomplete",
        "passes-not-whole",
        "grit-without-scale",
        "one-lot",
    ] {
        assert_eq!(noted(&found, note), None, "{note}");
    }
    // One grit: no coefficient, and said so.
    assert_eq!(
        found["removal"]["inseparable"],
        serde_json::json!([["grit"]])
    );
}

#[test]
fn a_feed_of_zero_or_below_is_no_feed() {
    for odd in [0.0, -100.0] {
        let shop = shop(&rows(60, |i, set| {
            if i % 10 == 0 {
                set.feed = odd;
            }
        }));
        assert!(shop.report(&[]).status.success());
        let found = shop.findings();
        assert_eq!(noted(&found, "incomplete").unwrap()["panels"], 6, "{odd}");
        let told = exponent(&found, "feed_mm_s").unwrap();
        assert!((told + 1.0).abs() < 0.1, "{odd}: {told}");
        let rejects = String::from_utf8(shop.made("rejects.csv")).unwrap();
        let lines = rejects.lines().filter(|l| l.contains("feed_mm_s"));
        assert_eq!(lines.count(), 18, "{odd}: {rejects}");
    }
}

#[test]
fn passes_that_are_not_whole_are_doubted() {
    let found = report(&rows(60, |i, set| {
        if i % 5 == 0 {
            set.passes += 0.5;
        }
    }));
    assert_eq!(noted(&found, "passes-not-whole").unwrap()["panels"], 12);
    assert!(warned(&found, "unit-suspect"));
}

#[test]
fn a_pressure_is_no_force_until_calibrated() {
    let csv = rows(60, |_, _| {}).replacen("force_n", "force_bar", 1);
    let shop = shop(&csv);
    let done = shop.report(&[]);
    assert_eq!(done.status.code(), Some(1));
    let told = String::from_utf8_lossy(&done.stderr).into_owned();
    assert!(
        told.contains("force_bar") && told.contains("calibration"),
        "{told}"
    );
    assert!(!shop.path("report").exists());
}

#[test]
fn grit_without_a_scale_is_a_label() {
    let found = report(&rows(60, |i, set| {
        set.grit = ["320", "400", "240"][i * 11 % 17 % 3]
    }));
    assert!(noted(&found, "grit-without-scale").is_some());
    assert!(warned(&found, "grit-without-scale"));
    let terms = found["removal"]["terms"].as_array().unwrap();
    let grits = terms.iter().filter(|t| t["factor"] == "grit").count();
    assert_eq!(grits, 2, "two levels against the third: {terms:?}");
    assert_eq!(exponent(&found, "grain_um"), None);
}

#[test]
fn a_factor_that_never_changes_gets_no_coefficient() {
    let found = report(&rows(60, |_, set| set.force = 20.0));
    assert_eq!(exponent(&found, "force_n"), None);
    let alone = found["removal"]["inseparable"].as_array().unwrap();
    assert!(alone.contains(&serde_json::json!(["force_n"])), "{alone:?}");
}

#[test]
fn factors_that_only_move_together_get_no_coefficient_of_their_own() {
    let found = report(&rows(60, |_, set| set.force = set.feed / 5.0));
    assert_eq!(exponent(&found, "force_n"), None);
    assert_eq!(exponent(&found, "feed_mm_s"), None);
    assert!(warned(&found, "factors-move-together"));
    let tied = found["removal"]["inseparable"].as_array().unwrap();
    assert!(
        tied.contains(&serde_json::json!(["feed_mm_s", "force_n"])),
        "{tied:?}"
    );
    // Passes go by themselves still.
    assert!(exponent(&found, "passes").is_some());
}

#[test]
fn passes_raised_with_feed_leave_their_ratio() {
    let found = report(&rows(60, |_, set| {
        set.passes = if set.feed > 110.0 { 3.0 } else { 1.0 };
        set.passes = if set.feed > 150.0 { 4.0 } else { set.passes };
        set.passes = if set.feed > 90.0 && set.feed < 110.0 {
            2.0
        } else {
            set.passes
        };
        set.reading = Some(20.0 * (100.0 / set.feed) * set.passes / 2.0 * set.force / 20.0);
    }));
    assert_eq!(exponent(&found, "feed_mm_s"), None);
    let told = exponent(&found, "passes/feed_mm_s").unwrap();
    assert!((told - 1.0).abs() < 0.15, "{told}");
}

#[test]
fn fewer_panels_than_coefficients_get_none() {
    let found = report(&rows(4, |_, _| {}));
    let note = noted(&found, "too-few-panels").unwrap();
    assert_eq!((&note["panels"], &note["needed"]), (&4.into(), &5.into()));
    assert_eq!(found["removal"]["terms"], serde_json::json!([]));
    assert_eq!(found["removal"]["advice"], serde_json::json!([]));
}

/// Hits at the slowest feed only, and hits everywhere: finite coefficients.
#[test]
fn all_or_none_hit_stays_finite() {
    let found = report(&rows(80, |_, set| {
        set.defect = if set.feed < 90.0 { "sand-through" } else { "" };
    }));
    let risks = found["removal"]["risks"].as_array().unwrap();
    assert_eq!(risks.len(), 2, "class and kind: {risks:?}");
    let feed = &risks[0]["terms"][0];
    assert_eq!(feed["factor"], "feed_mm_s");
    let told = feed["exponent"].as_f64().unwrap();
    assert!((-60.0..-5.0).contains(&told), "{told}");
    assert!(feed["ci"][0].is_number(), "{feed}");

    let found = report(&rows(80, |_, set| set.defect = "orange peel"));
    let risks = found["removal"]["risks"].as_array().unwrap();
    assert_eq!(risks.len(), 2, "class and kind: {risks:?}");
    for term in risks[0]["terms"].as_array().unwrap() {
        assert!(term["exponent"].as_f64().unwrap().abs() < 0.1, "{term}");
    }
    assert!(warned(&found, "no-clean-panels"));
}

/// Grits of which one is never hit: the level is named as held back.
#[test]
fn a_level_never_hit_is_named() {
    let found = report(&rows(90, |i, set| {
        set.grit = ["P240", "P320"][i * 11 % 17 % 2];
        set.defect = if set.grit == "P240" && i % 3 > 0 {
            "sand-through"
        } else {
            ""
        };
    }));
    let risk = &found["removal"]["risks"][0];
    let separated = risk["separated"].to_string();
    assert!(separated.contains("P320"), "{risk}");
    for term in risk["terms"].as_array().unwrap() {
        let number = term["ratio"].as_f64().or(term["exponent"].as_f64());
        assert!(number.is_some_and(f64::is_finite), "{term}");
    }
}

#[test]
fn without_any_reading_there_is_no_removal_model() {
    let found = report(&rows(60, |_, set| set.reading = None));
    let removal = &found["removal"];
    assert!(
        removal.is_null() || removal["terms"].as_array().unwrap().is_empty(),
        "{removal}"
    );
}

#[test]
fn one_lot_is_said() {
    let found = report(&rows(60, |_, set| set.lot = "A".into()));
    assert!(noted(&found, "one-lot").is_some());
    assert!(warned(&found, "one-lot"));
}
