//! Why nothing could be read, and what to do about it.

use std::path::PathBuf;

use super::{Column, Reject};

/// Input that cannot be used at all. Single bad files, rows and values are
/// no errors: they are rejects.
#[derive(Debug, thiserror::Error)]
pub enum RecordsError {
    /// A path that does not exist.
    #[error("{}: no such file or folder", path.display())]
    Missing {
        /// As given.
        path: PathBuf,
    },
    /// A pattern that no file matches, or that is none.
    #[error("{pattern}: {why}")]
    Pattern {
        /// As given.
        pattern: String,
        /// What is wrong with it.
        why: String,
    },
    /// Folders without a single file that could hold records.
    #[error("no inspection file in {}", list(inputs))]
    NoFiles {
        /// As given.
        inputs: Vec<PathBuf>,
        /// What lies there instead, if anything.
        others: Option<String>,
    },
    /// A column without which nothing can be told, in no file.
    #[error("{}: no column \"{}\"", path.display(), column.name())]
    MissingColumn {
        /// The first such file.
        path: PathBuf,
        /// The column.
        column: Column,
        /// What the file has instead.
        found: Vec<String>,
        /// The header that looks most like it.
        nearest: Option<String>,
    },
    /// A pressure where a force should be.
    #[error("{}: column \"{header}\" holds a pressure or a share, not a force", path.display())]
    PressureAsForce {
        /// The file.
        path: PathBuf,
        /// The header.
        header: String,
    },
    /// Files there were, but no panel is left.
    #[error("no panel could be read from {files} {}: {why}", if *files == 1 { "file" } else { "files" })]
    NothingUsable {
        /// How many files were looked at.
        files: usize,
        /// The commonest reason.
        why: String,
        /// What to do.
        hint: String,
    },
    /// Something was rejected and the run is strict.
    #[error("{count} rejected, and --strict stops at any: {}{}: {}", first.file.display(), line(first), first.why)]
    Rejected {
        /// How many rejects.
        count: usize,
        /// The first.
        first: Box<Reject>,
    },
}

fn line(reject: &Reject) -> String {
    reject
        .line
        .map_or_else(String::new, |line| format!(", line {line}"))
}

fn list(inputs: &[PathBuf]) -> String {
    let names: Vec<String> = inputs.iter().map(|p| p.display().to_string()).collect();
    names.join(", ")
}

impl RecordsError {
    /// What to do next.
    #[must_use]
    pub fn hint(&self) -> Option<String> {
        match self {
            RecordsError::Missing { .. } => {
                Some("give files, folders or patterns such as 'inspections/*.csv'".into())
            }
            RecordsError::Pattern { .. } => {
                Some("quote a pattern so that the shell leaves it alone, and check the folder's name".into())
            }
            RecordsError::NoFiles { others, .. } => Some(match others {
                Some(others) => format!(
                    "files ending in .csv, .tsv, .txt or .parquet (also .gz) are read; found {others}"
                ),
                None => "files ending in .csv, .tsv, .txt or .parquet (also .gz) are read; the folder is empty".into(),
            }),
            RecordsError::MissingColumn {
                path,
                column,
                found,
                nearest,
            } => {
                let name = column.name();
                let has = if found.is_empty() {
                    "the file is empty".to_owned()
                } else {
                    format!("the file has {}", shortened(found))
                };
                let map = match nearest {
                    Some(header) => format!("if \"{header}\" is meant, write {name} = \"{header}\" under [columns] in onus.toml"),
                    None => format!("say which one is {name} under [columns] in onus.toml, or under [read] that the file's name holds it"),
                };
                Some(format!(
                    "{has}; {map}; `onus columns --site {} > onus.toml` makes a start",
                    path.display()
                ))
            }
            RecordsError::PressureAsForce { .. } => Some(
                "give the force in N, kgf or lbf, or a calibration line under [units] in onus.toml: force_n = { a = 0.0, b = 49.0 } means N = a + b × reading".into(),
            ),
            RecordsError::NothingUsable { hint, .. } => Some(hint.clone()),
            RecordsError::Rejected { .. } => {
                Some("mend the files, or run without --strict: every reject is then listed in rejects.csv".into())
            }
        }
    }
}

/// At most a dozen names, for a message.
fn shortened(names: &[String]) -> String {
    let shown: Vec<&str> = names.iter().take(12).map(String::as_str).collect();
    let more = names.len().saturating_sub(shown.len());
    if more > 0 {
        format!("{} and {more} more", shown.join(", "))
    } else {
        shown.join(", ")
    }
}
