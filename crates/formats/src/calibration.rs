//! `calibration.json`: what a count weighs, how sure we are, and what was found wrong.

use serde::{Deserialize, Serialize};

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
