//! What each cell reads without load.
//!
//! Every row without load, and every row with its load on another plate, is a zero reading of a cell. Their mean is an
//! observation of the cell's zero, their scatter its noise. Readings that do not belong are set aside first.

use crate::problem::Problem;
use crate::temperature;
use nalgebra::DMatrix;
use stats::regression::find_outliers;
use stats::robust::{MAD_TO_SD, mad_sd, median};

/// Degrees of freedom that the fellows' noise adds to a cell's own estimate: a cell with few zero readings leans on them.
const BORROWED_FREEDOM: f64 = 4.0;
/// Chance that any zero reading of a clean run is set aside.
const FALSE_ALARM: f64 = 1e-3;
/// A cell with more than this share of its zero readings far off is noisy; no reading of it is singled out.
const NOISY_SHARE: f64 = 0.1;
/// With fewer readings a median of their steps says little.
const LEAST_FOR_JITTER: usize = 6;

/// Zero readings of one cell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Zero {
    /// Mean, counts.
    pub(crate) mean: f64,
    /// How many readings.
    pub(crate) n: usize,
    /// Scatter of a single reading, counts; 0 where there is but one.
    pub(crate) scatter: f64,
    /// Noise from reading to reading, counts, deaf to drift and to the after-effect of loads; `None` with too few readings.
    pub(crate) jitter: Option<f64>,
    /// Noise of a single reading after leaning on the fellows, counts; above 0.
    pub(crate) noise: f64,
    /// What goes with temperature, where the term is kept; then scatter and noise are those about the line.
    pub(crate) per_c: Option<Warm>,
    /// Chance of the slope over temperature if there were none, kept or not; `None` where the readings cannot tell.
    pub(crate) warm_p: Option<f64>,
}

/// Zero readings of a cell over temperature: a straight line by least squares.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Warm {
    /// Counts for a degree.
    pub(crate) slope: f64,
    /// Mean of the readings' temperatures above that of the run, °C.
    pub(crate) mean_c: f64,
    /// Σ (τ − τ̄)², °C².
    pub(crate) spread: f64,
    /// Sum of squares about the line, counts².
    pub(crate) rest: f64,
    /// Chance of such a slope if the zero did not go with temperature (Student's t).
    pub(crate) p: f64,
}

/// A zero reading far from the others of its cell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct StrayZero {
    /// Row of the run.
    pub(crate) row: usize,
    pub(crate) channel: usize,
    /// From the other readings, counts.
    pub(crate) deviation: f64,
    /// The same in standard uncertainties.
    pub(crate) t: f64,
}

/// Which zero readings are set aside: a row's readings of a whole plate at once, for what lay or leaned there.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct SetAside {
    n_plates: usize,
    marks: Vec<bool>,
}

impl SetAside {
    pub(crate) fn nothing(problem: &Problem) -> Self {
        let n_plates = problem.plates.len();
        Self { n_plates, marks: vec![false; problem.run.rows.len() * n_plates] }
    }

    pub(crate) fn mark(&mut self, row: usize, plate: usize) {
        self.marks[row * self.n_plates + plate] = true;
    }

    pub(crate) fn holds(&self, row: usize, plate: usize) -> bool {
        self.marks[row * self.n_plates + plate]
    }
}

/// Zero readings of all cells without those set aside.
pub(crate) fn zeros(problem: &Problem, aside: &SetAside) -> Vec<Zero> {
    let mut zeros: Vec<Zero> = (0..problem.n_cells()).map(|c| own_zero(problem, aside, c)).collect();
    temperature::keep_supported(problem, &mut zeros);
    let scatters: Vec<f64> = zeros.iter().filter(|z| z.n > 1 && z.scatter > 0.0).map(|z| z.scatter).collect();
    // A median of the fellows, so that one noisy cell does not lift the others.
    let common = median(&scatters).unwrap_or(problem.converter_sd);
    for zero in &mut zeros {
        let freedom = zero.n.saturating_sub(1 + usize::from(zero.per_c.is_some())) as f64;
        let square =
            (freedom * zero.scatter.powi(2) + BORROWED_FREEDOM * common.powi(2)) / (freedom + BORROWED_FREEDOM);
        // 1/12: a count is a whole number at best.
        zero.noise = (square + 1.0 / 12.0).sqrt();
    }
    zeros
}

/// Zero readings far from the others of their cell.
pub(crate) fn stray_zeros(problem: &Problem) -> Vec<StrayZero> {
    let nothing = SetAside::nothing(problem);
    let alpha = FALSE_ALARM / problem.n_cells() as f64;
    let mut strays = Vec::new();
    for channel in 0..problem.n_cells() {
        let readings = readings(problem, &nothing, channel);
        let counts: Vec<f64> = readings.iter().map(|r| r.1).collect();
        // Counts that mostly agree to the digit have no scatter to judge by.
        if counts.len() < 4 || mad_sd(&counts).is_none_or(|sd| sd == 0.0) {
            continue;
        }
        let constant = DMatrix::from_element(counts.len(), 1, 1.0);
        let Ok(search) = find_outliers(&constant, &counts, None, alpha) else { continue };
        let allowed = after_effect(problem, channel, &counts);
        let far: Vec<StrayZero> = search
            .outliers
            .iter()
            .filter(|o| o.deviation.abs() > allowed)
            .map(|o| StrayZero { row: readings[o.row].0, channel, deviation: o.deviation, t: o.t })
            .collect();
        if far.len() as f64 <= NOISY_SHARE * counts.len() as f64 + 1.0 {
            strays.extend(far);
        }
    }
    strays
}

/// What a sound cell may keep of the largest load of the run after it is gone, counts.
fn after_effect(problem: &Problem, channel: usize, zeros: &[f64]) -> f64 {
    let site = &problem.cells[channel];
    let zero = median(zeros).unwrap_or(0.0);
    let own = problem.rows.iter().filter(|r| r.plate == site.plate);
    let largest = own.map(|r| (problem.count(r.row, channel) - zero).abs()).fold(0.0, f64::max);
    site.after_effect * largest
}

fn own_zero(problem: &Problem, aside: &SetAside, channel: usize) -> Zero {
    let readings = readings(problem, aside, channel);
    let n = readings.len();
    let mean = readings.iter().map(|r| r.1).sum::<f64>() / n.max(1) as f64;
    let square: f64 = readings.iter().map(|r| (r.1 - mean).powi(2)).sum();
    let scatter = if n > 1 { (square / (n as f64 - 1.0)).sqrt() } else { 0.0 };
    let counts: Vec<f64> = readings.iter().map(|r| r.1).collect();
    let warmer: Vec<f64> = readings.iter().map(|r| problem.warmer_c[r.0]).collect();
    let per_c = temperature::line(&warmer, &counts);
    Zero { mean, n, scatter, jitter: jitter(&counts), noise: scatter, warm_p: per_c.map(|w| w.p), per_c }
}

/// Robust standard deviation of a reading from the differences of successive ones, whose variance is twice a reading's.
fn jitter(counts: &[f64]) -> Option<f64> {
    if counts.len() < LEAST_FOR_JITTER {
        return None;
    }
    let steps: Vec<f64> = counts.windows(2).map(|pair| (pair[1] - pair[0]).abs()).collect();
    median(&steps).map(|m| MAD_TO_SD * m / std::f64::consts::SQRT_2)
}

/// The zero readings of a channel: row and counts.
fn readings(problem: &Problem, aside: &SetAside, channel: usize) -> Vec<(usize, f64)> {
    let plate = problem.cells[channel].plate;
    (0..problem.run.rows.len())
        .filter(|&row| problem.loaded_plate[row] != Some(plate) && !aside.holds(row, plate))
        .map(|row| (row, problem.count(row, channel)))
        .collect()
}

/// Median over the rows without any load: a zero that no exchange of channels can spoil.
pub(crate) fn bare_zero(problem: &Problem, channel: usize) -> f64 {
    let bare = (0..problem.run.rows.len()).filter(|&row| problem.loaded_plate[row].is_none());
    median(&bare.map(|row| problem.count(row, channel)).collect::<Vec<f64>>()).unwrap_or(0.0)
}
