//! The longest stretch of a recording without a gap, found row by row.
//!
//! A gap is a lost sample of any cell, a step of time off the stretch's own by more than a quarter, or a section that
//! moved: before and after it the readings do not belong together.

use formats::recording::{Header, Sample};

use super::as_f64;
use super::options::NoiseOptions;

/// A step of time further off than this share of the usual one is a gap.
const STEP_TOLERANCE: f64 = 0.25;
/// Sections that stand within this of where they stood have not moved, ° (a reading's own noise).
const STILL_DEG: f64 = 0.5;

/// Rows without a gap.
#[derive(Debug, Clone, PartialEq)]
pub struct Stretch {
    /// Counts of each cell over the rows, in the order of the deck.
    pub counts: Vec<Vec<f64>>,
    /// Time of the first row, s.
    pub from_s: f64,
    /// Time of the last row, s.
    pub to_s: f64,
    /// Rows read in all.
    pub rows_read: usize,
    /// Stretches found in all.
    pub stretches: usize,
    /// Whether it ended because it was full, not at a gap.
    pub full: bool,
    /// Sections with a tilt and their angle in the first row, °.
    tilts: Vec<(String, f64)>,
}

impl Stretch {
    /// Rows.
    #[must_use]
    pub fn rows(&self) -> usize {
        self.counts.first().map_or(0, Vec::len)
    }

    /// Rows a second.
    #[must_use]
    pub fn rate_hz(&self) -> f64 {
        as_f64(self.rows().saturating_sub(1)) / (self.to_s - self.from_s)
    }

    /// Cosine of a section's angle; 1 where none was recorded.
    pub(super) fn cosine(&self, section: &str) -> f64 {
        self.tilts.iter().find(|(name, _)| name == section).map_or(1.0, |(_, deg)| deg.to_radians().cos())
    }
}

/// Finds the longest stretch while rows go by.
#[derive(Debug)]
pub struct StretchFinder {
    options: NoiseOptions,
    current: Stretch,
    best: Stretch,
    tilts_now: Vec<f64>,
    rows_read: usize,
    stretches: usize,
}

impl StretchFinder {
    /// For recordings with that header.
    #[must_use]
    pub fn new(header: &Header, options: NoiseOptions) -> Self {
        let empty = Stretch {
            counts: vec![Vec::new(); header.cells.len()],
            from_s: 0.0,
            to_s: 0.0,
            rows_read: 0,
            stretches: 0,
            full: false,
            tilts: header.tilts.iter().map(|name| (name.clone(), 0.0)).collect(),
        };
        Self { options, current: empty.clone(), best: empty, tilts_now: Vec::new(), rows_read: 0, stretches: 0 }
    }

    /// Takes the next row; false where no later row can change the result.
    pub fn push(&mut self, sample: &Sample) -> bool {
        if sample.t_s > self.options.to_s || self.current.full {
            return false;
        }
        if sample.t_s < self.options.from_s {
            return true;
        }
        self.rows_read += 1;
        if sample.counts.iter().any(Option::is_none) {
            self.close();
            return true;
        }
        if !self.follows(sample) {
            self.close();
        }
        if self.current.rows() == 0 {
            self.stretches += 1;
            self.current.from_s = sample.t_s;
            self.tilts_now.clone_from(&sample.tilt_deg);
            for ((_, kept), deg) in self.current.tilts.iter_mut().zip(&sample.tilt_deg) {
                *kept = *deg;
            }
        }
        self.current.to_s = sample.t_s;
        for (kept, counts) in self.current.counts.iter_mut().zip(&sample.counts) {
            kept.extend(counts);
        }
        self.current.full = self.current.rows() >= self.options.most_rows;
        !self.current.full
    }

    /// Whether a row goes on where the stretch ended.
    fn follows(&self, sample: &Sample) -> bool {
        let rows = self.current.rows();
        if rows == 0 {
            return true;
        }
        let moved = self.tilts_now.iter().zip(&sample.tilt_deg).any(|(a, b)| (a - b).abs() > STILL_DEG);
        if moved {
            return false;
        }
        if rows < 2 {
            return true;
        }
        let usual = (self.current.to_s - self.current.from_s) / as_f64(rows - 1);
        ((sample.t_s - self.current.to_s) / usual - 1.0).abs() <= STEP_TOLERANCE
    }

    /// Ends the stretch; it stays if none before was longer.
    fn close(&mut self) {
        if self.current.rows() > self.best.rows() {
            std::mem::swap(&mut self.best, &mut self.current);
        }
        self.current.counts.iter_mut().for_each(Vec::clear);
        self.current.full = false;
    }

    /// The longest stretch.
    #[must_use]
    pub fn finish(mut self) -> Stretch {
        self.close();
        Stretch { rows_read: self.rows_read, stretches: self.stretches, ..self.best }
    }
}
