//! `onus check`.

use std::io::Write;

use super::Error;

/// Say what was understood of the files and what they can answer.
#[derive(Debug, clap::Args)]
pub(super) struct Check {}

pub(super) fn run(_args: &Check, out: &mut impl Write) -> Result<(), Error> {
    writeln!(out, "not built yet")?;
    Ok(())
}
