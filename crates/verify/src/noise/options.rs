//! Which part of a recording is judged.

/// Which part of a recording is judged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NoiseOptions {
    /// From this time on, s.
    pub from_s: f64,
    /// Up to this time, s.
    pub to_s: f64,
    /// At most this many rows.
    pub most_rows: usize,
}

impl Default for NoiseOptions {
    /// All of it, up to 2¹⁹ rows: 14 hours at 10 Hz, and 100 MB for 24 cells.
    fn default() -> Self {
        Self { from_s: f64::NEG_INFINITY, to_s: f64::INFINITY, most_rows: 1 << 19 }
    }
}
