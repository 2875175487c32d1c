//! Records written as an inspection file, and a run of the binary over it.

use std::path::Path;
use std::process::{Command, Output};

use onus::records::{Column, Lay, Panel, Point, Records};

/// Columns in the order in which they are written.
const COLUMNS: [Column; 27] = [
    Column::PanelId,
    Column::SandedAt,
    Column::Machine,
    Column::Head,
    Column::Fixture,
    Column::Part,
    Column::Supplier,
    Column::Lot,
    Column::LengthMm,
    Column::WidthMm,
    Column::LayDeg,
    Column::LayXMm,
    Column::LayYMm,
    Column::Recipe,
    Column::FeedMmS,
    Column::Passes,
    Column::ForceN,
    Column::Grit,
    Column::AbrasiveAge,
    Column::AbrasiveId,
    Column::Inspector,
    Column::InspectLayDeg,
    Column::XMm,
    Column::YMm,
    Column::Defect,
    Column::RemovedUm,
    Column::FilmUm,
];

/// The records as one flat CSV file. A column that no row fills is left out, save
/// that of the defects of panels that were inspected.
pub fn csv(records: &Records) -> String {
    let mut rows: Vec<Vec<String>> = Vec::new();
    for (index, panel) in records.panels.iter().enumerate() {
        let before = rows.len();
        let facts = facts(panel);
        let mut write = |place: Option<Point>, rest: [String; 3]| {
            let place = place.map_or([String::new(), String::new()], |p| {
                [p.x, p.y].map(|v| v.to_string())
            });
            rows.push(facts.iter().cloned().chain(place).chain(rest).collect());
        };
        for defect in of_panel(&records.defects, index, |d| d.panel) {
            let name = records.defect_names[defect.name].name.clone();
            write(defect.place, [name, String::new(), String::new()]);
        }
        for reading in of_panel(&records.readings, index, |r| r.panel) {
            let (removed, film) = (number(reading.removed_um), number(reading.film_um));
            write(reading.place, [String::new(), removed, film]);
        }
        if rows.len() == before {
            rows.push(facts);
            rows[before].resize(COLUMNS.len(), String::new());
        }
    }
    let inspected = records.panels.iter().any(|p| p.inspected);
    let filled = |k: usize| rows.iter().any(|row| !row[k].is_empty());
    let written: Vec<usize> = (0..COLUMNS.len())
        .filter(|&k| filled(k) || inspected && COLUMNS[k] == Column::Defect)
        .collect();
    let mut file = ::csv::Writer::from_writer(Vec::new());
    let names = written.iter().map(|&k| COLUMNS[k].name());
    file.write_record(names).unwrap();
    for row in &rows {
        file.write_record(written.iter().map(|&k| &row[k])).unwrap();
    }
    String::from_utf8(file.into_inner().unwrap()).unwrap()
}

/// What every row of a panel says.
fn facts(panel: &Panel) -> Vec<String> {
    let word = |w: &Option<std::sync::Arc<str>>| w.as_deref().unwrap_or_default().to_owned();
    let lies = panel.lay_recorded || panel.lay != Lay::Deg0;
    let laid = |v: String| if lies { v } else { String::new() };
    vec![
        panel.id.clone(),
        panel
            .sanded_at
            .map_or(String::new(), |at| at.instant.to_string()),
        word(&panel.machine),
        word(&panel.head),
        word(&panel.fixture),
        word(&panel.part),
        word(&panel.supplier),
        word(&panel.lot),
        number(Some(panel.length_mm).filter(|l| *l > 0.0)),
        number(Some(panel.width_mm).filter(|w| *w > 0.0)),
        laid(panel.lay.degrees().to_string()),
        laid(panel.lay_x_mm.to_string()),
        laid(panel.lay_y_mm.to_string()),
        word(&panel.recipe),
        number(panel.feed_mm_s),
        number(panel.passes),
        number(panel.force_n),
        panel
            .grit
            .as_ref()
            .map_or(String::new(), |g| g.label.clone()),
        number(panel.abrasive_age),
        word(&panel.abrasive_id),
        word(&panel.inspector),
        panel
            .inspect_lay
            .map_or(String::new(), |lay| lay.degrees().to_string()),
    ]
}

fn of_panel<T>(items: &[T], panel: usize, of: impl Fn(&T) -> usize) -> &[T] {
    let start = items.partition_point(|item| of(item) < panel);
    let end = items.partition_point(|item| of(item) <= panel);
    &items[start..end]
}

fn number(value: Option<f64>) -> String {
    value.map_or(String::new(), |v| v.to_string())
}

/// What `onus report` finds in the inputs: `findings.json`.
///
/// # Panics
///
/// If the run fails; the message is what the user would have seen.
pub fn report(inputs: &[&Path], site: Option<&Path>) -> serde_json::Value {
    let run = run_report(inputs, site);
    assert!(
        run.status.success(),
        "{}",
        String::from_utf8_lossy(&run.stderr)
    );
    serde_json::from_slice(&run.stdout).unwrap()
}

/// The run itself, for those that are to fail.
pub fn run_report(inputs: &[&Path], site: Option<&Path>) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_onus"));
    command.arg("report").args(inputs).arg("--json");
    if let Some(site) = site {
        command.arg("--site").arg(site);
    }
    command.output().unwrap()
}

/// The same for one file's text.
pub fn report_on(csv: &str, site: Option<&str>) -> serde_json::Value {
    let folder = tempfile::tempdir().unwrap();
    let input = folder.path().join("inspections.csv");
    std::fs::write(&input, csv).unwrap();
    let site_file = folder.path().join("onus.toml");
    if let Some(text) = site {
        std::fs::write(&site_file, text).unwrap();
    }
    report(&[&input], site.map(|_| site_file.as_path()))
}
