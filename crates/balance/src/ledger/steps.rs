//! Flows cut along a grid of times: what came in between each time and the next.

use super::Flow;

/// What the chart puts into one interval of the grid.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Step {
    /// Into the body, g.
    pub(crate) body_g: f64,
    /// Onto the deck's pads, g.
    pub(crate) pool_g: f64,
    /// Variance of the volumes that leave the deck or come onto it, g².
    pub(crate) var_through_g2: f64,
    /// Variance of the volumes that move from the body to a pad, g².
    pub(crate) var_retained_g2: f64,
    /// Variance of what ran at another time, g².
    pub(crate) timing_g2: f64,
}

/// Spreads every flow over the intervals between ascending `times_h`; one step an interval.
///
/// A window that starts before the grid is cut there and keeps its whole mass where its stamp lies in
/// the grid; what ends at or before the first time, or starts after the last, is outside.
pub(crate) fn distribute(flows: &[Flow], times_h: &[f64]) -> Vec<Step> {
    let n_steps = times_h.len().saturating_sub(1);
    let mut steps = vec![Step::default(); n_steps];
    let (Some(&first), Some(&last)) = (times_h.first(), times_h.last()) else { return steps };
    for flow in flows {
        if flow.end_h <= first || flow.start_h >= last {
            continue;
        }
        let start = flow.start_h.max(first);
        let length = flow.end_h - start;
        let retained = flow.pool_g > 0.0;
        let mut k = times_h.partition_point(|&t| t <= start).saturating_sub(1);
        while k < n_steps && times_h[k] < flow.end_h {
            let overlap = times_h[k + 1].min(flow.end_h) - times_h[k].max(start);
            let share = (overlap / length).max(0.0);
            let step = &mut steps[k];
            step.body_g += share * flow.body_g;
            step.pool_g += share * flow.pool_g;
            if retained {
                // What moved from body to pad at another time is not seen by the deck until the pad goes.
                step.var_retained_g2 += share * (flow.var_g2 + flow.timing_g2);
            } else {
                step.var_through_g2 += share * flow.var_g2;
                step.timing_g2 += share * flow.timing_g2;
            }
            k += 1;
        }
    }
    steps
}
