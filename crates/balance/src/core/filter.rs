//! The Kalman filter, step by step.

use super::grid::{Node, Observation, Transition};
use super::{C, DRIFT, M0, Matrix, N, OBSERVED, POOL, POSTURE, Params, R, TIMING, U, Vector, WEEP};

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
    fit: Likelihood,
}

/// The likelihood's sums, without the first weight's term.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Likelihood {
    /// Weights so far.
    n: f64,
    /// Σ v²/F.
    squares: f64,
    /// Σ ln F but for the factors that `product` still holds: a logarithm costs as much as a fifth of a step.
    ln_f: f64,
    product: f64,
}

impl Likelihood {
    const NONE: Self = Self { n: 0.0, squares: 0.0, ln_f: 0.0, product: 1.0 };

    fn add(&mut self, v: f64, f: f64) {
        self.n += 1.0;
        self.squares += v * v / f;
        self.product *= f;
        // Far from where the next factor could overflow or lose digits: variances lie between 1e-6 and 1e12 g².
        if !(1e-200..1e200).contains(&self.product) {
            self.ln_f += self.product.ln();
            self.product = 1.0;
        }
    }

    fn ln(&self) -> f64 {
        -0.5 * (self.n * std::f64::consts::TAU.ln() + self.ln_f + self.product.ln() + self.squares)
    }
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
        Self { params, a, p, started: false, fit: Likelihood::NONE }
    }

    /// ln of the likelihood so far, without the first weight's term.
    pub(crate) fn log_likelihood(&self) -> f64 {
        self.fit.ln()
    }

    /// Goes to a node and takes in its weight.
    pub(crate) fn step(&mut self, node: &Node) -> Filtered {
        self.predict(&node.into);
        self.take(node.observation)
    }

    /// Goes to a node and takes in its weight, where nobody asks for the states on the way.
    pub(crate) fn advance(&mut self, node: &Node) -> Option<Update> {
        self.predict(&node.into);
        node.observation.map(|observation| self.update(observation))
    }

    /// Takes in the weight of a node that it has gone to.
    pub(crate) fn take(&mut self, observation: Option<Observation>) -> Filtered {
        let (a, p) = (self.a, self.p);
        let update = observation.map(|observation| self.update(observation));
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
        let seen = seen(&OBSERVED, &self.p);
        (observation.value_g - sum(&OBSERVED, &self.a), sum(&OBSERVED, &seen) + self.noise(observation))
    }

    /// Variance of what a weight would say if nothing lay on the deck any longer.
    pub(crate) fn variance_without_pool(&self, observation: Observation) -> f64 {
        const WITHOUT: [usize; 6] = [M0, U, C, TIMING, DRIFT, POSTURE];
        sum(&WITHOUT, &seen(&WITHOUT, &self.p)) + self.noise(observation)
    }

    fn update(&mut self, observation: Observation) -> Update {
        let pz = seen(&OBSERVED, &self.p);
        let f = sum(&OBSERVED, &pz) + self.noise(observation);
        let v = observation.value_g - sum(&OBSERVED, &self.a);
        let k = pz / f;
        self.a += k * v;
        // P − (P Z')(P Z')'/F, a column at a time and in place.
        for (column, share) in self.p.data.0.iter_mut().zip(k.iter()) {
            for (entry, pz) in column.iter_mut().zip(pz.iter()) {
                *entry -= pz * share;
            }
        }
        if self.started {
            self.fit.add(v, f);
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

/// Sum of some entries.
fn sum(idx: &[usize], x: &Vector) -> f64 {
    idx.iter().map(|&idx| x[idx]).sum()
}

/// P g for a g that is 1 at some states and 0 elsewhere: the sum of those columns.
fn seen(idx: &[usize], p: &Matrix) -> Vector {
    let mut out = [0.0; N];
    for &idx in idx {
        for (sum, entry) in out.iter_mut().zip(&p.data.0[idx]) {
            *sum += entry;
        }
    }
    Vector::from(out)
}

/// T P T', in place: P T' by columns, then T of it by rows.
fn transition(p: &mut Matrix, into: &Transition) {
    let columns = &mut p.data.0;
    let dt = into.dt_h;
    let (rate, weep) = (columns[R], columns[WEEP]);
    for ((entry, rate), weep) in columns[U].iter_mut().zip(rate).zip(weep) {
        *entry -= dt * (rate + weep);
    }
    for (entry, weep) in columns[POOL].iter_mut().zip(weep) {
        *entry += dt * weep;
    }
    for column in columns.iter_mut() {
        column[U] -= dt * (column[R] + column[WEEP]);
        column[POOL] += dt * column[WEEP];
    }
    for (idx, keep) in into.keeps() {
        if keep < 1.0 {
            columns[idx].iter_mut().for_each(|entry| *entry *= keep);
            columns.iter_mut().for_each(|column| column[idx] *= keep);
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
