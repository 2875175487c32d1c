//! `onus demo`.

use std::io::Write;
use std::path::{Path, PathBuf};

use super::terminal::plain;
use super::{Error, report};
use crate::demo::{self, DemoError, Workshop};

/// Make the records of a made-up workshop and report on them.
///
/// Writes inspections/ (one CSV per panel) and onus.toml below the folder,
/// then reports on them into report/. Nothing in the records is real.
#[derive(Debug, clap::Args)]
pub(super) struct Demo {
    /// Folder to write to.
    #[arg(long, value_name = "FOLDER", default_value = "reports/demo")]
    out: PathBuf,
    /// Seed of the made-up records; the same seed gives the same bytes.
    #[arg(long, default_value_t = 4)]
    seed: u64,
}

pub(super) fn run(args: &Demo, out: &mut impl Write) -> Result<(), Error> {
    let workshop = Workshop::from_fixture().map_err(DemoError::Settings)?;
    let files = demo::inspection_files(&workshop, args.seed);
    demo::write(&args.out, &files)?;
    let inspections = args.out.join(demo::INSPECTIONS);
    let site = args.out.join(demo::SITE_NAME);
    let target = args.out.join("report");
    writeln!(
        out,
        "{} made-up inspection files in {}",
        files.len(),
        plain(&inspections.display().to_string())
    )?;
    writeln!(
        out,
        "onus report {} --site {} --out {} --replace",
        shown(&inspections),
        shown(&site),
        shown(&target)
    )?;
    report::run(&report::Report::on(inspections, site, target), out)
}

fn shown(path: &Path) -> String {
    plain(&path.display().to_string())
}
