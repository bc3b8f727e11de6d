//! Weights that do not fit: outliers, steps and pads that were taken off.
//!
//! One filter pass. A weight further from its prediction than [`GATE`] standard deviations is not
//! believed at once: where the next weights stand where it stood, the mass has stepped (fluid that came
//! or went at once, or something laid on the deck that `weigh` was not told of), and the model is given
//! a step there; where they do not, it alone is left out. After care, and while fluid lies on the deck,
//! a fall by the size of that fluid means that the pads went.

use crate::build::Built;
use crate::core::{Filter, Observation, POOL, Params};
use crate::ledger::Ledger;
use crate::thin::Reading;

/// Beyond this many standard deviations a weight is not believed at once. Of Gaussian errors one in
/// 1.7 million goes beyond: less than one a year at one weight each ten minutes.
const GATE: f64 = 5.0;
/// After care, and with fluid on the deck, a fall beyond this many standard deviations is a pad that went.
const FALL: f64 = 4.0;
/// Weights looked at to tell a step from an outlier.
const N_WITNESSES: usize = 3;
/// Less fluid than this on the deck is not asked after, g.
const POOL_MIN_G: f64 = 1.0;
/// Odds at which pads are taken as gone, or as still there.
const SURE: f64 = 20.0;

/// Odds, before the weights are asked, that pads went at a break of which nobody told, where others were told of. Own choice.
const UNTOLD_ODDS: f64 = 0.02;

/// What the screening found.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Screened {
    /// Steps of mass.
    pub(crate) steps: Vec<Step>,
    /// Readings left out.
    pub(crate) outliers: Vec<usize>,
    /// Readings before which the pads went, with the fluid in them, g.
    pub(crate) removed: Vec<(usize, f64)>,
}

/// A step of mass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Step {
    /// The first reading after it.
    pub(crate) reading: usize,
    /// Size, g; gain positive.
    pub(crate) size_g: f64,
    /// Standard uncertainty, g.
    pub(crate) u_g: f64,
}

/// Screens the readings, and writes what it found into the grid.
pub(crate) fn screen(built: &mut Built, readings: &[Reading], params: Params, pads_told: bool) -> Screened {
    let mut found = Screened::default();
    let Some(first) = built.reading_nodes.first().and_then(|&node| built.grid.nodes[node].observation) else {
        return found;
    };
    let mut filter = Filter::new(params, first, built.u2_g2);
    let mut reading = 0;
    for idx in 0..built.grid.nodes.len() {
        let is_reading = built.reading_nodes.get(reading) == Some(&idx);
        let node = built.grid.nodes[idx];
        if !is_reading {
            filter.advance(&node);
            continue;
        }
        let before = filter.clone();
        filter.predict(&node.into);
        judge(built, readings, &filter, (reading, pads_told), &mut found);
        if built.grid.nodes[idx] == node {
            filter.take(node.observation);
        } else {
            filter = before;
            filter.advance(&built.grid.nodes[idx]);
        }
        reading += 1;
    }
    found
}

/// An entry of this long after pads were taken off may tell of what was found in them, h.
const FOUND_H: f64 = 1.5;

/// Entries that were found in pads when these were taken off: charted after it without a pace of their own, while the deck fell
/// at it by what they say, beyond what was known to lie there. Each with the time of the removal, h.
pub(crate) fn found_at_care(
    built: &Built,
    readings: &[Reading],
    ledger: &Ledger,
    removals_h: &[f64],
    params: Params,
) -> Vec<(usize, f64)> {
    let mut out = Vec::new();
    let Some(first) = built.reading_nodes.first().and_then(|&node| built.grid.nodes[node].observation) else {
        return out;
    };
    let mut filter = Filter::new(params, first, built.u2_g2);
    let mut removals = removals_h.iter().copied().peekable();
    let mut readings = readings.iter().peekable();
    for node in &built.grid.nodes {
        let Some(reading) = readings.next_if(|reading| reading.t_h <= node.t_h + 1e-9) else {
            filter.step(node);
            continue;
        };
        let mut before = filter.clone();
        before.predict(&node.into);
        while let Some(at_h) = removals.next_if(|at_h| *at_h <= reading.t_h) {
            let Some(observation) = node.observation else { continue };
            let (v, f) = before.innovation(observation);
            let found = ledger.flows.iter().enumerate().find(|(_, flow)| {
                let after_h = flow.stamp_h - at_h;
                let apart = v + flow.pool_g;
                // The deck fell: likelier with the entry's fluid among what went than without it.
                flow.pace_h.is_none()
                    && flow.pool_g > 0.0
                    && (0.0..=FOUND_H).contains(&after_h)
                    && v * v / f > apart * apart / (f + flow.var_g2) + ((f + flow.var_g2) / f).ln()
            });
            out.extend(found.map(|(idx, _)| (idx, at_h)));
        }
        filter.step(node);
    }
    out
}

/// Judges one reading by the filter just before it; changes the node where it must.
fn judge(
    built: &mut Built,
    readings: &[Reading],
    filter: &Filter,
    (reading, pads_told): (usize, bool),
    found: &mut Screened,
) {
    let node = built.reading_nodes[reading];
    let Some(observation) = built.grid.nodes[node].observation else { return };
    let (v, f) = filter.innovation(observation);
    let pool_g = filter.a[POOL];
    // Pads whose removal is known have gone already: what lies there since then asks no question.
    let since = reading.checked_sub(1).map_or(0, |before| built.reading_nodes[before] + 1);
    let known = built.grid.nodes[since..=node].iter().any(|node| node.into.keep_pool <= 0.0);
    if readings[reading].after_break && pool_g > POOL_MIN_G && !known {
        let into = &mut built.grid.nodes[node].into;
        let apart = v + pool_g;
        let f_gone = filter.variance_without_pool(observation);
        let before = if pads_told { UNTOLD_ODDS } else { 1.0 };
        match before * removal_odds((v, f), (apart, f_gone)) {
            // A fall of another size than the chart says: the pads went all the same, and what now lies on
            // the deck is the body. What they held beyond the chart, or less, is a step.
            _ if -v > FALL * f.sqrt() && apart.abs() > FALL * f_gone.sqrt() => {
                into.keep_pool = 0.0;
                into.var_step_g2 += 4.0 * apart * apart;
                found.removed.push((reading, -v));
                if apart < 0.0 {
                    // More went than was charted into the pads. Less is a pad that was guessed too full.
                    found.steps.push(Step { reading, size_g: apart, u_g: f.sqrt() });
                }
                return;
            }
            odds if odds > SURE => {
                into.keep_pool = 0.0;
                found.removed.push((reading, pool_g));
                return;
            }
            odds if odds > 1.0 / SURE => {
                // Half gone, half there: the mixture's mean and variance.
                let pool_var = filter.p[(POOL, POOL)];
                into.keep_pool = 0.5;
                into.var_pool_g2 += 0.25 * (pool_g * pool_g + pool_var);
                return;
            }
            _ => {}
        }
    }
    if reading == 0 || v.abs() <= GATE * f.sqrt() {
        return;
    }
    if reading + 1 == built.reading_nodes.len() {
        // The last weight of the record has no witness yet. It was settled, so it is followed for now; it is told of once
        // the next weights bear it out.
        built.grid.nodes[node].into.var_step_g2 += v * v;
    } else if witnessed(built, filter, reading, v) {
        built.grid.nodes[node].into.var_step_g2 += 4.0 * v * v;
        found.steps.push(Step { reading, size_g: v, u_g: f.sqrt() });
    } else {
        built.grid.nodes[node].observation = None;
        found.outliers.push(reading);
    }
}

/// Odds that the pool left: the innovation's density with it gone over that with it there. What is not known of the
/// pool is in both, in the second against what is not known of the body.
fn removal_odds((v, f): (f64, f64), (v_gone, f_gone): (f64, f64)) -> f64 {
    (f / f_gone).sqrt() * (0.5 * (v * v / f - v_gone * v_gone / f_gone)).exp()
}

/// Whether the next readings stand where this one stood.
fn witnessed(built: &Built, filter: &Filter, reading: usize, v: f64) -> bool {
    let mut ahead = filter.clone();
    let node = built.reading_nodes[reading];
    let last = (reading + N_WITNESSES).min(built.reading_nodes.len() - 1);
    let (mut n_seen, mut n_for) = (0usize, 0usize);
    for idx in node + 1..=built.reading_nodes[last] {
        ahead.predict(&built.grid.nodes[idx].into);
        let Some(observation) = built.grid.nodes[idx].observation else { continue };
        let (w, g) = ahead.innovation(Observation { value_g: observation.value_g, var_g2: observation.var_g2 });
        n_seen += 1;
        // Nearer to the step than to no step, and not beyond it by more than noise.
        n_for += usize::from((w - v).abs() < w.abs() && (w - v).abs() < 0.5 * v.abs() + GATE * g.sqrt());
    }
    2 * n_for > n_seen
}
