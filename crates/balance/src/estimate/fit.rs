//! The model, fitted to a record: whose stamps hold, which weights and entries are doubted, what was lost unseen, how loud the noise is.

use crate::build::{Built, Gone, build};
use crate::contradict::{Contradiction, contradictions};
use crate::core::{Filter, Filtered, Observation, Params, Smoothed, smooth};
use crate::ledger::{Ledger, hours};
use crate::noise::{self, NoiseFit};
use crate::options::Options;
use crate::screen::{Screened, found_at_care, screen};
use crate::thin::Reading;
use crate::watch::{Episode, Limits, Watched, watch};

use super::Record;

/// How much faster than expected the loss may change before weights and entries are doubted for it: 2.5 times the deviation.
/// Own choice.
const LOOSE: f64 = 6.25;
/// Least unexplained volume that is told, mL per kg of weight. Own choice: a quarter of the
/// 500 mL in 70 kg that must be found, a fifth of a percent of fluid overload.
const ALERT_ML_KG: f64 = 2.0;

/// The model, fitted.
pub(crate) struct Fit {
    pub(crate) built: Built,
    pub(crate) noise: NoiseFit,
    pub(crate) screened: Screened,
    pub(crate) contradictions: Vec<Contradiction>,
    pub(crate) watched: Watched,
    /// Whether stamps were taken for when a volume was written down that was due before.
    pub(super) due: bool,
    pub(crate) limits: Limits,
    pub(crate) filtered: Vec<Filtered>,
    /// The filter after the last node.
    pub(crate) end: Filter,
    /// Constant part of a weight's stated uncertainty, g.
    pub(super) constant_g: f64,
}

impl Fit {
    pub(super) fn make(record: &Record, options: &Options) -> Self {
        let readings = &record.readings.readings;
        let start = noise::assumed(&record.prior);
        let removals: Vec<Gone> = removals_h(record, options);
        let built_on = |ledger: &Ledger| build(readings, ledger, record.span, (options, &removals));
        let (mut built, mut ledger, due) = by_stamps(record, built_on, start);
        // Weights and entries are doubted by a belief that follows a loss that changes: else what comes after a loss that began or
        // ended would be laid on the entries.
        let loose = Params { rate_q: LOOSE * start.rate_q, ..start };
        let at_care_h: Vec<f64> = removals.iter().map(|gone| gone.t_h).collect();
        let at_care = found_at_care(&built, readings, &ledger, &at_care_h, loose);
        if !at_care.is_empty() {
            ledger = ledger.on_pads_before(&at_care);
            built = built_on(&ledger);
        }
        let pads_told = !removals.is_empty();
        let without_pads = without_pads(&built, readings, loose, pads_told);
        let contradictions = contradictions(&without_pads, &ledger, loose, record.weight_kg);
        if !contradictions.is_empty() {
            built = built_on(&ledger.without_trust(&contradictions));
        }
        let screened = screen(&mut built, readings, loose, pads_told);
        let limits = Limits::new(options.false_alerts_per_day, ALERT_ML_KG * record.weight_kg);
        let first = noise::fit(&built.grid, built.u2_g2, start, start);
        let mut watched = watch(&built, null(first.cautious, start), limits);
        let mut noise = first;
        if !watched.episodes.is_empty() {
            // An episode bends the noise levels: free the rate where it was found, fit and watch again.
            let free = with_episodes(&built, &watched.episodes);
            noise = noise::fit(&free.grid, free.u2_g2, start, noise.params);
            watched = watch(&built, null(noise.cautious, start), limits);
            built = with_episodes(&built, &watched.episodes);
        }
        let (filtered, end) = run(&built, noise.cautious);
        let constant_g = constant_g(&noise, built.u2_g2, readings.len());
        Self { built, noise, contradictions, screened, watched, due, limits, filtered, end, constant_g }
    }

    /// Smoothed states of nodes in order of time.
    pub(crate) fn smoothed(&self, nodes: &[usize]) -> Vec<Smoothed> {
        smooth(&self.built.grid, &self.filtered, nodes)
    }
}

/// Removals that the caller knows, and those that items tell of, in order of time.
fn removals_h(record: &Record, options: &Options) -> Vec<Gone> {
    let t_h = |time| hours(record.span.origin, time);
    let known =
        options.removals.iter().map(|removal| Gone { t_h: t_h(removal.time), fluid_g: removal.fluid_g, u_g: 0.0 });
    let items = record.wet.iter().map(|wet| Gone { t_h: t_h(wet.time), fluid_g: Some(wet.fluid_g), u_g: wet.u_g });
    let mut out: Vec<Gone> = known.chain(items).collect();
    out.sort_by(|a, b| a.t_h.total_cmp(&b.t_h));
    out
}

/// The grid by the reading of the stamps that the weights bear out: that of the larger likelihood.
fn by_stamps(record: &Record, built_on: impl Fn(&Ledger) -> Built, params: Params) -> (Built, Ledger, bool) {
    let (read, due) = (built_on(&record.ledger), built_on(&record.due));
    let likelihood = |built: &Built| {
        let mut filter = start(built, params);
        for node in &built.grid.nodes {
            filter.advance(node);
        }
        filter.log_likelihood()
    };
    if likelihood(&due) > likelihood(&read) {
        (due, record.due.clone(), true)
    } else {
        (read, record.ledger.clone(), false)
    }
}

/// The grid with the pads that went, but with no step taken for granted: a step may be an entry's slip.
fn without_pads(built: &Built, readings: &[Reading], params: Params, pads_told: bool) -> Built {
    let mut screened = built.clone();
    screen(&mut screened, readings, params, pads_told);
    for ((node, original), k) in screened.grid.nodes.iter_mut().zip(&built.grid.nodes).zip(0usize..) {
        let at_break = built.reading_nodes.binary_search(&k).is_ok_and(|reading| readings[reading].after_break);
        if !at_break {
            *node = *original;
        }
    }
    screened
}

/// The belief that nothing is missing: the loss rate changes no faster than was assumed. A fit that saw
/// an episode takes it for a restless rate, and would then see no episode.
fn null(fitted: Params, assumed: Params) -> Params {
    Params { rate_q: fitted.rate_q.min(assumed.rate_q), ..fitted }
}

/// Frees the loss rate over each episode: it may change by the episode's own size within three hours.
fn with_episodes(built: &Built, episodes: &[Episode]) -> Built {
    let mut out = built.clone();
    for episode in episodes {
        let rate = episode.first_g / (episode.found_h - episode.onset_h).max(0.5);
        let (from_h, to_h) = (episode.onset_h - 1.0, episode.last_h + 6.0);
        for node in &mut out.grid.nodes {
            if node.t_h > from_h && node.t_h <= to_h {
                node.into.extra_rate_q += rate * rate / 3.0;
            }
        }
    }
    out
}

fn run(built: &Built, params: Params) -> (Vec<Filtered>, Filter) {
    let mut filter = start(built, params);
    let filtered = built.grid.nodes.iter().map(|node| filter.step(node)).collect();
    (filtered, filter)
}

/// A filter before the first node.
fn start(built: &Built, params: Params) -> Filter {
    let observations = || built.grid.nodes.iter().find_map(|node| node.observation);
    let first = observations().unwrap_or(Observation { value_g: 0.0, var_g2: built.u2_g2.max(1.0) });
    Filter::new(params, first, built.u2_g2)
}

/// What of the stated uncertainty neither fast noise nor posture shows must be constant. It is only
/// believed where the scatter is clearly below the stated uncertainty (2.6 standard errors, 1 %).
fn constant_g(noise: &NoiseFit, u2_g2: f64, n_readings: usize) -> f64 {
    let shown = noise.params.white.powi(2) + noise.params.posture.powi(2);
    let se =
        shown * (2.0 / (n_readings.max(2) - 1) as f64).sqrt() + 2.0 * noise.params.posture.powi(2) * noise.ln_se[1];
    if 1.0 - shown > 2.6 * se { ((1.0 - shown) * u2_g2).sqrt() } else { 0.0 }
}
