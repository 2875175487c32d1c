//! Finding the files: folders are searched, patterns matched, and what is no
//! inspection file is named.

use std::collections::{BTreeMap, BTreeSet};
use std::io::Read;
use std::path::{Path, PathBuf};

use walkdir::WalkDir;

use super::{Lost, RecordsError, Reject};

/// How a file is packed, by its name; what is inside is looked at on reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Packing {
    /// Text, perhaps gzipped.
    Text,
    /// Parquet.
    Parquet,
}

/// How a file came to be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Named {
    /// Given by name or pattern: it must be an inspection file.
    ByUser,
    /// Found in a folder: a `.txt` file may be something else.
    InFolder,
}

/// A file to read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Input {
    pub path: PathBuf,
    pub packing: Packing,
    pub named: Named,
}

/// What the paths given lead to.
#[derive(Debug, Default)]
pub(super) struct Found {
    /// By path, each once.
    pub inputs: Vec<Input>,
    /// What cannot be read.
    pub rejects: Vec<Reject>,
    /// Files in folders that are of another kind, by ending.
    pub others: BTreeMap<String, usize>,
    /// Folders that hold a report of ours.
    pub reports: Vec<PathBuf>,
}

impl Found {
    /// The other files in words: `3 .xlsx, 1 .pdf`.
    pub(super) fn others_in_words(&self) -> Option<String> {
        if self.others.is_empty() {
            return None;
        }
        let parts: Vec<String> = self
            .others
            .iter()
            .take(6)
            .map(|(ending, count)| format!("{count} {ending}"))
            .collect();
        Some(parts.join(", "))
    }
}

/// Follows files, folders and patterns.
///
/// # Errors
///
/// A path that does not exist, a pattern without a match.
pub(super) fn find(given: &[PathBuf]) -> Result<Found, RecordsError> {
    let mut found = Found::default();
    for path in given {
        if std::fs::symlink_metadata(path).is_ok() {
            found.add(path, Named::ByUser);
            continue;
        }
        let text = path.to_string_lossy();
        if !text.contains(['*', '?', '[']) {
            return Err(RecordsError::Missing { path: path.clone() });
        }
        let matches = glob::glob(&text).map_err(|error| RecordsError::Pattern {
            pattern: text.clone().into_owned(),
            why: format!("no pattern: {}", error.msg),
        })?;
        let mut any = false;
        for entry in matches {
            any = true;
            match entry {
                Ok(path) => found.add(&path, Named::ByUser),
                Err(error) => found.skip(error.path(), &error.error().to_string()),
            }
        }
        if !any {
            return Err(RecordsError::Pattern {
                pattern: text.into_owned(),
                why: "no file matches".into(),
            });
        }
    }
    found.inputs.sort_by(|a, b| a.path.cmp(&b.path));
    let mut seen = BTreeSet::new();
    found.inputs.retain(|input| seen.insert(input.path.clone()));
    Ok(found)
}

impl Found {
    /// Takes out a file that is no inspection file, such as the engineer's own
    /// list of what was done.
    pub(super) fn leave_out(&mut self, file: &Path) {
        let Ok(file) = file.canonicalize() else {
            return;
        };
        self.inputs
            .retain(|input| input.path.canonicalize().map_or(true, |path| path != file));
    }

    fn add(&mut self, path: &Path, named: Named) {
        match std::fs::metadata(path) {
            Ok(meta) if meta.is_dir() => self.walk(path),
            Ok(meta) if meta.is_file() => {
                let packing = packing(path).unwrap_or(Packing::Text);
                self.inputs.push(Input {
                    path: path.to_owned(),
                    packing,
                    named,
                });
            }
            Ok(_) => self.skip(path, "neither a file nor a folder (a pipe or a device)"),
            Err(_) if path.is_symlink() => self.skip(path, "the link leads nowhere"),
            Err(error) => self.skip(path, &error.to_string()),
        }
    }

    fn walk(&mut self, root: &Path) {
        let mut entries = WalkDir::new(root)
            .follow_links(true)
            .sort_by_file_name()
            .into_iter();
        while let Some(entry) = entries.next() {
            let entry = match entry {
                Ok(entry) => entry,
                Err(error) => {
                    let at = error.path().unwrap_or(root).to_owned();
                    let why = if error.loop_ancestor().is_some() {
                        "the link leads back to a folder that holds it".to_owned()
                    } else if at.is_symlink() {
                        "the link leads nowhere".to_owned()
                    } else {
                        error
                            .io_error()
                            .map_or_else(|| "cannot be read".to_owned(), ToString::to_string)
                    };
                    self.skip(&at, &why);
                    continue;
                }
            };
            let hidden = entry.depth() > 0 && entry.file_name().to_string_lossy().starts_with('.');
            if entry.file_type().is_dir() {
                if hidden {
                    entries.skip_current_dir();
                } else if entry.depth() > 0 && holds_report(entry.path()) {
                    self.reports.push(entry.path().to_owned());
                    entries.skip_current_dir();
                }
                continue;
            }
            if hidden {
                continue;
            }
            if !entry.file_type().is_file() {
                self.skip(
                    entry.path(),
                    "neither a file nor a folder (a pipe or a device)",
                );
                continue;
            }
            match packing(entry.path()) {
                Some(packing) => self.inputs.push(Input {
                    path: entry.into_path(),
                    packing,
                    named: Named::InFolder,
                }),
                None => self.other(entry.path()),
            }
        }
    }

    /// Counts a file of another kind.
    pub(super) fn other(&mut self, path: &Path) {
        let ending = path.extension().map_or_else(
            || "without ending".to_owned(),
            |e| format!(".{}", e.to_string_lossy()),
        );
        *self.others.entry(ending).or_default() += 1;
    }

    fn skip(&mut self, path: &Path, why: &str) {
        self.rejects.push(file_reject(path, why));
    }
}

/// The reject of a whole file.
pub(super) fn file_reject(path: &Path, why: &str) -> Reject {
    Reject {
        file: path.to_owned(),
        line: None,
        column: None,
        value: None,
        lost: Lost::File,
        why: why.to_owned(),
    }
}

/// What a file's name says about it; none for other kinds of file.
fn packing(path: &Path) -> Option<Packing> {
    let name = path.file_name()?.to_string_lossy().to_lowercase();
    let name = name.strip_suffix(".gz").unwrap_or(&name);
    match name.rsplit_once('.')?.1 {
        "csv" | "tsv" | "tab" | "txt" => Some(Packing::Text),
        "parquet" | "pq" => Some(Packing::Parquet),
        _ => None,
    }
}

/// Whether the folder holds a report of ours, which is no inspection file.
fn holds_report(folder: &Path) -> bool {
    let mut start = [0u8; 64];
    let Ok(mut file) = std::fs::File::open(folder.join("findings.json")) else {
        return false;
    };
    let Ok(read) = file.read(&mut start) else {
        return false;
    };
    let start = String::from_utf8_lossy(&start[..read]);
    start
        .trim_start()
        .strip_prefix('{')
        .is_some_and(|rest| rest.trim_start().starts_with("\"onus\""))
}
