//! What one file says: facts about panels, inspections, observations.

use std::collections::{BTreeMap, BTreeSet};
use std::num::NonZeroU32;
use std::path::PathBuf;
use std::sync::Arc;

use super::header::Slot;
use super::notes::Note;
use super::observation::Observations;
use super::{Column, Conversion, Lay, Moment, Reject};
use crate::site::Site;

/// What a row says about its panel, one value of it.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Fact {
    /// In the column's unit.
    Number(f64),
    /// As recorded.
    Text(Arc<str>),
    /// A time.
    Time(Moment),
}

impl Fact {
    /// Whether two rows say the same: numbers may differ by the rounding of a
    /// conversion of units, no more.
    pub(super) fn agrees(&self, other: &Fact) -> bool {
        match (self, other) {
            (Fact::Number(a), Fact::Number(b)) => numbers_agree(*a, *b),
            (Fact::Time(a), Fact::Time(b)) => a.instant == b.instant,
            (a, b) => a == b,
        }
    }

    /// For a message.
    pub(super) fn written(&self) -> String {
        match self {
            Fact::Number(value) => value.to_string(),
            Fact::Text(text) => text.to_string(),
            Fact::Time(moment) => moment.local.to_string(),
        }
    }
}

/// Far below any step in which sizes or settings are recorded, far above the
/// rounding of a conversion.
const SAME_NUMBER: f64 = 1e-9;

/// Whether two numbers are one, but for the rounding of a conversion.
pub(super) fn numbers_agree(a: f64, b: f64) -> bool {
    (a - b).abs() <= SAME_NUMBER * a.abs().max(b.abs())
}

/// A fact and the line that gave it first.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct FactAt {
    pub fact: Fact,
    pub line: u64,
}

/// Two rows of one file that contradict each other about a panel.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Contradiction {
    /// Which fact, as an index of `Facts`.
    pub fact: usize,
    pub first: FactAt,
    pub second: FactAt,
}

/// What a file's rows say about one inspection of a panel.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct InspectionPart {
    /// 1 = first.
    pub number: u32,
    /// All who are named, in the order met.
    pub inspectors: Vec<(Arc<str>, u64)>,
    /// The earliest.
    pub at: Option<Moment>,
    /// All lays at the table, in the order met.
    pub lays: Vec<(Lay, u64)>,
    /// Whether a row says that the panel was inspected then.
    pub inspected: bool,
}

/// A run of a plan.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct PlannedRun {
    /// Id of the plan.
    pub plan: Arc<str>,
    /// Its block, where the sheet says.
    pub block: Option<u32>,
    /// Its place in the order.
    pub run: u32,
    /// Old and new of a plan by turns, as the sheet has them; see [`Self::turns`].
    pub change: Option<Arc<str>>,
}

/// What a plan by turns compares.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct ByTurns<'a> {
    /// The column that changes.
    pub column: &'a str,
    /// Its old and its new setting.
    pub values: [&'a str; 2],
    /// The defect that should come less often.
    pub defect: &'a str,
}

impl PlannedRun {
    /// How a sheet writes what a plan by turns compares.
    #[must_use]
    pub fn written(column: &str, [old, new]: [&str; 2], defect: &str) -> String {
        format!("{column}={old},{new}: {defect}")
    }

    /// What the plan compares by turns, where it does.
    #[must_use]
    pub fn turns(&self) -> Option<ByTurns<'_>> {
        let (column, rest) = self.change.as_deref()?.split_once('=')?;
        let (values, defect) = rest.split_once(": ")?;
        let (old, new) = values.split_once(',')?;
        Some(ByTurns {
            column,
            values: [old, new],
            defect,
        })
    }
}

/// Rows of as many cells each in one piece of memory, which a large file gives
/// back as a whole.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Cells<T> {
    width: usize,
    cells: Vec<Option<T>>,
}

impl<T> Default for Cells<T> {
    fn default() -> Self {
        Self::of_width(0)
    }
}

impl<T> Cells<T> {
    /// No rows yet.
    pub(super) fn of_width(width: usize) -> Self {
        Self {
            width,
            cells: Vec::new(),
        }
    }

    /// Adds a row of empty cells.
    pub(super) fn push(&mut self) {
        self.cells
            .extend(std::iter::repeat_with(|| None).take(self.width));
    }

    /// A row's cells.
    pub(super) fn row(&self, at: usize) -> &[Option<T>] {
        &self.cells[at * self.width..(at + 1) * self.width]
    }

    /// The same, to write to.
    pub(super) fn row_mut(&mut self, at: usize) -> &mut [Option<T>] {
        &mut self.cells[at * self.width..(at + 1) * self.width]
    }
}

/// What one file says about one panel; for its facts see `FileRows::said`.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct PanelPart {
    pub id: Arc<str>,
    pub contradictions: Vec<Contradiction>,
    pub inspections: Vec<InspectionPart>,
}

/// Everything one file said.
#[derive(Debug, Clone, Default)]
pub(super) struct FileRows {
    pub path: PathBuf,
    pub panels: Vec<PanelPart>,
    /// Which facts the file holds, by their place in `Facts`, and the header
    /// of each.
    pub facts: Vec<(usize, String)>,
    /// Of every panel what was said, by these.
    pub said: Cells<FactAt>,
    /// Panel (index into `panels`) and line of every row kept.
    pub rows: Vec<(u32, u32)>,
    pub observations: Observations,
    /// Names of defects and of inspectors that observations refer to.
    pub names: Vec<Arc<str>>,
    /// Rows of later inspections.
    pub reinspections: usize,
    pub rejects: Vec<Reject>,
    /// Panels of rejected rows that named a defect.
    pub lost_defects: Vec<String>,
    /// Panels of rejected rows.
    pub lost_ids: BTreeSet<String>,
    pub notes: BTreeMap<Note, usize>,
    /// Headers of x and y, for messages.
    pub place_headers: [Option<String>; 2],
    /// Whether the file can tell of clean panels: not if it only measures or
    /// only plans.
    pub only_measures: bool,
    /// Whether it is a run sheet: what it says of a panel was planned, and where
    /// another file says otherwise, that was done.
    pub is_sheet: bool,
    /// Rows of a run sheet without a panel.
    pub unrun: Vec<PlannedRun>,
    /// The columns that were read, how the file spells them and in what they
    /// are recorded.
    pub columns: Vec<(Slot, String, Option<Conversion>)>,
}

impl FileRows {
    /// Whether it has a column.
    pub(super) fn has(&self, column: Column) -> bool {
        (self.columns.iter()).any(|(slot, ..)| *slot == Slot::Column(column))
    }

    /// The name at a place that an observation refers to.
    pub(super) fn name(&self, at: Option<NonZeroU32>) -> Option<&Arc<str>> {
        self.names.get(at?.get() as usize - 1)
    }
}

/// The facts about a panel: our columns, then the site's factors.
#[derive(Debug, Clone, Copy)]
pub(super) struct Facts;

impl Facts {
    /// The columns about the panel, without its id.
    pub(super) const COLUMNS: [Column; 23] = [
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
        Column::Plan,
        Column::PlanBlock,
        Column::PlanRun,
        Column::PlanChange,
    ];

    /// The place of a slot among the facts; none if it is about something else.
    pub(super) fn index(slot: Slot) -> Option<usize> {
        match slot {
            Slot::Column(column) => Self::COLUMNS.iter().position(|c| *c == column),
            Slot::Factor(index) => Some(Self::COLUMNS.len() + index),
        }
    }

    /// The name of a fact.
    pub(super) fn name(fact: usize, site: &Site) -> &str {
        match Self::COLUMNS.get(fact) {
            Some(column) => column.name(),
            None => site
                .factors
                .get(fact - Self::COLUMNS.len())
                .map_or("", |f| f.name.as_str()),
        }
    }
}
