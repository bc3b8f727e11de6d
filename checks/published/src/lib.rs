//! What a reference test computes, set against what was published.
//!
//! Each check names nothing: the test that makes it says its source in its own words, above it. Where the environment variable
//! [`FOLDER`] names a folder, every check is written down there too, with its place in the code, and the program of this crate
//! makes `docs/validation.md` of them: so the page holds what the tests held, and nothing else.

use std::fs::{self, OpenOptions};
use std::io::Write as _;
use std::panic::Location;
use std::path::Path;

/// The folder into which checks are written down.
pub const FOLDER: &str = "BEDPLATE_PUBLISHED";

/// One check, as it was written down.
#[derive(Debug, Clone, PartialEq)]
pub struct Check {
    /// File of the test, from the project's folder.
    pub file: String,
    /// Its line.
    pub line: usize,
    /// What was published.
    pub expected: f64,
    /// What was computed.
    pub found: f64,
    /// By how much they may differ.
    pub allowed: f64,
}

impl Check {
    /// The difference, as a share of what is allowed.
    #[must_use]
    pub fn share(&self) -> f64 {
        let off = (self.found - self.expected).abs();
        if off == 0.0 { 0.0 } else { off / self.allowed }
    }
}

/// Asserts that `found` is within `allowed` of `expected`.
///
/// # Panics
/// It is not.
#[track_caller]
pub fn within(found: f64, expected: f64, allowed: f64) {
    let off = (found - expected).abs();
    keep(found, expected, allowed, Location::caller());
    assert!(off <= allowed, "found {found}, expected {expected}: off by {off:.3e}, allowed {allowed:.1e}");
}

/// Asserts that `found` is within a share of `expected`.
///
/// # Panics
/// It is not.
#[track_caller]
pub fn within_share(found: f64, expected: f64, share: f64) {
    let off = (found / expected - 1.0).abs();
    keep(found, expected, share * expected.abs(), Location::caller());
    assert!(
        off <= share,
        "found {found:.16e}, expected {expected:.16e}: off by the share {off:.3e}, allowed {share:.1e}"
    );
}

/// Asserts that `found`, rounded to so many decimal places, is the printed `expected`.
///
/// # Panics
/// It is not.
#[track_caller]
pub fn printed(found: f64, expected: f64, decimals: i32) {
    // A binary fraction does not hold half of the last place exactly.
    let half = 0.5 * 10f64.powi(-decimals) * 1.000_001;
    keep(found, expected, half, Location::caller());
    assert!((found - expected).abs() <= half, "{found} is not {expected} to {decimals} places");
}

fn keep(found: f64, expected: f64, allowed: f64, at: &Location<'_>) {
    let Some(folder) = std::env::var_os(FOLDER) else { return };
    let line = format!("{}\t{}\t{expected:?}\t{found:?}\t{allowed:?}\n", at.file(), at.line());
    // A file for each process; a line is written at once, so that threads do not mix theirs.
    let path = Path::new(&folder).join(format!("{}.tsv", std::process::id()));
    fs::create_dir_all(&folder)
        .and_then(|()| OpenOptions::new().create(true).append(true).open(&path))
        .and_then(|mut file| file.write_all(line.as_bytes()))
        .unwrap_or_else(|e| panic!("could not write {}: {e}", path.display()));
}

/// Reads all checks that were written down in a folder, in the order of their places.
///
/// # Errors
/// The folder or a file cannot be read, or a line is no check.
pub fn read(folder: &Path) -> Result<Vec<Check>, String> {
    let mut checks = Vec::new();
    for entry in fs::read_dir(folder).map_err(|e| format!("{}: {e}", folder.display()))? {
        let path = entry.map_err(|e| e.to_string())?.path();
        let text = fs::read_to_string(&path).map_err(|e| format!("{}: {e}", path.display()))?;
        for (number, line) in (1..).zip(text.lines()) {
            checks.push(parse(line).ok_or_else(|| format!("{}:{number}: {line:?} is no check", path.display()))?);
        }
    }
    // The tests of these checks themselves publish nothing.
    checks.retain(|check: &Check| check.file.starts_with("crates/"));
    checks.sort_by(|a, b| (&a.file, a.line).cmp(&(&b.file, b.line)));
    Ok(checks)
}

fn parse(line: &str) -> Option<Check> {
    let fields: Vec<&str> = line.split('\t').collect();
    let [file, number, expected, found, allowed] = fields[..] else { return None };
    Some(Check {
        file: file.to_owned(),
        line: number.parse().ok()?,
        expected: expected.parse().ok()?,
        found: found.parse().ok()?,
        allowed: allowed.parse().ok()?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fails(check: impl FnOnce() + std::panic::UnwindSafe) -> bool {
        std::panic::catch_unwind(check).is_err()
    }

    #[test]
    fn what_is_off_fails_and_what_is_not_a_number_too() {
        within(1.0, 1.1, 0.11);
        within_share(1.0, -1.0, 2.0);
        printed(1.2349, 1.23, 2);
        assert!(fails(|| within(1.0, 1.1, 0.09)));
        assert!(fails(|| within_share(1.0, 1.1, 0.09)));
        assert!(fails(|| printed(1.2351, 1.23, 2)));
        assert!(fails(|| within(f64::NAN, 1.0, 1.0)) && fails(|| within_share(f64::NAN, 1.0, 1.0)));
        assert!(fails(|| printed(f64::NAN, 1.0, 1)));
    }

    #[test]
    fn a_check_written_down_comes_back() {
        let check = parse("crates/x/tests/y.rs\t12\t1.5\t1.25\t0.5").unwrap();
        assert_eq!((check.file.as_str(), check.line, check.share()), ("crates/x/tests/y.rs", 12, 0.5));
        assert_eq!(parse("crates/x/tests/y.rs\t12\t1.5"), None);
    }
}
