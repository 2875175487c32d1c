//! What commands share: the site file and the reading of records, with
//! progress and doubts on stderr.

use std::path::{Path, PathBuf};

use super::Error;
use super::terminal::{Stages, tell};
use crate::records::{self, OnReject, ReadOptions, Records};
use crate::site::Site;

/// Name of a site file.
const SITE_FILE: &str = "onus.toml";
/// Most doubts told on stderr.
const DOUBTS: usize = 8;

/// Loads the site file given, else the `onus.toml` in or beside an input, else
/// that of the working folder, and tells which; else the defaults.
pub(super) fn site(given: Option<&Path>, inputs: &[PathBuf]) -> Result<Site, Error> {
    if let Some(path) = given {
        return Ok(Site::load(path)?);
    }
    let Some(path) = beside(inputs) else {
        return Ok(Site::default());
    };
    let site = Site::load(&path)?;
    tell(&format!("note: read by the rules of {}", path.display()));
    Ok(site)
}

/// The site file that goes with the inputs.
fn beside(inputs: &[PathBuf]) -> Option<PathBuf> {
    let near = inputs.iter().flat_map(|input| {
        let folder = input.is_dir().then(|| input.clone());
        folder.into_iter().chain(input.parent().map(Path::to_owned))
    });
    near.chain([PathBuf::new()])
        .map(|folder| folder.join(SITE_FILE))
        .find(|path| path.is_file())
}

/// Reads the records, with progress on a terminal.
#[expect(
    clippy::disallowed_methods,
    reason = "dates after today are warned of; nothing else asks the clock"
)]
pub(super) fn records(
    inputs: &[PathBuf],
    site: &Site,
    on_reject: OnReject,
) -> Result<Records, Error> {
    let stages = Stages::default();
    stages.begin("reading");
    let show = |done: usize, of: usize| stages.at(done, of);
    let options = ReadOptions {
        now: Some(jiff::Timestamp::now()),
        on_reject,
        progress: Some(&show),
    };
    Ok(records::read(inputs, site, &options)?)
}

/// Tells the doubts on stderr, the first few in full.
pub(super) fn doubts<'a>(warnings: impl Iterator<Item = &'a records::Warning>) {
    let mut more = 0usize;
    for (i, warning) in warnings.enumerate() {
        if i < DOUBTS {
            tell(&format!("warning: {}", warning.text));
        } else {
            more += 1;
        }
    }
    if more > 0 {
        tell(&format!(
            "warning: {more} more; findings.json and the data page have all"
        ));
    }
}

/// The paths given, with patterns followed; what is no pattern stays as given.
pub(super) fn expanded(inputs: &[PathBuf]) -> Vec<PathBuf> {
    let mut out = Vec::new();
    for path in inputs {
        let matches: Vec<PathBuf> = match path.to_str() {
            Some(pattern) if !path.exists() => {
                glob::glob(pattern).map_or_else(|_| Vec::new(), |found| found.flatten().collect())
            }
            _ => Vec::new(),
        };
        if matches.is_empty() {
            out.push(path.clone());
        } else {
            out.extend(matches);
        }
    }
    out
}
