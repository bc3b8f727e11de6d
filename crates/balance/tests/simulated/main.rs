//! The balance on invented patients with known truth: coverage, findings, laws.

mod coverage;
mod findings;
mod laws;
mod support;
mod wild;
