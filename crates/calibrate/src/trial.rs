//! A quick robust fit of one plate by itself: where the full problem starts, and how well a plate's moments agree.
//!
//! Linear in the gains, with the zeros taken as they were read and all rows alike: the sum to 0.2 % of the usual load,
//! places to 5 mm. Every gain is held near the common one of the plate, loosely, so that patterns of gains which the rows
//! leave open stay tame.

use crate::problem::{Body, LoadedRow, Problem};
use nalgebra::DMatrix;
use stats::regression::{RobustLoss, fit_robust};
use stats::robust::median;

/// Scales of the equations: share of the usual load, and metres of its place.
const LOAD_SHARE: f64 = 2e-3;
const PLACE_M: f64 = 5e-3;
/// How loosely a gain is held, in gains.
const HOLD: f64 = 0.5;

/// The fit.
#[derive(Debug, Clone)]
pub(crate) struct Trial {
    /// Gain of each channel of the plate, kg/count.
    pub(crate) gain: Vec<f64>,
    /// Where each load seems to lie less where it was put, mm.
    pub(crate) place_mm: Vec<[f64; 2]>,
}

impl Trial {
    /// Fits the rows of a plate. `None` where they leave fewer than three equations to spare or hold no known mass.
    pub(crate) fn new(problem: &Problem, zero: &[f64], plate: usize, loss: RobustLoss) -> Option<Self> {
        let channels = &problem.plates[plate].channels;
        let rows: Vec<&LoadedRow> = problem.rows.iter().filter(|r| r.plate == plate).collect();
        let mut unknown: Vec<usize> = rows.iter().map(|r| r.body).collect();
        unknown.retain(|b| matches!(problem.bodies[*b], Body::Unknown { .. }));
        unknown.sort_unstable();
        unknown.dedup();
        let n_columns = channels.len() + unknown.len();
        if 3 * rows.len() < n_columns + 3 {
            return None;
        }
        let usual_kg = usual_mass(problem, &rows)?;
        let common = common_gain(problem, zero, plate)?;
        let n_rows = 3 * rows.len() + channels.len();
        let mut design = DMatrix::zeros(n_rows, n_columns);
        let mut aim = vec![0.0; n_rows];
        let scale = [LOAD_SHARE, PLACE_M, PLACE_M].map(|s| 1.0 / (s * usual_kg));
        for (i, row) in rows.iter().enumerate() {
            let load = [1.0, row.at_m[0], row.at_m[1]];
            for e in 0..3 {
                for (j, &c) in channels.iter().enumerate() {
                    let at = problem.cells[c].at_m;
                    let moved = problem.count(row.row, c) - zero[c];
                    design[(3 * i + e, j)] = scale[e] * [1.0, at[0], at[1]][e] * common * moved;
                }
                match problem.bodies[row.body] {
                    Body::Known { mass_kg, .. } => aim[3 * i + e] = scale[e] * load[e] * mass_kg,
                    Body::Unknown { .. } => {
                        let j = channels.len() + unknown.iter().position(|b| *b == row.body)?;
                        design[(3 * i + e, j)] = -scale[e] * load[e];
                    }
                }
            }
        }
        for j in 0..channels.len() {
            design[(3 * rows.len() + j, j)] = 1.0 / HOLD;
            aim[3 * rows.len() + j] = 1.0 / HOLD;
        }
        let fit = fit_robust(&design, &aim, None, loss).ok()?.fit;
        let gain: Vec<f64> = fit.coefficients()[..channels.len()].iter().map(|k| k * common).collect();
        let place = |i: usize, e: usize| -fit.residuals()[3 * i + e] * PLACE_M * 1e3;
        let place_mm = (0..rows.len()).map(|i| [place(i, 1), place(i, 2)]).collect();
        gain.iter().all(|k| k.is_finite()).then_some(Self { gain, place_mm })
    }
}

/// One gain for all cells of a plate, so that their counts together weigh its known bodies (median over its rows).
pub(crate) fn common_gain(problem: &Problem, zero: &[f64], plate: usize) -> Option<f64> {
    let channels = &problem.plates[plate].channels;
    let ratios: Vec<f64> = problem
        .rows
        .iter()
        .filter(|r| r.plate == plate)
        .filter_map(|r| match problem.bodies[r.body] {
            Body::Known { mass_kg, .. } => {
                Some(mass_kg / channels.iter().map(|&c| (problem.count(r.row, c) - zero[c]).abs()).sum::<f64>())
            }
            Body::Unknown { .. } => None,
        })
        .filter(|ratio| ratio.is_finite())
        .collect();
    median(&ratios)
}

fn usual_mass(problem: &Problem, rows: &[&LoadedRow]) -> Option<f64> {
    let known: Vec<f64> = rows
        .iter()
        .filter_map(|r| match problem.bodies[r.body] {
            Body::Known { mass_kg, .. } => Some(mass_kg),
            Body::Unknown { .. } => None,
        })
        .collect();
    median(&known)
}
