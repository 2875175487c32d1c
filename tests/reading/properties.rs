//! What holds for any files: the order of rows and files, and how rows are
//! spread over files, changes nothing; units convert there and back.

use std::path::Path;

use onus::records::{self, Conversion, Quantity, ReadOptions, Records, Unit};
use onus::site::Site;
use proptest::prelude::*;

const HEADER: &str = "panel_id,sanded_at,machine,lot,length_mm,width_mm,lay_deg,feed_mm_s,x_mm,y_mm,defect,removed_um\n";

/// A row, now and then a bad one; facts follow from the panel, so that rows
/// agree, but for panel 7, whose rows differ in their lot.
fn row() -> impl Strategy<Value = String> {
    (0..12u32, 0..6200u32, 0..4200u32, 0..6u32, 0..40u32).prop_map(|(panel, x, y, kind, nth)| {
        let lot = if panel == 7 { nth % 2 } else { panel % 3 };
        let facts = format!(
            "P{panel},2026-11-{:02}T08:00:00Z,M{},L{lot},600,{},{},{}",
            1 + panel,
            panel % 2,
            if panel == 9 {
                "abc".to_owned()
            } else {
                "400".to_owned()
            },
            90 * (panel % 4),
            if panel == 5 { -1 } else { 80 + panel as i32 },
        );
        let (x, y) = (f64::from(x) / 10.0, f64::from(y) / 10.0);
        let seen = match kind {
            0 => ",,,".to_owned(),
            1 => format!("{x},{y},Scratch,"),
            2 => format!("{x},{y},scratch,"),
            3 => format!("{x},{y},,{nth}"),
            4 => format!("bad,{y},nib,"),
            _ => format!("{x},{y},nib,{nth}"),
        };
        format!("{facts},{seen}\n")
    })
}

fn read(files: &[String]) -> Option<Records> {
    let folder = tempfile::tempdir().unwrap();
    for (nth, text) in files.iter().enumerate() {
        std::fs::write(folder.path().join(format!("{nth}.csv")), text).unwrap();
    }
    records::read(
        &[folder.path().to_owned()],
        &Site::default(),
        &ReadOptions::default(),
    )
    .ok()
}

/// The tables, without where things stood: files and lines do change.
fn tables(records: Option<Records>) -> String {
    records.map_or_else(String::new, |r| {
        let mut losses: Vec<String> = r
            .rejects
            .iter()
            .map(|x| format!("{:?} {:?} {:?}", x.lost, x.column, x.value))
            .collect();
        losses.sort();
        // Which of two contradicting values comes second does change.
        losses.retain(|l| !l.starts_with("Panel"));
        let mut input = r.input;
        input.files = 0;
        let mut codes: Vec<&str> = r.warnings.iter().map(|w| w.code.code()).collect();
        codes.dedup();
        format!(
            "{:#?} {:#?} {:#?} {:?} {losses:?} {input:?} {codes:?}",
            r.panels, r.defects, r.readings, r.defect_names
        )
    })
}

fn text(rows: &[String]) -> String {
    format!("{HEADER}{}", rows.concat())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn the_order_of_rows_changes_nothing(
        (rows, shuffled) in prop::collection::vec(row(), 1..60)
            .prop_flat_map(|rows| (Just(rows.clone()), Just(rows).prop_shuffle()))
    ) {
        prop_assert_eq!(tables(read(&[text(&rows)])), tables(read(&[text(&shuffled)])));
    }

    #[test]
    fn splitting_a_file_changes_nothing(
        mut rows in prop::collection::vec(row(), 2..60),
        at in any::<prop::sample::Index>(),
        turned in any::<bool>(),
    ) {
        // Two equal rows are two defects in one file and one in two files.
        rows.sort();
        rows.dedup();
        let (a, b) = rows.split_at(at.index(rows.len()));
        let mut parts = vec![text(a), text(b)];
        if turned {
            parts.reverse();
        }
        prop_assert_eq!(tables(read(&[text(&rows)])), tables(read(&parts)));
    }

    #[test]
    fn units_convert_there_and_back(value in -1e6f64..1e6, nth in 0..Unit::ALL.len()) {
        let unit = Unit::ALL[nth];
        let back = Conversion::Unit(unit).apply(value) / unit.factor();
        // One multiplication and one division: two roundings at most.
        prop_assert!((back - value).abs() <= 2.0 * f64::EPSILON * value.abs());
    }

    #[test]
    fn any_bytes_are_read_or_refused(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        let folder = tempfile::tempdir().unwrap();
        let mut text = HEADER.as_bytes().to_vec();
        text.extend(bytes);
        std::fs::write(folder.path().join("any.csv"), text).unwrap();
        let read = records::read(&[folder.path().to_owned()], &Site::default(), &ReadOptions::default());
        if let Ok(records) = read {
            prop_assert!(records.panels.iter().all(|p| p.length_mm > 0.0 && p.width_mm > 0.0));
            prop_assert!(records.defects.iter().all(|d| d.panel < records.panels.len()));
        }
    }

    #[test]
    fn any_text_is_a_site_file_or_an_error_with_a_line(text in "[\\[\\]a-z_=\"0-9 .\n#]{0,120}") {
        if let Err(error) = Site::parse(&text, Path::new("onus.toml")) {
            let message = error.to_string();
            prop_assert!(message.starts_with("onus.toml, line "), "{}", message);
        }
    }
}

/// By their names: every unit measures exactly one kind of quantity.
#[test]
fn every_unit_is_spelled_back_and_measures_something() {
    for unit in Unit::ALL {
        assert_eq!(Unit::parse(unit.name()), Some(unit), "{}", unit.name());
        let kinds = [
            Quantity::Length,
            Quantity::Speed,
            Quantity::Force,
            Quantity::Thickness,
            Quantity::Area,
            Quantity::Lay,
        ];
        assert_eq!(kinds.iter().filter(|k| unit.measures(**k)).count(), 1);
    }
}
