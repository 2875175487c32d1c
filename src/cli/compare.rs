//! `onus compare`.

use std::io::Write;

use super::Error;

/// Compare defects and removal before and after a change.
#[derive(Debug, clap::Args)]
pub(super) struct Compare {}

pub(super) fn run(_args: &Compare, out: &mut impl Write) -> Result<(), Error> {
    writeln!(out, "not built yet")?;
    Ok(())
}
