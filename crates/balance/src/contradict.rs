//! Chart entries that the deck contradicts: written twice, on the wrong side, ten times too large.
//!
//! If an entry's true mass is not what is charted but more by δ (into the body positive), the innovations
//! after it move by δ g, g being the filter's response to such fluid over the entry's window. The fluid may
//! also have run earlier or later than the window says, by amounts ε and λ with a prior of half the entry.
//! The three are fitted together by generalized least squares, as the innovations are white:
//! A = Σ g g'/F + prior, B = Σ g v/F, (δ̂, ε̂, λ̂) = A⁻¹ B. An entry of mass s is contradicted where δ̂ is
//! far from nothing and close to one of the slips that people make:
//!
//! | δ | slip |
//! |---|------|
//! | −s | the fluid never came or went: written twice, or not given |
//! | −2 s | written on the wrong side |
//! | −0.9 s | ten times too large |
//! | +999 s | written in litres, as millilitres: asked of entries of a few mL alone |
//!
//! Such an entry is counted, as every entry is, but the estimate no longer relies on it.

use nalgebra::{Matrix3, Vector3};

use crate::build::Built;
use crate::core::{Filter, Filtered, Params, U, Vector, observed, predict_mean};
use crate::ledger::{Flow, Ledger};

/// Weights this long after the stamp are asked, h.
const AFTER_H: f64 = 3.0;
/// The fluid may have run this much earlier or later, h.
const ASIDE_H: f64 = 1.0;
/// Standard deviation of how much of it did, as a share of the entry.
const ASIDE_SHARE: f64 = 0.5;
/// δ̂ must lie this many standard deviations from nothing: one in 1.7 million of Gaussian errors does, and one patient lies
/// worse than another.
const FAR: f64 = 5.0;
/// And within this many of a slip.
const NEAR: f64 = 2.0;
/// Entries smaller than this say too little, mL/kg.
const LEAST_ML_KG: f64 = 1.5;
/// Millilitres of a litre, and the largest number that is taken for litres.
const LITRE_ML: f64 = 1000.0;
const LITRES_MAX: f64 = 5.0;

/// An entry that the deck contradicts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Contradiction {
    /// Index of the flow.
    pub(crate) flow: usize,
    /// What the deck saw, g into the body.
    pub(crate) seen_g: f64,
    /// Its standard uncertainty, g.
    pub(crate) u_g: f64,
    /// The slip.
    pub(crate) slip: Slip,
}

/// What may have happened.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Slip {
    /// Written twice: a like entry stands close by.
    Twice,
    /// Nothing of it was seen.
    Unseen,
    /// Intake as output or the other way.
    WrongSide,
    /// Ten times too large.
    SlippedPoint,
    /// Nothing of it or a tenth was seen: the deck cannot tell which.
    Little,
    /// Litres written as millilitres.
    Litres,
}

/// All contradictions of a chart, by a filter with `params` over the grid.
pub(crate) fn contradictions(built: &Built, ledger: &Ledger, params: Params, weight_kg: f64) -> Vec<Contradiction> {
    let nodes = &built.grid.nodes;
    let Some(first) = nodes.iter().find_map(|node| node.observation) else { return Vec::new() };
    let mut filter = Filter::new(params, first, built.u2_g2);
    let filtered: Vec<Filtered> = nodes.iter().map(|node| filter.step(node)).collect();
    let least_g = LEAST_ML_KG * weight_kg;
    let litres = |flow: &Flow| flow.signed_ml.abs() <= LITRES_MAX && LITRE_ML * flow.body_g.abs() >= least_g;
    let eligible = |flow: &Flow| flow.pool_g <= 0.0 && (flow.body_g.abs() >= least_g || litres(flow));
    let mut out: Vec<Contradiction> = Vec::new();
    for (idx, flow) in ledger.flows.iter().enumerate().filter(|(_, flow)| eligible(flow)) {
        let meant_g = if litres(flow) { LITRE_ML * flow.body_g } else { flow.body_g };
        let Some((delta_g, u_g)) = excess(built, &filtered, flow, meant_g) else { continue };
        let found = if litres(flow) { in_litres(flow, delta_g, u_g) } else { slip(ledger, idx, delta_g, u_g) };
        if let Some(slip) = found {
            // Of two entries written for one, the deck points at both: the later one is told.
            let seen_g = flow.body_g + delta_g;
            let beside = |c: &Contradiction| flow.stamp_h - ledger.flows[c.flow].stamp_h <= AFTER_H;
            match out.last_mut().filter(|last| beside(last)) {
                Some(last) => *last = Contradiction { flow: idx, seen_g, u_g, slip },
                None => out.push(Contradiction { flow: idx, seen_g, u_g, slip }),
            }
        }
    }
    out
}

/// δ̂ and its standard uncertainty for one flow; `meant_g` is the mass of which a share may have run earlier or later.
fn excess(built: &Built, filtered: &[Filtered], flow: &Flow, meant_g: f64) -> Option<(f64, f64)> {
    let nodes = &built.grid.nodes;
    let begin_h = flow.start_h - ASIDE_H;
    let start = nodes.partition_point(|node| node.t_h <= begin_h);
    let z = observed();
    // Responses to fluid in the window, and to fluid moved from the window to before or after it.
    let mut gaps = [Vector::zeros(); 3];
    let moved = 1.0 / (ASIDE_SHARE * meant_g).powi(2);
    let mut a = Matrix3::from_diagonal(&Vector3::new(0.0, moved, moved));
    let mut b = Vector3::zeros();
    for (node, state) in nodes[start..].iter().zip(&filtered[start..]) {
        let from_h = node.t_h - node.into.dt_h;
        if from_h > flow.end_h + AFTER_H {
            break;
        }
        let share = |low_h: f64, high_h: f64| (node.t_h.min(high_h) - from_h.max(low_h)).max(0.0) / (high_h - low_h);
        let inside = share(flow.start_h, flow.end_h);
        let before = share(begin_h, flow.start_h) - inside;
        let after = share(flow.end_h, flow.end_h + ASIDE_H) - inside;
        for (gap, came) in gaps.iter_mut().zip([inside, before, after]) {
            predict_mean(gap, &node.into);
            gap[U] += came;
        }
        if let Some(update) = state.update {
            let g = Vector3::from_fn(|i, _| z.dot(&gaps[i]));
            a += g * g.transpose() / update.f;
            b += g * (update.v / update.f);
            for (gap, seen) in gaps.iter_mut().zip(g.iter()) {
                *gap -= update.k * *seen;
            }
        }
    }
    let covariance = a.try_inverse()?;
    let variance = covariance[(0, 0)];
    (variance > 0.0).then(|| ((covariance * b)[0], variance.sqrt()))
}

/// Whether an entry of a few mL was meant in litres.
fn in_litres(flow: &Flow, delta_g: f64, u_g: f64) -> Option<Slip> {
    let meant_g = LITRE_ML * flow.body_g;
    let apart_g = (delta_g - (meant_g - flow.body_g)).abs();
    (delta_g.abs() >= FAR * u_g && apart_g <= (NEAR * u_g).min(0.45 * meant_g.abs())).then_some(Slip::Litres)
}

fn slip(ledger: &Ledger, idx: usize, delta_g: f64, u_g: f64) -> Option<Slip> {
    if delta_g.abs() < FAR * u_g {
        return None;
    }
    let s = ledger.flows[idx].body_g;
    let nearest = [(Slip::Unseen, -s), (Slip::WrongSide, -2.0 * s), (Slip::SlippedPoint, -0.9 * s)]
        .into_iter()
        .min_by(|x, y| (delta_g - x.1).abs().total_cmp(&(delta_g - y.1).abs()))
        // Near in standard deviations, and nearer than halfway to another slip or to none.
        .filter(|(_, slip_g)| (delta_g - slip_g).abs() <= (NEAR * u_g).min(0.45 * s.abs()))?;
    Some(match nearest.0 {
        Slip::Unseen | Slip::SlippedPoint if has_twin(ledger, idx) => Slip::Twice,
        // A tenth of the entry is no more than the deck's own doubt.
        Slip::Unseen | Slip::SlippedPoint if 0.1 * s.abs() < NEAR * u_g => Slip::Little,
        slip => slip,
    })
}

/// Whether an entry of the same way and volume stands within an hour and a half, off the route's pace.
fn has_twin(ledger: &Ledger, idx: usize) -> bool {
    let flow = &ledger.flows[idx];
    let entry = &ledger.entries[flow.entry_idx];
    ledger.flows.iter().enumerate().any(|(k, other)| {
        let twin = &ledger.entries[other.entry_idx];
        k != idx
            && twin.direction == entry.direction
            && twin.route == entry.route
            && (twin.volume_ml - entry.volume_ml).abs() < 1e-9
            && (other.stamp_h - flow.stamp_h).abs() <= flow.pace_h.map_or(1.5, |pace| 0.75 * pace)
    })
}
