//! The report folder: it appears whole or not at all.
//!
//! The files are written to a new folder beside the target, which then takes
//! the target's place in one step: where there was none, by a rename that
//! refuses to overwrite; where there was a report, by exchanging the two
//! folders. A run that fails or is killed leaves what was there.

use std::collections::BTreeMap;
use std::fs::{self, File, Permissions};
use std::io::{self, Write};
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

use rustix::fs::{CWD, FlockOperation, RenameFlags};

/// What to do with a folder that is there already.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Existing {
    /// Refuse.
    Keep,
    /// Replace it with everything in it, if it holds a report.
    Replace,
}

/// The folder could not be written; what was there is still there.
#[derive(Debug, thiserror::Error)]
pub enum FolderError {
    /// The target exists and may not be replaced.
    #[error("{}: exists already", .0.display())]
    Exists(PathBuf),
    /// The target is not a folder.
    #[error("{}: is not a folder", .0.display())]
    NotAFolder(PathBuf),
    /// The target holds something else than a report.
    #[error("{}: is not a report of onus, so it is not replaced", .0.display())]
    NotAReport(PathBuf),
    /// The target holds files that are to be read.
    #[error("{}: contains the input {}", target.display(), input.display())]
    ContainsInput {
        /// The folder.
        target: PathBuf,
        /// The input in it.
        input: PathBuf,
    },
    /// The system said no.
    #[error("{}: cannot be written: {source}", path.display())]
    Io {
        /// What was to be written.
        path: PathBuf,
        /// Why not.
        source: io::Error,
    },
}

impl FolderError {
    /// What to do next.
    #[must_use]
    pub fn hint(&self) -> Option<String> {
        match self {
            Self::Exists(_) => {
                Some("give another --out, or --replace to replace the report".into())
            }
            Self::NotAFolder(_) | Self::NotAReport(_) => {
                Some("give --out the name of a new folder, or of one that holds a report".into())
            }
            Self::ContainsInput { .. } => {
                Some("give --out a folder that holds none of the inspection files".into())
            }
            Self::Io { source, .. } => match source.kind() {
                io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => {
                    Some("free some space or give --out a place on another disk".into())
                }
                io::ErrorKind::FileTooLarge => {
                    Some("raise the limit on file sizes or give --out another place".into())
                }
                io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => {
                    Some("give --out a place that you may write to".into())
                }
                _ => None,
            },
        }
    }
}

/// A report's file, by which a folder is known to hold one.
const MARK: &str = "findings.json";
/// The same of a plan.
const PLAN_MARK: &str = "plan.json";

/// Says early, before any analysis, whether [`write`] would be refused.
///
/// # Errors
///
/// [`FolderError`]; `Io` where the target or its parent may not be written to.
pub fn check(target: &Path, existing: Existing, inputs: &[PathBuf]) -> Result<(), FolderError> {
    let shown = || target.to_owned();
    let Ok(metadata) = fs::symlink_metadata(target) else {
        let target = std::path::absolute(target).unwrap_or_else(|_| target.to_owned());
        return match target.ancestors().skip(1).find(|parent| parent.exists()) {
            Some(parent) => writable(parent),
            None => Ok(()),
        };
    };
    let real = fs::canonicalize(target).map_err(|source| FolderError::Io {
        path: shown(),
        source,
    })?;
    if metadata.is_file() || !real.is_dir() {
        return Err(FolderError::NotAFolder(shown()));
    }
    for input in inputs {
        let as_named = std::path::absolute(input).unwrap_or_else(|_| input.clone());
        let as_found = fs::canonicalize(input).unwrap_or_else(|_| as_named.clone());
        if as_named.starts_with(&real) || as_found.starts_with(&real) {
            return Err(FolderError::ContainsInput {
                target: shown(),
                input: input.clone(),
            });
        }
    }
    match existing {
        Existing::Keep => Err(FolderError::Exists(shown())),
        Existing::Replace if holds_a_report(&real) => {
            writable(&real)?;
            real.parent().map_or(Ok(()), writable)
        }
        Existing::Replace => Err(FolderError::NotAReport(shown())),
    }
}

/// Whether files can be made and removed in a folder.
fn writable(folder: &Path) -> Result<(), FolderError> {
    use rustix::fs::{Access, access};
    access(folder, Access::WRITE_OK | Access::EXEC_OK).map_err(|error| FolderError::Io {
        path: folder.to_owned(),
        source: error.into(),
    })
}

/// Writes the files, whose names are relative paths from our own list, as the
/// folder `target`. Missing parents are made.
///
/// # Errors
///
/// [`FolderError`]; then the target is as it was.
pub fn write(
    target: &Path,
    files: &BTreeMap<String, Vec<u8>>,
    existing: Existing,
    inputs: &[PathBuf],
) -> Result<(), FolderError> {
    let at = |path: &Path| {
        let path = path.to_owned();
        move |source: io::Error| FolderError::Io { path, source }
    };
    check(target, existing, inputs)?;
    // A link to a folder stays; the folder it leads to is exchanged.
    let target = match fs::canonicalize(target) {
        Ok(real) => real,
        Err(_) => std::path::absolute(target).map_err(at(target))?,
    };
    let parent = target
        .parent()
        .ok_or_else(|| FolderError::NotAReport(target.clone()))?;
    fs::create_dir_all(parent).map_err(at(parent))?;

    let prefix = format!(
        ".{}.onus-",
        target.file_name().unwrap_or_default().to_string_lossy()
    );
    sweep(parent, &prefix);
    let new = tempfile::Builder::new()
        .prefix(&prefix)
        .permissions(Permissions::from_mode(0o777))
        .tempdir_in(parent)
        .map_err(at(parent))?;
    let lock = File::open(new.path()).map_err(at(new.path()))?;
    // Held until the end, so that no other run sweeps this folder away; where
    // the file system has no locks, nothing is swept either.
    let _ = rustix::fs::flock(&lock, FlockOperation::NonBlockingLockExclusive);
    for (name, bytes) in files {
        let path = new.path().join(name);
        if let Some(folder) = path.parent() {
            fs::create_dir_all(folder).map_err(at(&target))?;
        }
        write_through(&path, bytes).map_err(at(&target.join(name)))?;
    }
    let _ = lock.sync_all();
    swap(new, &target, existing).map_err(|source| match source.kind() {
        io::ErrorKind::AlreadyExists => FolderError::Exists(target.clone()),
        _ => at(&target)(source),
    })?;
    if let Ok(parent) = File::open(parent) {
        let _ = parent.sync_all();
    }
    Ok(())
}

fn write_through(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut file = File::create_new(path)?;
    file.write_all(bytes)?;
    file.sync_all()
}

/// Puts the new folder in the target's place; what lay there is removed last.
fn swap(new: tempfile::TempDir, target: &Path, existing: Existing) -> io::Result<()> {
    let path = new.path();
    let rename = |flags| rustix::fs::renameat_with(CWD, path, CWD, target, flags);
    if existing == Existing::Keep || fs::symlink_metadata(target).is_err() {
        match rename(RenameFlags::NOREPLACE) {
            Ok(()) => {
                let _ = new.keep();
                return Ok(());
            }
            Err(error) if unsupported(error) => {
                // A rename onto a folder that is not empty fails by itself.
                fs::rename(path, target)?;
                let _ = new.keep();
                return Ok(());
            }
            Err(error) => return Err(error.into()),
        }
    }
    match rename(RenameFlags::EXCHANGE) {
        // Dropping the temporary folder now removes the old report.
        Ok(()) => Ok(()),
        Err(error) if unsupported(error) => {
            // The system cannot exchange folders: the old one is put aside
            // first and put back if the new one cannot take its place.
            let aside = new.path().with_extension("old");
            fs::rename(target, &aside)?;
            if let Err(error) = fs::rename(path, target) {
                fs::rename(&aside, target)?;
                return Err(error);
            }
            let _ = new.keep();
            let _ = fs::remove_dir_all(aside);
            Ok(())
        }
        Err(error) => Err(error.into()),
    }
}

fn unsupported(error: rustix::io::Errno) -> bool {
    use rustix::io::Errno;
    matches!(error, Errno::INVAL | Errno::NOSYS | Errno::OPNOTSUPP)
}

/// Removes what killed runs left beside the target: folders with our prefix
/// that nobody holds a lock on.
fn sweep(parent: &Path, prefix: &str) {
    let Ok(entries) = fs::read_dir(parent) else {
        return;
    };
    for entry in entries.flatten() {
        let ours = entry.file_name().to_string_lossy().starts_with(prefix);
        if !ours || !entry.file_type().is_ok_and(|kind| kind.is_dir()) {
            continue;
        }
        let Ok(folder) = File::open(entry.path()) else {
            continue;
        };
        if rustix::fs::flock(&folder, FlockOperation::NonBlockingLockExclusive).is_ok() {
            let _ = fs::remove_dir_all(entry.path());
        }
    }
}

/// Whether the folder holds a report or a plan: its findings carry our name and schema.
#[must_use]
pub fn holds_a_report(folder: &Path) -> bool {
    let ours = |text: Vec<u8>| {
        serde_json::from_slice::<serde_json::Value>(&text).is_ok_and(|findings| {
            findings.get("onus").is_some_and(|v| v.is_string())
                && findings.get("schema").is_some_and(|v| v.is_u64())
        })
    };
    ([MARK, PLAN_MARK].iter()).any(|mark| fs::read(folder.join(mark)).is_ok_and(ours))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn files(text: &str) -> BTreeMap<String, Vec<u8>> {
        BTreeMap::from([
            (
                "findings.json".to_owned(),
                format!("{{\"onus\": \"{text}\", \"schema\": 1}}").into_bytes(),
            ),
            ("charts/01-kinds.svg".to_owned(), text.as_bytes().to_vec()),
        ])
    }

    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<String> = fs::read_dir(folder)
            .unwrap()
            .map(|e| e.unwrap().file_name().into_string().unwrap())
            .collect();
        names.sort();
        names
    }

    #[test]
    fn a_new_folder_appears_with_its_missing_parents_and_nothing_beside_it() {
        let place = tempfile::tempdir().unwrap();
        let target = place.path().join("a/b/report");
        write(&target, &files("one"), Existing::Keep, &[]).unwrap();
        assert_eq!(names(&target), ["charts", "findings.json"]);
        assert_eq!(names(target.parent().unwrap()), ["report"]);
    }

    #[test]
    fn an_existing_folder_stays_unless_asked_and_only_a_report_is_replaced() {
        let place = tempfile::tempdir().unwrap();
        let target = place.path().join("report");
        write(&target, &files("one"), Existing::Keep, &[]).unwrap();
        let again = write(&target, &files("two"), Existing::Keep, &[]);
        assert!(matches!(again, Err(FolderError::Exists(_))));
        assert!(
            fs::read_to_string(target.join(MARK))
                .unwrap()
                .contains("one")
        );
        write(&target, &files("two"), Existing::Replace, &[]).unwrap();
        assert!(
            fs::read_to_string(target.join(MARK))
                .unwrap()
                .contains("two")
        );
        assert_eq!(names(place.path()), ["report"]);

        let other = place.path().join("other");
        fs::create_dir(&other).unwrap();
        fs::write(other.join("notes.txt"), "keep me").unwrap();
        let refused = write(&other, &files("three"), Existing::Replace, &[]);
        assert!(matches!(refused, Err(FolderError::NotAReport(_))));
        assert_eq!(names(&other), ["notes.txt"]);
    }

    #[test]
    fn a_folder_that_contains_the_input_is_never_replaced() {
        let place = tempfile::tempdir().unwrap();
        let target = place.path().join("report");
        write(&target, &files("one"), Existing::Keep, &[]).unwrap();
        for input in [target.clone(), target.join("panels.csv")] {
            let refused = write(&target, &files("two"), Existing::Replace, &[input]);
            assert!(matches!(refused, Err(FolderError::ContainsInput { .. })));
        }
        let link = place.path().join("link");
        std::os::unix::fs::symlink(&target, &link).unwrap();
        let refused = write(&target, &files("two"), Existing::Replace, &[link]);
        assert!(matches!(refused, Err(FolderError::ContainsInput { .. })));
    }

    #[test]
    fn a_failed_run_leaves_the_old_report_and_no_rubbish() {
        let place = tempfile::tempdir().unwrap();
        let target = place.path().join("report");
        write(&target, &files("one"), Existing::Keep, &[]).unwrap();
        let mut bad = files("two");
        // A file where a folder is needed: writing fails half way.
        bad.insert("findings.json/x".to_owned(), Vec::new());
        let failed = write(&target, &bad, Existing::Replace, &[]);
        assert!(matches!(failed, Err(FolderError::Io { .. })), "{failed:?}");
        assert!(
            fs::read_to_string(target.join(MARK))
                .unwrap()
                .contains("one")
        );
        assert_eq!(names(place.path()), ["report"]);
    }

    #[test]
    fn what_a_killed_run_left_is_swept_but_not_what_a_running_one_holds() {
        let place = tempfile::tempdir().unwrap();
        let target = place.path().join("report");
        let dead = place.path().join(".report.onus-dead");
        let alive = place.path().join(".report.onus-alive");
        fs::create_dir(&dead).unwrap();
        fs::create_dir(&alive).unwrap();
        let held = File::open(&alive).unwrap();
        rustix::fs::flock(&held, FlockOperation::NonBlockingLockExclusive).unwrap();
        write(&target, &files("one"), Existing::Keep, &[]).unwrap();
        assert_eq!(names(place.path()), [".report.onus-alive", "report"]);
    }
}
