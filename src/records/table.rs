//! The typed tables: panels in time order, their defects and readings.

use std::path::PathBuf;
use std::sync::Arc;

use serde::Serialize;

use super::parts::PlannedRun;
use super::{Column, Grit, InputCounts, Lay, Moment, Point, Rect, Reject, Warning};
use crate::site::DefectClass;

/// Everything read, merged and checked.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Records {
    /// In time order: `sanded_at` (panels without one first), then `id`.
    pub panels: Vec<Panel>,
    /// First inspections only, by panel, then in the order read.
    pub defects: Vec<Defect>,
    /// Where each defect was written, in the order of `defects`; empty for
    /// records that were not read from files.
    pub origins: Vec<Origin>,
    /// The files read.
    pub sources: Vec<PathBuf>,
    /// By panel, then in the order read.
    pub readings: Vec<Reading>,
    /// The kinds of defect that occur, by name.
    pub defect_names: Vec<DefectName>,
    /// Names of the site's further recipe factors, in site-file order.
    pub factor_names: Vec<String>,
    /// Every loss.
    pub rejects: Vec<Reject>,
    /// Every doubt.
    pub warnings: Vec<Warning>,
    /// Counts for the report's first page.
    pub input: InputCounts,
    /// What the data don't bear a verdict on, and why.
    pub held: Vec<HeldBack>,
    /// The columns that were read, in the order they are documented.
    pub columns: Vec<ColumnUse>,
    /// Runs of plans that no panel was named for, in order.
    pub unrun: Vec<PlannedRun>,
    /// Where panels were sanded otherwise than their run sheet says.
    pub departures: Vec<Departure>,
}

/// A setting that was planned otherwise than it was.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Departure {
    /// `panel_id`.
    pub panel: String,
    /// The column.
    pub column: String,
    /// As the run sheet has it.
    pub planned: String,
    /// As another file has it.
    pub done: String,
}

/// Values of a machine in which the data are not to be believed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HeldBack {
    /// The machine; none for panels that name none.
    pub machine: Option<Arc<str>>,
    /// What is in doubt: `x_mm` for the places of defects, `removed_um` for
    /// those of readings (both on panels whose size may be the fault).
    pub column: Column,
    /// Why, as the beginning of a sentence without its end.
    pub reason: String,
}

impl Records {
    /// Why nothing is concluded about a machine from its defects (`x_mm`) or
    /// its readings (`removed_um`), if anything stands in the way.
    #[must_use]
    pub fn held_back(&self, machine: Option<&str>, column: Column) -> Option<&str> {
        self.held
            .iter()
            .find(|held| held.machine.as_deref() == machine && held.column == column)
            .map(|held| held.reason.as_str())
    }
}

/// Where a row stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Origin {
    /// Index into [`Records::sources`].
    pub file: u32,
    /// Line in the file, the header being line 1.
    pub line: u32,
}

/// How a column was read.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ColumnUse {
    /// Our name for it, or the factor's.
    pub column: String,
    /// How the files spell it, in alphabetical order.
    pub headers: Vec<String>,
    /// In what it is recorded, in alphabetical order.
    pub units: Vec<String>,
    /// In how many files it is.
    pub files: usize,
}

/// A kind of defect.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DefectName {
    /// After the site's synonyms.
    pub name: String,
    /// Its class, where the site file or the defaults know one.
    pub class: Option<DefectClass>,
}

/// One panel and how it was sanded.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Panel {
    /// `panel_id`.
    pub id: String,
    /// When it was sanded.
    pub sanded_at: Option<Moment>,
    /// Which cell.
    pub machine: Option<Arc<str>>,
    /// Which sanding head in it.
    pub head: Option<Arc<str>>,
    /// Which nest or stop it lay in.
    pub fixture: Option<Arc<str>>,
    /// Part number or design.
    pub part: Option<Arc<str>>,
    /// Who supplied the incoming part.
    pub supplier: Option<Arc<str>>,
    /// Incoming lot.
    pub lot: Option<Arc<str>>,
    /// Size along the panel's x, mm, > 0.
    pub length_mm: f64,
    /// Size along the panel's y, mm, > 0.
    pub width_mm: f64,
    /// How it lay in the cell.
    pub lay: Lay,
    /// Lower-left corner of its bounding box in the machine frame, mm.
    pub lay_x_mm: f64,
    /// See `lay_x_mm`.
    pub lay_y_mm: f64,
    /// Whether any of its rows gave `lay_deg`, `lay_x_mm` or `lay_y_mm`.
    pub lay_recorded: bool,
    /// Recipe name.
    pub recipe: Option<Arc<str>>,
    /// Feed speed, mm/s, > 0.
    pub feed_mm_s: Option<f64>,
    /// Passes over the surface, > 0.
    pub passes: Option<f64>,
    /// Contact force, N, > 0.
    pub force_n: Option<f64>,
    /// Abrasive grit.
    pub grit: Option<Grit>,
    /// Panels sanded on this abrasive before this one, ≥ 0.
    pub abrasive_age: Option<f64>,
    /// Which disc, belt or batch.
    pub abrasive_id: Option<Arc<str>>,
    /// The run of a plan that it was.
    pub planned: Option<PlannedRun>,
    /// Who or what made the first inspection.
    pub inspector: Option<Arc<str>>,
    /// When the first inspection was made.
    pub inspected_at: Option<Moment>,
    /// How it lay at the first inspection, if recorded.
    pub inspect_lay: Option<Lay>,
    /// Whether it was inspected (otherwise only measured: no part of rates).
    pub inspected: bool,
    /// Further factors, aligned with `Records::factor_names`.
    pub factors: Vec<Option<FactorValue>>,
}

/// The value of a further recipe factor.
#[derive(Debug, Clone, PartialEq)]
pub enum FactorValue {
    /// A number.
    Number(f64),
    /// A level.
    Text(Arc<str>),
}

/// One defect seen at a first inspection.
#[derive(Debug, Clone, PartialEq)]
pub struct Defect {
    /// Index into `Records::panels`.
    pub panel: usize,
    /// Index into `Records::defect_names`.
    pub name: usize,
    /// Where, panel frame, mm; marks up to the slack outside lie on the edge.
    pub place: Option<Point>,
    /// The place as written, mm, before any move to the edge; its roundness
    /// tells the grain the inspector wrote in.
    pub written: Option<Point>,
    /// Area, mm², ≥ 0.
    pub area_mm2: Option<f64>,
    /// Grade 1–5.
    pub severity: Option<f64>,
}

/// One reading of removal or film.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// Index into `Records::panels`.
    pub panel: usize,
    /// Where, panel frame, mm.
    pub place: Option<Point>,
    /// Removal, µm; zero and negative values are honest.
    pub removed_um: Option<f64>,
    /// Film before sanding, µm.
    pub film_um: Option<f64>,
}

impl Panel {
    /// Where the panel point `p` lay in the machine, mm.
    #[must_use]
    pub fn to_machine(&self, p: Point) -> Point {
        let q = self.lay.place(p, self.length_mm, self.width_mm);
        Point {
            x: self.lay_x_mm + q.x,
            y: self.lay_y_mm + q.y,
        }
    }

    /// Where the panel point `p` lay at the inspection table, mm; none where
    /// the lay at the table is not recorded.
    #[must_use]
    pub fn to_inspection(&self, p: Point) -> Option<Point> {
        Some(self.inspect_lay?.place(p, self.length_mm, self.width_mm))
    }

    /// The panel's rectangle in its own frame.
    #[must_use]
    pub fn rect(&self) -> Rect {
        Rect {
            x0: 0.0,
            y0: 0.0,
            x1: self.length_mm,
            y1: self.width_mm,
        }
    }

    /// The panel's rectangle as it lay in the machine.
    #[must_use]
    pub fn machine_rect(&self) -> Rect {
        let (w, h) = if self.lay.swaps_axes() {
            (self.width_mm, self.length_mm)
        } else {
            (self.length_mm, self.width_mm)
        };
        Rect {
            x0: self.lay_x_mm,
            y0: self.lay_y_mm,
            x1: self.lay_x_mm + w,
            y1: self.lay_y_mm + h,
        }
    }

    /// Area, m².
    #[must_use]
    pub fn area_m2(&self) -> f64 {
        self.length_mm * self.width_mm * 1e-6
    }
}
