//! From readings and ledger to the grid on which the model runs.
//!
//! Nodes stand at the record's start and end, at each whole hour and at each reading. Between them the
//! chart's flows are spread, the deck's drift grows and the posture error fades.

use jiff::Timestamp;

use crate::core::{Grid, Node, Observation, Transition};
use crate::ledger::{Ledger, distribute};
use crate::options::Options;
use crate::thin::Reading;

/// Fluid that ran at another time than charted has done so within an hour.
const TIMING_H: f64 = 1.0;

/// A grid with what its nodes stand for.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Built {
    /// The nodes.
    pub(crate) grid: Grid,
    /// For each reading its node.
    pub(crate) reading_nodes: Vec<usize>,
    /// Nodes at whole hours.
    pub(crate) row_nodes: Vec<usize>,
    /// Stated variance of one weight without drift, g²: the median.
    pub(crate) u2_g2: f64,
}

/// Fluid that is known to have left the deck.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Gone {
    /// When, h.
    pub(crate) t_h: f64,
    /// How much, g; `None`: all that lay there.
    pub(crate) fluid_g: Option<f64>,
    /// Its standard uncertainty, g.
    pub(crate) u_g: f64,
}

/// Span of the record.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Span {
    /// Time zero of the model: the first record.
    pub(crate) origin: Timestamp,
    /// The last record, h.
    pub(crate) end_h: f64,
}

/// Builds the grid.
pub(crate) fn build(
    readings: &[Reading],
    ledger: &Ledger,
    span: Span,
    (options, removals): (&Options, &[Gone]),
) -> Built {
    let rows_h = whole_hours(span);
    let mut times: Vec<f64> = readings.iter().map(|reading| reading.t_h).collect();
    times.extend(&rows_h);
    times.extend([0.0, span.end_h]);
    let within = |t_h: &f64| (0.0..=span.end_h).contains(t_h);
    times.extend(removals.iter().map(|gone| gone.t_h).filter(within));
    times.sort_by(f64::total_cmp);
    times.dedup_by(|a, b| (*a - *b).abs() < 1e-9);
    let node_at = |t: f64| times.partition_point(|&time| time < t - 1e-9);
    let reading_nodes: Vec<usize> = readings.iter().map(|reading| node_at(reading.t_h)).collect();
    let row_nodes: Vec<usize> = rows_h.iter().map(|&t| node_at(t)).collect();

    let drift = Drift::of(readings);
    let u2_g2 = drift.base_g2;
    let mut nodes = nodes(&times, ledger, options, u2_g2);
    for ((reading, &node), k) in readings.iter().zip(&reading_nodes).zip(0..) {
        let node = &mut nodes[node];
        let var_g2 = (reading.u_g.powi(2) - drift.level_g2[k]).max(1e-6) / reading.n_eff;
        node.observation = Some(Observation { value_g: reading.mass_g - node.charted_g, var_g2 });
        if options.drift_g_sqrt_h.is_none() {
            node.into.var_drift_g2 = drift.step_g2[k];
            node.into.keep_drift = if drift.zeroed[k] { 0.0 } else { 1.0 };
        }
    }
    if let Some(node) = rows_h.first().map(|&t| node_at(t)).filter(|&node| node > 0) {
        nodes[node].into.anchor = true;
    }
    known_removals(&mut nodes, removals);
    Built { grid: Grid { nodes }, reading_nodes, row_nodes, u2_g2 }
}

fn nodes(times: &[f64], ledger: &Ledger, options: &Options, u2_g2: f64) -> Vec<Node> {
    let mut flows = ledger.flows.clone();
    flows.extend(ledger.pending(times[times.len() - 1]));
    let steps = distribute(&flows, times);
    let mut charted_g = 0.0;
    let origin = Node { t_h: times[0], charted_g, into: Transition::NONE, observation: None };
    let mut nodes = vec![origin];
    for (pair, step) in times.windows(2).zip(&steps) {
        let dt_h = pair[1] - pair[0];
        charted_g += step.body_g;
        let into = Transition {
            dt_h,
            keep_timing: (-dt_h / TIMING_H).exp(),
            keep_posture: (-dt_h / options.posture_h).exp(),
            pool_g: step.pool_g,
            var_through_g2: step.var_through_g2,
            var_retained_g2: step.var_retained_g2,
            var_timing_g2: step.timing_g2,
            var_posture_g2: u2_g2,
            var_drift_g2: options.drift_g_sqrt_h.map_or(0.0, |rate| rate * rate * dt_h),
            ..Transition::NONE
        };
        nodes.push(Node { t_h: pair[1], charted_g, into, observation: None });
    }
    nodes
}

/// Pads whose removal the caller knows leave at the node of that time.
fn known_removals(nodes: &mut [Node], removals: &[Gone]) {
    for gone in removals {
        let Some(node) = nodes.iter_mut().find(|node| node.t_h >= gone.t_h - 1e-9) else { continue };
        match gone.fluid_g {
            None => node.into.keep_pool = 0.0,
            Some(fluid_g) => {
                node.into.pool_g -= fluid_g;
                node.into.var_pool_g2 += gone.u_g * gone.u_g;
            }
        }
    }
}

/// Whole hours of the clock within the record, h since the origin.
fn whole_hours(span: Span) -> Vec<f64> {
    let seconds = span.origin.as_duration().as_secs_f64();
    let first = (seconds / 3600.0 - 1e-9).ceil() * 3600.0 - seconds;
    let n = ((span.end_h * 3600.0 - first) / 3600.0 + 1e-9).floor();
    let n_rows = if n < 0.0 { 0 } else { n as usize + 1 };
    (0..n_rows).map(|k| first / 3600.0 + k as f64).collect()
}

/// The deck's drift as the stated uncertainties tell it: what grows since a zero is drift.
struct Drift {
    /// Median of the stated variances less drift, g².
    base_g2: f64,
    /// Drift variance at each reading, g².
    level_g2: Vec<f64>,
    /// Its growth since the reading before, g².
    step_g2: Vec<f64>,
    /// Whether the deck was zeroed before the reading.
    zeroed: Vec<bool>,
}

impl Drift {
    /// A drop of the stated variance below this share means a zero in between.
    const ZERO_DROP: f64 = 0.7;

    fn of(readings: &[Reading]) -> Self {
        let n = readings.len();
        let u2: Vec<f64> = readings.iter().map(|reading| reading.u_g.powi(2)).collect();
        let zeroed: Vec<bool> = (0..n).map(|k| k > 0 && u2[k] < Self::ZERO_DROP * u2[k - 1]).collect();
        // Within a stretch, the least stated variance still to come: growth that does not last is scatter.
        let mut lasting = u2.clone();
        for k in (0..n.saturating_sub(1)).rev() {
            if !zeroed[k + 1] {
                lasting[k] = lasting[k].min(lasting[k + 1]);
            }
        }
        let (mut level_g2, mut step_g2) = (vec![0.0; n], vec![0.0; n]);
        let mut start = 0;
        for k in 0..n {
            if zeroed[k] {
                start = k;
            }
            level_g2[k] = lasting[k] - lasting[start];
            step_g2[k] = if k == start { 0.0 } else { level_g2[k] - level_g2[k - 1] };
        }
        let mut base: Vec<f64> = u2.iter().zip(&level_g2).map(|(u2, level)| u2 - level).collect();
        base.sort_by(f64::total_cmp);
        Self { base_g2: base.get(n / 2).copied().unwrap_or(0.0), level_g2, step_g2, zeroed }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reading(t_h: f64, u_g: f64) -> Reading {
        Reading { t_h, mass_g: 70_000.0, u_g, n_eff: 1.0, n: 1, after_break: false }
    }

    #[test]
    fn growing_uncertainty_is_drift_and_scatter_is_not() {
        let drift = Drift::of(&[reading(0.0, 30.0), reading(1.0, 50.0), reading(2.0, 31.0), reading(3.0, 40.0)]);
        assert!(drift.zeroed[2], "a fall from 50 to 31 is a new zero");
        let steady = Drift::of(&[reading(0.0, 30.0), reading(1.0, 33.0), reading(2.0, 31.0), reading(3.0, 40.0)]);
        assert!((steady.level_g2[1] - (31.0f64.powi(2) - 900.0)).abs() < 1e-9);
        assert!((steady.level_g2[3] - 700.0).abs() < 1e-9);
    }

    #[test]
    fn rows_stand_at_whole_hours_of_the_clock() {
        let span = Span { origin: "2031-03-04T00:20:00Z".parse().unwrap(), end_h: 3.0 };
        let rows = whole_hours(span);
        assert_eq!(rows.len(), 3);
        assert!((rows[0] - 2.0 / 3.0).abs() < 1e-9);
        let exact = Span { origin: "2031-03-04T00:00:00Z".parse().unwrap(), end_h: 72.0 };
        assert_eq!(whole_hours(exact).len(), 73);
    }
}
