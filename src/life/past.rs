//! What an earlier report remembers: its `findings.json`.

use std::path::{Path, PathBuf};

use jiff::civil::Date;
use serde::Deserialize;
use serde_json::{Map, Value};

use super::{Look, State};
use crate::causes::Finding;
use crate::records::Panel;

/// Schema of a findings.json that can be read.
const SCHEMA: u64 = 1;

/// The last report can't be read.
#[derive(Debug, thiserror::Error)]
pub enum PastError {
    /// No findings.json.
    #[error("{}: cannot be read: {source}", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// Why.
        source: std::io::Error,
    },
    /// Not a findings.json.
    #[error("{}: not the findings of a report: {source}", path.display())]
    Content {
        /// The file.
        path: PathBuf,
        /// Why.
        source: serde_json::Error,
    },
    /// Findings of another version.
    #[error("{}: its schema is {found}, not {SCHEMA}", path.display())]
    Version {
        /// The file.
        path: PathBuf,
        /// Its schema.
        found: u64,
    },
}

impl PastError {
    /// What to do next.
    #[must_use]
    pub fn hint(&self) -> Option<String> {
        Some(match self {
            Self::Io { .. } | Self::Content { .. } => {
                "give the folder of an earlier report, with its findings.json".into()
            }
            Self::Version { .. } => {
                "another version of onus wrote it: report those files again with this one".into()
            }
        })
    }
}

/// An earlier report.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Past {
    /// When its last panel was sanded.
    pub(super) until: Option<jiff::Timestamp>,
    /// Its name: the week of its last panel.
    pub(super) report: Option<String>,
    /// The highest number that a finding ever had.
    pub(super) last_number: usize,
    /// Its findings, those it only remembered included.
    pub(super) findings: Vec<Remembered>,
    /// Slopes of removal by cell.
    pub(super) surface: Vec<OldSurface>,
    /// Machines that had a kind of defect.
    pub(super) machines: Vec<Option<String>>,
}

/// A finding of an earlier report.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
pub struct Remembered {
    /// Its id.
    pub id: String,
    /// Machine.
    pub machine: Option<String>,
    /// Head.
    pub head: Option<String>,
    /// Kind of defect.
    pub defect: String,
    /// Kind of finding, as `findings.json` writes it.
    pub(super) kind: String,
    pub(super) frame: Option<String>,
    pub(super) x_mm: Option<f64>,
    pub(super) y_mm: Option<f64>,
    pub(super) radius_mm: Option<f64>,
    pub(super) line_axis: Option<String>,
    pub(super) hit_rate: Option<f64>,
    pub(super) hit_rate_ci: Option<(f64, f64)>,
    pub(super) expected_hits: Option<f64>,
    pub(super) panels_exposed: Option<usize>,
    pub(super) last_panel: Option<String>,
    pub(super) drift_mm_per_day: Option<f64>,
    #[serde(default)]
    pub(super) rival: Option<String>,
    #[serde(default)]
    pub(super) levels: Vec<String>,
    #[serde(default)]
    pub(super) life: Option<State>,
    #[serde(default)]
    pub(super) since_report: Option<String>,
    #[serde(default)]
    pub(super) last_seen: Option<Date>,
    #[serde(default)]
    pub(super) reports_gone: usize,
    #[serde(default)]
    pub(super) looked: Option<Look>,
    /// All its fields as they were written.
    #[serde(skip)]
    pub fields: Map<String, Value>,
}

/// Slopes of removal of one cell.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub(super) struct OldSurface {
    pub machine: Option<String>,
    pub head: Option<String>,
    pub slope_x: Option<OldSlope>,
    pub slope_y: Option<OldSlope>,
}

/// A slope along one machine axis.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
pub(super) struct OldSlope {
    pub machine: Option<f64>,
}

/// Whether findings of a kind have no place: a level that panels share.
pub(super) fn is_rate(kind: &str) -> bool {
    ["rate", "lot", "abrasive", "time", "wandering", "thin-film"].contains(&kind)
}

impl Remembered {
    /// A finding of this report as the next one will read it.
    pub(super) fn of(finding: &Finding) -> Option<Self> {
        serde_json::from_value(serde_json::to_value(finding).ok()?).ok()
    }

    /// Whether a panel was sanded where the finding is from; a finding without
    /// a machine is of all of them.
    pub(super) fn of_cell(&self, panel: &Panel) -> bool {
        self.machine
            .as_deref()
            .is_none_or(|m| panel.machine.as_deref() == Some(m))
            && self
                .head
                .as_deref()
                .is_none_or(|h| panel.head.as_deref() == Some(h))
    }

    /// Same machine, head and kind of defect.
    pub(super) fn same_stream(&self, other: &Self) -> bool {
        (&self.machine, &self.head, &self.defect) == (&other.machine, &other.head, &other.defect)
    }

    /// The number in its id.
    pub(super) fn number(&self) -> Option<usize> {
        self.id.strip_prefix('F')?.parse().ok()
    }
}

#[derive(Debug, Deserialize)]
struct Version {
    schema: u64,
}

#[derive(Debug, Deserialize)]
struct File {
    #[serde(default)]
    period: Option<Period>,
    #[serde(default)]
    report: Option<String>,
    #[serde(default)]
    last_number: usize,
    findings: Vec<Map<String, Value>>,
    #[serde(default)]
    surface: Vec<OldSurface>,
    #[serde(default)]
    streams: Vec<OldStream>,
}

#[derive(Debug, Deserialize)]
struct OldStream {
    machine: Option<String>,
}

#[derive(Debug, Deserialize)]
struct Period {
    last: Option<jiff::Timestamp>,
}

impl Past {
    /// Reads an earlier report's findings from its folder.
    ///
    /// # Errors
    ///
    /// [`PastError`] if the folder holds no findings.json that can be read, or
    /// one of another schema.
    pub fn read(folder: &Path) -> Result<Self, PastError> {
        let path = folder.join("findings.json");
        let text = std::fs::read_to_string(&path).map_err(|source| PastError::Io {
            path: path.clone(),
            source,
        })?;
        Self::parse(&text, &path)
    }

    /// The same from its text; `path` is named in errors.
    ///
    /// # Errors
    ///
    /// As [`Past::read`].
    pub fn parse(text: &str, path: &Path) -> Result<Self, PastError> {
        let content = |source| PastError::Content {
            path: path.to_owned(),
            source,
        };
        let Version { schema } = serde_json::from_str(text).map_err(content)?;
        if schema != SCHEMA {
            return Err(PastError::Version {
                path: path.to_owned(),
                found: schema,
            });
        }
        let file: File = serde_json::from_str(text).map_err(content)?;
        let mut findings = Vec::new();
        for fields in file.findings {
            let value = Value::Object(fields.clone());
            let mut one: Remembered = serde_json::from_value(value).map_err(content)?;
            one.fields = fields;
            findings.push(one);
        }
        let highest = findings.iter().filter_map(Remembered::number).max();
        Ok(Self {
            until: file.period.and_then(|p| p.last),
            report: file.report,
            last_number: file.last_number.max(highest.unwrap_or(0)),
            findings,
            surface: file.surface,
            machines: file.streams.into_iter().map(|s| s.machine).collect(),
        })
    }
}
