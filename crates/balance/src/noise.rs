//! Noise levels from the record itself: maximum likelihood, held by weak priors.
//!
//! Four levels are estimated in logarithms: fast noise and posture error as shares of the stated
//! uncertainty, the factor on the charted volumes' uncertainty, and the random walk of the loss rate.
//! A day of weights cannot tell all four apart, so each has a log-normal prior: the answer is the mode of
//! the posterior, and for a long record the maximum of the likelihood. Standard errors are from the
//! curvature there. Of a long record the last week is asked: its thousand readings tell the fast noise to 2 %,
//! and noise of a fortnight ago says little of today's. Searched by BFGS in logarithms over a third of each prior's standard deviation, the width
//! that a day or two of weights leave, so that the search starts with steps of the right size.

use nalgebra::DVector;
use stats::optimize::{self, bfgs, hessian_by_slope};

use crate::core::{Filter, Grid, Node, Observation, Params, score};
use crate::insensible::Insensible;

/// Medians of the priors of (white, posture, chart) and standard deviations of their logarithms.
/// Stated uncertainties mostly cover what is fast, with posture a third of it; volumes are as sure as
/// assumed within a factor of three (95 %). Own choice.
const PRIOR: [(f64, f64); 3] = [(0.8, 0.8), (0.2, 1.0), (0.6, 0.6)];
/// Standard deviation of ln of the rate's random walk.
const RATE_PRIOR_SD: f64 = 1.2;
/// How far the loss has changed after a day (one standard deviation), as a share of it: the rise of 12 % per °C (in common use, no
/// primary source) for a body temperature that wanders by one degree a day (own choice). The record's own wandering is fitted.
const RATE_SHARE: f64 = 0.12;
/// The same for what evaporates from burns: it follows their area, which stays from one day to the next, and hardly the temperature.
/// Half of the above; own choice.
const BURN_SHARE: f64 = 0.06;
/// Hours of the record's end that are asked.
const FIT_H: f64 = 168.0;
/// Width of the search's unit, as a share of the prior's standard deviation.
const UNIT: f64 = 0.35;
/// Step of the second derivatives, in search units.
const HESSIAN_STEP: f64 = 0.05;
/// Steps of the search: it comes to rest in about ten.
const N_STEPS_MAX: usize = 25;
/// The search has come to rest where a Newton step would gain less log posterior than this: 0.03 of a standard error. The search itself
/// ends at a tenth of it, for it knows the curvature only from its steps: in search units that is 0.12, the prior's, or more.
const GAIN_MAX: f64 = 1e-3;

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
    /// ln of the likelihood of the last week, without priors and without its first weight's term.
    pub(crate) log_likelihood: f64,
    /// Whether the search came to rest.
    pub(crate) converged: bool,
}

/// The start, and the prior's centre: what is assumed before the record has spoken.
pub(crate) fn assumed(prior: &Insensible) -> Params {
    let weep_g_h = prior.weep_ml_h;
    let (rate_g_h, rate_sd_g_h) = (prior.mean_g_h - weep_g_h, prior.sd_g_h);
    let [white, posture, chart] = PRIOR.map(|(median, _)| median);
    let burn_g_h = prior.burn_ml_h;
    let walked = (RATE_SHARE * (rate_g_h - burn_g_h)).hypot(BURN_SHARE * burn_g_h);
    let rate_q = walked * walked / 24.0;
    Params { white, posture, chart, rate_q, rate_g_h, rate_sd_g_h, weep_g_h }
}

/// Fits the noise levels on a grid, with `start` for the prior's centre, searching from the levels of `near`.
pub(crate) fn fit(grid: &Grid, u2_g2: f64, start: Params, near: Params) -> NoiseFit {
    let from_h = grid.nodes.last().map_or(0.0, |node| node.t_h - FIT_H);
    let nodes = &grid.nodes[grid.nodes.partition_point(|node| node.t_h < from_h)..];
    let Some(first) = nodes.iter().find_map(|node| node.observation) else {
        return NoiseFit { params: start, cautious: start, ln_se: prior_sds(), log_likelihood: 0.0, converged: false };
    };
    let mut objective = Objective { nodes, first, u2_g2, start };
    let near = objective.units(near);
    let found = bfgs(&mut objective, &near, N_STEPS_MAX, 0.1 * GAIN_MAX);
    let curvature = hessian_by_slope(&mut objective, &found.x, HESSIAN_STEP);
    let mut ln_se = prior_sds();
    let mut converged = found.converged;
    if let Some(covariance) = curvature.try_inverse() {
        let slope = DVector::from_vec(optimize::Objective::slope(&mut objective, &found.x));
        converged |= 0.5 * slope.dot(&(&covariance * &slope)) < GAIN_MAX;
        for ((se, prior), variance) in ln_se.iter_mut().zip(prior_sds()).zip(covariance.diagonal().iter()) {
            if *variance > 0.0 {
                *se = UNIT * prior * variance.sqrt();
            }
        }
    }
    let x = objective.logarithms(&found.x);
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
    nodes: &'a [Node],
    first: Observation,
    u2_g2: f64,
    start: Params,
}

impl Objective<'_> {
    /// Logarithms of the levels over their prior medians, from search units.
    fn logarithms(&self, y: &[f64]) -> [f64; 4] {
        let sds = prior_sds();
        std::array::from_fn(|i| UNIT * sds[i] * y[i])
    }

    /// The search units of some levels: the way back.
    fn units(&self, levels: Params) -> [f64; 4] {
        let (start, sds) = (self.start, prior_sds());
        let ratios = [
            levels.white / start.white,
            levels.posture / start.posture,
            levels.chart / start.chart,
            levels.rate_q / start.rate_q,
        ];
        // A level of nothing has no logarithm: it keeps the prior's.
        std::array::from_fn(|i| Some(ratios[i].ln()).filter(|ln| ln.is_finite()).unwrap_or(0.0) / (UNIT * sds[i]))
    }

    fn params(&self, x: [f64; 4]) -> Params {
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
        for node in self.nodes {
            filter.advance(node);
        }
        filter.log_likelihood()
    }
}

/// Minus the log posterior and its slope in the search units.
impl optimize::Objective for Objective<'_> {
    fn value(&mut self, y: &[f64]) -> f64 {
        let prior: f64 = y.iter().map(|y| 0.5 * (UNIT * y).powi(2)).sum();
        prior - self.log_likelihood(self.params(self.logarithms(y)))
    }

    fn slope(&mut self, y: &[f64]) -> Vec<f64> {
        let params = self.params(self.logarithms(y));
        let by_level = score(self.nodes, params, self.first, self.u2_g2);
        let sds = prior_sds();
        (0..4).map(|i| UNIT * UNIT * y[i] - UNIT * sds[i] * by_level[i]).collect()
    }
}
