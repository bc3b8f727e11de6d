//! The fixed-interval smoother: mean and covariance of every state given all observations.
//!
//! Backward over the observations, r ← z v/F + L'r and N ← z z'/F + L'N L with L = I − K z', over a transition r ← T'r,
//! N ← T'N T; then x̂ = a + P r, V = P − P N P (Durbin & Koopman 2012, 4.4 and 6.4). No matrix is inverted.
//!
//! In the diffuse steps everything is a power series in 1/κ: P = κP∞ + P∗, 1/F = F₁/κ + F₂/κ², with F₁ = 1/F∞ and
//! F₂ = −F∗/F∞², L = L₀ + L₁/κ, r = r₀ + r₁/κ, N = N₀ + N₁/κ + N₂/κ². Collecting equal powers gives
//! r₁ ← z v F₁ + L₀'r₁ + L₁'r₀, N₁ ← z z'F₁ + L₀'N₁L₀ + L₁'N₀L₀ + L₀'N₀L₁,
//! N₂ ← z z'F₂ + L₀'N₂L₀ + L₀'N₁L₁ + L₁'N₁L₀ + L₁'N₀L₁, and
//! x̂ = a + P∗r₀ + P∞r₁, V = P∗ − P∗N₀P∗ − P∞N₁P∗ − P∗N₁P∞ − P∞N₂P∞ (terms with N₀P∞ = 0 left out).

use super::filter::{Run, Update};
use super::{State, Step};
use nalgebra::{SMatrix, SVector};

/// Why a run cannot be smoothed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SmoothError {
    /// The observations left part of the state without any knowledge.
    #[error("after all observations nothing is known of {rank} directions of the state")]
    StillDiffuse {
        /// Directions left open.
        rank: usize,
    },
    /// The steps are not those of the run.
    #[error("{found} steps, the run has {expected}")]
    Length {
        /// Steps given.
        found: usize,
        /// Steps of the run.
        expected: usize,
    },
}

/// Backward sums of what came later.
struct Later<const N: usize> {
    r: SVector<f64, N>,
    n: SMatrix<f64, N, N>,
    r1: SVector<f64, N>,
    n1: SMatrix<f64, N, N>,
    n2: SMatrix<f64, N, N>,
}

/// Smoothed state of every step of a `run` over the same `steps`.
///
/// # Errors
/// [`SmoothError`].
pub fn smooth<const N: usize, const M: usize>(
    run: &Run<N, M>,
    steps: &[Step<N, M>],
) -> Result<Vec<State<N>>, SmoothError> {
    if steps.len() != run.predicted.len() {
        return Err(SmoothError::Length { found: steps.len(), expected: run.predicted.len() });
    }
    if run.last.diffuse_rank() > 0 {
        return Err(SmoothError::StillDiffuse { rank: run.last.diffuse_rank() });
    }
    let mut later = Later {
        r: SVector::zeros(),
        n: SMatrix::zeros(),
        r1: SVector::zeros(),
        n1: SMatrix::zeros(),
        n2: SMatrix::zeros(),
    };
    let mut smoothed = Vec::with_capacity(steps.len());
    for t in (0..steps.len()).rev() {
        for update in run.updates[t].iter().rev().flatten() {
            match update.diffuse {
                Some((f_inf, m_inf)) => later.over_diffuse(update, f_inf, &m_inf),
                None => later.over(update, t < run.diffuse.len()),
            }
        }
        smoothed.push(match run.diffuse.get(t) {
            Some((p, diffuse)) => later.diffuse_state(&run.predicted[t].mean, p, &diffuse.covariance()),
            None => later.state(&run.predicted[t]),
        });
        if t > 0 {
            later.over_transition(&steps[t].transition, t <= run.diffuse.len());
        }
    }
    smoothed.reverse();
    Ok(smoothed)
}

impl<const N: usize> Later<N> {
    /// Back over an observation of a known prediction.
    fn over(&mut self, update: &Update<N>, in_diffuse: bool) {
        if update.f <= 0.0 {
            return;
        }
        let z = &update.row;
        let gain = update.m / update.f;
        let along = gain.dot(&self.r);
        self.r += z * (update.v / update.f - along);
        self.n = back(&self.n, &gain, z);
        self.n += z * z.transpose() / update.f;
        if in_diffuse {
            // P∞ z = 0 here: L acts on the coefficients of 1/κ and 1/κ² as it does on the leading ones.
            let along = gain.dot(&self.r1);
            self.r1 -= z * along;
            self.n1 = back(&self.n1, &gain, z);
            self.n2 = back(&self.n2, &gain, z);
        }
    }

    /// Back over an observation that took a diffuse direction.
    fn over_diffuse(&mut self, update: &Update<N>, f_inf: f64, m_inf: &SVector<f64, N>) {
        let z = &update.row;
        let identity = SMatrix::<f64, N, N>::identity();
        let f1 = 1.0 / f_inf;
        let f2 = -update.f / (f_inf * f_inf);
        let l0 = identity - m_inf * f1 * z.transpose();
        let l1 = -(update.m * f1 + m_inf * f2) * z.transpose();
        let zz = z * z.transpose();
        self.r1 = z * (update.v * f1) + l0.transpose() * self.r1 + l1.transpose() * self.r;
        self.r = l0.transpose() * self.r;
        let cross = l1.transpose() * self.n * l0;
        let cross_1 = l1.transpose() * self.n1 * l0;
        self.n2 =
            zz * f2 + l0.transpose() * self.n2 * l0 + cross_1 + cross_1.transpose() + l1.transpose() * self.n * l1;
        self.n1 = zz * f1 + l0.transpose() * self.n1 * l0 + cross + cross.transpose();
        self.n = l0.transpose() * self.n * l0;
    }

    fn over_transition(&mut self, transition: &SMatrix<f64, N, N>, in_diffuse: bool) {
        let back = |n: &SMatrix<f64, N, N>| transition.transpose() * n * transition;
        self.r = transition.transpose() * self.r;
        self.n = back(&self.n);
        if in_diffuse {
            self.r1 = transition.transpose() * self.r1;
            self.n1 = back(&self.n1);
            self.n2 = back(&self.n2);
        }
    }

    fn state(&self, predicted: &State<N>) -> State<N> {
        let p = &predicted.covariance;
        State { mean: predicted.mean + p * self.r, covariance: symmetric(&(p - p * self.n * p)) }
    }

    fn diffuse_state(&self, mean: &SVector<f64, N>, p: &SMatrix<f64, N, N>, p_inf: &SMatrix<f64, N, N>) -> State<N> {
        let cross = p_inf * self.n1 * p;
        let covariance = p - p * self.n * p - cross - cross.transpose() - p_inf * self.n2 * p_inf;
        State { mean: mean + p * self.r + p_inf * self.r1, covariance: symmetric(&covariance) }
    }
}

/// (I − z k') N (I − k z'), by ranks of one.
fn back<const N: usize>(n: &SMatrix<f64, N, N>, gain: &SVector<f64, N>, z: &SVector<f64, N>) -> SMatrix<f64, N, N> {
    let nk = n * gain;
    let knk = gain.dot(&nk);
    n - z * nk.transpose() - nk * z.transpose() + z * z.transpose() * knk
}

fn symmetric<const N: usize>(p: &SMatrix<f64, N, N>) -> SMatrix<f64, N, N> {
    (p + p.transpose()) * 0.5
}
