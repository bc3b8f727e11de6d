//! `calibration.json`: what a count weighs, how sure we are, and what was found wrong.

use std::collections::HashSet;

use serde::{Deserialize, Serialize};

use crate::deck::Deck;
pub use crate::fit_detail::{CellDetail, CellDrift, Comparison, Due, FitDetail, RowDetail, TermDetail};
use crate::json_place;
use crate::limits::{Limits, quoted};
use crate::toml_document::without_bom;
use crate::{Problem, Problems};

/// A calibration of one deck.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Calibration {
    /// Name of the deck.
    pub deck: String,
    /// When it was made, RFC 3339.
    pub made_at: String,
    /// Gravity where it was made, m/s².
    pub gravity_m_s2: f64,
    /// The cells, in the order of the deck.
    pub cells: Vec<CellCalibration>,
    /// Residual standard deviation of the load equations, g.
    pub residual_sd_g: f64,
    /// Degrees of freedom of the fit.
    pub degrees_of_freedom: usize,
    /// P-value of the lack-of-fit test; `None` without replicates.
    pub lack_of_fit_p: Option<f64>,
    /// Largest residual of a load equation, g.
    pub max_residual_g: f64,
    /// Bodies of unknown mass, as found.
    pub loads: Vec<FoundLoad>,
    /// Covariance of all parameters.
    pub covariance: Covariance,
    /// What is wrong, if anything.
    pub findings: Vec<Finding>,
    /// Residual of each row, for plots.
    #[serde(default)]
    pub residuals: Vec<Residual>,
    /// How the fit came about; absent from files of other makers.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub detail: Option<FitDetail>,
}

/// One cell's line: kg = (counts − zero_counts) · kg_per_count.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CellCalibration {
    /// Name.
    pub name: String,
    /// Counts without load; `None` where the run does not determine it.
    pub zero_counts: Option<f64>,
    /// Standard uncertainty of the zero, counts.
    #[serde(default)]
    pub u_zero_counts: Option<f64>,
    /// Kilograms (conventional mass, at the calibration's gravity) a count.
    pub kg_per_count: Option<f64>,
    /// Standard uncertainty of it.
    pub u_kg_per_count: Option<f64>,
    /// What may be said of the cell.
    pub status: CellStatus,
}

/// State of one cell's calibration.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum CellStatus {
    /// Determined, and nothing was found wrong.
    Good,
    /// Determined, but a finding names the cell.
    Suspect,
    /// The run leaves it open.
    NotDetermined,
}

/// A body whose mass the run found.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FoundLoad {
    /// Which body.
    pub label: String,
    /// Mass, kg.
    pub kg: f64,
    /// Standard uncertainty, kg.
    pub u_kg: f64,
}

/// Covariance of the fitted parameters.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Covariance {
    /// What each row and column is: `zero:<cell>` (counts), `gain:<cell>` (kg per count), `load:<label>` (kg).
    pub parameters: Vec<String>,
    /// The symmetric matrix, row by row.
    pub matrix: Vec<Vec<f64>>,
}

/// Something wrong in a run.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Finding {
    /// Kind.
    pub kind: FindingKind,
    /// The cell, where one can be named.
    pub cell: Option<String>,
    /// A sentence with the evidence.
    pub text: String,
}

/// Kind of finding.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum FindingKind {
    /// Counts fall under load.
    Reversed,
    /// The cell does not answer.
    Dead,
    /// The cell answers to another cell's place.
    Swapped,
    /// Far noisier than its fellows.
    Noisy,
    /// Not a straight line.
    Nonlinear,
    /// A row that does not belong.
    Outlier,
    /// The placements leave the cell open.
    NotDetermined,
}

/// Residual of one load equation.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Residual {
    /// Line of the run file.
    pub line: usize,
    /// The row's step.
    pub step: String,
    /// Plate, empty for a zero reading.
    pub plate: String,
    /// Load, kg.
    pub load_kg: f64,
    /// Fitted less stated load, g.
    pub residual_g: f64,
}

/// Reads a calibration.
///
/// # Errors
/// Text that is not JSON, a field that is missing or of a wrong kind (the first of them), and everything that
/// contradicts itself: a cell twice, a covariance that does not fit its parameters.
pub fn read(file: &str, text: &str) -> Result<Calibration, Problems> {
    let text = without_bom(text);
    let mut json = serde_json::Deserializer::from_str(text);
    let calibration: Calibration = serde_path_to_error::deserialize(&mut json)
        .map_err(|e| json_problem(file, text, &e.path().to_string(), e.inner(), WRITTEN))?;
    json.end().map_err(|e| json_problem(file, text, ".", &e, WRITTEN))?;
    let problems = check(file, text, &calibration);
    if problems.is_empty() { Ok(calibration) } else { Err(Problems(problems)) }
}

/// What a calibration should be.
const WRITTEN: &str = "JSON as `calibrate` writes it";

/// What the library that reads JSON says of a text, as a problem of its file.
pub(crate) fn json_problem(file: &str, text: &str, path: &str, error: &serde_json::Error, written: &str) -> Problem {
    let message = error.to_string();
    let reason = message.rsplit_once(" at line ").map_or(message.as_str(), |(reason, _)| reason);
    let (found, expected) = match reason.split_once(", expected ") {
        Some((found, expected)) => (found.to_owned(), expected.to_owned()),
        None if reason.starts_with("missing field ") => {
            (reason.replacen("missing field", "an object without", 1), "this field as well".to_owned())
        }
        None => (format!("text that cannot be read ({reason})"), written.to_owned()),
    };
    let mut problem = Problem::new(file, found, expected);
    if path != "." && !path.is_empty() {
        problem = problem.key(path);
    }
    if error.line() == 0 {
        return problem;
    }
    let line = text.lines().nth(error.line() - 1).unwrap_or_default();
    // The library counts columns in bytes.
    let before = line.bytes().take(error.column().saturating_sub(1)).filter(|b| b & 0xc0 != 0x80).count();
    problem.line(error.line(), line).column(Some(before + 1))
}

/// A problem at the place of a key's value.
fn placed(problem: Problem, text: &str, key: &str) -> Problem {
    let offset = json_place::offset_of(text, key);
    let before = &text[..offset];
    let line_start = before.rfind('\n').map_or(0, |at| at + 1);
    let line = text.lines().nth(before.matches('\n').count()).unwrap_or_default();
    problem.line(before.matches('\n').count() + 1, line).column(Some(text[line_start..offset].chars().count() + 1))
}

/// What a calibration says that cannot be so.
fn check(file: &str, text: &str, calibration: &Calibration) -> Vec<Problem> {
    let mut problems = Vec::new();
    let mut note = |key: String, found: String, expected: &str| {
        problems.push(placed(Problem::new(file, found, expected), text, &key).key(key));
    };
    let gravity = Limits::between(9.75, 9.85);
    if !gravity.allow(calibration.gravity_m_s2) {
        note(
            "gravity_m_s2".to_owned(),
            calibration.gravity_m_s2.to_string(),
            "gravity on the ground, 9.75 to 9.85 m/s²",
        );
    }
    if calibration.made_at.parse::<jiff::Timestamp>().is_err() {
        note(
            "made_at".to_owned(),
            quoted(&calibration.made_at),
            "a time as RFC 3339 with its zone, such as 2031-03-04T08:00:00Z",
        );
    }
    if calibration.cells.is_empty() {
        note("cells".to_owned(), "no cell".to_owned(), "at least one");
    }
    let mut names = HashSet::new();
    for (i, cell) in calibration.cells.iter().enumerate() {
        if !names.insert(cell.name.as_str()) {
            note(format!("cells[{i}].name"), quoted(&cell.name), "each cell once");
        }
        let determined = cell.zero_counts.is_some() && cell.kg_per_count.is_some();
        if !determined && cell.status != CellStatus::NotDetermined {
            note(
                format!("cells[{i}]"),
                "no zero or no kilograms a count".to_owned(),
                "both, or the status `not-determined`",
            );
        }
        if cell.kg_per_count.is_some_and(|gain| gain.abs() <= 0.0) {
            note(format!("cells[{i}].kg_per_count"), "0".to_owned(), "what a count weighs, which is not nothing");
        }
        for (key, u) in [("u_zero_counts", cell.u_zero_counts), ("u_kg_per_count", cell.u_kg_per_count)] {
            if let Some(u) = u.filter(|u| *u < 0.0) {
                note(format!("cells[{i}].{key}"), u.to_string(), "an uncertainty of at least 0");
            }
        }
    }
    for (i, load) in calibration.loads.iter().enumerate().filter(|(_, l)| l.u_kg < 0.0) {
        note(format!("loads[{i}].u_kg"), load.u_kg.to_string(), "an uncertainty of at least 0");
    }
    let Covariance { parameters, matrix } = &calibration.covariance;
    let n = parameters.len();
    let expected = format!("length {n}, the number of parameters");
    if matrix.len() != n {
        note("covariance.matrix".to_owned(), format!("a matrix of length {}", matrix.len()), &expected);
    }
    for (i, row) in matrix.iter().enumerate().filter(|(_, row)| row.len() != n) {
        note(format!("covariance.matrix[{i}]"), format!("a row of length {}", row.len()), &expected);
    }
    problems
}

/// Whether a calibration is one of this deck: the same cells, whatever their order.
///
/// # Errors
/// Names the cells that one has and the other has not.
pub fn check_matches(calibration: &Calibration, file: &str, deck: &Deck) -> Result<(), Problems> {
    let calibrated: Vec<&str> = calibration.cells.iter().map(|c| c.name.as_str()).collect();
    let wanted: Vec<&str> = deck.cells().map(|(_, c)| c.name.as_str()).collect();
    let lacking: Vec<&str> = wanted.iter().filter(|n| !calibrated.contains(n)).copied().collect();
    let foreign: Vec<&str> = calibrated.iter().filter(|n| !wanted.contains(n)).copied().collect();
    if lacking.is_empty() && foreign.is_empty() {
        return Ok(());
    }
    let list = |names: &[&str]| names.iter().map(|n| format!("`{n}`")).collect::<Vec<_>>().join(", ");
    let mut found = format!("a calibration of the deck {}", quoted(&calibration.deck));
    if !lacking.is_empty() {
        found += &format!(" without the cells {}", list(&lacking));
    }
    if !foreign.is_empty() {
        let with = if lacking.is_empty() { "with" } else { "but with" };
        found += &format!(" {with} the cells {}", list(&foreign));
    }
    let expected = format!("a calibration of the deck {}, with its cells and no others", quoted(&deck.name));
    Err(Problem::new(file, found, expected).key("cells").into())
}

/// The calibration as text; [`read`] gives an equal one back.
///
/// Numbers must be finite: JSON knows no others, and they would be written as `null`.
#[must_use]
pub fn write(calibration: &Calibration) -> String {
    // Plain data with texts for keys: there is nothing in it that JSON could refuse.
    let mut text = serde_json::to_string_pretty(calibration).unwrap_or_default();
    text.push('\n');
    text
}
