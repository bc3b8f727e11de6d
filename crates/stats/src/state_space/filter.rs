//! The Kalman filter, exact from a diffuse start, one scalar observation at a time.

use super::{Initial, Observation, State, Step};
use nalgebra::{SMatrix, SVector};

/// A direction counts as seen by an observation if more than this share of the sizes that cancel is left of it.
const SEEN: f64 = 1e-9;

/// What an observation told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Innovation {
    /// v: observed less predicted.
    pub value: f64,
    /// F: variance of v; infinite where the prediction was still diffuse.
    pub variance: f64,
}

impl Innovation {
    /// v/√F: standard normal and independent if the model is right. `None` where the prediction was diffuse.
    pub fn standardized(&self) -> Option<f64> {
        self.variance.is_finite().then(|| self.value / self.variance.sqrt())
    }
}

/// One observation's update, as the smoother needs it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Update<const N: usize> {
    pub(super) row: SVector<f64, N>,
    pub(super) v: f64,
    /// F∗ = z'P∗z + h.
    pub(super) f: f64,
    /// M∗ = P∗ z.
    pub(super) m: SVector<f64, N>,
    /// F∞ and M∞ where the observation took a diffuse direction.
    pub(super) diffuse: Option<(f64, SVector<f64, N>)>,
}

/// The diffuse part of a covariance: κ B Bᵀ, B in the first `rank` columns.
#[derive(Debug, Clone, Copy)]
pub(super) struct Diffuse<const N: usize> {
    pub(super) b: SMatrix<f64, N, N>,
    pub(super) rank: usize,
}

impl<const N: usize> Diffuse<N> {
    /// P∞ = B Bᵀ.
    pub(super) fn covariance(&self) -> SMatrix<f64, N, N> {
        let mut sum = SMatrix::zeros();
        for k in 0..self.rank {
            let column = self.b.column(k);
            sum += column * column.transpose();
        }
        sum
    }

    /// F∞ = z'P∞z and M∞ = P∞ z, and B without the direction seen. `None` where `row` sees nothing of it.
    fn take(&mut self, row: &SVector<f64, N>) -> Option<(f64, SVector<f64, N>)> {
        let mut g = [0.0; N];
        let (mut square, mut sizes) = (0.0, 0.0);
        for (k, g) in g.iter_mut().enumerate().take(self.rank) {
            let column = self.b.column(k);
            *g = column.dot(row);
            square += *g * *g;
            sizes += column.component_mul(row).abs().sum().powi(2);
        }
        if square <= SEEN * SEEN * sizes || square == 0.0 {
            return None;
        }
        let mut m = SVector::zeros();
        for (k, g) in g.iter().enumerate().take(self.rank) {
            m += self.b.column(k) * *g;
        }
        self.drop_direction(&g, square);
        Some((square, m))
    }

    /// Turns B by the Householder reflection that maps g to its first axis, and drops that axis: what is left is
    /// B (I − g g'/g'g) up to a rotation, with one column less.
    fn drop_direction(&mut self, g: &[f64; N], square: f64) {
        let size = square.sqrt();
        let mut w = *g;
        w[0] += size.copysign(g[0]);
        let scale = 1.0 / (square + size * g[0].abs());
        let mut along = SVector::<f64, N>::zeros();
        for (k, w) in w.iter().enumerate().take(self.rank) {
            along += self.b.column(k) * *w;
        }
        for (k, w) in w.iter().enumerate().take(self.rank).skip(1) {
            let column = self.b.column(k) - along * (scale * w);
            self.b.set_column(k - 1, &column);
        }
        self.rank -= 1;
    }
}

/// A filter under way.
#[derive(Debug, Clone)]
pub struct Filter<const N: usize> {
    pub(super) mean: SVector<f64, N>,
    pub(super) covariance: SMatrix<f64, N, N>,
    pub(super) diffuse: Diffuse<N>,
    log_likelihood: f64,
    n_terms: usize,
    n_diffuse: usize,
}

impl<const N: usize> Filter<N> {
    /// A filter at the first step, before its observations.
    pub fn new(initial: &Initial<N>) -> Self {
        let mut diffuse = Diffuse { b: SMatrix::zeros(), rank: 0 };
        let mut covariance = initial.covariance;
        for i in (0..N).filter(|&i| initial.diffuse[i]) {
            diffuse.b[(i, diffuse.rank)] = 1.0;
            diffuse.rank += 1;
            covariance.row_mut(i).fill(0.0);
            covariance.column_mut(i).fill(0.0);
        }
        Self { mean: initial.mean, covariance, diffuse, log_likelihood: 0.0, n_terms: 0, n_diffuse: 0 }
    }

    /// Moves on to the next step: a ← T a + c, P ← T P Tᵀ + Q.
    pub fn predict(&mut self, transition: &SMatrix<f64, N, N>, input: &SVector<f64, N>, noise: &SMatrix<f64, N, N>) {
        self.mean = transition * self.mean + input;
        self.covariance = symmetric(&(transition * self.covariance * transition.transpose() + noise));
        if self.diffuse.rank > 0 {
            self.diffuse.b = transition * self.diffuse.b;
        }
    }

    /// What an observation of this `row` and error `variance` would be: its mean and variance (infinite where diffuse).
    pub fn expect(&self, row: &SVector<f64, N>, variance: f64) -> (f64, f64) {
        let sees_diffuse = self.diffuse.rank > 0 && self.diffuse.clone().take(row).is_some();
        let f = row.dot(&(self.covariance * row)) + variance;
        (row.dot(&self.mean), if sees_diffuse { f64::INFINITY } else { f })
    }

    /// Takes in one observation. An observation that the state predicts without any error is skipped (F = 0 would tell
    /// nothing, or contradict the model).
    pub fn observe(&mut self, observation: &Observation<N>) -> Innovation {
        let update = self.update(observation);
        let variance = if update.diffuse.is_some() { f64::INFINITY } else { update.f };
        Innovation { value: update.v, variance }
    }

    pub(super) fn update(&mut self, observation: &Observation<N>) -> Update<N> {
        let row = observation.row;
        let v = observation.value - row.dot(&self.mean);
        let m = self.covariance * row;
        let f = row.dot(&m) + observation.variance;
        let diffuse = if self.diffuse.rank > 0 { self.diffuse.take(&row) } else { None };
        if let Some((f_inf, m_inf)) = diffuse {
            // Durbin & Koopman (2012) 5.2.2 with F∞ > 0.
            let gain = m_inf / f_inf;
            self.mean += gain * v;
            self.covariance += gain * gain.transpose() * f - m * gain.transpose() - gain * m.transpose();
            self.log_likelihood -= 0.5 * f_inf.ln();
            self.n_diffuse += 1;
        } else if f > 0.0 {
            let gain = m / f;
            self.mean += gain * v;
            self.covariance -= gain * m.transpose();
            self.log_likelihood -= 0.5 * (std::f64::consts::TAU.ln() + f.ln() + v * v / f);
            self.n_terms += 1;
        }
        Update { row, v, f, m, diffuse }
    }

    /// The state as far as it is known.
    pub fn state(&self) -> State<N> {
        open(self.mean, self.covariance, &self.diffuse)
    }

    /// Directions of the state of which nothing is known yet.
    pub fn diffuse_rank(&self) -> usize {
        self.diffuse.rank
    }

    /// ln of the likelihood of what was observed so far; see the module for its constant.
    pub fn log_likelihood(&self) -> f64 {
        self.log_likelihood
    }
}

/// The state with infinite variance where the diffuse part reaches.
pub(super) fn open<const N: usize>(
    mean: SVector<f64, N>,
    mut covariance: SMatrix<f64, N, N>,
    diffuse: &Diffuse<N>,
) -> State<N> {
    if diffuse.rank > 0 {
        let infinite = diffuse.covariance();
        for i in 0..N {
            for j in 0..N {
                if infinite[(i, j)] != 0.0 {
                    covariance[(i, j)] = f64::INFINITY.copysign(infinite[(i, j)]);
                }
            }
        }
    }
    State { mean, covariance }
}

fn symmetric<const N: usize>(p: &SMatrix<f64, N, N>) -> SMatrix<f64, N, N> {
    (p + p.transpose()) * 0.5
}

/// A finished run of the filter.
#[derive(Debug, Clone)]
pub struct Run<const N: usize, const M: usize> {
    /// State of each step before its observations.
    pub predicted: Vec<State<N>>,
    /// State of each step after its observations.
    pub filtered: Vec<State<N>>,
    /// What each observation told.
    pub innovations: Vec<[Option<Innovation>; M]>,
    /// ln of the likelihood; see the module for its constant.
    pub log_likelihood: f64,
    /// Observations that entered the likelihood in full.
    pub n_terms: usize,
    /// Observations that went into the diffuse start.
    pub n_diffuse: usize,
    /// The filter after the last step, to go on from: a forecast.
    pub last: Filter<N>,
    pub(super) updates: Vec<[Option<Update<N>>; M]>,
    /// Finite and diffuse parts of the predicted covariance, of the steps that began diffuse.
    pub(super) diffuse: Vec<(SMatrix<f64, N, N>, Diffuse<N>)>,
}

impl<const N: usize, const M: usize> Run<N, M> {
    /// Standardized innovations in order of time, without those of the diffuse start.
    pub fn standardized(&self) -> Vec<f64> {
        self.innovations.iter().flatten().flatten().filter_map(Innovation::standardized).collect()
    }
}

/// Runs the filter over all steps and keeps what the smoother and the diagnostics need.
pub fn run<const N: usize, const M: usize>(initial: &Initial<N>, steps: &[Step<N, M>]) -> Run<N, M> {
    let mut filter = Filter::new(initial);
    let mut predicted = Vec::with_capacity(steps.len());
    let mut filtered = Vec::with_capacity(steps.len());
    let mut innovations = Vec::with_capacity(steps.len());
    let mut updates = Vec::with_capacity(steps.len());
    let mut diffuse = Vec::new();
    for (t, step) in steps.iter().enumerate() {
        if t > 0 {
            filter.predict(&step.transition, &step.input, &step.noise);
        }
        if filter.diffuse.rank > 0 {
            diffuse.push((filter.covariance, filter.diffuse));
        }
        predicted.push(filter.state());
        let told = step.observations.each_ref().map(|o| o.as_ref().map(|o| filter.update(o)));
        innovations.push(told.each_ref().map(|u| {
            let update = u.as_ref()?;
            let variance = if update.diffuse.is_some() { f64::INFINITY } else { update.f };
            Some(Innovation { value: update.v, variance })
        }));
        updates.push(told);
        filtered.push(filter.state());
    }
    Run {
        predicted,
        filtered,
        innovations,
        log_likelihood: filter.log_likelihood,
        n_terms: filter.n_terms,
        n_diffuse: filter.n_diffuse,
        last: filter,
        updates,
        diffuse,
    }
}

/// ln of the likelihood alone, for steps made on the fly.
pub fn log_likelihood<const N: usize, const M: usize>(
    initial: &Initial<N>,
    steps: impl IntoIterator<Item = Step<N, M>>,
) -> f64 {
    let mut filter = Filter::new(initial);
    for (t, step) in steps.into_iter().enumerate() {
        if t > 0 {
            filter.predict(&step.transition, &step.input, &step.noise);
        }
        for observation in step.observations.iter().flatten() {
            filter.update(observation);
        }
    }
    filter.log_likelihood
}
