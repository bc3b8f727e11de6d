//! Linear-Gaussian state-space models at irregular steps: Kalman filter, fixed-interval smoother, likelihood.
//!
//! x_t = T_t x_{t−1} + c_t + η_t, η_t ~ N(0, Q_t);  y_{t,j} = z_{t,j}'x_t + ε_{t,j}, ε ~ N(0, h_{t,j}).
//!
//! | symbol | name           | shape | meaning                                              |
//! |--------|----------------|-------|------------------------------------------------------|
//! | T      | `transition`   | N × N | from the step before to this one, whatever time passed |
//! | c      | `input`        | N     | what is known to have been added (a control)          |
//! | Q      | `noise`        | N × N | covariance of what was added beside it                |
//! | z, h   | `row`, `variance` | N, 1 | how an observation sees the state, and its error variance |
//! | a, P   | `mean`, `covariance` | N, N × N | of the state                                  |
//! | v, F   | `value`, `variance` of an [`Innovation`] | 1 | observed less predicted, and its variance |
//!
//! The first step's transition is not applied: the initial state stands at the first step. Each step has up to M scalar
//! observations with errors independent of each other, taken in one by one; a missing one is `None`, and a step without
//! any is a prediction. Where the state at the start is unknown it is *exactly* diffuse, not a large number: the covariance
//! is P + κ B Bᵀ with κ → ∞, and every observation that tells something new takes one column from B, exactly.
//! The log-likelihood leaves the constant −½ ln 2π out of the terms of those observations ([`Run::n_diffuse`] of them).
//!
//! Notation and source: Durbin & Koopman, Time Series Analysis by State Space Methods, 2nd ed. (2012), 4.3–4.4, 5.2–5.4,
//! 6.4 (observations one by one); Koopman & Durbin, J Time Ser Anal 24 (2003) 85–98. We differ in keeping B by a
//! reflection instead of P∞, so that its rank is never a matter of rounding, and in symmetric N₁ and N₂ (see `smoother`).
//! Not here: nonlinear models, correlated observation errors (decorrelate them first), making T and Q from continuous time.

mod diagnostics;
mod filter;
mod likelihood;
mod smoother;

pub use diagnostics::{Portmanteau, Shape, heteroscedasticity, jarque_bera, ljung_box};
pub use filter::{Filter, Innovation, Run, log_likelihood, run};
pub use likelihood::{VarianceFit, fit_variances};
pub use smoother::{SmoothError, smooth};

use nalgebra::{SMatrix, SVector};

/// A scalar observation of the state.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Observation<const N: usize> {
    /// z: how it sees the state.
    pub row: SVector<f64, N>,
    /// What was observed.
    pub value: f64,
    /// Variance of its error, 0 or more.
    pub variance: f64,
}

/// What happens up to a step, and what is observed there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step<const N: usize, const M: usize> {
    /// T: from the state of the step before.
    pub transition: SMatrix<f64, N, N>,
    /// c: known addition.
    pub input: SVector<f64, N>,
    /// Q: covariance of the unknown addition, symmetric.
    pub noise: SMatrix<f64, N, N>,
    /// Observations; `None` is missing.
    pub observations: [Option<Observation<N>>; M],
}

/// Mean and covariance of the state.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct State<const N: usize> {
    /// a.
    pub mean: SVector<f64, N>,
    /// P. A diagonal entry is infinite where the data have not yet determined that component.
    pub covariance: SMatrix<f64, N, N>,
}

/// What is known before the first observation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Initial<const N: usize> {
    /// Mean (of a diffuse component: any finite number near the data, to spare digits).
    pub mean: SVector<f64, N>,
    /// Covariance of the components that are known.
    pub covariance: SMatrix<f64, N, N>,
    /// Components of which nothing is known.
    pub diffuse: [bool; N],
}

impl<const N: usize> Initial<N> {
    /// Nothing is known of any component.
    pub fn diffuse() -> Self {
        Self { mean: SVector::zeros(), covariance: SMatrix::zeros(), diffuse: [true; N] }
    }

    /// All components are known with this mean and covariance.
    pub fn known(mean: SVector<f64, N>, covariance: SMatrix<f64, N, N>) -> Self {
        Self { mean, covariance, diffuse: [false; N] }
    }
}

#[cfg(test)]
mod tests;
