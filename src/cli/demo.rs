//! `onus demo`.

use std::io::Write;

use super::Error;

/// Make the records of a made-up workshop and report on them.
#[derive(Debug, clap::Args)]
pub(super) struct Demo {}

pub(super) fn run(_args: &Demo, out: &mut impl Write) -> Result<(), Error> {
    writeln!(out, "not built yet")?;
    Ok(())
}
