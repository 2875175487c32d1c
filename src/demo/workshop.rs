//! Marks and readings of the made-up workshop, written as inspection files.

use std::path::PathBuf;

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Poisson};

use super::panels::{Run, cell_runs};
use super::settings::Workshop;
use crate::records::{Column, Point};

/// The demo's site file, as text.
pub const SITE_FILE: &str = include_str!("../../fixtures/demo/onus.toml");

/// One inspection file of the demo.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DemoFile {
    /// Where it goes, relative to the folder of inspection files.
    pub path: PathBuf,
    /// Its text, CSV.
    pub text: String,
}

/// The inspection files of one run of the workshop, one per panel.
///
/// The same seed gives the same bytes.
#[must_use]
pub fn inspection_files(workshop: &Workshop, seed: u64) -> Vec<DemoFile> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let lot_factor: Vec<f64> = workshop
        .lots
        .iter()
        .map(|_| 1.0 + workshop.removal.lot_spread * normal(&mut rng))
        .collect();
    let mut files = Vec::new();
    for cell in 0..workshop.cells.len() {
        for run in cell_runs(workshop, cell, &mut rng) {
            let lot = workshop
                .lots
                .iter()
                .position(|lot| lot == run.lot)
                .unwrap_or(0);
            let mut rows = marks(workshop, &run, &mut rng);
            if run.position % workshop.reading_every == 0 {
                rows.extend(readings(workshop, &run, lot_factor[lot], &mut rng));
            }
            files.push(file(&run, &rows));
        }
    }
    spoil(&mut files);
    files
}

/// What a row says beside the panel's facts.
#[derive(Default)]
struct Row {
    place: Option<Point>,
    defect: Option<String>,
    removed_um: Option<f64>,
    film_um: Option<f64>,
}

fn marks(workshop: &Workshop, run: &Run, rng: &mut ChaCha8Rng) -> Vec<Row> {
    let panel = run.geometry();
    let mut found: Vec<(String, Point)> = Vec::new();
    let mut wanders = |defect: &str, per_m2: f64, rng: &mut ChaCha8Rng| {
        for _ in 0..count(per_m2 * panel.area_m2(), rng) {
            let x = rng.random::<f64>() * panel.length_mm;
            let y = rng.random::<f64>() * panel.width_mm;
            found.push((defect.to_owned(), Point { x, y }));
        }
    };
    let here = |machine: &Option<String>| machine.as_ref().is_none_or(|m| *m == run.cell.machine);
    for kind in workshop.wandering.iter().filter(|kind| here(&kind.machine)) {
        wanders(&kind.defect, kind.per_m2, rng);
    }
    wanders("orange peel left", run.recipe.peel_per_m2, rng);

    let spot = &workshop.spot;
    if run.cell.machine == spot.machine
        && run.day >= spot.from_day
        && rng.random::<f64>() < spot.share
    {
        let at = scattered(spot.x_mm, spot.y_mm, spot.spread_mm, rng);
        found.push((spot.defect.clone(), on_panel(run, at)));
    }
    let lot_spot = &workshop.lot_spot;
    if run.lot.name == lot_spot.lot && rng.random::<f64>() < lot_spot.share {
        let at = scattered(lot_spot.x_mm, lot_spot.y_mm, lot_spot.spread_mm, rng);
        found.push((lot_spot.defect.clone(), at));
    }

    found
        .into_iter()
        .filter(|(_, at)| panel.rect().contains(*at))
        .map(|(defect, at)| {
            let seen = scattered(at.x, at.y, workshop.location_error_mm, rng);
            let place = Point {
                x: seen.x.clamp(0.0, panel.length_mm),
                y: seen.y.clamp(0.0, panel.width_mm),
            };
            Row {
                place: Some(place),
                defect: Some(defect),
                ..Row::default()
            }
        })
        .collect()
}

fn readings(workshop: &Workshop, run: &Run, lot: f64, rng: &mut ChaCha8Rng) -> Vec<Row> {
    let (panel, law, first) = (run.geometry(), &workshop.removal, &workshop.recipes[0]);
    let recipe = run.recipe;
    let fresh = law.fresh_excess * (-(run.abrasive_age as f64) / law.fresh_panels).exp();
    let level = law.base_um
        * (recipe.feed_mm_s / first.feed_mm_s).powf(law.feed_exponent)
        * (recipe.passes / first.passes).powf(law.passes_exponent)
        * (recipe.force_n / first.force_n).powf(law.force_exponent)
        * (1.0 + fresh)
        * lot
        * (1.0 + law.panel_spread * normal(rng));
    let own_tilt = [
        law.panel_tilt_um * normal(rng),
        law.panel_tilt_um * normal(rng),
    ];
    let film = law.film_um + law.film_spread_um * normal(rng);
    let rect = panel.machine_rect();
    let side = workshop.readings_per_side;
    let step = |k: usize| (k as f64 + 0.5) / side as f64;
    (0..side * side)
        .map(|j| {
            let place = Point {
                x: panel.length_mm * step(j % side),
                y: panel.width_mm * step(j / side),
            };
            let at = panel.to_machine(place);
            let u = 2.0 * (at.x - rect.x0) / rect.width() - 1.0;
            let v = 2.0 * (at.y - rect.y0) / rect.height() - 1.0;
            let tilt = (run.cell.tilt_x_um + own_tilt[0]) * u + own_tilt[1] * v;
            Row {
                place: Some(place),
                removed_um: Some(level + tilt + law.gauge_um * normal(rng)),
                film_um: Some(film + law.gauge_um * normal(rng)),
                ..Row::default()
            }
        })
        .collect()
}

fn file(run: &Run, rows: &[Row]) -> DemoFile {
    let facts: [(Column, String); 20] = [
        (Column::PanelId, run.id.clone()),
        (Column::SandedAt, run.at.to_string()),
        (Column::Machine, run.cell.machine.clone()),
        (Column::Head, run.cell.head.clone()),
        (Column::Part, run.size.part.clone()),
        (Column::Supplier, run.lot.supplier.clone()),
        (Column::Lot, run.lot.name.clone()),
        (Column::LengthMm, run.size.length_mm.to_string()),
        (Column::WidthMm, run.size.width_mm.to_string()),
        (Column::LayDeg, run.lay.degrees().to_string()),
        (Column::LayXMm, run.size.lay_x_mm.to_string()),
        (Column::Recipe, run.recipe.name.clone()),
        (Column::FeedMmS, run.recipe.feed_mm_s.to_string()),
        (Column::Passes, run.recipe.passes.to_string()),
        (Column::ForceN, run.recipe.force_n.to_string()),
        (Column::Grit, run.recipe.grit.clone()),
        (Column::AbrasiveAge, run.abrasive_age.to_string()),
        (Column::AbrasiveId, run.abrasive_id.clone()),
        (Column::Inspector, run.inspector.to_owned()),
        (Column::InspectLayDeg, run.inspect_lay.degrees().to_string()),
    ];
    let own = [
        Column::XMm,
        Column::YMm,
        Column::Defect,
        Column::Severity,
        Column::RemovedUm,
        Column::FilmUm,
    ];
    let line = |cells: &mut dyn Iterator<Item = &str>| cells.collect::<Vec<_>>().join(",") + "\n";
    let names = facts.iter().map(|fact| fact.0).chain(own);
    let mut text = line(&mut names.map(Column::name));
    let clean = [Row::default()];
    for row in if rows.is_empty() { &clean } else { rows } {
        let tenths = |v: Option<f64>| v.map_or(String::new(), |v| format!("{v:.1}"));
        let said = [
            tenths(row.place.map(|p| p.x)),
            tenths(row.place.map(|p| p.y)),
            row.defect.clone().unwrap_or_default(),
            String::new(),
            tenths(row.removed_um),
            tenths(row.film_um),
        ];
        let cells = facts.iter().map(|fact| &fact.1).chain(&said);
        text.push_str(&line(&mut cells.map(String::as_str)));
    }
    DemoFile {
        path: PathBuf::from(&run.cell.machine).join(format!("{}.csv", run.id)),
        text,
    }
}

/// Three files carry the kind of fault that exports carry, so that the report
/// has something to say about the data: a severity off the scale, a place that
/// is no number, a panel whose length was lost.
fn spoil(files: &mut [DemoFile]) {
    let with_mark = |file: &DemoFile| file.text.contains("dust nib,,");
    let mut marked = files.iter_mut().filter(|file| with_mark(file));
    if let Some(file) = marked.next() {
        file.text = file.text.replacen("dust nib,,", "dust nib,9,", 1);
    }
    if let Some(file) = marked.next()
        && let Some(row) = file.text.find("dust nib,,")
    {
        let start = file.text[..row]
            .trim_end_matches(',')
            .rfind(',')
            .map_or(0, |i| i + 1);
        file.text.replace_range(start..row - 1, "4l2");
    }
    if let Some(file) = marked.next() {
        file.text = file
            .text
            .replace(",1180,580,", ",,580,")
            .replace(",900,450,", ",,450,");
        file.text = file.text.replace(",600,450,", ",,450,");
    }
}

fn on_panel(run: &Run, machine: Point) -> Point {
    let panel = run.geometry();
    let (x, y) = (machine.x - panel.lay_x_mm, machine.y - panel.lay_y_mm);
    if run.lay.degrees() == 180 {
        Point {
            x: panel.length_mm - x,
            y: panel.width_mm - y,
        }
    } else {
        Point { x, y }
    }
}

fn scattered(x: f64, y: f64, sd_mm: f64, rng: &mut ChaCha8Rng) -> Point {
    Point {
        x: x + sd_mm * normal(rng),
        y: y + sd_mm * normal(rng),
    }
}

fn normal(rng: &mut ChaCha8Rng) -> f64 {
    rand_distr::StandardNormal.sample(rng)
}

fn count(mean: f64, rng: &mut ChaCha8Rng) -> usize {
    Poisson::new(mean).map_or(0, |poisson| poisson.sample(rng) as usize)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_seed_gives_the_same_bytes_and_another_does_not() {
        let workshop = Workshop::from_fixture().unwrap();
        let files = inspection_files(&workshop, 1);
        assert_eq!(files, inspection_files(&workshop, 1));
        assert_ne!(files, inspection_files(&workshop, 2));
        assert_eq!(files.len(), 400, "two cells, ten days, twenty panels");
    }

    #[test]
    fn three_files_are_spoiled_and_the_rest_are_whole() {
        let workshop = Workshop::from_fixture().unwrap();
        let files = inspection_files(&workshop, 1);
        let with = |needle: &str| files.iter().filter(|f| f.text.contains(needle)).count();
        assert_eq!(with("dust nib,9,"), 1);
        assert_eq!(with(",4l2,dust nib,"), 1);
        assert_eq!(with(",,580,") + with(",,450,"), 1);
    }

    #[test]
    fn some_panels_are_clean() {
        let workshop = Workshop::from_fixture().unwrap();
        let files = inspection_files(&workshop, 1);
        let clean = files.iter().filter(|f| {
            f.text
                .lines()
                .skip(1)
                .all(|line| line.split(',').nth(22) == Some(""))
        });
        assert!(clean.count() > 20);
    }
}
