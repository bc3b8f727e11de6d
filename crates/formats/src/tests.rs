//! `tests.csv`: metrological tests of a calibrated deck.

/// One reading of one test.
#[derive(Debug, Clone, PartialEq)]
pub struct Test {
    /// Line of the file, from 1.
    pub line: usize,
    /// Which test.
    pub kind: TestKind,
    /// The `step` column as written.
    pub step: String,
    /// Plate, where the load lay on one.
    pub plate: Option<String>,
    /// Place on the plate, mm.
    pub at_mm: Option<[f64; 2]>,
    /// Load, kg (conventional mass).
    pub load_kg: f64,
    /// What the deck showed, kg.
    pub indication_kg: f64,
    /// Small load at which the indication changed over, g.
    pub added_g: Option<f64>,
    /// Time under load, min.
    pub minutes: Option<f64>,
    /// Temperature, °C.
    pub temperature_c: Option<f64>,
    /// Tilt, °.
    pub tilt_deg: Option<f64>,
}

/// Kind of test, by the words of OIML R 76-1.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum TestKind {
    /// Loads over the range.
    Weighing,
    /// One load on each support.
    Eccentricity,
    /// One load many times.
    Repeatability,
    /// A small load more must show.
    Discrimination,
    /// Zero setting.
    Zero,
    /// Tare setting.
    Tare,
    /// A load left lying.
    Creep,
    /// Zero after a load.
    ZeroReturn,
    /// At an angle.
    Tilt,
    /// Warm and cold.
    Temperature,
}

impl TestKind {
    /// The word of the file.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Weighing => "weighing",
            Self::Eccentricity => "eccentricity",
            Self::Repeatability => "repeatability",
            Self::Discrimination => "discrimination",
            Self::Zero => "zero",
            Self::Tare => "tare",
            Self::Creep => "creep",
            Self::ZeroReturn => "zero_return",
            Self::Tilt => "tilt",
            Self::Temperature => "temperature",
        }
    }
}
