//! The wildest numbers in every numeric column: each costs its cell or row, or
//! is told, and no other panel.

use std::fmt::Write as _;
use std::fs;
use std::path::Path;

use onus::records::{self, Column, Lost, ReadOptions, Records};
use onus::site::Site;

/// Numbers as a slip, a broken sensor or a converter writes them.
const WILD: [&str; 44] = [
    "0",
    "-0",
    "1e-300",
    "1e-9",
    "0.0001",
    "0.001",
    "0.01",
    "0.019",
    "0.1",
    "0.9",
    "-0.0001",
    "-1",
    "-9",
    "-250",
    "-100001",
    "-32768",
    "-2147483648",
    "-1e9",
    "-1e20",
    "-1e300",
    "9",
    "99",
    "999",
    "9999",
    "32767",
    "49999",
    "50001",
    "65535",
    "99999",
    "100001",
    "999999",
    "6e6",
    "6e7",
    "6e8",
    "16777217",
    "2147483647",
    "4294967295",
    "1e9",
    "1e12",
    "9007199254740993",
    "1e20",
    "1e100",
    "1e300",
    "1.7976931348623157e308",
];

const PANELS: usize = 24;

/// The numeric columns and a usual value of each.
const USUAL: [(Column, f64); 13] = [
    (Column::LengthMm, 600.0),
    (Column::WidthMm, 400.0),
    (Column::LayXMm, 120.0),
    (Column::LayYMm, 80.0),
    (Column::FeedMmS, 120.0),
    (Column::Passes, 2.0),
    (Column::ForceN, 30.0),
    (Column::AbrasiveAge, 12.0),
    (Column::XMm, 310.0),
    (Column::YMm, 190.0),
    (Column::AreaMm2, 9.0),
    (Column::RemovedUm, 22.0),
    (Column::FilmUm, 110.0),
];

/// Panels with one row each, of which the eighth has this cell.
fn with(column: Column, cell: &str) -> String {
    let mut text = "panel_id,defect,tilt".to_owned();
    for (column, _) in USUAL {
        let _ = write!(text, ",{}", column.name());
    }
    text.push('\n');
    for panel in 0..PANELS {
        let _ = write!(text, "P{panel:02},scratch,1.5");
        for (own, usual) in USUAL {
            if panel == 7 && own == column {
                let _ = write!(text, ",{cell}");
            } else if own == Column::XMm {
                // Marks that differ: copies of a panel are another matter.
                let _ = write!(text, ",{}", usual - 11.3 * panel as f64);
            } else {
                let _ = write!(text, ",{usual}");
            }
        }
        text.push('\n');
    }
    text
}

fn read(text: &str, site: &str) -> Records {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("a.csv"), text).unwrap();
    let site = Site::parse(site, Path::new("onus.toml")).unwrap();
    records::read(&[folder.path().to_owned()], &site, &ReadOptions::default()).unwrap()
}

#[test]
fn a_wild_number_costs_its_cell_or_row_and_nothing_else() {
    let mut lost = 0;
    for (column, _) in USUAL {
        let (low, high) = column.possible().unwrap();
        for cell in WILD {
            let what = format!("{} = {cell}", column.name());
            let records = read(&with(column, cell), "");
            let others = records.panels.iter().filter(|p| p.id != "P07").count();
            assert_eq!(others, PANELS - 1, "{what}");
            let value: f64 = cell.parse().unwrap();
            let possible = (low..=high).contains(&value);
            match records.rejects.as_slice() {
                // What is kept is possible.
                [] => assert!(possible, "{what} was kept"),
                [reject] => {
                    lost += 1;
                    assert_eq!(reject.line, Some(9), "{what}");
                    // A place may be possible and yet off this panel.
                    let off = reject.why.starts_with("outside the panel");
                    assert!(!possible || off || value <= 0.0, "{what}: {}", reject.why);
                    let expected = if column.places_or_counts() {
                        Lost::Row
                    } else {
                        Lost::Value
                    };
                    assert_eq!(reject.lost, expected, "{what}");
                }
                more => panic!("{what}: {more:?}"),
            }
        }
    }
    assert!(lost > 300, "{lost}");
}

#[test]
fn what_is_possible_is_the_sites_to_say() {
    let text = with(Column::FeedMmS, "60000");
    assert_eq!(read(&text, "").rejects.len(), 1);
    let wider = read(&text, "[possible]\nfeed_mm_s = { high = 100000.0 }\n");
    assert!(wider.rejects.is_empty());
    assert!(wider.panels.iter().any(|p| p.feed_mm_s == Some(60000.0)));
    let tilt = text.replace("P03,scratch,1.5", "P03,scratch,1e12");
    let read = |site: &str| read(&tilt, site);
    assert_eq!(read("[factors]\ntilt = \"number\"\n").rejects.len(), 2);
    let site = "[factors]\ntilt = \"number\"\n[possible]\ntilt = { high = 1e15 }\n";
    assert_eq!(read(site).rejects.len(), 1);
    for wrong in [
        "[possible]\nlot = { low = 1.0 }\n",
        "[possible]\nforce_n = { low = 9.0, high = 3.0 }\n",
        "[possible]\nnot_there = { low = 1.0 }\n",
    ] {
        assert!(
            Site::parse(wrong, Path::new("onus.toml")).is_err(),
            "{wrong}"
        );
    }
}

#[test]
fn ten_times_the_usual_is_told_and_kept() {
    for (column, usual) in USUAL {
        if matches!(column, Column::XMm | Column::YMm | Column::AreaMm2) {
            continue;
        }
        let records = read(&with(column, &(usual * 11.0).to_string()), "");
        assert!(records.rejects.is_empty(), "{:?}", records.rejects);
        let told = |records: &Records| {
            records
                .warnings
                .iter()
                .any(|w| w.code.code() == "far-off" && w.text.starts_with(column.name()))
        };
        assert!(told(&records), "{}", column.name());
        let usual = read(&with(column, &(usual * 2.0).to_string()), "");
        assert!(!told(&usual), "{}", column.name());
    }
}
