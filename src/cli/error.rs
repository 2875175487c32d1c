//! What can go wrong in a command and how the user is told.

use std::io::ErrorKind;
use std::process::ExitCode;

use super::terminal::tell;
use crate::change::ChangeError;
use crate::demo::DemoError;
use crate::life::{ActionError, PastError};
use crate::records::RecordsError;
use crate::report::ReportError;
use crate::report::folder::FolderError;
use crate::site::SiteError;
use crate::trial::TrialError;

/// An error of a command, with a hint what to do next.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// Standard output is gone or full.
    #[error("cannot write the result: {0}")]
    Output(#[from] std::io::Error),
    /// A manual page of no command.
    #[error("{name}: no such command")]
    NoCommand {
        /// What was asked for.
        name: String,
        /// What there is.
        names: String,
    },
    /// The site file.
    #[error(transparent)]
    Site(#[from] SiteError),
    /// Reading the inspection files.
    #[error(transparent)]
    Records(#[from] RecordsError),
    /// A comparison that can't be made as asked.
    #[error(transparent)]
    Change(#[from] ChangeError),
    /// A trial that can't be planned as asked.
    #[error(transparent)]
    Trial(#[from] TrialError),
    /// The last report.
    #[error(transparent)]
    Previous(#[from] PastError),
    /// The file of what was done.
    #[error(transparent)]
    Actions(#[from] ActionError),
    /// Writing the demo's records.
    #[error(transparent)]
    Demo(#[from] DemoError),
    /// Making the report.
    #[error(transparent)]
    Report(#[from] ReportError),
    /// Writing the folder.
    #[error(transparent)]
    Folder(#[from] FolderError),
}

impl Error {
    /// What to do next, where there is something to say.
    #[must_use]
    pub fn hint(&self) -> Option<String> {
        match self {
            Error::Output(_) => None,
            Error::NoCommand { names, .. } => Some(format!("there are {names}")),
            Error::Site(error) => error.hint(),
            Error::Records(error) => error.hint(),
            Error::Change(error) => error.hint(),
            Error::Trial(error) => error.hint(),
            Error::Previous(error) => error.hint(),
            Error::Actions(error) => error.hint(),
            Error::Demo(error) => error.hint(),
            Error::Report(_) => {
                Some("this is a fault of onus; the message helps to mend it".into())
            }
            Error::Folder(error) => error.hint(),
        }
    }

    /// Prints the error and its hint; exit code 1, or 2 where what was typed is
    /// wrong in itself. A reader that went away
    /// (`onus … | head`) is told nothing.
    pub(super) fn print(&self) -> ExitCode {
        if let Error::Output(error) = self
            && error.kind() == ErrorKind::BrokenPipe
        {
            return ExitCode::from(1);
        }
        tell(&format!("error: {self}"));
        if let Some(hint) = self.hint() {
            tell(&format!("hint: {hint}"));
        }
        match self {
            Error::Trial(error) if error.is_usage() => ExitCode::from(2),
            _ => ExitCode::from(1),
        }
    }
}
