//! A plan: its runs, what it can tell, what it can't.

use serde::Serialize;

use super::factor::Value;
use super::recipe::Design;
use super::settle::Settles;
use super::turns::Turns;

/// A planned trial.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Plan {
    /// Its id, as it stands in every row of the sheet.
    pub plan: String,
    /// Seed of the order.
    pub seed: u64,
    /// What it is for.
    #[serde(flatten)]
    pub purpose: Purpose,
    /// Columns whose settings are planned.
    pub columns: Vec<String>,
    /// Runs in order; a run is a panel.
    pub runs: Vec<Run>,
    /// Doubts and what was decided on the way.
    pub notes: Vec<Note>,
}

/// What a plan is for.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Purpose {
    /// What the factors of a recipe do.
    Recipe(Design),
    /// Open questions of a report.
    Settle(Vec<Settles>),
    /// Old against new by turns.
    Change(Turns),
}

/// One panel.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Run {
    /// Number in the order, from 1.
    pub run: usize,
    /// Block, from 1: the panels of one lot.
    pub block: usize,
    /// Whether all factors are in the middle, to see drift.
    pub centre: bool,
    /// Coded settings of a recipe trial; empty otherwise.
    pub coded: Vec<f64>,
    /// One per column of the plan; none is to be filled in.
    pub settings: Vec<Option<Value>>,
}

/// A doubt about a plan.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Note {
    /// The site's limits cut a range off.
    RangeCut {
        /// The factor.
        factor: String,
        /// The range that was planned.
        low: f64,
        /// The same.
        high: f64,
    },
    /// The runs were chosen from a grid, since corners may not be run or the
    /// number of runs fits no standard design.
    ChosenRuns,
    /// A factor that is hard to change is told from its stretches.
    FewChanges {
        /// The factor.
        factor: String,
        /// How often it is changed.
        changes: usize,
        /// Stretches at one setting.
        stretches: usize,
    },
    /// A factor that has no middle keeps its first setting in centre runs.
    NoMiddle {
        /// The factor.
        factor: String,
    },
    /// The middle may not be run, so there are no centre runs.
    NoCentre,
    /// No run is left over to tell the scatter.
    NoScatter,
    /// A factor with too few stretches to say how well it will be known.
    NoInterval {
        /// The factor.
        factor: String,
    },
    /// Scatter of the panels taken, since none was given.
    ScatterTaken {
        /// SD of ln removal between panels.
        scatter: f64,
    },
    /// A rival that no sheet settles.
    NotByPanels {
        /// The finding or stream.
        id: String,
        /// The rival.
        rival: String,
    },
    /// A factor that the records never moved and for which no settings were given.
    NeverMoved {
        /// The factor.
        factor: String,
    },
}
