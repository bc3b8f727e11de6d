//! The rows of a record and of its forecast.

use formats::patient::Plan;

use crate::core::{POOL, U, body, body_change, unit};
use crate::forecast::{Deviation, forecast};
use crate::report::{ForecastRow, Row};

use super::{Fit, Record, Z95};

pub(super) fn rows(record: &Record, fit: &Fit) -> Vec<Row> {
    let nodes = &fit.built.row_nodes;
    let smoothed = fit.smoothed(nodes);
    let Some(&first) = nodes.first() else { return Vec::new() };
    let (from_h, from_g) = (fit.built.grid.nodes[first].t_h, fit.built.grid.nodes[first].charted_g);
    let mut out = Vec::with_capacity(nodes.len());
    let (mut charted_ml, mut heavier_g, mut next) = (0.0, 0.0, 0);
    let mut shared = record.ledger.shared();
    for (&idx, state) in nodes.iter().zip(&smoothed) {
        let node = &fit.built.grid.nodes[idx];
        while let Some(flow) = record.ledger.flows.get(next).filter(|flow| flow.stamp_h <= node.t_h + 1e-9) {
            if flow.stamp_h > from_h + 1e-9 {
                charted_ml += flow.signed_ml;
                heavier_g += flow.body_g - flow.signed_ml;
                shared.add(&record.ledger.entries[flow.entry_idx], flow);
            }
            next += 1;
        }
        let change_g = node.charted_g - from_g + body_change().dot(&state.mean);
        // mL for g, less what the charted fluids weigh beyond 1 g/mL.
        let weighed_ml = change_g - heavier_g;
        let unexplained_ml = weighed_ml - charted_ml;
        // The error of what is reported about the fluid that truly went uncharted: what is not known of
        // it, and what charting error and timing put between it and the figure.
        let apart = unexplained_ml - state.mean[U];
        let sd = state.sd(&unit(U)).hypot(shared.u_ml(node.t_h - from_h));
        out.push(Row {
            time: record.time(node.t_h),
            mass_kg: (node.charted_g + body().dot(&state.mean)) / 1000.0,
            u_kg: state.sd(&body()).hypot(fit.constant_g) / 1000.0,
            weighed_ml,
            charted_ml,
            unexplained_ml,
            u_unexplained_ml: half_width(apart, sd) / Z95,
            u_weighed_ml: state.sd(&body_change()),
            on_deck_ml: state.mean[POOL],
        });
    }
    out
}

/// Half width h of the interval about nothing that holds 95 % of a normal error of mean `apart` and standard deviation `sd`:
/// Φ((h − a)/s) − Φ((−h − a)/s) = 0.95, by Newton's method from above. With no known error it is 1.96 sd, with a large one
/// a + 1.645 sd: less than their root sum of squares would give.
fn half_width(apart: f64, sd: f64) -> f64 {
    use stats::distribution::{normal_cdf, normal_pdf};
    if sd <= 0.0 {
        return apart.abs();
    }
    let a = apart.abs() / sd;
    // 1.645 and 1.96 bound the answer from both sides; the share held is concave above the lower one.
    let mut h = a + 1.644_853_626_951_472_7;
    for _ in 0..8 {
        let held = normal_cdf(h - a) - normal_cdf(-h - a);
        let slope = normal_pdf(h - a) + normal_pdf(h + a);
        let step = (held - 0.95) / slope;
        h = (h - step).clamp(a + 1.644_853_626_951_472_7, a + Z95);
        if step.abs() < 1e-6 {
            break;
        }
    }
    h * sd
}

pub(super) fn forecast_rows(record: &Record, fit: &Fit, plan: &Plan, horizon_h: u32) -> Vec<ForecastRow> {
    let end_h = record.span.end_h;
    let charted_g = fit.built.grid.nodes.last().map_or(0.0, |node| node.charted_g);
    let deviation = Deviation::of(&record.ledger, end_h, plan);
    forecast((&fit.end, charted_g, fit.constant_g), plan, deviation, horizon_h)
        .iter()
        .map(|ahead| {
            let (low_g, high_g) = ahead.interval_g();
            ForecastRow {
                time: record.time(end_h + ahead.h),
                ahead_h: ahead.h,
                mass_kg: ahead.mass_g / 1000.0,
                low_kg: low_g / 1000.0,
                high_kg: high_g / 1000.0,
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against the defining integral, at a known error of 0, 0.5, 2 and 20 standard deviations.
    #[test]
    fn the_half_width_holds_95_percent() {
        use stats::distribution::normal_cdf;
        for apart in [0.0, 5.0, -20.0, 200.0] {
            let h = half_width(apart, 10.0);
            let held = normal_cdf((h - apart) / 10.0) - normal_cdf((-h - apart) / 10.0);
            assert!((held - 0.95).abs() < 1e-6, "{apart}: {h} holds {held}");
        }
        assert!((half_width(0.0, 10.0) - 10.0 * Z95).abs() < 1e-4);
    }
}
