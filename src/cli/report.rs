//! `onus report`.

use std::io::Write;

use super::Error;

/// Read inspection files and write a report folder.
#[derive(Debug, clap::Args)]
pub(super) struct Report {}

pub(super) fn run(_args: &Report, out: &mut impl Write) -> Result<(), Error> {
    writeln!(out, "not built yet")?;
    Ok(())
}
