//! Noise levels from the residuals: how much a cell scatters in proportion to its load, and how well loads were placed.
//!
//! Residuals e of the rows have covariance C = C₀ + ρ² V_ρ + u² V_u (counts, load, place). Restricted maximum likelihood:
//! eᵀ C⁻¹ V_j C⁻¹ e = tr(P V_j), P = C⁻¹ − C⁻¹ A Q Aᵀ C⁻¹, solved by Fisher scoring (Searle, Casella & McCulloch,
//! Variance Components, 1992, ch. 6, from memory). V is block diagonal, so the equation needs only the rows' own 3 × 3
//! blocks of P. The scoring matrix tr(P V_j P V_k) would need all; tr(P V_j C⁻¹ V_k) stands for it, the same where the
//! V are nearly multiples of C. That changes the way to the solution, not the solution. (The blocks alone leave out what
//! rows share through the gains and overshoot without end.)
//! A level may fall towards 0 but not below.

use crate::equations::Noise;
use crate::fit::FittedRow;
use nalgebra::{Matrix2, Matrix3, Vector2, Vector3};

/// A level that changes by less than this share is settled: the uncertainties follow it in proportion.
const SETTLED: f64 = 1e-3;
/// A level moves by at most this factor in a step.
const MAX_FACTOR: f64 = 100.0;
/// So many steps are gone in full.
const PATIENT_STEPS: f64 = 8.0;
/// Below this a level is nothing beside any real deck: a tenth of a ppm of the load, a tenth of a µm.
const LEAST_RELATIVE: f64 = 1e-7;
const LEAST_POSITION_M: f64 = 1e-7;

/// Which levels are estimated.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Settings {
    pub(crate) relative: bool,
    pub(crate) position: bool,
}

/// Left and right sides of the estimating equations.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Levels {
    /// eᵀ C⁻¹ V_j C⁻¹ e − tr(P V_j), for ρ² and u².
    score: Vector2<f64>,
    /// tr(P V_j C⁻¹ V_k).
    information: Matrix2<f64>,
}

impl Levels {
    pub(crate) fn new(rows: &[FittedRow], weights: &[f64]) -> Self {
        let mut levels = Self { score: Vector2::zeros(), information: Matrix2::zeros() };
        for (row, &weight) in rows.iter().zip(weights) {
            if weight == 0.0 {
                continue;
            }
            let w = &row.equations.whitener;
            let mass = row.equations.mass;
            // The V_j in whitened coordinates: W V Wᵀ.
            let mut v = [Matrix3::zeros(), Matrix3::zeros()];
            for ((arm, slope), deflection) in
                row.equations.arm.iter().zip(&row.equations.slope).zip(&row.equations.deflection)
            {
                let g: Vector3<f64> = w * arm;
                v[0] += (slope * deflection).powi(2) * g * g.transpose();
            }
            v[1] = w * Matrix3::from_diagonal(&Vector3::new(0.0, mass * mass, mass * mass)) * w.transpose();
            let p = Matrix3::identity() - weight * row.leverage;
            for j in 0..2 {
                let quadratic = row.whitened.dot(&(v[j] * row.whitened));
                levels.score[j] += weight * (quadratic - (p * v[j]).trace());
                for k in 0..2 {
                    levels.information[(j, k)] += 0.5 * weight * (p * (v[j] * v[k] + v[k] * v[j])).trace();
                }
            }
        }
        levels
    }

    /// Moves the estimated levels; whether one moved by more than settles. From some `steps` on ever smaller parts of the
    /// way are gone: two levels near 0 can chase each other.
    pub(crate) fn improve(&self, noise: &mut Noise, settings: &Settings, steps: usize) -> bool {
        let part = PATIENT_STEPS / PATIENT_STEPS.max(steps as f64);
        let free = [settings.relative, settings.position];
        let mut information = self.information;
        let mut score = self.score;
        for j in 0..2 {
            if !free[j] {
                information.row_mut(j).fill(0.0);
                information.column_mut(j).fill(0.0);
                information[(j, j)] = 1.0;
                score[j] = 0.0;
            }
        }
        let step = information.try_inverse().map_or_else(Vector2::zeros, |i| i * score);
        let now = Vector2::new(noise.relative.powi(2), noise.position_m.powi(2));
        let least = [LEAST_RELATIVE.powi(2), LEAST_POSITION_M.powi(2)];
        let next = |j: usize| {
            let wanted = (now[j] + step[j]).clamp(now[j] / MAX_FACTOR, now[j] * MAX_FACTOR);
            if free[j] { now[j] * (wanted.max(least[j]) / now[j]).powf(part) } else { now[j] }
        };
        let next = [next(0), next(1)];
        noise.relative = next[0].sqrt();
        noise.position_m = next[1].sqrt();
        (0..2).any(|j| (next[j] - now[j]).abs() > SETTLED * now[j])
    }
}
