//! The three equations of statics of one loaded row, linearized and with their covariance.
//!
//! For the plate that bears the load: Σ R_c = m, Σ R_c x_c = m x, Σ R_c y_c = m y, with R_c = k_c d_c + κ_c d_c²
//! and d_c = r_c − z_c. They hold whatever the plate's stiffness and however the cells share a load that statics leaves
//! open; the reactions themselves are never unknowns. Where the run supports them, temperature terms are in it: with τ how much
//! warmer the row was than the mean of the run, d_c = r_c − z_c − ζ_c τ and R_c = (k_c d_c + κ_c d_c²)/(1 + β τ).
//!
//! | symbol | name              | unit        |
//! |--------|-------------------|-------------|
//! | r, z   | counts, `zero`    | counts      |
//! | k      | `gain`            | kg/count    |
//! | κ      | `curvature`       | kg/count²   |
//! | ζ      | `zero_per_c`      | counts/°C   |
//! | β      | `span_per_c`      | 1/°C, common to all cells |
//! | m      | `mass`            | kg          |
//! | x, y   | `at_m`            | m, from the middle of the plate |
//! | C      | `covariance`      | kg², kg·kg m, (kg m)² |
//!
//! The noise sits in the counts, not in the load: each equation's error is Σ k_c n_c g_c with g = (1, x, y), and the
//! moment equations carry the error of the load's place besides. A model of errors in variables, so the Jacobian stands
//! at counts adjusted to the equations (Gauss–Helmert; Mikhail & Ackermann, Observations and Least Squares, 1976, ch. 9,
//! from memory), else noise would pull the gains towards 0.
//! Not here: solving, noise levels.

use crate::problem::{LoadedRow, Problem};
use nalgebra::{Matrix3, Vector3};

/// Current values of all unknowns.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct State {
    pub(crate) gain: Vec<f64>,
    pub(crate) zero: Vec<f64>,
    /// 0 for a straight cell.
    pub(crate) curvature: Vec<f64>,
    /// 0 where the run does not support it.
    pub(crate) zero_per_c: Vec<f64>,
    /// 0 where the run does not support it.
    pub(crate) span_per_c: f64,
    /// Mass of each body, kg.
    pub(crate) mass: Vec<f64>,
}

/// Noise levels.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Noise {
    /// Standard deviation of a reading without load, counts, of each cell.
    pub(crate) count_sd: Vec<f64>,
    /// Scatter of a cell in proportion to its load.
    pub(crate) relative: f64,
    /// Standard uncertainty of the load's place along each axis, m.
    pub(crate) position_m: f64,
    /// A cell that does not answer: its load may be anything.
    pub(crate) open: Vec<bool>,
}

impl Noise {
    /// The scatter of counts and of cells times one factor, the play of places times another.
    pub(crate) fn times(&self, scatter: f64, place: f64) -> Self {
        Self {
            count_sd: self.count_sd.iter().map(|s| scatter * s).collect(),
            relative: scatter * self.relative,
            position_m: place * self.position_m,
            open: self.open.clone(),
        }
    }
}

/// How far the load of a dead cell may lie from what it reads, in masses of the body: far enough to mean nothing, and
/// near enough that the covariance stays well above rounding.
const OPEN_SHARE: f64 = 3.0;

/// Cell positions that lie on one line would leave the moment equations singular beside an exact place; 10 nm of play
/// keeps the covariance regular and is nothing to any deck.
const LEAST_PLAY_M: f64 = 1e-8;

/// One row's equations.
#[derive(Debug, Clone)]
pub(crate) struct RowEquations {
    /// Deflection of each channel of the plate, d = r̂ − z, counts.
    pub(crate) deflection: Vec<f64>,
    /// How much warmer the row was than the mean of the run, °C.
    pub(crate) warmer_c: f64,
    /// 1/(1 + β τ): what the row's temperature makes of a gain.
    pub(crate) factor: f64,
    /// Reaction of each channel at that deflection, kg.
    pub(crate) reaction: Vec<f64>,
    /// kg per count of each channel at that deflection.
    pub(crate) slope: Vec<f64>,
    /// (1, x, y) of each channel.
    pub(crate) arm: Vec<Vector3<f64>>,
    /// Variance of each reading, counts².
    pub(crate) variance: Vec<f64>,
    /// Mass of the load, kg.
    pub(crate) mass: f64,
    /// (1, x, y) of the load.
    pub(crate) load_arm: Vector3<f64>,
    /// What the left sides exceed the right sides by, linearized at the adjusted counts.
    pub(crate) misclosure: Vector3<f64>,
    /// Covariance C of the three equations.
    pub(crate) covariance: Matrix3<f64>,
    /// L⁻¹ of C = L Lᵀ.
    pub(crate) whitener: Matrix3<f64>,
}

impl RowEquations {
    /// Equations of a row at `state`, linearized at the adjusted counts of the plate's channels.
    pub(crate) fn new(problem: &Problem, state: &State, noise: &Noise, row: &LoadedRow, adjusted: &[f64]) -> Self {
        let channels = &problem.plates[row.plate].channels;
        let mass = state.mass[row.body];
        let load_arm = Vector3::new(1.0, row.at_m[0], row.at_m[1]);
        let warmer_c = problem.warmer_c[row.row];
        let factor = (1.0 + state.span_per_c * warmer_c).recip();
        let mut equations = Self {
            warmer_c,
            factor,
            reaction: Vec::with_capacity(channels.len()),
            deflection: Vec::with_capacity(channels.len()),
            slope: Vec::with_capacity(channels.len()),
            arm: Vec::with_capacity(channels.len()),
            variance: Vec::with_capacity(channels.len()),
            mass,
            load_arm,
            misclosure: -mass * load_arm,
            covariance: Matrix3::zeros(),
            whitener: Matrix3::identity(),
        };
        let play = (mass * noise.position_m).powi(2) + (mass * LEAST_PLAY_M).powi(2);
        equations.covariance[(1, 1)] = play;
        equations.covariance[(2, 2)] = play;
        for (i, &c) in channels.iter().enumerate() {
            let deflection = adjusted[i] - state.zero[c] - state.zero_per_c[c] * warmer_c;
            let slope = factor * (state.gain[c] + 2.0 * state.curvature[c] * deflection);
            let at_m = problem.cells[c].at_m;
            let arm = Vector3::new(1.0, at_m[0], at_m[1]);
            let mut variance = noise.count_sd[c].powi(2) + (noise.relative * deflection).powi(2);
            // A bend of share b of the load leaves a cubic rest of about 2 b² of it that κ does not take up.
            let bend = state.curvature[c] * deflection / state.gain[c];
            variance += (2.0 * bend * bend * deflection).powi(2);
            // A parabola fitted to loads says nothing of a cell that is relieved: there its slope may be any that it has
            // between no load and the row's body, which differ by 2 κ m/k² of themselves.
            if deflection * state.gain[c] < 0.0 {
                variance += (2.0 * state.curvature[c] * mass / state.gain[c].powi(2) * deflection).powi(2);
            }
            if noise.open[c] {
                variance += (OPEN_SHARE * mass / slope).powi(2);
            }
            let reaction = factor * (state.gain[c] * deflection + state.curvature[c] * deflection.powi(2));
            let observed = reaction + slope * (problem.count(row.row, c) - adjusted[i]);
            equations.misclosure += observed * arm;
            equations.covariance += (slope * slope * variance) * arm * arm.transpose();
            equations.deflection.push(deflection);
            equations.reaction.push(reaction);
            equations.slope.push(slope);
            equations.arm.push(arm);
            equations.variance.push(variance);
        }
        equations.whitener = whitener(&equations.covariance);
        equations
    }

    /// Counts of the plate's channels, moved as little as the noise asks to fulfil the equations.
    pub(crate) fn adjust(&self, counts: impl Iterator<Item = f64>, adjusted: &mut [f64]) {
        let pull = self.whitener.transpose() * (self.whitener * self.misclosure);
        for ((i, count), out) in counts.enumerate().zip(adjusted) {
            *out = count - self.variance[i] * self.slope[i] * self.arm[i].dot(&pull);
        }
    }

    /// Contribution of noise in the counts to the information on the plate's gains: the part of Aᵀ C⁻¹ A that is not
    /// signal, (Cov r̂)_{cc'} · g_cᵀ C⁻¹ g_{c'}. Counts that were not yet adjusted carry their full noise.
    pub(crate) fn noise_information(&self, is_adjusted: bool, mut add: impl FnMut(usize, usize, f64)) {
        let whitened: Vec<Vector3<f64>> = self.arm.iter().map(|g| self.whitener * g).collect();
        for i in 0..self.arm.len() {
            for j in 0..self.arm.len() {
                let weight = whitened[i].dot(&whitened[j]);
                let explained = if is_adjusted {
                    self.variance[i] * self.slope[i] * weight * self.slope[j] * self.variance[j]
                } else {
                    0.0
                };
                let own = if i == j { self.variance[i] } else { 0.0 };
                add(i, j, self.factor.powi(2) * (own - explained) * weight);
            }
        }
    }
}

/// L⁻¹ of the Cholesky factor.
fn whitener(covariance: &Matrix3<f64>) -> Matrix3<f64> {
    // Column scales differ by the arms (kg against kg m) only, so the plain factor keeps its digits.
    let l = covariance.cholesky().map_or_else(Matrix3::identity, nalgebra::Cholesky::unpack);
    l.try_inverse().unwrap_or_else(Matrix3::identity)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whitener_makes_the_covariance_the_identity() {
        let c = Matrix3::new(4.0, 1.0, 0.5, 1.0, 3.0, 0.2, 0.5, 0.2, 2.0);
        let w = whitener(&c);
        let one = w * c * w.transpose();
        assert!((one - Matrix3::identity()).norm() < 1e-14, "{one}");
    }
}
