//! A small made-up shop for the tests of the command: one CSV per panel, seven
//! lots in turn, half of the panels turned, a machine spot on every third, marks
//! that wander on most, some panels clean.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

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
    let (length, width) = (600.0, 400.0);
    let turned = i % 4 >= 2;
    let quoted = |text: &str| format!("\"{}\"", text.replace('"', "\"\""));
    let facts = format!(
        "P{i:04},2025-03-{:02}T{:02}:00:00+01:00,M1,{},L{},{length},{width},{}",
        1 + i / 20,
        6 + i % 12,
        quoted(part),
        1 + i / 5 % 7,
        if turned { 180 } else { 0 }
    );
    let mut text =
        "panel_id,sanded_at,machine,part,lot,length_mm,width_mm,lay_deg,x_mm,y_mm,defect\n"
            .to_owned();
    let mut row = |x: f64, y: f64, defect: &str| {
        let _ = writeln!(text, "{facts},{x:.1},{y:.1},{}", quoted(defect));
    };
    // Marks that wander, by a fixed pattern of remainders.
    let wandering = (i * 7 % 5) % 3;
    for k in 0..wandering {
        let (a, b) = ((i * 137 + k * 311) % 560, (i * 89 + k * 197) % 360);
        row(20.0 + a as f64, 20.0 + b as f64, "dust nib");
    }
    let hit = spot == Spot::Present && i.is_multiple_of(3);
    if hit {
        let (x, y) = (212.0 + (i % 5) as f64, 96.0 + (i % 4) as f64);
        let (x, y) = if turned {
            (length - x, width - y)
        } else {
            (x, y)
        };
        row(x, y, defect);
    }
    if wandering == 0 && !hit {
        let _ = writeln!(text, "{facts},,,");
    }
    text
}
