//! Standard output carries the result alone: a table for a person, or one JSON document.

use std::io::{self, Write};

use serde::Serialize;

use crate::failure::Failure;

/// Done; and whether every limit was met.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Outcome {
    /// Exit status 0.
    Met,
    /// Exit status 1.
    NotMet,
}

impl Outcome {
    /// `Met` where `met`.
    pub(crate) fn of(met: bool) -> Self {
        if met { Self::Met } else { Self::NotMet }
    }
}

/// Prints a text.
pub(crate) fn text(text: &str) -> Result<(), Failure> {
    let mut out = io::stdout().lock();
    out.write_all(text.as_bytes()).and_then(|()| out.flush()).map_err(closed)
}

/// Prints the report: as JSON, or by `table`.
pub(crate) fn report<T: Serialize>(json: bool, report: &T, table: impl FnOnce(&T) -> String) -> Result<(), Failure> {
    if json {
        let mut document = serde_json::to_string_pretty(report)
            .map_err(|e| Failure::Stage(format!("the result could not be written as JSON: {e}")))?;
        document.push('\n');
        text(&document)
    } else {
        text(&table(report))
    }
}

/// Standard output that cannot be written: its reader went away, or something worse.
pub(crate) fn closed(error: io::Error) -> Failure {
    if error.kind() == io::ErrorKind::BrokenPipe {
        Failure::OutputClosed
    } else {
        Failure::File { doing: "could not write standard output".into(), source: error, hint: "the result is lost" }
    }
}
