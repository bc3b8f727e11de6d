//! What is said of every formula: its name, its text, where it comes from and how well that is known.

use serde::Serialize;

/// How well coefficients are confirmed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Status {
    /// Read in the paper or in a page that quotes it.
    Read,
    /// Read in a secondary page only.
    ReadSecondary,
    /// From memory, not confirmed by a page: check before it is relied on.
    Memory,
    /// A definition, or computed from one.
    Definition,
}

/// A formula's facts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Formula {
    /// Name and year.
    pub name: &'static str,
    /// The formula, with the units of its inputs.
    pub formula: &'static str,
    /// Where it comes from.
    pub source: &'static str,
    /// How well that is confirmed.
    pub status: Status,
    /// Where it holds.
    pub range: &'static str,
    /// Its published error, or what to beware of.
    pub caution: &'static str,
}
