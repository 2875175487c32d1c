//! Records written as an inspection file, and a run of the binary over it.

use std::path::Path;
use std::process::{Command, Output};

use onus::records::{Column, Panel, Point, Records};

/// The records as one flat CSV file.
pub fn csv(records: &Records) -> String {
    let columns = [
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
    let mut text = columns.map(Column::name).join(",") + "\n";
    for (index, panel) in records.panels.iter().enumerate() {
        let facts = facts(panel);
        let start = text.len();
        let place = |p: Option<Point>| p.map_or(",".into(), |p| format!("{},{}", p.x, p.y));
        for defect in of_panel(&records.defects, index, |d| d.panel) {
            let name = &records.defect_names[defect.name].name;
            text += &format!("{facts},{},{name},,\n", place(defect.place));
        }
        for reading in of_panel(&records.readings, index, |r| r.panel) {
            let (removed, film) = (number(reading.removed_um), number(reading.film_um));
            text += &format!("{facts},{},,{removed},{film}\n", place(reading.place));
        }
        if text.len() == start {
            text += &format!("{facts},,,,,\n");
        }
    }
    text
}

fn facts(panel: &Panel) -> String {
    let word = |w: &Option<std::sync::Arc<str>>| w.as_deref().unwrap_or_default().to_owned();
    [
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
        panel.length_mm.to_string(),
        panel.width_mm.to_string(),
        panel.lay.degrees().to_string(),
        panel.lay_x_mm.to_string(),
        panel.lay_y_mm.to_string(),
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
    .join(",")
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
