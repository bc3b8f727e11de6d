//! Cells that are not straight: R = k d + κ d².
//!
//! Each cell's curvature is tried against the residuals of the straight fit: the added column b, cleared of what the other
//! unknowns explain, gives κ = −bᵀe / bᵀ(1 − H)b. The most suspect cells are fitted in full, the most significant taken
//! in, and so on until none is left. A cell counts as not straight where the deviation is significant and beyond what its data sheet allows,
//! ± `nonlinearity_pct` of rated output at mid-range: |κ|/k² · C²/4 for capacity C.

use crate::fit::{Setup, Solution, jacobian};
use crate::lack_of_fit::load_freedom;
use nalgebra::{DMatrix, DVector, Vector3};
use stats::distribution::t_two_sided_p;

/// Chance that any cell of a clean run is called not straight.
pub(crate) const FALSE_ALARM: f64 = 1e-3;

/// A curvature of fewer standard uncertainties is not followed up.
const SUSPECT_T: f64 = 2.0;
/// So many suspects are followed up: a curved cell shows in its neighbours, which share its loads.
const MOST_SUSPECTS: usize = 4;

/// A cell that is not straight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Curved {
    pub(crate) channel: usize,
    /// κ, kg/count².
    pub(crate) curvature: f64,
    pub(crate) u_curvature: f64,
    /// Deviation at mid-range from a straight line, % of rated output.
    pub(crate) nonlinearity_pct: f64,
    pub(crate) u_nonlinearity_pct: f64,
}

impl Curved {
    /// Curvature over its standard uncertainty, without sign.
    pub(crate) fn significance(&self) -> f64 {
        self.curvature.abs() / self.u_curvature
    }
}

/// Cells that may be curved among those still taken as straight, the most suspect first.
///
/// The score is in units of a noise that the curvature itself may have raised, so it only sorts: judged is a fit with the
/// cell's curvature in it.
pub(crate) fn suspects(setup: &Setup, solution: &Solution) -> Vec<usize> {
    let mut tried: Vec<(f64, usize)> = (0..setup.layout.n_cells)
        .filter(|&c| setup.layout.curvature(c).is_none() && !solution.noise.open[c])
        .filter_map(|c| try_cell(setup, solution, c))
        .map(|cell| (cell.significance(), cell.channel))
        .filter(|(t, _)| *t > SUSPECT_T)
        .collect();
    tried.sort_by(|a, b| b.0.total_cmp(&a.0));
    tried.into_iter().take(MOST_SUSPECTS).map(|(_, c)| c).collect()
}

/// A cell's curvature as fitted.
pub(crate) fn fitted(setup: &Setup, solution: &Solution, channel: usize) -> Option<Curved> {
    let j = setup.layout.curvature(channel)?;
    Some(describe(setup, solution, channel, solution.state.curvature[channel], solution.covariance[(j, j)].sqrt()))
}

/// Chance that any cell of a straight deck shows such a curvature.
pub(crate) fn chance(setup: &Setup, solution: &Solution, cell: &Curved) -> f64 {
    let freedom: f64 = (0..solution.rows.len()).filter(|&i| setup.used[i]).map(|i| load_freedom(solution, i)).sum();
    (t_two_sided_p(cell.significance(), freedom.max(1.0)) * setup.layout.n_cells as f64).min(1.0)
}

/// Whether a cell's curvature is significant and beyond its data sheet.
pub(crate) fn is_beyond(setup: &Setup, solution: &Solution, cell: &Curved) -> bool {
    let allowed = setup.problem.cells[cell.channel].nonlinearity_pct;
    chance(setup, solution, cell) < FALSE_ALARM && cell.nonlinearity_pct.abs() - 2.0 * cell.u_nonlinearity_pct > allowed
}

fn describe(setup: &Setup, solution: &Solution, channel: usize, curvature: f64, u_curvature: f64) -> Curved {
    let site = &setup.problem.cells[channel];
    let gain = solution.state.gain[channel];
    let per_curvature = site.capacity_kg / (4.0 * gain * gain) * 100.0;
    Curved {
        channel,
        curvature,
        u_curvature,
        nonlinearity_pct: curvature * per_curvature,
        u_nonlinearity_pct: u_curvature * per_curvature,
    }
}

fn try_cell(setup: &Setup, solution: &Solution, channel: usize) -> Option<Curved> {
    let problem = setup.problem;
    let plate = problem.cells[channel].plate;
    let place = problem.plates[plate].channels.iter().position(|c| *c == channel)?;
    let n = setup.layout.n_columns;
    let mut explained = DVector::<f64>::zeros(n);
    let (mut square, mut product) = (0.0, 0.0);
    for (i, row) in problem.rows.iter().enumerate() {
        let weight = solution.weights[i];
        if row.plate != plate || weight == 0.0 {
            continue;
        }
        let fitted = &solution.rows[i];
        let deflection = fitted.equations.deflection[place];
        let added: Vector3<f64> =
            fitted.equations.factor * deflection.powi(2) * (fitted.equations.whitener * fitted.equations.arm[place]);
        let (columns, a) = jacobian(setup, i, &fitted.equations);
        for (k, j) in columns.iter().enumerate() {
            explained[*j] += weight * a.column(k).dot(&added);
        }
        square += weight * added.norm_squared();
        product += weight * added.dot(&fitted.whitened);
    }
    let q: &DMatrix<f64> = &solution.covariance;
    let free = square - explained.dot(&(q * &explained));
    // Less than a millionth left is rounding: the run cannot tell curvature from gain.
    (free > 1e-6 * square).then(|| describe(setup, solution, channel, -product / free, free.sqrt().recip()))
}
