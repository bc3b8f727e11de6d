//! Net balance over any window: charted, weighed and fused.

use crate::core::{body, lag_cov};
use crate::estimate::{Fit, Record};
use crate::ledger::hours;
use crate::options::Options;
use crate::report::Window;

/// A weight stands for an end of a window when it lies within this of it, h.
const NEAR_H: f64 = 1.0;

/// Windows of the lengths asked for that end with the record, then those that lie anywhere in it. One that reaches beyond the record
/// is left out, and told of where it was asked for by name.
pub(crate) fn windows(record: &Record, fit: &Fit, options: &Options, notes: &mut Vec<String>) -> Vec<Window> {
    let end_h = record.span.end_h;
    let asked = options.windows_h != Options::default().windows_h;
    let mut out = Vec::new();
    for &h in &options.windows_h {
        if h > 0.0 && h <= end_h + 1e-9 {
            out.push(window(record, fit, end_h - h, end_h));
        } else if asked {
            notes.push(format!("no balance over {h} h: the record holds {end_h:.1} h"));
        }
    }
    for span in &options.spans {
        let (from_h, to_h) = (hours(record.span.origin, span.from), hours(record.span.origin, span.to));
        if from_h >= -1e-9 && to_h <= end_h + 1e-9 && from_h < to_h {
            out.push(window(record, fit, from_h, to_h));
        } else {
            notes.push(format!("no balance from {} to {}: it is not within the record", span.from, span.to));
        }
    }
    out
}

/// Net balance from `from_h` to `to_h`; the ends move to the nearest time at which the model stands.
fn window(record: &Record, fit: &Fit, from_h: f64, to_h: f64) -> Window {
    let nodes = &fit.built.grid.nodes;
    let nearest = |t_h: f64| {
        let after = nodes.partition_point(|node| node.t_h < t_h).min(nodes.len() - 1);
        let before = after.saturating_sub(1);
        if t_h - nodes[before].t_h < nodes[after].t_h - t_h { before } else { after }
    };
    // The count of uncharted fluid starts anew at the first row: a window cannot reach beyond it.
    let first = fit.built.row_nodes.first().copied().unwrap_or(0);
    let early = nearest(from_h).max(first);
    let late = nearest(to_h).max(early);
    let charted_ml = record.ledger.charted_ml(nodes[early].t_h + 1e-9, nodes[late].t_h + 1e-9);
    let states = fit.smoothed(&if early == late { vec![late] } else { vec![early, late] });
    let (a, b) = (&states[0], &states[states.len() - 1]);
    let g = body();
    let fused_ml = nodes[late].charted_g - nodes[early].charted_g + g.dot(&(b.mean - a.mean));
    let between = lag_cov(&fit.built.grid, &fit.filtered, early, (late, b), &g);
    let variance = a.cov(&g, &g) + b.cov(&g, &g) - 2.0 * between;
    Window {
        from: record.time(nodes[early].t_h),
        to: record.time(nodes[late].t_h),
        hours: nodes[late].t_h - nodes[early].t_h,
        charted_ml,
        weighed_ml: weight_near(record, nodes[late].t_h)
            .zip(weight_near(record, nodes[early].t_h))
            .map(|(late_g, early_g)| late_g - early_g),
        fused_ml,
        u_fused_ml: variance.max(0.0).sqrt(),
        unexplained_ml: fused_ml - charted_ml,
    }
}

/// Weight nearest to a time, g.
fn weight_near(record: &Record, t_h: f64) -> Option<f64> {
    record
        .readings
        .readings
        .iter()
        .min_by(|a, b| (a.t_h - t_h).abs().total_cmp(&(b.t_h - t_h).abs()))
        .filter(|reading| (reading.t_h - t_h).abs() <= NEAR_H)
        .map(|reading| reading.mass_g)
}
