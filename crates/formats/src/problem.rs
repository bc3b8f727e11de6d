//! What is wrong with an input: where, what was found, what was expected.

use std::fmt;

/// One thing wrong with one file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// File name as the user gave it.
    pub file: String,
    /// Line, from 1, where one can be named.
    pub line: Option<usize>,
    /// Column in characters, from 1, where one can be named.
    pub column: Option<usize>,
    /// Key or column name, such as `plate[1].layers[0].thickness_mm`.
    pub key: Option<String>,
    /// What stands there.
    pub found: String,
    /// What should stand there.
    pub expected: String,
    /// The offending line, to be shown.
    pub line_text: Option<String>,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.file)?;
        if let Some(line) = self.line {
            write!(f, ":{line}")?;
            if let Some(column) = self.column {
                write!(f, ":{column}")?;
            }
        }
        write!(f, ": ")?;
        if let Some(key) = &self.key {
            write!(f, "{key}: ")?;
        }
        write!(f, "found {}, expected {}", self.found, self.expected)?;
        if let (Some(line), Some(text)) = (self.line, &self.line_text) {
            write!(f, "\n  {line:>5} | {text}")?;
            if let Some(column) = self.column {
                write!(f, "\n        | {:>column$}", '^')?;
            }
        }
        Ok(())
    }
}

/// Everything found wrong with a file; never empty.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problems(pub Vec<Problem>);

impl fmt::Display for Problems {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, problem) in self.0.iter().enumerate() {
            if i > 0 {
                writeln!(f)?;
            }
            write!(f, "{problem}")?;
        }
        Ok(())
    }
}

impl std::error::Error for Problems {}
