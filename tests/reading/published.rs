//! Published examples: RFC 3339 times, RFC 4180 texts, ISO 8601 weeks, grain
//! sizes of abrasives, and units by their definition.

use std::path::Path;

use onus::change::Week;
use onus::records::{self, Grit, GritScale, Moment, ReadOptions, Records, Unit};
use onus::site::Site;

fn published(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/published")
        .join(name);
    std::fs::read_to_string(path).unwrap()
}

/// The rows below the `#` lines and the header.
fn rows(name: &str) -> Vec<csv::StringRecord> {
    csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_reader(published(name).as_bytes())
        .records()
        .map(Result::unwrap)
        .collect()
}

fn read(text: &str) -> Records {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("a.csv"), text).unwrap();
    records::read(
        &[folder.path().to_owned()],
        &Site::default(),
        &ReadOptions::default(),
    )
    .unwrap()
}

fn sanded_at(time: &str) -> Option<Moment> {
    let text = format!("panel_id,sanded_at,length_mm,width_mm\nP1,{time},600,400\n");
    read(&text).panels[0].sanded_at
}

/// RFC 3339, section 5.8 and its grammar. A leap second is taken as the
/// second before it; texts without an offset are no RFC 3339 but local times,
/// which are read as such.
#[test]
fn times_of_rfc_3339_are_the_instants_it_says() {
    let mut checked = 0;
    for row in rows("rfc_3339_examples.csv") {
        let (text, valid, utc) = (&row[0], &row[1] == "true", &row[2]);
        let got = sanded_at(text);
        if valid {
            let expected: jiff::Timestamp = utc.replace(":60Z", ":59Z").parse().unwrap();
            assert_eq!(got.map(|m| m.instant), Some(expected), "{text}");
        } else if row[3].contains("no offset") || row[3].contains("full-date only") {
            assert!(got.is_some(), "{text}");
        } else {
            assert_eq!(got, None, "{text}");
        }
        checked += 1;
    }
    assert!(checked >= 12);
}

/// ISO 8601 weeks around the turns of years.
#[test]
fn weeks_are_those_of_iso_8601() {
    let mut checked = 0;
    for row in rows("iso_8601_weeks.csv") {
        let moment = sanded_at(&format!("{}T12:00:00Z", &row[0])).unwrap();
        let day = moment.local.date();
        let of_week = day.weekday().to_monday_one_offset();
        assert_eq!(
            format!("{}-{of_week}", Week::of(day)),
            &row[1],
            "{}",
            &row[0]
        );
        checked += 1;
    }
    assert!(checked >= 30);
}

/// RFC 4180, section 2, examples 1 to 7: each text, with its first cell of the
/// first row renamed to a header of ours, gives the cells that the RFC says.
#[test]
fn cells_are_those_of_rfc_4180() {
    let all: serde_json::Value =
        serde_json::from_str(&published("rfc_4180_examples.json")).unwrap();
    let cases = all["cases"].as_array().unwrap();
    let mut checked = 0;
    for case in cases {
        let raw = case["raw"].as_str().unwrap();
        let expected: Vec<Vec<&str>> = case["rows"]
            .as_array()
            .unwrap()
            .iter()
            .map(|row| {
                row.as_array()
                    .unwrap()
                    .iter()
                    .map(|c| c.as_str().unwrap())
                    .collect()
            })
            .collect();
        // Three cells a row: the panel's id, its lot and its part.
        let header = "panel_id,lot,part\r\n";
        let sizes = "";
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("a.csv"), format!("{header}{raw}{sizes}")).unwrap();
        let mut size = String::from("panel_id,length_mm,width_mm\n");
        let mut known: Vec<&str> = expected.iter().map(|row| row[0].trim()).collect();
        known.sort_unstable();
        known.dedup();
        for id in &known {
            size += &format!("\"{}\",600,400\n", id.replace('"', "\"\""));
        }
        std::fs::write(folder.path().join("b.csv"), size).unwrap();
        let records = records::read(
            &[folder.path().to_owned()],
            &Site::default(),
            &ReadOptions::default(),
        )
        .unwrap();
        for row in &expected {
            if row.len() != 3 {
                continue;
            }
            let panel = records.panels.iter().find(|p| p.id == row[0].trim());
            let panel = panel.unwrap_or_else(|| panic!("{}: {row:?}", case["id"]));
            assert_eq!(panel.lot.as_deref(), Some(row[1].trim()), "{}", case["id"]);
            assert_eq!(panel.part.as_deref(), Some(row[2].trim()), "{}", case["id"]);
            checked += 1;
        }
    }
    assert!(checked >= 8, "{checked}");
}

/// Public tables of FEPA P and CAMI grain sizes.
#[test]
fn grain_sizes_are_those_of_the_public_tables_and_the_scales_stay_apart() {
    let mut checked = 0;
    for row in rows("abrasive_grit_fepa_p.csv") {
        let grit = Grit::parse(&row[0], None);
        assert_eq!(grit.scale, Some(GritScale::FepaP));
        assert_eq!(grit.grain_um, row[1].parse().ok(), "{}", &row[0]);
        checked += 1;
    }
    for row in rows("abrasive_grit_cami.csv") {
        let grit = Grit::parse(&row[0], Some(GritScale::Cami));
        assert_eq!(grit.scale, Some(GritScale::Cami));
        assert_eq!(grit.grain_um, row[1].parse().ok(), "{}", &row[0]);
        checked += 1;
    }
    assert!(checked >= 35);
}

/// International inch and pound (1959), standard gravity (3rd CGPM, 1901);
/// 6 m/min = 100 mm/s and the others by arithmetic.
#[test]
fn units_are_exact_by_definition() {
    let exact = 1e-15;
    for (unit, one) in [
        (Unit::Inch, 25.4),
        (Unit::Mil, 25.4),
        (Unit::KilogramForce, 9.80665),
        (Unit::PoundForce, 4.448_221_615_260_5),
        (Unit::InchPerSecond, 25.4),
        (Unit::FootPerMinute, 5.08),
        (Unit::SquareInch, 645.16),
    ] {
        let off = (unit.factor() / one - 1.0).abs();
        assert!(off <= 2.0 * exact, "{}", unit.name());
    }
    assert!((Unit::MetrePerMinute.factor() * 6.0 - 100.0).abs() <= 100.0 * 2.0 * exact);
}
