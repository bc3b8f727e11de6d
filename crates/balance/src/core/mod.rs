//! The state-space model of a patient on a deck, and its filter and smoother.
//!
//! In continuous time, observed when a weight is settled:
//!
//! | index | state | unit | law |
//! |-------|-------|------|-----|
//! | [`M0`] | mass at the origin | g | constant, diffuse start |
//! | [`U`] | uncharted fluid since the origin, gain positive | g | dU = −(r + w) dt |
//! | [`R`] | uncharted loss rate | g/h | random walk from a physiological prior |
//! | [`C`] | error of the charted volumes since the origin | g | steps with the entries |
//! | [`TIMING`] | charted fluid that ran at another time | g | decays in an hour, driven by uneven entries |
//! | [`POOL`] | fluid that left the patient and lies on the deck | g | in by the chart, out with the pads |
//! | [`DRIFT`] | drift of the deck since its zero | g | random walk |
//! | [`WEEP`] | what weeps into dressings | g/h | random walk from what burns lose |
//! | [`POSTURE`] | error that lasts until the patient lies otherwise | g | decays in `posture_h` |
//!
//! A settled weight is y = S + Z x + ε with S the charted mass so far (an exact input) and Z = 1 for all
//! states but the rates. What weeps from wounds goes into dressings that lie on the deck until they are changed: POOL gains
//! what U loses. Without wounds the weeping is nothing, and known to be. The body's mass is S + M0 + U + C + TIMING: without pool, drift and posture.
//!
//! Notation of Durbin & Koopman, Time Series Analysis by State Space Methods, 2nd ed. (2012), 4.3 and
//! 4.4: a, P predicted state and variance, v innovation, F its variance, K = P Z'/F the gain of the
//! update, r and N the smoother's weighted sums. The transition is the identity but for four entries,
//! so one step costs some hundred multiplications where the general filter of [`stats::state_space`] takes
//! thousands; that one is the check in the tests, to 1e-6 in the log-likelihood and 1e-5 standard deviations.
//! The diffuse start is a variance of 1e7 times that of the first weight, which costs 1e-7 of relative
//! accuracy; the first weight's term is left out of the likelihood, as for an exact diffuse start.

mod filter;
mod grid;
mod score;
mod smoother;

pub(crate) use filter::{Filter, Filtered, predict_mean};
pub(crate) use grid::{Grid, Node, Observation, Transition};
pub(crate) use score::score;
pub(crate) use smoother::{Smoothed, lag_cov, smooth};

use nalgebra::{SMatrix, SVector};

/// States.
pub(crate) const N: usize = 9;
/// Mass at the origin, g.
pub(crate) const M0: usize = 0;
/// Uncharted fluid since the origin, g.
pub(crate) const U: usize = 1;
/// Uncharted loss rate, g/h.
pub(crate) const R: usize = 2;
/// Error of charted volumes, g.
pub(crate) const C: usize = 3;
/// Charted fluid that ran at another time, g.
pub(crate) const TIMING: usize = 4;
/// Fluid on the deck, g.
pub(crate) const POOL: usize = 5;
/// Drift of the deck, g.
pub(crate) const DRIFT: usize = 6;
/// Error of the posture, g.
pub(crate) const POSTURE: usize = 7;

/// What weeps into dressings, g/h.
pub(crate) const WEEP: usize = 8;

/// A vector over the states.
pub(crate) type Vector = SVector<f64, N>;
/// A matrix over the states.
pub(crate) type Matrix = SMatrix<f64, N, N>;

/// What a weight sees: every state but the rates.
const OBSERVED: [usize; 7] = [M0, U, C, TIMING, POOL, DRIFT, POSTURE];

/// The same as Z.
pub(crate) fn observed() -> Vector {
    Vector::from([1.0, 1.0, 0.0, 1.0, 1.0, 1.0, 1.0, 1.0, 0.0])
}

/// What the body weighs, less the charted mass.
pub(crate) fn body() -> Vector {
    Vector::from([1.0, 1.0, 0.0, 1.0, 1.0, 0.0, 0.0, 0.0, 0.0])
}

/// Change of the body's mass since the origin, less the charted mass.
pub(crate) fn body_change() -> Vector {
    Vector::from([0.0, 1.0, 0.0, 1.0, 1.0, 0.0, 0.0, 0.0, 0.0])
}

/// One state.
pub(crate) fn unit(idx: usize) -> Vector {
    let mut vector = Vector::zeros();
    vector[idx] = 1.0;
    vector
}

/// Noise levels, and the start of the rate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Params {
    /// Fast noise of a weight, as a share of its stated uncertainty.
    pub(crate) white: f64,
    /// Error of the posture, as a share of the stated uncertainty.
    pub(crate) posture: f64,
    /// Factor on the assumed uncertainties of charted volumes.
    pub(crate) chart: f64,
    /// Random walk of the rate, (g/h)² per h.
    pub(crate) rate_q: f64,
    /// Mean of the rate at the origin, g/h.
    pub(crate) rate_g_h: f64,
    /// Standard deviation of the rate at the origin, g/h.
    pub(crate) rate_sd_g_h: f64,
    /// Mean of the weeping at the origin, g/h; its standard deviation is as large.
    pub(crate) weep_g_h: f64,
}

impl Params {
    /// Random walk of the weeping, (g/h)² per h: three tenths of it in a day. Vessels leak most in the first day after a burn and
    /// close over the next (common practice, no source); the share is an own choice.
    pub(crate) fn weep_q(&self) -> f64 {
        (0.3 * self.weep_g_h).powi(2) / 24.0
    }
}

#[cfg(test)]
mod general;
#[cfg(test)]
mod nile;
#[cfg(test)]
mod tests;
