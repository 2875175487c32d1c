//! What can go wrong in a command and how the user is told.

use std::process::ExitCode;

/// An error of a command, with a hint what to do next.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// Standard output is gone or full.
    #[error("cannot write the result: {0}")]
    Output(#[from] std::io::Error),
}

impl Error {
    /// What to do next, where there is something to say.
    #[must_use]
    pub fn hint(&self) -> Option<String> {
        match self {
            Error::Output(_) => None,
        }
    }

    /// Prints the error and its hint; exit code 1.
    #[expect(
        clippy::print_stderr,
        reason = "the command layer is where errors are told"
    )]
    pub(super) fn print(&self) -> ExitCode {
        eprintln!("error: {self}");
        if let Some(hint) = self.hint() {
            eprintln!("hint: {hint}");
        }
        ExitCode::from(1)
    }
}
