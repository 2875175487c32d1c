//! Readings of removal that say little or something odd: every case gets an
//! honest sentence and no machine is named.

use serde_json::Value;

use crate::shop::Shop;

const HEADER: &str = "panel_id,machine,lot,length_mm,width_mm,lay_deg,x_mm,y_mm,removed_um\n";

/// Rows of `panels` panels, half of them turned; `reading` gives the removal at
/// a place of a panel, µm.
fn rows(panels: usize, places: &[(f64, f64)], reading: impl Fn(usize, usize) -> f64) -> String {
    let mut text = HEADER.to_owned();
    for i in 0..panels {
        let lay = if i % 2 == 0 { 0 } else { 180 };
        for (k, (x, y)) in places.iter().enumerate() {
            let removed = reading(i, k);
            text += &format!("P{i:03},M1,L{},600,400,{lay},{x},{y},{removed:.3}\n", i % 4);
        }
    }
    text
}

/// A gauge's scatter, µm, without a pattern.
fn scatter(i: usize, k: usize) -> f64 {
    ((i * 37 + k * 61 + (i * k) * 13) % 17) as f64 / 17.0 - 0.5
}

/// The findings of a report that must succeed, and accuse nobody.
fn report(csv: &str) -> Value {
    let shop = Shop::with_spot(0);
    shop.write("all.csv", csv);
    let done = shop.report(&[]);
    let told = String::from_utf8_lossy(&done.stderr).into_owned();
    assert!(done.status.success(), "{told}");
    assert!(shop.made("report.pdf").starts_with(b"%PDF"));
    let found = shop.findings();
    let text = found.to_string();
    assert!(!text.contains("NaN") && !text.contains("inf"), "{text}");
    let findings = found["findings"].as_array().unwrap();
    assert!(
        findings.iter().all(|f| f["cause"] != "machine"),
        "{findings:?}"
    );
    found
}

fn surface(found: &Value) -> &Value {
    let surfaces = found["surface"].as_array().unwrap();
    assert_eq!(surfaces.len(), 1, "{surfaces:?}");
    assert_ne!(surfaces[0]["cause"], "machine");
    &surfaces[0]
}

/// Whether a note of the surface holds these words.
fn notes_say(surface: &Value, words: &str) -> bool {
    let notes = surface["notes"].as_array().unwrap();
    notes.iter().any(|n| n.as_str().unwrap().contains(words))
}

const GRID: [(f64, f64); 9] = [
    (60.0, 40.0),
    (300.0, 40.0),
    (540.0, 40.0),
    (60.0, 200.0),
    (300.0, 200.0),
    (540.0, 200.0),
    (60.0, 360.0),
    (300.0, 360.0),
    (540.0, 360.0),
];

#[test]
fn readings_all_at_one_point_carry_no_slope() {
    let found = report(&rows(20, &[(300.0, 200.0); 3], |i, k| 20.0 + scatter(i, k)));
    let surface = surface(&found);
    assert_eq!(surface["panels"], 0);
    assert_eq!(surface["cause"], "undecided");
    assert!(surface["slope_x"]["machine"].is_null());
    assert!(
        notes_say(surface, "20 panels left out: readings at one place"),
        "{surface}"
    );
}

#[test]
fn one_reading_a_panel_carries_no_slope_either() {
    let found = report(&rows(20, &[(200.0, 100.0)], |i, k| 20.0 + scatter(i, k)));
    assert!(notes_say(surface(&found), "20 panels left out"), "{found}");
}

#[test]
fn constant_readings_are_doubted() {
    let found = report(&rows(20, &GRID, |_, _| 20.0));
    let surface = surface(&found);
    assert_eq!(surface["cause"], "undecided");
    assert!(notes_say(surface, "is the gauge stuck?"), "{surface}");
}

#[test]
fn one_panel_tells_no_machine_from_a_panel() {
    let found = report(&rows(1, &GRID, |i, k| {
        20.0 + 3.0 * GRID[k].0 / 600.0 + scatter(i, k)
    }));
    let surface = surface(&found);
    assert_eq!(
        (&surface["panels"], &surface["cause"]),
        (&1.into(), &"undecided".into())
    );
    assert!(notes_say(surface, "One panel:"), "{surface}");
}

#[test]
fn removal_below_zero_is_kept() {
    // A thin cut: a third of the readings lie below zero.
    let found = report(&rows(20, &GRID, |i, k| 0.2 + scatter(i, k)));
    let surface = surface(&found);
    assert_eq!(surface["readings"], 180);
    let mean: f64 = (0..20)
        .flat_map(|i| (0..9).map(move |k| 0.2 + scatter(i, k)))
        .sum::<f64>()
        / 180.0;
    let told = surface["removed_um"].as_f64().unwrap();
    assert!((told - mean).abs() < 1e-3, "{told} {mean}");
    assert!(notes_say(surface, "of zero or below"), "{surface}");
}

#[test]
fn a_gauge_off_by_inches_is_warned_of() {
    let off = |part: fn(usize) -> f64| {
        let found = report(&rows(40, &GRID, |i, k| (20.0 + scatter(i, k)) * part(i)));
        let warnings = found["warnings"].as_array().unwrap().clone();
        warnings.into_iter().any(|w| {
            let text = w["text"].as_str().unwrap();
            text.contains("removed_um") && text.contains("25.4")
        })
    };
    assert!(off(|_| 1.0 / 25.4), "all panels");
    assert!(
        off(|i| if i < 30 { 1.0 } else { 25.4 }),
        "a quarter of them"
    );
    assert!(!off(|_| 1.0), "none");
}

#[test]
fn few_places_fall_back_to_what_can_be_fitted_and_say_what_was_left_out() {
    let corners = [(60.0, 40.0), (540.0, 40.0), (60.0, 360.0), (540.0, 360.0)];
    for (places, words) in [
        (2, "only the slope along it was fitted"),
        (3, "slopes only"),
        (4, "slopes only"),
    ] {
        let found = report(&rows(40, &corners[..places], |i, k| 20.0 + scatter(i, k)));
        let surface = surface(&found);
        assert_eq!(surface["panels"], 40, "{places} places");
        assert!(notes_say(surface, words), "{places} places: {surface}");
        assert!(surface["slope_x"]["machine"].is_number(), "{places} places");
        assert_eq!(surface["slope_y"]["machine"].is_number(), places > 2);
        assert!(surface["crown_x"].is_null() && surface["twist"].is_null());
        if places <= 3 {
            assert!(surface["gauge_sd_um"].is_null());
            assert!(
                notes_say(surface, "No panel has a reading to spare"),
                "{surface}"
            );
        }
    }
}

#[test]
fn a_reading_off_the_panel_is_rejected_with_its_reason() {
    let mut csv = rows(20, &GRID, |i, k| 20.0 + scatter(i, k));
    csv += "P000,M1,L0,600,400,0,760,200,21.0\n";
    let found = report(&csv);
    assert_eq!(surface(&found)["readings"], 180);
    assert_eq!(found["input"]["rejected_rows"], 1, "{}", found["input"]);
}
