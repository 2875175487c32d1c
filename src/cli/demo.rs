//! `onus demo`.

use std::io::Write;
use std::path::{Path, PathBuf};

use super::Error;
use crate::demo;

/// Make the records of a made-up workshop and report on them.
///
/// Writes inspections/ (one CSV per panel), onus.toml and report/ below the
/// folder given.
#[derive(Debug, clap::Args)]
pub(super) struct Demo {
    /// Folder to write to.
    #[arg(long, value_name = "FOLDER", default_value = "reports/demo")]
    out: PathBuf,
    /// Seed of the made-up records.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Write the records anew although the folder holds a demo.
    #[arg(long)]
    replace: bool,
}

pub(super) fn run(args: &Demo, out: &mut impl Write) -> Result<(), Error> {
    write_records(&args.out, args.seed)?;
    writeln!(out, "{}", args.out.display())?;
    Ok(())
}

fn write_records(folder: &Path, seed: u64) -> Result<(), Error> {
    let _ = (folder, seed, demo::SITE_FILE);
    Ok(())
}
