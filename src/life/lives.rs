//! What became of findings, as a report tells it.

use std::collections::BTreeMap;

use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value, json};

use super::past::Remembered;
use super::{Carried, Seen, State, Twin};

/// The life of a finding of this report.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Life {
    /// What became of it; none where there is no earlier report to tell.
    pub life: Option<State>,
    /// The report that first held it.
    pub since_report: Option<String>,
    /// Day of the last panel that shows it.
    pub last_seen: Option<Date>,
    /// In how many reports in a row it has been gone.
    pub reports_gone: usize,
    /// How often it was looked for since the last report, and what that tells.
    pub looked: Look,
}

/// How often a finding was looked for, and what that tells.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Look {
    /// Panels that show it since the last report.
    pub hits: usize,
    /// Panels that could show it since the last report.
    pub panels: usize,
    /// Confidence, 0..1, in its being gone or fewer.
    pub confidence: Option<f64>,
    /// Further panels that would tell: without a hit at a place; of a rate, panels
    /// like those since.
    pub panels_missing: Option<usize>,
    /// Whether it is a rate that the panels since neither show nor refute: its state
    /// is then the one it had, where its own rate explains them better than the
    /// usual one.
    pub open: bool,
    /// Lowest rate, 0..1, at which it may have hit panels when last known.
    pub rate_low: Option<f64>,
    /// Rate, 0..1, at which panels show such marks without it.
    pub usual: Option<f64>,
    /// What was seen in reports in a row that could not tell.
    pub waiting: Option<Seen>,
    /// The others in the same reports.
    pub waiting_elsewhere: Option<Seen>,
    /// The others since the last report, for a rate that is told against theirs.
    pub elsewhere: Option<Seen>,
    /// Which panels carry the rate, where its levels do not say.
    pub carried: Option<Carried>,
    /// For what became fewer: its lowest rate, 0..1, before that.
    pub rate_before: Option<f64>,
}

impl Life {
    /// The life's fields for `findings.json`.
    #[must_use]
    pub fn fields(&self) -> Map<String, Value> {
        match json!(self) {
            Value::Object(fields) => fields,
            _ => Map::new(),
        }
    }
}

/// A finding that this report only remembers.
#[derive(Debug, Clone, PartialEq)]
pub struct Kept {
    /// As the report that found it last wrote it.
    pub finding: Remembered,
    /// Its life.
    pub life: Life,
}

/// The lives of all findings.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Lives {
    /// Name of this report: the week of its last panel.
    pub report: Option<String>,
    /// Name of the last report; none without one.
    pub previous: Option<String>,
    /// Lives of this report's findings, by id.
    pub of: BTreeMap<String, Life>,
    /// Findings of earlier reports that this one does not hold.
    pub kept: Vec<Kept>,
    /// New findings that may be earlier ones, each once.
    pub twins: Vec<Twin>,
    /// The highest number ever given.
    pub last_number: usize,
}

impl Lives {
    /// What became of a finding.
    #[must_use]
    pub fn state(&self, id: &str) -> Option<State> {
        self.of.get(id).and_then(|life| life.life)
    }

    /// Whether a finding ended or is gone.
    #[must_use]
    pub fn gone(&self, id: &str) -> bool {
        self.state(id) == Some(State::Gone)
    }
}
