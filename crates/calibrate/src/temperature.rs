//! Temperature terms: zeros and gains that go with the temperature of the run, kept only where the data support them.
//!
//! | term | unknown | asked | evidence |
//! |---|---|---|---|
//! | temperature on zero | ζ of each cell, counts/°C | zero readings of the cell | Student's t of their slope over temperature |
//! | temperature on span | β, 1/°C, common to all cells | the fit with it | Student's t of β |
//!
//! The span's share is one for all cells: it comes from gauge and adhesive, which cells of a batch have alike, and no run of a few
//! masses tells it cell by cell. Kept is a term with a chance below [`FALSE_ALARM`] (over all cells for the zeros), and only
//! where the readings that it rests on span [`LEAST_SPAN_C`]: a line through less would be carried far beyond its ends.
//! Stated zeros and gains are those at the mean temperature of the run.
//!
//! Drift that runs with temperature by chance (a deck that settles while the room warms) cannot be told from it: let the room
//! go up and down again, or take zero readings throughout.

use crate::fit::{Setup, Solution};
use crate::lack_of_fit::load_freedom;
use crate::problem::Problem;
use crate::zeros::{Warm, Zero};
use stats::distribution::t_two_sided_p;

/// Chance of keeping a term of a deck that does not go with temperature.
pub(crate) const FALSE_ALARM: f64 = 1e-3;
/// Readings must span so much, °C.
pub(crate) const LEAST_SPAN_C: f64 = 2.0;
/// Fewest zero readings that show a line and a scatter about it.
const LEAST_READINGS: usize = 4;

/// The common share of the gains.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Span {
    /// β, 1/°C.
    pub(crate) per_c: f64,
    pub(crate) u_per_c: f64,
    /// Chance of such a share if gains did not go with temperature.
    pub(crate) p: f64,
}

impl Span {
    pub(crate) fn is_supported(&self) -> bool {
        self.p < FALSE_ALARM
    }
}

/// Largest less smallest.
pub(crate) fn span_of(values: impl Iterator<Item = f64>) -> f64 {
    let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
    (high - low).max(0.0)
}

/// The line of a cell's zero readings over how much warmer they were than the mean of the run.
pub(crate) fn line(warmer_c: &[f64], counts: &[f64]) -> Option<Warm> {
    if counts.len() < LEAST_READINGS || span_of(warmer_c.iter().copied()) < LEAST_SPAN_C {
        return None;
    }
    let n = counts.len() as f64;
    let [mean_c, mean] = [warmer_c, counts].map(|v| v.iter().sum::<f64>() / n);
    let spread: f64 = warmer_c.iter().map(|t| (t - mean_c).powi(2)).sum();
    let slope = warmer_c.iter().zip(counts).map(|(t, c)| (t - mean_c) * (c - mean)).sum::<f64>() / spread;
    let rest: f64 = warmer_c.iter().zip(counts).map(|(t, c)| (c - mean - slope * (t - mean_c)).powi(2)).sum();
    let freedom = n - 2.0;
    // A count is a whole number at best: the scatter is no smaller than that of rounding, 1/12.
    let u = ((rest / freedom).max(1.0 / 12.0) / spread).sqrt();
    Some(Warm { slope, mean_c, spread, rest, p: t_two_sided_p(slope / u, freedom) })
}

/// Keeps the lines that the readings support; of those cells scatter and noise are about the line.
pub(crate) fn keep_supported(problem: &Problem, zeros: &mut [Zero]) {
    let n_cells = problem.n_cells() as f64;
    for zero in zeros {
        zero.per_c = zero.per_c.filter(|warm| warm.p * n_cells < FALSE_ALARM);
        if let Some(warm) = zero.per_c {
            zero.scatter = (warm.rest / (zero.n as f64 - 2.0)).sqrt();
            zero.noise = zero.scatter;
        }
    }
}

/// Whether the loaded rows span enough to ask for a share of the gains.
pub(crate) fn may_ask_for_span(setup: &Setup) -> bool {
    loaded_span_c(setup) >= LEAST_SPAN_C
}

/// What the temperatures of the loaded rows in use span, °C; 0 where the run does not say them.
pub(crate) fn loaded_span_c(setup: &Setup) -> f64 {
    let rows = setup.problem.rows.iter().zip(&setup.used).filter(|(_, used)| **used);
    span_of(rows.map(|(row, _)| setup.problem.warmer_c[row.row]))
}

/// The share as fitted, where the fit holds it.
pub(crate) fn span(setup: &Setup, solution: &Solution) -> Option<Span> {
    let j = setup.layout.span_per_c()?;
    let (per_c, u_per_c) = (solution.state.span_per_c, solution.covariance[(j, j)].sqrt());
    let freedom: f64 = (0..solution.rows.len()).filter(|&i| setup.used[i]).map(|i| load_freedom(solution, i)).sum();
    Some(Span { per_c, u_per_c, p: t_two_sided_p(per_c / u_per_c, freedom.max(1.0)) })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: τ −2, −1, 0, 1, 2 and counts 1, 3, 2, 5, 4 have slope 8/10, rest 3.6, u = √(1.2/10), t = 2.3094 with 3
    /// degrees of freedom: p = 0.1041 (scipy 1.16 `stats.linregress`, 0.104088039661).
    #[test]
    fn a_line_of_five_readings_is_the_one_by_hand() {
        let warm = line(&[-2.0, -1.0, 0.0, 1.0, 2.0], &[1.0, 3.0, 2.0, 5.0, 4.0]).unwrap();
        assert!((warm.slope - 0.8).abs() < 1e-12 && (warm.rest - 3.6).abs() < 1e-12);
        assert!((warm.p - 0.104_088_039_661).abs() < 1e-9, "{}", warm.p);
    }

    #[test]
    fn a_narrow_room_or_few_readings_tell_nothing() {
        assert!(line(&[0.0, 0.5, 1.0, 1.9], &[0.0, 10.0, 20.0, 38.0]).is_none());
        assert!(line(&[0.0, 5.0, 10.0], &[0.0, 10.0, 20.0]).is_none());
        assert!(span_of(std::iter::empty()).abs() < 1e-300);
    }
}
