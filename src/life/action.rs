//! What was done about findings, in the engineer's own words.

use std::path::{Path, PathBuf};

use jiff::civil::Date;
use serde::Serialize;

use crate::causes::Finding;

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
