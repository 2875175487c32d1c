//! The command line: one file per command.

use std::process::ExitCode;

use clap::{Parser, Subcommand};

mod check;
mod columns;
mod compare;
mod completions;
mod demo;
mod error;
mod input;
mod plan;
mod report;
mod terminal;

pub use error::Error;

/// Tells which surface defects of sanded panels the machine makes and which
/// came with the part, which recipe factor to move, and whether a change helped.
#[derive(Debug, Parser)]
#[command(version, about)]
struct Onus {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    Report(report::Report),
    Check(check::Check),
    Compare(compare::Compare),
    Plan(Box<plan::Plan>),
    Demo(demo::Demo),
    Columns(columns::Columns),
    Completions(completions::Completions),
    Man(completions::Man),
}

/// Parses the arguments, runs the command, prints the error.
///
/// Exit codes: 0 done; 1 the analysis could not be done; 2 wrong usage.
#[must_use]
pub fn main() -> ExitCode {
    crate::records::hush_decoder();
    let mut out = std::io::stdout().lock();
    let done = match &Onus::parse().command {
        Command::Report(args) => report::run(args, &mut out),
        Command::Check(args) => check::run(args, &mut out),
        Command::Compare(args) => compare::run(args, &mut out),
        Command::Plan(args) => plan::run(args, &mut out),
        Command::Demo(args) => demo::run(args, &mut out),
        Command::Columns(args) => columns::run(args, &mut out),
        Command::Completions(args) => completions::completions(args, &mut out),
        Command::Man(args) => completions::man(args, &mut out),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => error.print(),
    }
}
