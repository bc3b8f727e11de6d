//! `recording.csv`: counts over time, read row by row in constant memory.

/// What the columns of a recording are.
#[derive(Debug, Clone, PartialEq)]
pub struct Header {
    /// Names of the cells, in the order of the deck; `counts` of each sample follow it.
    pub cells: Vec<String>,
    /// Names of the sections that have a tilt column; `tilt_deg` of each sample follows it.
    pub tilts: Vec<String>,
    /// Whether temperature is recorded.
    pub has_temperature: bool,
}

/// One row.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Sample {
    /// Time since the start, s.
    pub t_s: f64,
    /// Temperature, °C.
    pub temperature_c: Option<f64>,
    /// Angle of each section to the horizontal, °.
    pub tilt_deg: Vec<f64>,
    /// Counts of each cell; `None`: sample lost.
    pub counts: Vec<Option<f64>>,
}
