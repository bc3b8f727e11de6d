//! Why a verb could not do its work, as one message for the user.

use std::fmt;
use std::io::{self, Write};
use std::path::Path;
use std::process::ExitCode;

use formats::{Problem, Problems};

/// Could not be done: bad input, usage, or the file system.
#[derive(Debug)]
pub(crate) enum Failure {
    /// Something is wrong with an input file.
    Input(Problems),
    /// A file could not be read or written.
    File {
        /// What was tried, as in "could not read deck.toml".
        doing: String,
        /// What the system said.
        source: io::Error,
        /// What the user can do about it.
        hint: &'static str,
    },
    /// A stage refused what it was given.
    Stage(String),
    /// The reader of standard output went away: not an error of ours.
    OutputClosed,
}

impl Failure {
    /// A file that could not be read.
    pub(crate) fn read(path: &Path, source: io::Error) -> Self {
        let hint = match source.kind() {
            io::ErrorKind::NotFound => "check the name and the folder",
            io::ErrorKind::PermissionDenied => "you have no right to read it",
            io::ErrorKind::InvalidData => "the file must be UTF-8 text",
            io::ErrorKind::IsADirectory => "name a file, not a folder",
            _ => "the system refused",
        };
        Self::File { doing: format!("could not read {}", path.display()), source, hint }
    }

    /// A file that could not be written.
    pub(crate) fn write(path: &Path, source: io::Error) -> Self {
        let hint = match source.kind() {
            io::ErrorKind::NotFound => "the folder must exist",
            io::ErrorKind::PermissionDenied => "you have no right to write there",
            io::ErrorKind::StorageFull => "the disk is full; nothing was changed",
            _ => "nothing was changed",
        };
        Self::File { doing: format!("could not write {}", path.display()), source, hint }
    }

    /// A stage's own error about a named file.
    pub(crate) fn stage(file: &Path, error: &impl fmt::Display) -> Self {
        Self::Stage(format!("{}: {error}", file.display()))
    }

    /// Prints the message on standard error.
    pub(crate) fn print(&self) {
        if !matches!(self, Self::OutputClosed) {
            // If standard error is closed there is nobody left to tell.
            let _ = writeln!(io::stderr(), "bedplate: {self}");
        }
    }

    /// 2, or 0 where only the reader of our output went away.
    pub(crate) fn exit_code(&self) -> ExitCode {
        match self {
            Self::OutputClosed => ExitCode::SUCCESS,
            _ => ExitCode::from(2),
        }
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Input(problems) => write!(f, "{problems}"),
            Self::File { doing, source, hint } => write!(f, "{doing}: {source} ({hint})"),
            Self::Stage(text) => write!(f, "{text}"),
            Self::OutputClosed => write!(f, "standard output was closed"),
        }
    }
}

impl From<Problems> for Failure {
    fn from(problems: Problems) -> Self {
        Self::Input(problems)
    }
}

impl From<Problem> for Failure {
    fn from(problem: Problem) -> Self {
        Self::Input(Problems(vec![problem]))
    }
}
