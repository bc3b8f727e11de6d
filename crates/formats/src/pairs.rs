//! `pairs.csv`: two methods on the same subjects.

/// One pair.
#[derive(Debug, Clone, PartialEq)]
pub struct Pair {
    /// Line of the file, from 1.
    pub line: usize,
    /// Subject, as written.
    pub subject: String,
    /// The reference method.
    pub reference: f64,
    /// The method under test.
    pub method: f64,
    /// Which repeat, where given.
    pub repeat: Option<String>,
    /// Who measured, where given.
    pub operator: Option<String>,
}
