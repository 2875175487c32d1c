//! `onus columns`.

use std::io::Write;

use super::Error;

/// List the columns that onus reads, or write a site file for a sample.
#[derive(Debug, clap::Args)]
pub(super) struct Columns {}

pub(super) fn run(_args: &Columns, out: &mut impl Write) -> Result<(), Error> {
    writeln!(out, "not built yet")?;
    Ok(())
}
