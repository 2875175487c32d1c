//! Reading inspection files: from paths to [`Records`].

pub(super) mod decimals;
pub(super) mod folders;
mod ids;
pub(super) mod rejected;
pub(super) mod text_reader;
pub(super) mod wide;

use std::collections::{BTreeMap, HashMap};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;

use super::assemble;
use super::file::{self, Outcome};
use super::header::Matcher;
use super::inputs::{self, Found, Input, file_reject};
use super::load;
use super::notes::{Note, Notes};
use super::parts::FileRows;
use super::rows::Rules;
use super::{Column, Records, RecordsError, Reject, Warning, WarningCode};
use crate::site::Site;

/// What a reject does to the run.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum OnReject {
    /// It is counted and listed, the rest goes on.
    #[default]
    Count,
    /// It stops the run.
    Stop,
}

/// How to read.
#[derive(Default, Clone, Copy)]
pub struct ReadOptions<'a> {
    /// The time now, if dates after it are to be told.
    pub now: Option<jiff::Timestamp>,
    /// What a reject does to the run.
    pub on_reject: OnReject,
    /// Told how many of how many files are read; called from several threads.
    pub progress: Option<&'a (dyn Fn(usize, usize) + Sync)>,
}

impl std::fmt::Debug for ReadOptions<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("ReadOptions")
            .field("now", &self.now)
            .field("on_reject", &self.on_reject)
            .field("progress", &self.progress.is_some())
            .finish()
    }
}

/// Reads files, folders and patterns by the rules of the site file.
///
/// Bad values, rows, panels and files are rejects in the result, doubts are
/// warnings. The result does not depend on the order of inputs, files or rows
/// nor on the number of threads.
///
/// # Errors
///
/// [`RecordsError`] if a path is missing, no file or panel is left, a column
/// without which nothing can be told is in no file, a force column holds
/// pressures, or something was rejected and `options` says to stop.
pub fn read(
    inputs: &[PathBuf],
    site: &Site,
    options: &ReadOptions<'_>,
) -> Result<Records, RecordsError> {
    let mut found = inputs::find(inputs)?;
    if let Some(actions) = &site.report.actions {
        found.leave_out(actions);
    }
    if found.inputs.is_empty() && found.rejects.is_empty() {
        return Err(RecordsError::NoFiles {
            inputs: inputs.to_vec(),
            others: found.others_in_words(),
        });
    }
    let rules = Rules::new(site);
    let matcher = Matcher::new(site);
    let total = found.inputs.len();
    let done = AtomicUsize::new(0);
    let told = |outcome: Outcome| {
        if !matches!(outcome, Outcome::Packed(_)) {
            let now = done.fetch_add(1, Ordering::Relaxed) + 1;
            if let Some(progress) = options.progress {
                progress(now, total);
            }
        }
        outcome
    };
    let mut outcomes: Vec<Outcome> = found
        .inputs
        .par_iter()
        .map(|input| told(file::read(input, &rules, &matcher)))
        .collect();
    for (at, outcome) in unpack(&found.inputs, &outcomes, &rules, &matcher, &told) {
        outcomes[at] = outcome;
    }

    let sorted = sort_out(&mut found, outcomes, &matcher)?;
    if sorted.files.is_empty() {
        return Err(nothing_read(inputs, &found, sorted));
    }
    let records = assemble::assemble(sorted, &rules, options.now);
    if records.panels.is_empty() {
        return Err(no_panel_left(&records));
    }
    if options.on_reject == OnReject::Stop
        && let Some(first) = records.rejects.first()
    {
        return Err(RecordsError::Rejected {
            count: records.rejects.len(),
            first: Box::new(first.clone()),
        });
    }
    Ok(records)
}

/// Reads the packed files, in their order as far as the run's budget goes.
fn unpack(
    inputs: &[Input],
    outcomes: &[Outcome],
    rules: &Rules<'_>,
    matcher: &Matcher<'_>,
    told: &(impl Fn(Outcome) -> Outcome + Sync),
) -> Vec<(usize, Outcome)> {
    let mut left = load::budget(rules.site);
    let mut packed = Vec::new();
    for (at, outcome) in outcomes.iter().enumerate() {
        if let Outcome::Packed(size) = outcome {
            let room = *size <= left;
            if room {
                left -= size;
            }
            packed.push((at, room.then_some(*size)));
        }
    }
    packed
        .into_par_iter()
        .map(|(at, allowed)| {
            let input = &inputs[at];
            let loaded = allowed
                .ok_or_else(|| load::too_much(rules.site))
                .and_then(|allowed| Ok((load::load(&input.path)?, allowed)));
            let outcome = match loaded {
                Ok((loaded, allowed)) => file::read_packed(input, loaded, allowed, rules, matcher),
                Err(why) => Outcome::Skipped(file_reject(&input.path, &why)),
            };
            (at, told(outcome))
        })
        .collect()
}

/// The files that were read, and what is to be told about the others.
pub(super) struct Sorted {
    pub files: Vec<FileRows>,
    pub rejects: Vec<Reject>,
    pub notes: Notes,
    pub warnings: Vec<Warning>,
    pub skipped: usize,
    /// The first file without `panel_id` and what it has instead.
    no_panel_id: Option<(PathBuf, Vec<String>, Option<String>)>,
}

/// Sorts what became of the inputs.
///
/// # Errors
///
/// [`RecordsError::PressureAsForce`], which stops the run.
pub(super) fn sort_out(
    found: &mut Found,
    outcomes: Vec<Outcome>,
    matcher: &Matcher<'_>,
) -> Result<Sorted, RecordsError> {
    let mut sorted = Sorted {
        files: Vec::new(),
        rejects: std::mem::take(&mut found.rejects),
        notes: Notes::default(),
        warnings: Vec::new(),
        skipped: 0,
        no_panel_id: None,
    };
    let mut seen: HashMap<(u64, u64), PathBuf> = HashMap::new();
    let mut copies: BTreeMap<PathBuf, Vec<PathBuf>> = BTreeMap::new();
    let inputs = std::mem::take(&mut found.inputs);
    for (input, outcome) in inputs.into_iter().zip(outcomes) {
        match outcome {
            Outcome::Rows(rows, fingerprint) => match seen.get(&fingerprint) {
                Some(first) if same_bytes(first, &input.path) => {
                    copies.entry(first.clone()).or_default().push(input.path);
                }
                _ => {
                    seen.insert(fingerprint, input.path.clone());
                    sorted.files.push(*rows);
                }
            },
            Outcome::Skipped(reject) => sorted.rejects.push(reject),
            // All of these were read or skipped by now.
            Outcome::Packed(_) => {}
            Outcome::NotOurs => found.other(&input.path),
            Outcome::NoPanelId(reject, headers) => {
                if sorted.no_panel_id.is_none() {
                    let near = headers
                        .iter()
                        .find(|h| matcher.nearest(h) == Some(Column::PanelId.name()))
                        .cloned();
                    sorted.no_panel_id = Some((input.path.clone(), headers, near));
                }
                sorted.rejects.push(reject);
            }
            Outcome::PressureAsForce(header) => {
                return Err(RecordsError::PressureAsForce {
                    path: input.path,
                    header,
                });
            }
        }
    }
    sorted.skipped = sorted.rejects.len();
    sorted.tell_skipped();
    for (first, copies) in copies {
        let names: Vec<String> = copies
            .iter()
            .take(3)
            .map(|p| p.display().to_string())
            .collect();
        let more = if copies.len() > 3 { " and others" } else { "" };
        sorted.warnings.push(Warning {
            code: WarningCode::DuplicateFile,
            text: format!(
                "{} has the same bytes as {}{more}; it was read once.",
                first.display(),
                names.join(", ")
            ),
            file: Some(first),
        });
    }
    for report in &found.reports {
        sorted.notes.add(Note::ReportLeftOut, 1, report);
    }
    if let Some(words) = found.others_in_words() {
        sorted.notes.add(Note::OtherFiles(words), 1, Path::new(""));
    }
    let joined = ids::join_spellings(&mut sorted.files);
    sorted.warnings.extend(joined);
    Ok(sorted)
}

impl Sorted {
    fn tell_skipped(&mut self) {
        let Some(first) = self.rejects.first() else {
            return;
        };
        let listed: Vec<String> = self
            .rejects
            .iter()
            .take(5)
            .map(|r| format!("{} ({})", r.file.display(), r.why))
            .collect();
        let count = self.rejects.len();
        let more = if count > 5 {
            format!(" and {} more", count - 5)
        } else {
            String::new()
        };
        self.warnings.push(Warning {
            code: WarningCode::FileSkipped,
            text: format!(
                "{count} {} not read: {}{more}.",
                if count == 1 { "file was" } else { "files were" },
                listed.join("; ")
            ),
            file: (count == 1).then(|| first.file.clone()),
        });
    }
}

/// Equal fingerprints are looked at once more, byte by byte.
fn same_bytes(a: &Path, b: &Path) -> bool {
    match (std::fs::read(a), std::fs::read(b)) {
        (Ok(a), Ok(b)) => a == b,
        _ => false,
    }
}

fn nothing_read(inputs: &[PathBuf], found: &Found, sorted: Sorted) -> RecordsError {
    let Some(first) = sorted.rejects.first() else {
        return RecordsError::NoFiles {
            inputs: inputs.to_vec(),
            others: found.others_in_words(),
        };
    };
    if let Some((path, found, nearest)) = sorted.no_panel_id {
        return RecordsError::MissingColumn {
            path,
            column: Column::PanelId,
            found,
            nearest,
        };
    }
    RecordsError::NothingUsable {
        files: sorted.rejects.len(),
        why: format!("{}: {}", first.file.display(), first.why),
        hint: "a file must be CSV or Parquet with at least panel_id, length_mm and width_mm; `onus columns` lists all columns, `onus columns --site FILE` writes a site file for other headers".into(),
    }
}

/// File, line, column and value of a loss.
fn place(reject: &Reject) -> String {
    let mut place = reject.file.display().to_string();
    if let Some(line) = reject.line {
        place.push_str(&format!(", line {line}"));
    }
    if let (Some(column), Some(value)) = (&reject.column, &reject.value) {
        place.push_str(&format!(", column {column}: \"{value}\""));
    }
    place
}

fn no_panel_left(records: &Records) -> RecordsError {
    let mut reasons: BTreeMap<&str, usize> = BTreeMap::new();
    for reject in &records.rejects {
        *reasons.entry(&reject.why).or_default() += 1;
    }
    let commonest = reasons
        .into_iter()
        .max_by_key(|(why, count)| (*count, std::cmp::Reverse(*why)));
    let no_size = records
        .rejects
        .iter()
        .any(|r| r.why.contains(rejected::NO_SIZE));
    let suspect = records
        .warnings
        .iter()
        .find(|w| matches!(w.code, WarningCode::UnitSuspect | WarningCode::AxesSuspect));
    let hint = if let Some(suspect) = suspect {
        suspect.text.clone()
    } else if rejected::ids_start_again(&records.rejects) {
        rejected::PANEL_KEY.trim_start_matches("; ").to_owned()
    } else if no_size {
        "every panel needs length_mm and width_mm in one of its rows; if the files name them otherwise, say so under [columns] in onus.toml".to_owned()
    } else {
        "rows need at least panel_id, length_mm and width_mm; `onus columns` lists all columns, `onus columns --site FILE` writes a site file for other headers"
            .to_owned()
    };
    RecordsError::NothingUsable {
        files: records.input.files + records.input.skipped_files,
        why: commonest.map_or_else(
            || "the files have headers but no rows".to_owned(),
            |(why, count)| {
                let first = records.rejects.iter().find(|r| r.why == why);
                let place = first.map(place).unwrap_or_default();
                match count {
                    1 => format!("{why} ({place})"),
                    n => format!("{why} ({n} times, first in {place})"),
                }
            },
        ),
        hint,
    }
}
