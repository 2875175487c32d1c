//! What was understood in a way that must be told, gathered over files.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use super::load::ReadAs;
use super::moment::Certainty;
use super::{Warning, WarningCode};

/// One thing to tell.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Note {
    /// The encoding was guessed.
    ReadAs(ReadAs),
    /// Commas were taken as decimal marks.
    DecimalComma,
    /// This mark was taken as one between thousands.
    Thousands(char),
    /// Days above the twelfth stand first.
    DayFirst,
    /// Days above the twelfth stand second.
    MonthFirst,
    /// Lines above the header.
    Preamble,
    /// A row of units under the header.
    UnitsRow,
    /// The header once more between the rows.
    HeaderAgain,
    /// Cells that are formulas of a text.
    TextFormula,
    /// Lines below the table.
    NotesBelow,
    /// A header read by its likeness: header, column.
    Matched(String, String),
    /// A header that means nothing to us, and the nearest column.
    Unknown(String, Option<&'static str>),
    /// A word for "no defect".
    NoneWord(String),
    /// A time that left something open.
    Time(Certainty),
    /// A grit whose scale is not known.
    Grit(String),
    /// Spellings of one kind of defect: written, read as.
    Spelling(String, String),
    /// A reported folder inside the input was left out.
    ReportLeftOut,
    /// Other files in the folders, in words.
    OtherFiles(String),
}

/// How often, and where first.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Seen {
    times: usize,
    files: usize,
    first: PathBuf,
}

/// All notes of a run.
#[derive(Debug, Default)]
pub(super) struct Notes(BTreeMap<Note, Seen>);

impl Notes {
    /// Adds what one file gave. Files come in order of path.
    pub(super) fn add(&mut self, note: Note, times: usize, file: &Path) {
        let seen = self.0.entry(note).or_insert_with(|| Seen {
            times: 0,
            files: 0,
            first: file.to_owned(),
        });
        seen.times += times;
        seen.files += 1;
    }

    /// One warning for each kind of note.
    pub(super) fn warnings(&self) -> Vec<Warning> {
        let mut warnings = Vec::new();
        let one = |note: &Note| self.0.get(note);
        for (note, what) in [
            (
                Note::ReadAs(ReadAs::Windows1252),
                "not UTF-8 and read as Windows-1252",
            ),
            (Note::ReadAs(ReadAs::Utf16), "UTF-16"),
            (Note::DecimalComma, "decimal commas, read as such"),
            (
                Note::Thousands(','),
                "commas between thousands (1,200 is 1200), as its numbers prove, read as such",
            ),
            (
                Note::Thousands('.'),
                "points between thousands (1.200 is 1200), as its numbers prove, read as such",
            ),
            (
                Note::DayFirst,
                "dates with the day before the month, as days above 12 there prove, read as such",
            ),
            (
                Note::MonthFirst,
                "dates with the month before the day, as days above 12 there prove, read as such",
            ),
            (Note::Preamble, "lines above the header, which were skipped"),
            (
                Note::UnitsRow,
                "a row of units under the header, read as units",
            ),
            (
                Note::HeaderAgain,
                "its header again between the rows, as joined files do, which was skipped",
            ),
            (
                Note::TextFormula,
                "cells written as formulas of a text (=\"0012\"), read as the text",
            ),
            (
                Note::NotesBelow,
                "lines below the table that are no rows, which were skipped",
            ),
        ] {
            if let Some(seen) = one(&note) {
                let verb = match (&note, seen.files) {
                    (Note::ReadAs(_), 1) => " is",
                    (Note::ReadAs(_), _) => " are",
                    (_, 1) => " has",
                    _ => " have",
                };
                warnings.push(seen.warning(
                    WarningCode::ReadAs,
                    format!("{}{verb} {what}.", seen.whose()),
                ));
            }
        }
        self.list(
            &mut warnings,
            WarningCode::HeaderMatched,
            |note| match note {
                Note::Matched(header, column) => Some(format!("\"{header}\" as {column}")),
                _ => None,
            },
            |all| format!("Columns read by their likeness: {all}."),
        );
        self.list(
            &mut warnings,
            WarningCode::UnknownColumn,
            |note| match note {
                Note::Unknown(header, Some(near)) => {
                    Some(format!("\"{header}\" (is it {near}?)"))
                }
                Note::Unknown(header, None) => Some(format!("\"{header}\"")),
                _ => None,
            },
            |all| format!("Columns not read: {all}. Map them under [columns] or name them under [factors] in onus.toml if they are meant."),
        );
        self.list(
            &mut warnings,
            WarningCode::WordsForNone,
            |note| match note {
                Note::NoneWord(word) => Some(format!("\"{word}\"")),
                _ => None,
            },
            |all| format!("Read as \"no defect\": {all}."),
        );
        self.list(
            &mut warnings,
            WarningCode::LocalTime,
            |note| match note {
                Note::Time(Certainty::WallClock) => {
                    Some("times without a zone are taken as the clock on the wall (set [site] time_zone in onus.toml, or record the offset)".into())
                }
                Note::Time(Certainty::DayOnly) => {
                    Some("days without a time are taken as their start".into())
                }
                Note::Time(Certainty::Twice) => Some(
                    "times in the hour that the clock went through twice are taken as the first (record the offset)"
                        .into(),
                ),
                _ => None,
            },
            |all| format!("Local time: {all}."),
        );
        self.list(
            &mut warnings,
            WarningCode::GritWithoutScale,
            |note| match note {
                Note::Grit(label) => Some(format!("\"{label}\"")),
                _ => None,
            },
            |all| format!("Grit without a scale: {all}. FEPA P and CAMI differ from 240 up, so such a number is kept as a label, not as a size; set [grit] scale in onus.toml."),
        );
        self.list(
            &mut warnings,
            WarningCode::NamesMatched,
            |note| match note {
                Note::Spelling(written, read) => Some(format!("\"{written}\" as \"{read}\"")),
                _ => None,
            },
            |all| {
                format!(
                    "Kinds of defect that differ only in their spelling are read as one: {all}."
                )
            },
        );
        for (note, seen) in &self.0 {
            match note {
                Note::ReportLeftOut => warnings.push(Warning {
                    code: WarningCode::FileSkipped,
                    text: "A folder that holds an onus report lies in the input and was left out."
                        .into(),
                    file: Some(seen.first.clone()),
                }),
                Note::OtherFiles(words) => warnings.push(Warning {
                    code: WarningCode::FileSkipped,
                    text: format!("Files of other kinds in the folders were not read: {words}."),
                    file: None,
                }),
                _ => {}
            }
        }
        warnings
    }

    /// One warning that lists up to a dozen notes of a kind.
    fn list(
        &self,
        warnings: &mut Vec<Warning>,
        code: WarningCode,
        pick: impl Fn(&Note) -> Option<String>,
        sentence: impl Fn(&str) -> String,
    ) {
        let picked: Vec<(String, &Seen)> = self
            .0
            .iter()
            .filter_map(|(note, seen)| Some((pick(note)?, seen)))
            .collect();
        let Some((_, first)) = picked.first() else {
            return;
        };
        let mut all: Vec<&str> = picked.iter().take(12).map(|(t, _)| t.as_str()).collect();
        let more = format!("{} more", picked.len().saturating_sub(12));
        if picked.len() > 12 {
            all.push(&more);
        }
        let one_file = picked
            .iter()
            .all(|(_, seen)| seen.files == 1 && seen.first == first.first);
        warnings.push(Warning {
            code,
            text: sentence(&all.join(", ")),
            file: one_file.then(|| first.first.clone()),
        });
    }
}

impl Seen {
    fn whose(&self) -> String {
        let name = self.first.display();
        match self.files {
            1 => format!("{name}"),
            2 => format!("{name} and 1 more file"),
            n => format!("{name} and {} more files", n - 1),
        }
    }

    fn warning(&self, code: WarningCode, text: String) -> Warning {
        Warning {
            code,
            text,
            file: (self.files == 1).then(|| self.first.clone()),
        }
    }
}
