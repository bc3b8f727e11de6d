//! The Kalman filter, step by step.

use super::grid::{Node, Observation, Transition};
use super::{C, DRIFT, M0, Matrix, N, POOL, POSTURE, Params, R, TIMING, U, Vector, WEEP, observed};

/// Variance of the mass at the origin over that of the first weight.
const DIFFUSE: f64 = 1e7;

/// Predicted state of one node, and what its weight told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Filtered {
    /// Predicted state.
    pub(crate) a: Vector,
    /// Its variance.
    pub(crate) p: Matrix,
    /// The update, where there was a weight.
    pub(crate) update: Option<Update>,
}

impl Filtered {
    /// State and variance after the node's own weight, where there was one.
    pub(crate) fn updated(&self) -> (Vector, Matrix) {
        self.update.map_or((self.a, self.p), |update| {
            (self.a + update.k * update.v, self.p - update.k * update.k.transpose() * update.f)
        })
    }
}

/// An update by one weight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Update {
    /// Innovation, g.
    pub(crate) v: f64,
    /// Its variance, g².
    pub(crate) f: f64,
    /// Gain.
    pub(crate) k: Vector,
}

/// A filter under way.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Filter {
    params: Params,
    /// State.
    pub(crate) a: Vector,
    /// Its variance.
    pub(crate) p: Matrix,
    /// Whether a weight has been seen.
    started: bool,
    /// ln of the likelihood, without the first weight's term.
    pub(crate) log_likelihood: f64,
}

impl Filter {
    /// A filter at the origin. `first` is any early weight: it gives the scale of the diffuse start.
    pub(crate) fn new(params: Params, first: Observation, var_posture_g2: f64) -> Self {
        let mut a = Vector::zeros();
        let mut p = Matrix::zeros();
        // Near the first weight, so that the digits of the weight are not spent on a distance.
        a[M0] = first.value_g;
        p[(M0, M0)] = DIFFUSE * first.var_g2;
        a[R] = params.rate_g_h;
        p[(R, R)] = params.rate_sd_g_h.powi(2);
        p[(POSTURE, POSTURE)] = params.posture.powi(2) * var_posture_g2;
        a[WEEP] = params.weep_g_h;
        p[(WEEP, WEEP)] = params.weep_g_h.powi(2);
        Self { params, a, p, started: false, log_likelihood: 0.0 }
    }

    /// Goes to a node and takes in its weight.
    pub(crate) fn step(&mut self, node: &Node) -> Filtered {
        self.predict(&node.into);
        let (a, p) = (self.a, self.p);
        let update = node.observation.map(|observation| self.update(observation));
        Filtered { a, p, update }
    }

    /// Goes over a transition.
    pub(crate) fn predict(&mut self, into: &Transition) {
        self.a[POOL] += into.pool_g;
        predict_mean(&mut self.a, into);
        transition(&mut self.p, into);
        self.add_noise(into);
        if into.anchor {
            anchor_variance(&mut self.p);
        }
    }

    /// What a weight would say, without taking it in: innovation and variance.
    pub(crate) fn innovation(&self, observation: Observation) -> (f64, f64) {
        let z = observed();
        let f = z.dot(&(self.p * z)) + self.noise(observation);
        (observation.value_g - z.dot(&self.a), f)
    }

    /// Variance of what a weight would say if one state no longer lay on the deck.
    pub(crate) fn innovation_without(&self, state: usize, observation: Observation) -> f64 {
        let mut z = observed();
        z[state] = 0.0;
        z.dot(&(self.p * z)) + self.noise(observation)
    }

    fn update(&mut self, observation: Observation) -> Update {
        let z = observed();
        let pz = self.p * z;
        let f = z.dot(&pz) + self.noise(observation);
        let v = observation.value_g - z.dot(&self.a);
        let k = pz / f;
        self.a += k * v;
        self.p -= k * pz.transpose();
        if self.started {
            self.log_likelihood -= 0.5 * ((std::f64::consts::TAU * f).ln() + v * v / f);
        }
        self.started = true;
        Update { v, f, k }
    }

    fn noise(&self, observation: Observation) -> f64 {
        self.params.white.powi(2) * observation.var_g2
    }

    fn add_noise(&mut self, into: &Transition) {
        let (params, dt, p) = (&self.params, into.dt_h, &mut self.p);
        let q = params.rate_q + into.extra_rate_q;
        p[(R, R)] += q * dt;
        p[(U, R)] -= 0.5 * q * dt * dt;
        p[(R, U)] -= 0.5 * q * dt * dt;
        p[(U, U)] += q * dt.powi(3) / 3.0 + into.var_step_g2;
        let chart2 = params.chart.powi(2);
        // What lies in pads is guessed or weighed by itself: the factor of the other volumes says nothing of it.
        let retained = into.var_retained_g2;
        // A volume read too high left the body and came onto the pad: opposite signs, one error.
        p[(C, C)] += chart2 * into.var_through_g2 + retained;
        let kept = into.keep_pool * retained;
        p[(POOL, POOL)] += into.keep_pool * kept + into.var_pool_g2;
        p[(C, POOL)] -= kept;
        p[(POOL, C)] -= kept;
        if params.weep_g_h > 0.0 {
            add_weeping(p, params.weep_q(), dt, into.keep_pool);
        }
        p[(TIMING, TIMING)] += into.var_timing_g2;
        p[(DRIFT, DRIFT)] += into.var_drift_g2;
        let lost = 1.0 - into.keep_posture.powi(2);
        p[(POSTURE, POSTURE)] += lost * params.posture.powi(2) * into.var_posture_g2;
    }
}

/// The variance of M0 ← M0 + U + C, after which U and C start from nothing.
fn anchor_variance(p: &mut Matrix) {
    for j in 0..N {
        p[(M0, j)] += p[(U, j)] + p[(C, j)];
    }
    for i in 0..N {
        p[(i, M0)] += p[(i, U)] + p[(i, C)];
    }
    for idx in [U, C] {
        p.fill_row(idx, 0.0);
        p.fill_column(idx, 0.0);
    }
}

/// T x: the homogeneous part of a transition.
pub(crate) fn predict_mean(x: &mut Vector, into: &Transition) {
    x[U] -= into.dt_h * (x[R] + x[WEEP]);
    x[POOL] += into.dt_h * x[WEEP];
    for (idx, keep) in into.keeps() {
        x[idx] *= keep;
    }
    if into.anchor {
        x[M0] += x[U] + x[C];
        x[U] = 0.0;
        x[C] = 0.0;
    }
}

/// T P T', in place.
fn transition(p: &mut Matrix, into: &Transition) {
    for j in 0..N {
        let wept = into.dt_h * p[(WEEP, j)];
        p[(U, j)] -= into.dt_h * p[(R, j)] + wept;
        p[(POOL, j)] += wept;
    }
    for i in 0..N {
        let wept = into.dt_h * p[(i, WEEP)];
        p[(i, U)] -= into.dt_h * p[(i, R)] + wept;
        p[(i, POOL)] += wept;
    }
    for (idx, keep) in into.keeps() {
        for j in 0..N {
            p[(idx, j)] *= keep;
        }
        for i in 0..N {
            p[(i, idx)] *= keep;
        }
    }
}

/// Noise of the weeping's walk over a step, and of what it moves from body to pool.
fn add_weeping(p: &mut Matrix, q: f64, dt: f64, keep_pool: f64) {
    let (moved, drawn) = (q * dt.powi(3) / 3.0, 0.5 * q * dt * dt);
    p[(WEEP, WEEP)] += q * dt;
    p[(U, U)] += moved;
    p[(POOL, POOL)] += keep_pool * keep_pool * moved;
    for (i, j, value) in [(U, WEEP, -drawn), (POOL, WEEP, keep_pool * drawn), (U, POOL, -keep_pool * moved)] {
        p[(i, j)] += value;
        p[(j, i)] += value;
    }
}
