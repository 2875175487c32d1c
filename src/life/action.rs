//! What was done about findings, in the engineer's own words, and whether it
//! helped.

use std::path::{Path, PathBuf};

use jiff::civil::Date;
use serde::Serialize;

use super::judge::{Known, judge};
use super::measure::{Subject, day};
use super::past::Remembered;
use super::{Lives, Seen, State};
use crate::causes::Finding;
use crate::change::{self, Pick, Selection, Sides, Verdict};
use crate::records::Records;
use crate::site::Site;
use crate::stats::multiplicity::holm;
use crate::stats::proportion::clopper_pearson;
use crate::stats::stratified::{Count, RateStratum, exact_rate_ratio};

/// The file of actions can't be read.
#[derive(Debug, thiserror::Error)]
pub enum ActionError {
    /// Not there.
    #[error("{}: cannot be read: {source}", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// Why.
        source: std::io::Error,
    },
    /// A column is missing.
    #[error("{}: no column {column:?}", path.display())]
    Column {
        /// The file.
        path: PathBuf,
        /// Which.
        column: &'static str,
    },
}

impl ActionError {
    /// What to do next.
    #[must_use]
    pub fn hint(&self) -> Option<String> {
        Some(match self {
            Self::Io { .. } => "name the file of what was done with --actions FILE".into(),
            Self::Column { .. } => {
                "its first line is date,finding,machine,defect,done,state; a row names a finding, \
                 or a machine and a defect"
                    .into()
            }
        })
    }
}

/// How the site stands to a finding.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Standing {
    /// Something was done; see whether it helped.
    Watch,
    /// It was put right; see whether it is gone.
    Fixed,
    /// It is known and somebody looks after it.
    Known,
    /// The site lives with it.
    Accepted,
}

/// One row of the file.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Action {
    /// The day it was done.
    pub date: Date,
    /// The finding it is about.
    pub finding: Option<String>,
    /// Or the machine …
    pub machine: Option<String>,
    /// … and the kind of defect.
    pub defect: Option<String>,
    /// What was done.
    pub done: String,
    /// How the site stands to it.
    pub state: Standing,
}

/// All rows of the file in order of date, and what could not be used.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Actions {
    /// The rows.
    pub actions: Vec<Action>,
    /// What is wrong with others, in words.
    pub complaints: Vec<String>,
}

/// What came of an action.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum ActionAnswer {
    /// It is gone since.
    Gone,
    /// On fewer panels since.
    Fewer,
    /// On more panels since.
    More,
    /// No difference, and half as many would have shown: it did not help.
    NoDifference,
    /// Too few panels since.
    TooFewPanels,
    /// Something else changed on the same day.
    NotIdentifiable,
    /// It is about nothing that these records hold.
    Unknown,
}

/// An action and what came of it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Done {
    /// The action.
    #[serde(flatten)]
    pub action: Action,
    /// The findings of this report that it is about.
    pub about: Vec<String>,
    /// Panels before: up to the day before, from the last action on.
    pub before: Seen,
    /// Panels after: from the day after on, up to the next action.
    pub after: Seen,
    /// Share of panels hit, after over before.
    pub ratio: Option<f64>,
    /// Its 95 % interval; an infinite limit is `null`.
    pub ratio_ci: Option<(f64, f64)>,
    /// Adjusted for all actions (Holm 1979).
    pub p_adjusted: Option<f64>,
    /// Confidence in its being gone, 0..1.
    pub confidence: Option<f64>,
    /// Further panels without a hit that would tell.
    pub panels_missing: Option<usize>,
    /// Cost of the panels that would have been hit since, had it gone on; in
    /// the site's unit, where it has a cost and the finding is gone or fewer.
    pub saved: Option<f64>,
    /// What came of it.
    pub answer: ActionAnswer,
}

impl Actions {
    /// Reads the file.
    ///
    /// # Errors
    ///
    /// [`ActionError`] if it can't be read or lacks a column. A bad row is
    /// complained about and the rest goes on.
    pub fn read(path: &Path) -> Result<Self, ActionError> {
        let text = std::fs::read_to_string(path).map_err(|source| ActionError::Io {
            path: path.to_owned(),
            source,
        })?;
        Self::parse(&text, path)
    }

    /// The same from its text.
    ///
    /// # Errors
    ///
    /// As [`Actions::read`].
    pub fn parse(text: &str, path: &Path) -> Result<Self, ActionError> {
        let text = text.trim_start_matches('\u{feff}');
        let first = text.lines().next().unwrap_or_default();
        let delimiter = [b';', b'\t']
            .into_iter()
            .find(|d| first.as_bytes().contains(d))
            .unwrap_or(b',');
        let mut reader = csv::ReaderBuilder::new()
            .delimiter(delimiter)
            .flexible(true)
            .trim(csv::Trim::All)
            .from_reader(text.as_bytes());
        let heads: Vec<String> = (reader.headers())
            .map(|h| h.iter().map(str::to_lowercase).collect())
            .unwrap_or_default();
        let column = |name: &str| heads.iter().position(|h| h == name);
        let needs = |name: &'static str| {
            column(name).ok_or(ActionError::Column {
                path: path.to_owned(),
                column: name,
            })
        };
        let (date, done) = (needs("date")?, needs("done")?);
        let mut out = Self::default();
        for row in reader.records() {
            let row = match row {
                Ok(row) => row,
                Err(error) => {
                    out.complaints.push(format!("{}: {error}", path.display()));
                    continue;
                }
            };
            let line = row.position().map_or(0, csv::Position::line);
            let mut complain = |what: String| {
                out.complaints
                    .push(format!("{}, line {line}: {what}", path.display()));
            };
            let cell = |at: Option<usize>| {
                at.and_then(|at| row.get(at))
                    .filter(|text| !text.is_empty())
                    .map(str::to_owned)
            };
            if row.iter().all(str::is_empty) {
                continue;
            }
            let written = cell(Some(date)).unwrap_or_default();
            let Ok(date) = written.parse::<Date>() else {
                complain(format!("{written:?} is no date; write it as 2026-11-23"));
                continue;
            };
            let state = match cell(column("state")).map(|s| s.to_lowercase()).as_deref() {
                None | Some("watch") => Standing::Watch,
                Some("fixed") => Standing::Fixed,
                Some("known") => Standing::Known,
                Some("accepted") => Standing::Accepted,
                Some(other) => {
                    complain(format!(
                        "the state {other:?} is not known (fixed, watch, known, accepted); read as watch"
                    ));
                    Standing::Watch
                }
            };
            let (finding, defect) = (cell(column("finding")), cell(column("defect")));
            if finding.is_none() && defect.is_none() {
                complain("it names neither a finding nor a defect".into());
                continue;
            }
            out.actions.push(Action {
                date,
                finding,
                machine: cell(column("machine")),
                defect,
                done: cell(Some(done)).unwrap_or_default(),
                state,
            });
        }
        out.actions.sort_by_key(|a| a.date);
        Ok(out)
    }

    /// How the site stands to a finding: by its latest action.
    #[must_use]
    pub fn standing(&self, finding: &Finding) -> Option<Standing> {
        (self.actions.iter().rev())
            .find(|a| a.is_about(&finding.id, finding.machine.as_deref(), &finding.defect))
            .map(|a| a.state)
    }
}

impl Action {
    /// Whether it is about a finding: by its number where it gives one, else by
    /// machine and kind of defect.
    #[must_use]
    pub fn is_about(&self, id: &str, machine: Option<&str>, defect: &str) -> bool {
        match (&self.finding, &self.defect) {
            (Some(finding), _) => finding.eq_ignore_ascii_case(id),
            (None, Some(kind)) => {
                kind.eq_ignore_ascii_case(defect)
                    && self.machine.as_deref().is_none_or(|m| Some(m) == machine)
            }
            (None, None) => false,
        }
    }
}

/// Tests every action: panels hit after against before.
///
/// The day itself counts on neither side: nobody knows at what hour it was
/// done. A finding with a place is tested by its panels hit (two rates, exact);
/// one without by the comparison of days, which allows for days and lots that
/// differ.
#[must_use]
pub fn judge_actions(
    actions: &Actions,
    records: &Records,
    findings: &[Finding],
    lives: &Lives,
    site: &Site,
) -> Vec<Done> {
    let known: Vec<Remembered> = (findings.iter())
        .filter_map(|f| serde_json::from_value(serde_json::to_value(f).ok()?).ok())
        .chain((lives.kept.iter()).filter_map(|k| {
            serde_json::from_value(serde_json::Value::Object(k.fields.clone())).ok()
        }))
        .collect();
    let all: Vec<&Remembered> = known.iter().collect();
    let mut done: Vec<(Done, Option<f64>)> = (actions.actions.iter())
        .map(|action| one(action, actions, records, &all, site))
        .collect();
    let tested: Vec<f64> = done.iter().filter_map(|d| d.1).collect();
    let mut adjusted = holm(&tested).into_iter();
    for (one, p) in &mut done {
        if p.is_some() {
            one.p_adjusted = adjusted.next();
        }
        conclude(one, site);
    }
    done.into_iter().map(|(one, _)| one).collect()
}

fn one(
    action: &Action,
    actions: &Actions,
    records: &Records,
    all: &[&Remembered],
    site: &Site,
) -> (Done, Option<f64>) {
    let about: Vec<&Remembered> = (all.iter().copied())
        .filter(|f| action.is_about(&f.id, f.machine.as_deref(), &f.defect))
        .collect();
    let mut out = Done {
        action: action.clone(),
        about: about.iter().map(|f| f.id.clone()).collect(),
        before: Seen::default(),
        after: Seen::default(),
        ratio: None,
        ratio_ci: None,
        p_adjusted: None,
        confidence: None,
        panels_missing: None,
        saved: None,
        answer: ActionAnswer::Unknown,
    };
    // A row without a number stands for the stream, whatever was found in it.
    let stream = Remembered {
        machine: action.machine.clone(),
        defect: action.defect.clone().unwrap_or_default(),
        ..Remembered::default()
    };
    let subject = match (&action.finding, about.first()) {
        (Some(_), Some(finding)) => {
            out.action.machine.clone_from(&finding.machine);
            out.action.defect = Some(finding.defect.clone());
            Subject::new(finding, all, 0.0)
        }
        (Some(_), None) => return (out, None),
        (None, _) => {
            let recorded =
                |d: &crate::records::DefectName| d.name.eq_ignore_ascii_case(&stream.defect);
            if !records.defect_names.iter().any(recorded) {
                return (out, None);
            }
            Subject::new(&stream, &[], 0.0)
        }
    };
    let same = |other: &&Action| {
        (&other.finding, &other.machine, &other.defect)
            == (&action.finding, &action.machine, &action.defect)
    };
    let dates = || actions.actions.iter().filter(same).map(|a| a.date);
    let earlier = dates().filter(|d| *d < action.date).max();
    let later = dates().filter(|d| *d > action.date).min();
    let on = |k: usize| day(&records.panels[k]);
    out.before = subject.count(records, |k| {
        on(k).is_some_and(|d| d < action.date && earlier.is_none_or(|e| d > e))
    });
    out.after = subject.count(records, |k| {
        on(k).is_some_and(|d| d > action.date && later.is_none_or(|l| d < l))
    });
    out.answer = ActionAnswer::TooFewPanels;
    let p = if subject.placed() {
        exact(&mut out)
    } else {
        by_days(&mut out, records, site)
    };
    let usual = about
        .first()
        .filter(|_| subject.placed())
        .map_or(0.0, |_| 0.005);
    let low = clopper_pearson(out.before.hits as u64, out.before.panels as u64, 0.95)
        .ok()
        .map(|ci| ci.low)
        .filter(|low| *low > 0.0);
    let answer = judge(
        &Known {
            low,
            usual,
            unlikely: 0.05,
            was_gone: false,
            others: None,
            before: None,
        },
        &out.after,
    );
    if answer.state == State::Gone {
        out.confidence = answer.confidence;
    }
    out.panels_missing = answer.panels_missing;
    (out, p)
}

/// Panels hit at a place: the exact test of two rates.
fn exact(done: &mut Done) -> Option<f64> {
    let side = |seen: &Seen| Count {
        events: seen.hits as u64,
        exposure: seen.panels as f64,
    };
    let stratum = RateStratum {
        before: side(&done.before),
        after: side(&done.after),
    };
    let ratio = exact_rate_ratio(&[stratum], 0.95).ok()?;
    done.ratio = Some(ratio.estimate).filter(|r| r.is_finite());
    done.ratio_ci = Some((ratio.ci.low, ratio.ci.high));
    Some(ratio.p_value)
}

/// A rate without a place: the comparison of days.
fn by_days(done: &mut Done, records: &Records, site: &Site) -> Option<f64> {
    let only = (done.action.machine.clone())
        .map(|value| Pick {
            column: "machine".into(),
            value,
        })
        .into_iter()
        .collect();
    let selection = Selection {
        sides: Sides::Since(done.action.date),
        only,
        window: change::Window::default(),
        on: Vec::new(),
    };
    let settings = change::Settings::from(&site.analysis);
    let changes = change::compare(records, &selection, &settings).ok()?;
    let defect = done.action.defect.clone()?;
    let change = (changes.comparisons.first()?.changes.iter())
        .find(|c| c.defect.eq_ignore_ascii_case(&defect))?;
    if change.verdict == Verdict::NotIdentifiable {
        done.answer = ActionAnswer::NotIdentifiable;
        return None;
    }
    done.ratio = change.ratio;
    done.ratio_ci = change.ratio_ci.map(|ci| (ci.low, ci.high));
    change.p
}

/// Chance below which a difference is shown, after adjustment.
const SHOWN: f64 = 0.05;

fn conclude(done: &mut Done, site: &Site) {
    if done.answer != ActionAnswer::TooFewPanels {
        return;
    }
    let (Some(p), Some((low, high))) = (done.p_adjusted, done.ratio_ci) else {
        return;
    };
    let fewer = done.ratio.is_some_and(|r| r < 1.0);
    done.answer = if p <= SHOWN && fewer {
        if done.confidence.is_some() {
            ActionAnswer::Gone
        } else {
            ActionAnswer::Fewer
        }
    } else if p <= SHOWN {
        ActionAnswer::More
    } else if low > site.analysis.ratio_of_interest && high.is_finite() {
        ActionAnswer::NoDifference
    } else {
        ActionAnswer::TooFewPanels
    };
    if matches!(done.answer, ActionAnswer::Gone | ActionAnswer::Fewer) {
        let rate = |seen: &Seen| seen.hits as f64 / seen.panels.max(1) as f64;
        let spared = (rate(&done.before) - rate(&done.after)) * done.after.panels as f64;
        done.saved = done
            .action
            .defect
            .as_deref()
            .and_then(|defect| site.defects.cost_of(defect))
            .map(|cost| cost * spared)
            .filter(|saved| *saved > 0.0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parse(text: &str) -> Actions {
        Actions::parse(text, Path::new("actions.csv")).unwrap()
    }

    #[test]
    fn rows_name_a_finding_or_a_machine_and_a_defect() {
        let read = parse(
            "date;finding;machine;defect;done;state\n\
             2031-03-10;F3;;;new stop;fixed\n\
             2031-03-04;;M1;nib;cleaned;accepted\n",
        );
        assert_eq!(read.complaints, Vec::<String>::new());
        let (first, second) = (&read.actions[0], &read.actions[1]);
        assert_eq!(first.state, Standing::Accepted, "in order of date");
        assert!(
            first.is_about("F9", Some("M1"), "Nib") && !first.is_about("F9", Some("M2"), "nib")
        );
        assert!(second.is_about("f3", None, "pit") && !second.is_about("F33", None, "pit"));
    }

    #[test]
    fn what_cannot_be_used_is_told_and_the_rest_goes_on() {
        let read = parse(
            "date,finding,done,state\n10.03.2031,F1,x,fixed\n2031-03-10,,x,fixed\n2031-03-10,F1,x,mended\n",
        );
        assert_eq!(read.actions.len(), 1);
        assert_eq!(read.complaints.len(), 3);
        assert!(
            read.complaints[0].contains("line 2"),
            "{:?}",
            read.complaints
        );
        assert!(Actions::parse("day,done\n", Path::new("a.csv")).is_err());
    }
}
