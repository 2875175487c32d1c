//! `onus completions` and `onus man`: from the same definitions as the
//! commands themselves.

use std::io::Write;

use clap::CommandFactory;
use clap_complete::Shell;

use super::{Error, Onus};

/// Print completions for a shell, to be sourced or put where it looks for them.
#[derive(Debug, clap::Args)]
pub(super) struct Completions {
    /// The shell.
    shell: Shell,
}

/// Print the manual page, as man reads it.
#[derive(Debug, clap::Args)]
pub(super) struct Man {
    /// A command, for its own page.
    command: Option<String>,
}

pub(super) fn completions(args: &Completions, out: &mut impl Write) -> Result<(), Error> {
    let mut text = Vec::new();
    clap_complete::generate(args.shell, &mut Onus::command(), "onus", &mut text);
    out.write_all(&text)?;
    Ok(())
}

pub(super) fn man(args: &Man, out: &mut impl Write) -> Result<(), Error> {
    let mut all = Onus::command();
    all.build();
    let command = match &args.command {
        None => all,
        Some(name) => {
            let found = all.get_subcommands().find(|c| c.get_name() == name);
            let Some(found) = found else {
                let names: Vec<&str> = all.get_subcommands().map(clap::Command::get_name).collect();
                return Err(Error::NoCommand {
                    name: name.clone(),
                    names: names.join(", "),
                });
            };
            found.clone()
        }
    };
    clap_mangen::Man::new(command).render(out)?;
    Ok(())
}
