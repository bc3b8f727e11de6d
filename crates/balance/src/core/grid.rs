//! The times at which the model stands, and what happens between them.

use super::{DRIFT, POOL, POSTURE, TIMING};

/// A weight, less the charted mass so far.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Observation {
    /// y − S, g.
    pub(crate) value_g: f64,
    /// Stated variance of the measurement at a share of 1, g².
    pub(crate) var_g2: f64,
}

/// What happens between the node before and this one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Transition {
    /// Time, h.
    pub(crate) dt_h: f64,
    /// Share of the timing state that is left.
    pub(crate) keep_timing: f64,
    /// Share of the posture error that is left.
    pub(crate) keep_posture: f64,
    /// Share of the pool that is left.
    pub(crate) keep_pool: f64,
    /// Share of the deck's drift that is left: none where it was zeroed.
    pub(crate) keep_drift: f64,
    /// Onto the pool, g; before pads are taken off at the node, where they are.
    pub(crate) pool_g: f64,
    /// Variance of charted volumes at factor 1, g²: those that leave or enter the deck.
    pub(crate) var_through_g2: f64,
    /// Variance of charted volumes that move from the body to a pad, g².
    pub(crate) var_retained_g2: f64,
    /// Variance of the timing, g².
    pub(crate) var_timing_g2: f64,
    /// Variance of the deck's drift, g².
    pub(crate) var_drift_g2: f64,
    /// Stationary variance of the posture error at share 1, g².
    pub(crate) var_posture_g2: f64,
    /// Extra variance of the pool, g²: whether it went is not known.
    pub(crate) var_pool_g2: f64,
    /// Extra variance of the uncharted fluid, g²: a step.
    pub(crate) var_step_g2: f64,
    /// Extra random walk of the rate, (g/h)² per h: an episode.
    pub(crate) extra_rate_q: f64,
    /// Whether the count of uncharted fluid and of charting error starts anew here: the mass at the
    /// origin becomes the mass at this node. At the first row, from which running totals count.
    pub(crate) anchor: bool,
}

impl Transition {
    /// The states that decay or are emptied, with what is left of each.
    pub(crate) fn keeps(&self) -> [(usize, f64); 4] {
        [(TIMING, self.keep_timing), (POOL, self.keep_pool), (DRIFT, self.keep_drift), (POSTURE, self.keep_posture)]
    }

    /// Nothing happens in no time.
    pub(crate) const NONE: Self = Self {
        dt_h: 0.0,
        keep_timing: 1.0,
        keep_posture: 1.0,
        keep_pool: 1.0,
        keep_drift: 1.0,
        pool_g: 0.0,
        var_through_g2: 0.0,
        var_retained_g2: 0.0,
        var_timing_g2: 0.0,
        var_drift_g2: 0.0,
        var_posture_g2: 0.0,
        var_pool_g2: 0.0,
        var_step_g2: 0.0,
        extra_rate_q: 0.0,
        anchor: false,
    };
}

/// One time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Node {
    /// h since the origin.
    pub(crate) t_h: f64,
    /// Charted mass into the body since the origin, spread over the entries' windows, g.
    pub(crate) charted_g: f64,
    /// From the node before.
    pub(crate) into: Transition,
    /// A weight, where one was settled.
    pub(crate) observation: Option<Observation>,
}

/// Nodes in order of time; the first is the origin.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Grid {
    /// In order of time.
    pub(crate) nodes: Vec<Node>,
}
