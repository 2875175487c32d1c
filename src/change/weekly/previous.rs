//! What became of the last report's findings.

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use crate::causes::{Causes, Finding, Frame};
use crate::records::{Panel, Point, Records};
use crate::stats::distributions::binomial;

/// A place counts as hit within this many times the finding's radius …
const REACH: f64 = 1.25;
/// … and at least within this distance, mm.
const LEAST_REACH_MM: f64 = 10.0;
/// Schema of a findings.json that can be read.
const SCHEMA: u64 = 1;
/// A finding is gone if so few hits would be this unlikely were it still there.
const UNLIKELY: f64 = 0.05;

/// The last report can't be read.
#[derive(Debug, thiserror::Error)]
pub enum PreviousError {
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

impl PreviousError {
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

/// A finding of the last report and what became of it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OldFinding {
    /// Its id in the last report.
    pub id: String,
    /// Machine.
    pub machine: Option<String>,
    /// Head.
    pub head: Option<String>,
    /// Kind of defect.
    pub defect: String,
    /// Cause it was given.
    pub cause: String,
    /// Kind of finding.
    pub kind: String,
    /// Share of panels hit then.
    pub hit_rate: Option<f64>,
    /// What became of it.
    pub fate: Fate,
}

/// What became of a finding.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "fate")]
pub enum Fate {
    /// More panels are hit there than chance explains, or this report finds it.
    StillThere {
        /// Panels hit since.
        hits: usize,
        /// Panels that covered the place since.
        panels: usize,
        /// Its id in this report.
        now: Option<String>,
    },
    /// So few hits would be unlikely if it were still there.
    Gone {
        /// Panels hit since.
        hits: usize,
        /// Panels that covered the place since.
        panels: usize,
        /// Chance of so few at the lower limit of its old hit rate.
        chance: f64,
    },
    /// Can't be said.
    NotTestable {
        /// Why.
        why: Untestable,
    },
}

/// Why nothing can be said of an old finding.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "reason")]
pub enum Untestable {
    /// It has no place that can be looked at.
    NoPlace,
    /// No panel has been inspected there since.
    NoPanels,
    /// Too few panels to tell its absence from luck.
    TooFewPanels {
        /// Panels hit since.
        hits: usize,
        /// Panels that covered the place since.
        panels: usize,
        /// Panels without a hit that would tell.
        needed: Option<usize>,
    },
}

/// The part of findings.json that is needed.
#[derive(Debug, Deserialize)]
struct Version {
    schema: u64,
}

#[derive(Debug, Deserialize)]
struct Report {
    #[serde(default)]
    period: Option<Period>,
    findings: Vec<Old>,
}

#[derive(Debug, Deserialize)]
struct Period {
    last: Option<jiff::Timestamp>,
}

#[derive(Debug, Deserialize)]
struct Old {
    id: String,
    machine: Option<String>,
    head: Option<String>,
    defect: String,
    cause: String,
    kind: String,
    frame: Option<String>,
    x_mm: Option<f64>,
    y_mm: Option<f64>,
    radius_mm: Option<f64>,
    line_axis: Option<String>,
    hit_rate: Option<f64>,
    hit_rate_ci: Option<(f64, f64)>,
    expected_hits: Option<f64>,
    panels_exposed: Option<usize>,
    last_panel: Option<String>,
}

/// Reads the last report's findings from its folder and says of each what
/// became of it on the panels sanded since that report's last panel; `causes`
/// are the findings of this report.
///
/// # Errors
///
/// [`PreviousError`] if the folder holds no findings.json that can be read, or
/// one of another schema.
pub fn previous_findings(
    folder: &Path,
    records: &Records,
    causes: &Causes,
) -> Result<Vec<OldFinding>, PreviousError> {
    let path = folder.join("findings.json");
    let text = std::fs::read_to_string(&path).map_err(|source| PreviousError::Io {
        path: path.clone(),
        source,
    })?;
    let content = |source| PreviousError::Content {
        path: path.clone(),
        source,
    };
    let Version { schema } = serde_json::from_str(&text).map_err(content)?;
    if schema != SCHEMA {
        return Err(PreviousError::Version {
            path,
            found: schema,
        });
    }
    let report: Report = serde_json::from_str(&text).map_err(content)?;
    let until = report.period.and_then(|p| p.last);
    Ok(report
        .findings
        .into_iter()
        .map(|old| {
            let fate = fate(&old, until, records, causes);
            OldFinding {
                id: old.id,
                machine: old.machine,
                head: old.head,
                defect: old.defect,
                cause: old.cause,
                kind: old.kind,
                hit_rate: old.hit_rate,
                fate,
            }
        })
        .collect())
}

fn fate(old: &Old, until: Option<jiff::Timestamp>, records: &Records, causes: &Causes) -> Fate {
    let untestable = |why| Fate::NotTestable { why };
    let Some(place) = Place::of(old) else {
        return untestable(Untestable::NoPlace);
    };
    let Some((hits, panels)) = since(old, &place, until, records) else {
        return untestable(Untestable::NoPanels);
    };
    let now = causes.findings.iter().find(|f| place.is_that_of(f, old));
    let (hits_n, panels_n) = (hits as u64, panels as u64);
    // chance hits at the place, as the last report expected them
    let background = match (old.expected_hits, old.panels_exposed) {
        (Some(expected), Some(exposed)) if exposed > 0 => {
            (expected / exposed as f64).clamp(0.002, 1.0)
        }
        _ => 0.01,
    };
    let still = hits > 0 && binomial::at_least(hits_n, panels_n, background) <= UNLIKELY;
    let low = old
        .hit_rate_ci
        .map(|ci| ci.0)
        .or(old.hit_rate.map(|h| h / 2.0))
        .filter(|h| *h > 0.0 && *h < 1.0);
    let chance = low.map(|h| binomial::at_most(hits_n, panels_n, h));
    match chance {
        Some(chance) if now.is_none() && chance <= UNLIKELY => Fate::Gone {
            hits,
            panels,
            chance,
        },
        _ if still || now.is_some() => Fate::StillThere {
            hits,
            panels,
            now: now.map(|f| f.id.clone()),
        },
        _ if panels == 0 => untestable(Untestable::NoPanels),
        _ => untestable(Untestable::TooFewPanels {
            hits,
            panels,
            needed: low.map(|h| (UNLIKELY.ln() / (-h).ln_1p()).ceil() as usize),
        }),
    }
}

/// Panels hit and panels that covered the place since the last report; none
/// where nothing tells since when to count.
fn since(
    old: &Old,
    place: &Place,
    until: Option<jiff::Timestamp>,
    records: &Records,
) -> Option<(usize, usize)> {
    let kind = records
        .defect_names
        .iter()
        .position(|n| n.name == old.defect);
    // a panel of the last report: everything up to it was in that report
    let last = old
        .last_panel
        .as_deref()
        .and_then(|id| records.panels.iter().position(|p| p.id == id));
    let newer = |k: usize, panel: &Panel| match until {
        Some(until) => panel.sanded_at.is_some_and(|at| at.instant > until),
        None => last.is_none_or(|last| k > last),
    };
    let mut covered = vec![false; records.panels.len()];
    for (k, panel) in records.panels.iter().enumerate() {
        covered[k] = panel.inspected
            && panel.machine.as_deref() == old.machine.as_deref()
            && panel.head.as_deref() == old.head.as_deref()
            && newer(k, panel)
            && place.on(panel);
    }
    let panels = covered.iter().filter(|c| **c).count();
    if panels == 0 {
        return None;
    }
    let mut hit = vec![false; records.panels.len()];
    for defect in &records.defects {
        if Some(defect.name) == kind
            && covered[defect.panel]
            && let Some(at) = defect.place
            && place.holds(&records.panels[defect.panel], at)
        {
            hit[defect.panel] = true;
        }
    }
    Some((hit.iter().filter(|h| **h).count(), panels))
}

/// Frame of an old place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum InFrame {
    Machine,
    Panel,
    Inspection,
}

impl InFrame {
    /// The frame of a new finding; a place without one is given as it lay.
    fn of(frame: Option<Frame>) -> Option<Self> {
        match frame {
            Some(Frame::Machine) | None => Some(Self::Machine),
            Some(Frame::Panel) => Some(Self::Panel),
            Some(Frame::Inspection) => Some(Self::Inspection),
            Some(Frame::Path) => None,
        }
    }
}

/// An old place: a spot, or a line at one coordinate.
#[derive(Debug, Clone, PartialEq)]
struct Place {
    frame: InFrame,
    x_mm: Option<f64>,
    y_mm: Option<f64>,
    reach_mm: f64,
}

impl Place {
    fn of(old: &Old) -> Option<Self> {
        let frame = match old.frame.as_deref() {
            // no frame: the data could not tell, the place is given as it lay
            Some("machine") | None => InFrame::Machine,
            Some("panel") => InFrame::Panel,
            Some("inspection") => InFrame::Inspection,
            Some(_) => return None,
        };
        // a line along x lies at one y, and the other way round
        let (x_mm, y_mm) = match old.line_axis.as_deref() {
            Some("x") => (None, Some(old.y_mm?)),
            Some(_) => (Some(old.x_mm?), None),
            None => (Some(old.x_mm?), Some(old.y_mm?)),
        };
        Some(Self {
            frame,
            x_mm,
            y_mm,
            reach_mm: (REACH * old.radius_mm.unwrap_or(0.0)).max(LEAST_REACH_MM),
        })
    }

    fn to_frame(&self, panel: &Panel, p: Point) -> Option<Point> {
        match self.frame {
            InFrame::Machine => Some(panel.to_machine(p)),
            InFrame::Panel => Some(p),
            InFrame::Inspection => panel.to_inspection(p),
        }
    }

    /// Whether the panel covered the place.
    fn on(&self, panel: &Panel) -> bool {
        let corners = [
            Point { x: 0.0, y: 0.0 },
            Point {
                x: panel.length_mm,
                y: panel.width_mm,
            },
        ];
        let [Some(a), Some(b)] = corners.map(|c| self.to_frame(panel, c)) else {
            return false;
        };
        let inside =
            |at: Option<f64>, u: f64, v: f64| at.is_none_or(|at| at >= u.min(v) && at <= u.max(v));
        inside(self.x_mm, a.x, b.x) && inside(self.y_mm, a.y, b.y)
    }

    fn holds(&self, panel: &Panel, at: Point) -> bool {
        self.to_frame(panel, at).is_some_and(|p| {
            let dx = self.x_mm.map_or(0.0, |x| p.x - x);
            let dy = self.y_mm.map_or(0.0, |y| p.y - y);
            dx.hypot(dy) <= self.reach_mm
        })
    }

    /// Whether a finding of this report is the old one: same stream, kind,
    /// frame, and a place within reach.
    fn is_that_of(&self, finding: &Finding, old: &Old) -> bool {
        let same = |new: Option<f64>, own: Option<f64>| match (new, own) {
            (Some(new), Some(own)) => Some(new - own),
            (None, None) => Some(0.0),
            _ => None,
        };
        finding.machine.as_deref() == old.machine.as_deref()
            && finding.head.as_deref() == old.head.as_deref()
            && finding.defect == old.defect
            && InFrame::of(finding.frame) == Some(self.frame)
            && match (same(finding.x_mm, self.x_mm), same(finding.y_mm, self.y_mm)) {
                (Some(dx), Some(dy)) => dx.hypot(dy) <= self.reach_mm,
                _ => false,
            }
    }
}
