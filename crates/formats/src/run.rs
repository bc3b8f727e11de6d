//! `run.csv`: a calibration run, one settled reading a row.

/// A run over the cells of a deck.
#[derive(Debug, Clone, PartialEq)]
pub struct Run {
    /// Names of the cells, in the order of the deck; `counts` of each row follow it.
    pub cells: Vec<String>,
    /// Rows in the order of the file.
    pub rows: Vec<Row>,
}

/// One settled reading.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Line of the file, from 1, to be named in findings.
    pub line: usize,
    /// The `step` column as written.
    pub step: String,
    /// What lay on the deck.
    pub load: Load,
    /// Temperature, °C, where given.
    pub temperature_c: Option<f64>,
    /// Mean counts of each cell.
    pub counts: Vec<f64>,
}

/// What lay on the deck during a reading.
#[derive(Debug, Clone, PartialEq)]
pub enum Load {
    /// Nothing.
    Zero,
    /// A body of known conventional mass at a place of a plate.
    Known {
        /// Where.
        at: Placement,
        /// Conventional mass, kg.
        mass_kg: f64,
        /// Its standard uncertainty, g; 0 where not given.
        u_mass_g: f64,
        /// The `load` column, where given: which body it was.
        label: Option<String>,
    },
    /// A body of unknown mass; rows of one label bear the same mass.
    Unknown {
        /// Where.
        at: Placement,
        /// Which body.
        label: String,
    },
}

/// A place on a named plate.
#[derive(Debug, Clone, PartialEq)]
pub struct Placement {
    /// Name of the plate.
    pub plate: String,
    /// Along x from the plate's corner, mm.
    pub x_mm: f64,
    /// Along y, mm.
    pub y_mm: f64,
}
