//! What a fit says of itself beside its lines: an extra field of `calibration.json`, absent from files of other makers.

use serde::{Deserialize, Serialize};

/// How the fit came about and how far it may be trusted.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FitDetail {
    /// Scatter of a cell in proportion to its load, %, as found or taken.
    pub scatter_pct: f64,
    /// Standard uncertainty of the place of a load along each axis, mm, as found or taken.
    pub place_mm: f64,
    /// Degrees of freedom of the load equations, not a whole number: 1 − leverage, summed over the rows used.
    pub load_degrees_of_freedom: f64,
    /// Condition number of the equations, each unknown in units of its own uncertainty: 1 where all are told apart as if
    /// each had been measured alone.
    pub condition_number: f64,
    /// What would make the run say more, in plain sentences.
    pub advice: Vec<String>,
    /// Mean temperature of the run, °C, which the stated zeros and gains hold at; absent where a row does not say its own.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub temperature_c: Option<f64>,
    /// Share by which all gains' counts for a kilogram rise for a degree, 1/°C, where the run supports it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub span_per_c: Option<f64>,
    /// Its standard uncertainty, 1/°C.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub u_span_per_c: Option<f64>,
    /// Terms that the data may or may not support, and what became of them.
    pub terms: Vec<TermDetail>,
    /// The cells, in the order of the deck.
    pub cells: Vec<CellDetail>,
    /// The loaded rows, in the order of the run.
    pub rows: Vec<RowDetail>,
    /// What changed since an earlier calibration, where one was given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub earlier: Option<Comparison>,
    /// By when to calibrate again.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub due: Option<Due>,
}

/// This calibration against an earlier one.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Comparison {
    /// When the earlier was made.
    pub made_at: String,
    /// Days since then.
    pub days: Option<f64>,
    /// The cells that both know.
    pub cells: Vec<CellDrift>,
    /// Mean drift of the gains, %.
    pub mean_drift_pct: f64,
    /// Its standard uncertainty, %.
    pub u_mean_drift_pct: f64,
    /// What it comes to, in a sentence.
    pub text: String,
}

/// Drift of one cell.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CellDrift {
    /// Name.
    pub name: String,
    /// Whether it is a new cell.
    pub is_replaced: bool,
    /// Change of its gain, %; `None` of a new cell and of one that the run does not test.
    pub drift_pct: Option<f64>,
    /// Standard uncertainty of it, %.
    pub u_drift_pct: Option<f64>,
    /// Chance of such a drift among all cells if none drifted.
    pub p: Option<f64>,
    /// Whether it is more than chance explains.
    pub is_significant: bool,
    /// Change of its zero, kg.
    pub zero_shift_kg: Option<f64>,
}

/// By when to calibrate again.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Due {
    /// The day, RFC 3339.
    pub on: String,
    /// Why then.
    pub why: String,
}

/// A term beyond straight lines.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TermDetail {
    /// Which: `curvature`, `temperature on zero`, `temperature on span`.
    pub term: String,
    /// Whether it is in the fit.
    pub kept: bool,
    /// Probability of such data if the term were none; `None` where the run cannot tell.
    pub p: Option<f64>,
    /// The criterion and what was found, in a sentence.
    pub text: String,
}

/// More of one cell.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CellDetail {
    /// Name.
    pub name: String,
    /// The load that its gain stands for, kg: Σ F³/Σ F² over the loads it bore in the run.
    pub load_kg: Option<f64>,
    /// The largest load it bore in the run, kg.
    pub largest_kg: Option<f64>,
    /// Standard uncertainty of the gain at any load up to the rated and after any time: that of the run with what the data
    /// sheet allows in bow, hysteresis and creep; kg per count.
    pub u_any_load_kg_per_count: Option<f64>,
    /// The same in % of the gain.
    pub u_any_load_pct: Option<f64>,
    /// Counts by which the zero rises for a degree, where the run supports it; the stated zero is at the run's mean temperature.
    pub zero_counts_per_c: Option<f64>,
    /// Its standard uncertainty.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub u_zero_counts_per_c: Option<f64>,
}

/// More of one loaded row.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RowDetail {
    /// Line of the run file.
    pub line: usize,
    /// Whether it took part; rows that do not belong are left out.
    pub used: bool,
    /// How far its load equation fits itself, 0 to 1: near 1, no other row tests it.
    pub leverage: f64,
}
