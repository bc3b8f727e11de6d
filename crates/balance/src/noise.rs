//! Noise levels from the record itself: maximum likelihood, held by weak priors.
//!
//! Four levels are estimated in logarithms: fast noise and posture error as shares of the stated
//! uncertainty, the factor on the charted volumes' uncertainty, and the random walk of the loss rate.
//! A day of weights cannot tell all four apart, so each has a log-normal prior: the answer is the mode of
//! the posterior, and for a long record the maximum of the likelihood. Standard errors are from the
//! curvature there. Minimised by BFGS (Nocedal & Wright, Numerical Optimization, 2nd ed., 6.1) with
//! central differences; the steps are in logarithms and the function is smooth, so 1e-3 serves all.

use nalgebra::{Matrix4, Vector4};

use crate::core::{Filter, Grid, Observation, Params};

/// Medians of the priors of (white, posture, chart) and standard deviations of their logarithms.
/// Stated uncertainties mostly cover what is fast, with posture a third of it; volumes are as sure as
/// assumed within a factor of three (95 %). Own choice.
const PRIOR: [(f64, f64); 3] = [(0.8, 0.8), (0.2, 1.0), (0.6, 0.6)];
/// Standard deviation of ln of the rate's random walk.
const RATE_PRIOR_SD: f64 = 1.2;
/// Difference step, in logarithms.
const H: f64 = 1e-3;
/// Gradient at which the search stops: a tenth of a unit of log-likelihood over a standard error of 10.
const GRADIENT_MAX: f64 = 1e-2;
const N_ITERATIONS_MAX: usize = 30;

/// Noise levels with their standard errors.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct NoiseFit {
    /// At the mode.
    pub(crate) params: Params,
    /// With each variance at its posterior mean, exp(2 ln σ̂ + 2 se²): what is not known of the noise
    /// belongs into the intervals.
    pub(crate) cautious: Params,
    /// Standard errors of the logarithms: white, posture, chart, rate walk.
    pub(crate) ln_se: [f64; 4],
    /// ln of the likelihood, without priors and without the first weight's term.
    pub(crate) log_likelihood: f64,
    /// Whether the gradient fell below its limit.
    pub(crate) converged: bool,
}

/// The start, and the prior's centre: what is assumed before the record has spoken.
pub(crate) fn assumed(rate_g_h: f64, rate_sd_g_h: f64) -> Params {
    let [white, posture, chart] = PRIOR.map(|(median, _)| median);
    // The loss changes by 30 % (one standard deviation) over a day: fever comes and goes. Own choice.
    let rate_q = (0.3 * rate_g_h).powi(2) / 24.0;
    Params { white, posture, chart, rate_q, rate_g_h, rate_sd_g_h }
}

/// Fits the noise levels on a grid.
pub(crate) fn fit(grid: &Grid, u2_g2: f64, start: Params) -> NoiseFit {
    let Some(first) = grid.nodes.iter().find_map(|node| node.observation) else {
        return NoiseFit { params: start, cautious: start, ln_se: prior_sds(), log_likelihood: 0.0, converged: false };
    };
    let objective = Objective { grid, first, u2_g2, start };
    let (x, converged) = objective.minimise(Vector4::zeros());
    let hessian = objective.hessian(x);
    let mut ln_se = prior_sds();
    if let Some(covariance) = hessian.try_inverse() {
        for (se, variance) in ln_se.iter_mut().zip(covariance.diagonal().iter()) {
            if *variance > 0.0 {
                *se = variance.sqrt();
            }
        }
    }
    let params = objective.params(x);
    let widen = |level: f64, se: f64| level * (se * se).min(1.0).exp();
    let cautious = Params {
        white: widen(params.white, ln_se[0]),
        posture: widen(params.posture, ln_se[1]),
        chart: widen(params.chart, ln_se[2]),
        // A variance itself, so half the exponent.
        rate_q: params.rate_q * (0.5 * ln_se[3] * ln_se[3]).min(1.0).exp(),
        ..params
    };
    NoiseFit { params, cautious, ln_se, log_likelihood: objective.log_likelihood(params), converged }
}

fn prior_sds() -> [f64; 4] {
    [PRIOR[0].1, PRIOR[1].1, PRIOR[2].1, RATE_PRIOR_SD]
}

/// Minus the log posterior as a function of the levels' logarithms over their prior medians.
struct Objective<'a> {
    grid: &'a Grid,
    first: Observation,
    u2_g2: f64,
    start: Params,
}

impl Objective<'_> {
    fn params(&self, x: Vector4<f64>) -> Params {
        Params {
            white: self.start.white * x[0].exp(),
            posture: self.start.posture * x[1].exp(),
            chart: self.start.chart * x[2].exp(),
            rate_q: self.start.rate_q * x[3].exp(),
            ..self.start
        }
    }

    fn log_likelihood(&self, params: Params) -> f64 {
        let mut filter = Filter::new(params, self.first, self.u2_g2);
        for node in &self.grid.nodes {
            filter.step(node);
        }
        filter.log_likelihood
    }

    fn value(&self, x: Vector4<f64>) -> f64 {
        let prior: f64 = x.iter().zip(prior_sds()).map(|(x, sd)| 0.5 * (x / sd).powi(2)).sum();
        prior - self.log_likelihood(self.params(x))
    }

    fn gradient(&self, x: Vector4<f64>) -> Vector4<f64> {
        Vector4::from_fn(|i, _| {
            let mut step = Vector4::zeros();
            step[i] = H;
            (self.value(x + step) - self.value(x - step)) / (2.0 * H)
        })
    }

    fn hessian(&self, x: Vector4<f64>) -> Matrix4<f64> {
        // Wider than H: second differences lose twice the digits.
        let h = 0.02;
        let step = |i: usize| {
            let mut step = Vector4::zeros();
            step[i] = h;
            step
        };
        let mut out = Matrix4::zeros();
        let centre = self.value(x);
        for i in 0..4 {
            out[(i, i)] = (self.value(x + step(i)) - 2.0 * centre + self.value(x - step(i))) / (h * h);
            for j in 0..i {
                let (a, b) = (step(i), step(j));
                let mixed =
                    self.value(x + a + b) - self.value(x + a - b) - self.value(x - a + b) + self.value(x - a - b);
                out[(i, j)] = mixed / (4.0 * h * h);
                out[(j, i)] = out[(i, j)];
            }
        }
        out
    }

    fn minimise(&self, start: Vector4<f64>) -> (Vector4<f64>, bool) {
        let mut x = start;
        let mut value = self.value(x);
        let mut gradient = self.gradient(x);
        // The priors' own variances are the first guess of the inverse curvature, well above the truth
        // for a long record: steps are held to half a unit.
        let mut inverse = Matrix4::from_diagonal(&Vector4::from(prior_sds().map(|sd| 0.1 * sd * sd)));
        for _ in 0..N_ITERATIONS_MAX {
            if gradient.amax() < GRADIENT_MAX {
                return (x, true);
            }
            let mut direction = -(inverse * gradient);
            if direction.amax() > 1.0 {
                direction /= direction.amax();
            }
            let Some((next, next_value)) = self.search(x, value, direction, gradient.dot(&direction)) else {
                return (x, false);
            };
            let next_gradient = self.gradient(next);
            let (s, y) = (next - x, next_gradient - gradient);
            let sy = s.dot(&y);
            if sy > 1e-12 {
                let left = Matrix4::identity() - s * y.transpose() / sy;
                inverse = left * inverse * left.transpose() + s * s.transpose() / sy;
            }
            (x, value, gradient) = (next, next_value, next_gradient);
        }
        (x, gradient.amax() < GRADIENT_MAX)
    }

    /// Backtracking to a sufficient decrease.
    fn search(&self, x: Vector4<f64>, value: f64, direction: Vector4<f64>, slope: f64) -> Option<(Vector4<f64>, f64)> {
        let mut length = 1.0;
        for _ in 0..20 {
            let next = x + direction * length;
            let next_value = self.value(next);
            if next_value <= value + 1e-4 * length * slope {
                return Some((next, next_value));
            }
            length *= 0.5;
        }
        None
    }
}
