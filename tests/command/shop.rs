//! A small made-up shop for the tests of the command: one CSV per panel, seven
//! lots in turn, half of the panels turned, a machine spot on every third, marks
//! that wander on most, some panels clean.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use onus::records::{DefectName, Lay, Panel, Point, Records};

use crate::shops::files::csv;
use crate::shops::{at_local, from_machine, mark_on, panel_at};

/// A folder for one test with inspection files in it.
pub(crate) struct Shop {
    place: tempfile::TempDir,
}

impl Shop {
    /// So many panels with the machine spot.
    pub(crate) fn with_spot(panels: usize) -> Self {
        Self::build(panels, "sand-through", "W-60", Spot::Present)
    }

    /// The same without the spot.
    pub(crate) fn without_spot(panels: usize) -> Self {
        Self::build(panels, "sand-through", "W-60", Spot::Absent)
    }

    /// With names of defect and part of the test's choosing.
    pub(crate) fn named(panels: usize, defect: &str, part: &str) -> Self {
        Self::build(panels, defect, part, Spot::Present)
    }

    fn build(panels: usize, defect: &str, part: &str, spot: Spot) -> Self {
        let shop = Self {
            place: tempfile::tempdir().unwrap(),
        };
        std::fs::create_dir(shop.inspections()).unwrap();
        for i in 0..panels {
            shop.write(&format!("P{i:04}.csv"), &panel(i, defect, part, spot));
        }
        shop
    }

    /// Writes a file among the inspection files.
    pub(crate) fn write(&self, name: &str, text: &str) {
        std::fs::write(self.inspections().join(name), text).unwrap();
    }

    /// Where the inspection files are.
    pub(crate) fn inspections(&self) -> PathBuf {
        self.place.path().join("inspections")
    }

    /// A path in the test's folder.
    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.place.path().join(name)
    }

    /// `onus report inspections --out report` with more arguments.
    pub(crate) fn report(&self, more: &[&str]) -> Output {
        self.command(more).output().unwrap()
    }

    /// The same, not yet started.
    pub(crate) fn command(&self, more: &[&str]) -> Command {
        let mut command = onus();
        command
            .current_dir(self.place.path())
            .args(["report", "inspections", "--out", "report"])
            .args(more);
        command
    }

    /// Bytes of a file of the report.
    pub(crate) fn made(&self, name: &str) -> Vec<u8> {
        std::fs::read(self.path("report").join(name)).unwrap()
    }

    /// `findings.json` of the report.
    pub(crate) fn findings(&self) -> serde_json::Value {
        serde_json::from_slice(&self.made("findings.json")).unwrap()
    }
}

/// The binary.
pub(crate) fn onus() -> Command {
    Command::new(env!("CARGO_BIN_EXE_onus"))
}

/// Names of all files below a folder, sorted.
pub(crate) fn files(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = walkdir::WalkDir::new(folder)
        .into_iter()
        .map(Result::unwrap)
        .filter(|e| e.file_type().is_file())
        .map(|e| e.path().strip_prefix(folder).unwrap().display().to_string())
        .collect();
    names.sort();
    names
}

#[derive(Clone, Copy, PartialEq)]
enum Spot {
    Present,
    Absent,
}

fn panel(i: usize, defect: &str, part: &str, spot: Spot) -> String {
    let day = jiff::civil::date(2025, 3, 1) + jiff::Span::new().days((i / 20) as i64);
    let panel = Panel {
        id: format!("P{i:04}"),
        sanded_at: Some(at_local(day.at(6 + (i % 12) as i8, 0, 0, 0))),
        machine: Some("M1".into()),
        part: Some(part.into()),
        lot: Some(format!("L{}", 1 + i / 5 % 7).into()),
        lay: [Lay::Deg0, Lay::Deg180][i / 2 % 2],
        lay_recorded: true,
        ..panel_at(i, (0, 0), (600.0, 400.0))
    };
    let at = |x: usize, y: usize| Point {
        x: x as f64,
        y: y as f64,
    };
    // Marks that wander, by a fixed pattern of remainders.
    let wandering = |k: usize| {
        let place = at(
            20 + (i * 137 + k * 311) % 560,
            20 + (i * 89 + k * 197) % 360,
        );
        mark_on(0, 0, Some(place))
    };
    let mut defects: Vec<_> = (0..(i * 7 % 5) % 3).map(wandering).collect();
    if spot == Spot::Present && i.is_multiple_of(3) {
        let place = from_machine(&panel, at(212 + i % 5, 96 + i % 4));
        defects.push(mark_on(0, 1, Some(place)));
    }
    let named = |name: &str| DefectName {
        name: name.into(),
        class: None,
    };
    csv(&Records {
        panels: vec![panel],
        defects,
        defect_names: vec![named("dust nib"), named(defect)],
        ..Records::default()
    })
}
