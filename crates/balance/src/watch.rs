//! The sequential test for fluid that the chart does not explain.
//!
//! A filter runs on the belief that nothing is missing: the uncharted rate is the patient's own, slowly
//! changing. If from some hour on a further δ g/h is lost, the innovations v move by δ g, where g is the
//! filter's own response to such a ramp. For every onset of the last [`REACH_H`] hours the likelihood
//! ratio is maximised over δ (Willsky & Jones, IEEE Trans Autom Control 1976;21:108):
//!
//! A = Σ g²/F,  B = Σ g v/F,  δ̂ = B/A,  u(δ̂) = 1/√A,  z = B/√A,
//!
//! and the test fires where |z| of an onset passes the threshold of its sign and the volume is large
//! enough to matter; of several the largest. After that the mass is anchored anew and the rate is set back to before the onset,
//! so that a lasting loss is found again and again and kept as one episode, and its end is no gain.
//!
//! The threshold is checked by simulation, not taken from the normal law: the onsets overlap, and the test
//! is made at each weight. Losses and gains have a threshold each, see [`Limits::new`]. A loss that goes on is told again when it
//! has doubled.

use crate::build::Built;
use crate::core::{Filter, Node, Params, R, Transition, U, Vector, observed, predict_mean};

/// How far back an onset is looked for, h.
const REACH_H: f64 = 24.0;
/// A loss within this time of the last finding belongs to the same episode, h.
const MERGE_H: f64 = 6.0;
/// Least time for a rate to be told from a step, h.
const RATE_H_MIN: f64 = 1.0;

/// Fluid that the chart does not explain.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Episode {
    /// When it was first found, h.
    pub(crate) found_h: f64,
    /// Likeliest onset when it was first found, h.
    pub(crate) onset_h: f64,
    /// Last time it was found, h.
    pub(crate) last_h: f64,
    /// Volume from the onset to the first finding, g; gain positive.
    pub(crate) first_g: f64,
    /// Its standard uncertainty, g.
    pub(crate) first_u_g: f64,
    /// Statistic at the first finding.
    pub(crate) z: f64,
    /// Volume from the onset to the last finding, g; gain positive.
    pub(crate) total_g: f64,
    /// Times after the first finding at which it had doubled since it was last told, h, with the volume by then, g.
    pub(crate) doubled: Vec<(f64, f64)>,
}

/// What the watch saw.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Watched {
    /// Episodes in order of time.
    pub(crate) episodes: Vec<Episode>,
    /// The patient's own uncharted loss rate at the end, g/h.
    pub(crate) rate_g_h: f64,
    /// Its standard uncertainty, g/h.
    pub(crate) rate_u_g_h: f64,
}

/// When the test fires.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Limits {
    /// Threshold of z for a loss.
    pub(crate) z_loss: f64,
    /// Threshold of |z| for a gain.
    pub(crate) z_gain: f64,
    /// Least volume, g.
    pub(crate) volume_g: f64,
}

/// One onset under test.
struct Onset {
    t_h: f64,
    /// Difference between the true state and the filter's, for a further loss of 1 g/h.
    gap: Vector,
    a: f64,
    b: f64,
    /// The rate just before, mean and variance.
    rate: (f64, f64),
}

impl Onset {
    /// Goes over a transition: the true mass falls by 1 g/h more, the filter does not know.
    fn predict(&mut self, into: &Transition) {
        predict_mean(&mut self.gap, into);
        self.gap[U] -= into.dt_h;
    }

    fn update(&mut self, v: f64, f: f64, k: &Vector) {
        let g = observed().dot(&self.gap);
        self.a += g * g / f;
        self.b += g * v / f;
        self.gap -= k * g;
    }

    fn z(&self) -> f64 {
        if self.a > 0.0 { self.b / self.a.sqrt() } else { 0.0 }
    }
}

/// Runs the test over a grid.
pub(crate) fn watch(built: &Built, params: Params, limits: Limits) -> Watched {
    let nodes = &built.grid.nodes;
    let mut episodes: Vec<Episode> = Vec::new();
    let Some(first) = nodes.iter().find_map(|node| node.observation) else {
        return Watched { episodes, rate_g_h: params.rate_g_h, rate_u_g_h: params.rate_sd_g_h };
    };
    let mut filter = Filter::new(params, first, built.u2_g2);
    let mut onsets: Vec<Onset> = Vec::new();
    let mut started = false;
    for node in nodes {
        open_onset(&mut onsets, node, &filter, started);
        for onset in &mut onsets {
            onset.predict(&node.into);
        }
        let Some(update) = filter.step(node).update else { continue };
        for onset in &mut onsets {
            onset.update(update.v, update.f, &update.k);
        }
        started = true;
        let Some(found) = fires(&onsets, node.t_h, limits) else { continue };
        let episode = episode(found, node.t_h);
        anchor(&mut filter, found, episode.total_g, node.t_h, params);
        onsets.clear();
        match episodes.last_mut().filter(|last| episode.onset_h - last.last_h <= MERGE_H) {
            Some(last) if same_sign(last, &episode) => {
                last.last_h = episode.last_h;
                last.total_g += episode.total_g;
                let told_g = last.doubled.last().map_or(last.first_g, |(_, g)| *g);
                if last.total_g.abs() >= 2.0 * told_g.abs() {
                    last.doubled.push((episode.last_h, last.total_g));
                }
            }
            // The belief ran on at the raised rate: the opposite, and less of it, is the end.
            Some(last) if episode.total_g.abs() < last.total_g.abs() => {}
            _ => episodes.push(episode),
        }
    }
    Watched { episodes, rate_g_h: filter.a[R], rate_u_g_h: filter.p[(R, R)].max(0.0).sqrt() }
}

/// A new onset with each hour, from the state before the node's transition.
fn open_onset(onsets: &mut Vec<Onset>, node: &Node, filter: &Filter, started: bool) {
    let t_h = node.t_h - node.into.dt_h;
    onsets.retain(|onset| t_h - onset.t_h <= REACH_H);
    if started && onsets.last().is_none_or(|onset| t_h - onset.t_h >= 1.0 - 1e-9) {
        let rate = (filter.a[R], filter.p[(R, R)]);
        onsets.push(Onset { t_h, gap: Vector::zeros(), a: 0.0, b: 0.0, rate });
    }
}

fn fires(onsets: &[Onset], t_h: f64, limits: Limits) -> Option<&Onset> {
    onsets
        .iter()
        .filter(|onset| t_h - onset.t_h >= RATE_H_MIN)
        .filter(|onset| (onset.b / onset.a * (t_h - onset.t_h)).abs() >= limits.volume_g)
        // Each by the threshold of its sign, before the largest is taken: a gain below its own must not hide a loss above the other.
        .filter(|onset| onset.z().abs() >= if onset.b < 0.0 { limits.z_gain } else { limits.z_loss })
        .max_by(|x, y| x.z().abs().total_cmp(&y.z().abs()))
}

fn episode(onset: &Onset, t_h: f64) -> Episode {
    let over_h = t_h - onset.t_h;
    let volume_g = -onset.b / onset.a * over_h;
    Episode {
        found_h: t_h,
        onset_h: onset.t_h,
        last_h: t_h,
        first_g: volume_g,
        first_u_g: over_h / onset.a.sqrt(),
        z: onset.z().abs(),
        total_g: volume_g,
        doubled: Vec::new(),
    }
}

fn same_sign(last: &Episode, next: &Episode) -> bool {
    last.total_g.signum() * next.total_g.signum() > 0.0
}

/// Anchors the mass anew, and sets the rate back to before the onset.
fn anchor(filter: &mut Filter, onset: &Onset, volume_g: f64, t_h: f64, params: Params) {
    filter.p[(U, U)] += 100.0 * volume_g * volume_g;
    let (mean, variance) = onset.rate;
    filter.a[R] = mean;
    for idx in 0..crate::core::N {
        filter.p[(R, idx)] = 0.0;
        filter.p[(idx, R)] = 0.0;
    }
    filter.p[(R, R)] = variance + params.rate_q * (t_h - onset.t_h);
}

/// Of the false alerts to be borne, the share that may be gains. Fluid that is lost unseen (a leak, a bleed, sweat) is looked for
/// first; what comes unseen is mostly an entry that was forgotten. Own choice: on the seeds below a fifth found 95.0 % of the hidden
/// losses, a tenth 95.6 % with fewer false alerts.
const GAIN_SHARE: f64 = 0.1;

impl Limits {
    /// Limits for a stated rate of false alerts per patient-day, and the least volume that is told, g.
    pub(crate) fn new(false_alerts_per_day: f64, volume_g: f64) -> Self {
        let of = |share: f64| threshold(share * false_alerts_per_day);
        Self { z_loss: of(1.0 - GAIN_SHARE), z_gain: of(GAIN_SHARE), volume_g }
    }
}

/// Threshold of |z| for a rate of false alerts per patient-day: √(4.4 − 2 ln rate).
///
/// The form is that of the normal law's tail; the constant was found by simulation (360 invented patients of six kinds each for the
/// seeds 4001, 5001, 6001, 7001 and 8001, 48 h): at a stated 0.1 a patient-day, 0.061 came that were false, steps and contradicted
/// entries included. A lower threshold would find more there (3.6: 96.1 % of the hidden losses instead of 95.6 %) and give more than 0.1
/// of the simpler patients of this crate's own tests. What is found on seeds that were not used here stands in the report card of the documentation.
fn threshold(false_alerts_per_day: f64) -> f64 {
    let rate = false_alerts_per_day.clamp(1e-5, 1.0);
    (4.4 - 2.0 * rate.ln()).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// An onset whose statistic is z; b is positive for a loss.
    fn onset(t_h: f64, z: f64) -> Onset {
        Onset { t_h, gap: Vector::zeros(), a: 1e-4, b: 1e-2 * z, rate: (0.0, 1.0) }
    }

    #[test]
    fn a_gain_below_its_own_threshold_hides_no_loss_above_the_other() {
        let limits = Limits { z_loss: 3.0, z_gain: 3.7, volume_g: 100.0 };
        let found = |onsets: &[Onset]| fires(onsets, 20.0, limits).map(|found| found.t_h);
        assert_eq!(found(&[onset(0.0, -3.5), onset(18.0, 3.3)]), Some(18.0));
        assert_eq!(found(&[onset(0.0, -3.8), onset(18.0, 3.3)]), Some(0.0), "of two that pass, the larger");
        assert_eq!(found(&[onset(0.0, -3.6), onset(18.0, 2.9)]), None);
        assert_eq!(found(&[onset(19.5, 9.0)]), None, "half an hour is no rate");
    }
}
