//! The whole balance: from files to report.

use formats::chart::Entry;
use formats::patient::{PatientFile, Plan};
use formats::weights::Weight;
use jiff::{SignedDuration, Timestamp};

use crate::alerts;
use crate::answers::{Asked, lines};
use crate::build::{Built, Gone, Span, build};
use crate::check::check;
use crate::clinical::water::{Ledgers, ledgers};
use crate::contradict::{Contradiction, contradictions};
use crate::core::{Filter, Filtered, Observation, POOL, Params, Smoothed, U, body, body_change, smooth, unit};
use crate::diagnostics::diagnose;
use crate::error::BalanceError;
use crate::forecast::{Deviation, forecast};
use crate::insensible::{self, Insensible};
use crate::items::{self, Wet};
use crate::ledger::{Frame, Ledger, Stamps, hours, standing};
use crate::noise::{self, NoiseFit};
use crate::options::Options;
use crate::report::{Alternative, BalanceReport, CAUTION, Estimate, ForecastRow, Noise, Overload, Row, Window};
use crate::screen::{Screened, found_at_care, screen};
use crate::thin::{Reading, Readings, thin};
use crate::watch::{Episode, Limits, Watched, watch};
use crate::windows;

/// 97.5 % point of the normal law.
const Z95: f64 = 1.959_963_984_540_054;
/// An entry this long after the last weight stands in the future where no present time is given, h.
const FUTURE_H: f64 = 24.0;
/// How much faster than expected the loss may change before weights and entries are doubted for it: 2.5 times the deviation.
/// Own choice.
const LOOSE: f64 = 6.25;
/// A chart may start this long before the first weight, h: an admission without a deck.
const BEFORE_H: f64 = 7.0 * 24.0;
/// Least unexplained volume that is told, mL per kg of weight. Own choice: a quarter of the
/// 500 mL in 70 kg that must be found, a fifth of a percent of fluid overload.
const ALERT_ML_KG: f64 = 2.0;

/// Fluid balance of a patient from weights and chart.
///
/// # Errors
/// No settled weight, a row or an entry that cannot be read as one; see [`BalanceError`].
pub fn balance(
    file: &PatientFile,
    weights: &[Weight],
    entries: &[Entry],
    options: &Options,
) -> Result<BalanceReport, BalanceError> {
    check(file, options)?;
    let record = Record::read(file, weights, entries, options)?;
    let fit = Fit::make(&record, options);
    let mut report = report(file, &record, &fit, options);
    let outside = |time: &Timestamp| !(0.0..=record.span.end_h).contains(&hours(record.span.origin, *time));
    for removal in options.removals.iter().filter(|removal| outside(&removal.time)) {
        report.notes.push(format!("the removal at {} lies outside the record and changes nothing", removal.time));
    }
    report.notes.extend(options.corrections.iter().map(|correction| {
        format!("chart line {} takes the place of line {}, which stays on record", correction.line, correction.corrects)
    }));
    Ok(report)
}

/// The input, read and placed in time.
pub(crate) struct Record {
    pub(crate) readings: Readings,
    pub(crate) ledger: Ledger,
    /// The same chart, if stamps say when a volume was written down that was due before.
    due: Ledger,
    pub(crate) span: Span,
    /// Median settled weight, kg.
    pub(crate) weight_kg: f64,
    pub(crate) prior: Insensible,
    /// Fluid that went with items.
    pub(crate) wet: Vec<Wet>,
    /// Settled readings after the time that was told as now.
    pub(crate) after_now: usize,
    /// Lines of the chart that were written after later ones.
    pub(crate) late: Vec<usize>,
}

/// The model, fitted.
pub(crate) struct Fit {
    pub(crate) built: Built,
    pub(crate) noise: NoiseFit,
    pub(crate) screened: Screened,
    pub(crate) contradictions: Vec<Contradiction>,
    pub(crate) watched: Watched,
    /// Whether stamps were taken for when a volume was written down that was due before.
    due: bool,
    pub(crate) limits: Limits,
    pub(crate) filtered: Vec<Filtered>,
    /// The filter after the last node.
    pub(crate) end: Filter,
    /// Constant part of a weight's stated uncertainty, g.
    constant_g: f64,
}

impl Record {
    fn read(
        file: &PatientFile,
        weights: &[Weight],
        entries: &[Entry],
        options: &Options,
    ) -> Result<Self, BalanceError> {
        let mut readings = thin(weights, None, options)?;
        let late = written_late(entries);
        let entries = &standing(entries, &options.corrections)?;
        let mut masses: Vec<f64> = readings.readings.iter().map(|reading| reading.mass_g).collect();
        masses.sort_by(f64::total_cmp);
        let weight_kg = masses[masses.len() / 2] / 1000.0;
        let now = options.now.unwrap_or_else(|| later(readings.last, FUTURE_H));
        let early = later(readings.first, -BEFORE_H);
        let origin = entries.iter().map(|e| e.time).filter(|t| *t >= early).fold(readings.first, Timestamp::min);
        let end = entries.iter().map(|e| e.time).filter(|t| *t <= now).fold(readings.last, Timestamp::max);
        let shift_h = hours(origin, readings.first);
        let wet = items::wet(&options.items);
        for reading in &mut readings.readings {
            reading.t_h += shift_h;
            let gone = |wet: &&Wet| hours(origin, wet.time) < reading.t_h;
            reading.mass_g -= wet.iter().filter(gone).map(|wet| wet.fluid_g).sum::<f64>();
        }
        let frame =
            |stamps| Frame { origin, now_h: hours(origin, now), weight_kg, densities: options.densities, stamps };
        let ledger = Ledger::new(entries, &frame(Stamps::Read))?;
        let due = Ledger::new(entries, &frame(Stamps::Due))?;
        let prior = insensible::prior(&file.patient, weight_kg);
        let span = Span { origin, end_h: hours(origin, end) };
        let after_now = readings.readings.iter().filter(|reading| reading.t_h > hours(origin, now)).count();
        Ok(Self { readings, ledger, due, span, weight_kg, prior, wet, after_now, late })
    }

    /// Wall time of an hour of the model.
    pub(crate) fn time(&self, t_h: f64) -> Timestamp {
        later(self.span.origin, t_h)
    }
}

fn later(time: Timestamp, h: f64) -> Timestamp {
    SignedDuration::try_from_secs_f64(h * 3600.0).ok().and_then(|d| time.checked_add(d).ok()).unwrap_or(time)
}

impl Fit {
    fn make(record: &Record, options: &Options) -> Self {
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

/// Lines of entries that stand in the file after one of a later time: they were written late. They count at their own time.
fn written_late(entries: &[Entry]) -> Vec<usize> {
    let mut by_line: Vec<&Entry> = entries.iter().collect();
    by_line.sort_by_key(|entry| entry.line);
    let mut latest = Timestamp::MIN;
    let mut out = Vec::new();
    for entry in by_line {
        if entry.time < latest {
            out.push(entry.line);
        }
        latest = latest.max(entry.time);
    }
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

fn report(file: &PatientFile, record: &Record, fit: &Fit, options: &Options) -> BalanceReport {
    let rows = rows(record, fit);
    let end = fit.smoothed(&[fit.built.grid.nodes.len() - 1]);
    let mut notes = notes(record, fit);
    let overload_pct = overload(file, record, fit, &rows, &end[0], &mut notes);
    let plan = file.plan.unwrap_or_else(|| {
        notes.push("no plan: the forecast goes on at the charted rates of the last 24 h".to_owned());
        persistence(&record.ledger, record.span.end_h)
    });
    let windows = windows::windows(record, fit, options, &mut notes);
    let asked = Asked { file, record, fit, rows: &rows, windows: &windows, overload: &overload_pct };
    let all = alerts::alerts(file, record, fit, &rows, &windows);
    let (open, answered) = alerts::part(all, &options.answered, &mut notes);
    let other = |(name, plan): &(String, Plan)| Alternative {
        name: name.clone(),
        forecast: forecast_rows(record, fit, plan, options.forecast_h),
    };
    BalanceReport {
        insensible_ml_h: Estimate { value: fit.watched.rate_g_h, u: fit.watched.rate_u_g_h },
        forecast: forecast_rows(record, fit, &plan, options.forecast_h),
        resolvable_ml_24h: resolvable_ml(fit),
        alerts: open,
        answered,
        answers: asked.answers(),
        ledgers: two_ledgers(file, record, &rows, &windows),
        alternatives: options.alternatives.iter().map(other).collect(),
        diagnostics: diagnose(&fit.filtered),
        insensible_prior: record.prior.clone(),
        noise: noise_report(fit),
        overload_pct,
        windows,
        rows,
        notes,
        caution: CAUTION,
    }
}

/// Mass and water over the record, and over its last 24 h where it is longer.
fn two_ledgers(file: &PatientFile, record: &Record, rows: &[Row], windows: &[Window]) -> Vec<Ledgers> {
    let area_m2 = insensible::surface_m2(&file.patient, record.weight_kg);
    let mut out = Vec::new();
    if let (Some(first), Some(last)) = (rows.first(), rows.last()) {
        let hours = last.time.duration_since(first.time).as_secs_f64() / 3600.0;
        let mass_g = Estimate { value: 1000.0 * (last.mass_kg - first.mass_kg), u: last.u_weighed_ml };
        out.push(ledgers(mass_g, hours, area_m2, &record.prior));
    }
    for window in windows.iter().filter(|window| (window.hours - 24.0).abs() < 0.5) {
        let mass_g = Estimate { value: window.fused_ml, u: window.u_fused_ml };
        out.push(ledgers(mass_g, window.hours, area_m2, &record.prior));
    }
    out
}

fn rows(record: &Record, fit: &Fit) -> Vec<Row> {
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

fn overload(
    file: &PatientFile,
    record: &Record,
    fit: &Fit,
    rows: &[Row],
    end: &Smoothed,
    notes: &mut Vec<String>,
) -> Overload {
    let readings = &record.readings.readings;
    let last_g = readings.last().map_or(f64::NAN, |reading| reading.mass_g);
    let reference_kg = file.patient.admission_kg.unwrap_or_else(|| {
        notes.push("no admission weight: the first mass stands for it in percent overload".to_owned());
        rows.first().map_or(readings[0].mass_g / 1000.0, |row| row.mass_kg)
    });
    let percent = |kg: f64| 100.0 * kg / reference_kg;
    let node = fit.built.grid.nodes[fit.built.grid.nodes.len() - 1];
    let fused_kg = (node.charted_g + body().dot(&end.mean)) / 1000.0;
    Overload {
        charted: percent(record.ledger.charted_ml(-1e-9, record.span.end_h + 1e-9) / 1000.0),
        weighed: percent(last_g / 1000.0 - reference_kg),
        fused: percent(fused_kg - reference_kg),
        u_fused: percent(end.sd(&body()).hypot(fit.constant_g) / 1000.0),
    }
}

fn forecast_rows(record: &Record, fit: &Fit, plan: &Plan, horizon_h: u32) -> Vec<ForecastRow> {
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

/// The charted rates of the last day, as a plan.
fn persistence(ledger: &Ledger, end_h: f64) -> Plan {
    use formats::chart::Direction;
    let over_h = end_h.clamp(1.0, 24.0);
    let rate = |direction| ledger.total_ml(direction, end_h - over_h, end_h + 1e-9) / over_h;
    Plan { intake_ml_h: rate(Direction::Intake), output_ml_h: rate(Direction::Output), ultrafiltration_ml_h: 0.0 }
}

/// 1.96 standard deviations of the change of mass over 24 h from the first row; over the whole record
/// where it is shorter.
fn resolvable_ml(fit: &Fit) -> f64 {
    let rows = &fit.built.row_nodes;
    let idx = rows.get(24).or(rows.last()).copied().unwrap_or(fit.built.grid.nodes.len() - 1);
    Z95 * fit.smoothed(&[idx])[0].sd(&body_change())
}

fn noise_report(fit: &Fit) -> Noise {
    let u_g = fit.built.u2_g2.sqrt();
    let NoiseFit { params, ln_se, log_likelihood, converged, .. } = fit.noise;
    Noise {
        fast_g: params.white * u_g,
        fast_ln_se: ln_se[0],
        posture_g: params.posture * u_g,
        posture_ln_se: ln_se[1],
        constant_g: fit.constant_g,
        chart_factor: params.chart,
        chart_ln_se: ln_se[2],
        rate_change_24h_g_h: (24.0 * params.rate_q).sqrt(),
        // The deviation is the root of the walk's variance: half its error in logarithms.
        rate_ln_se: 0.5 * ln_se[3],
        log_likelihood,
        converged,
    }
}

fn notes(record: &Record, fit: &Fit) -> Vec<String> {
    let readings = &record.readings;
    let mut notes = vec![format!(
        "{} settled of {} weights, averaged to {} readings; a mean over a block counts for no more than one weight in \
         two minutes, for neighbours share their error",
        readings.n_settled,
        readings.n_rows,
        readings.readings.len()
    )];
    for &reading in &fit.screened.outliers {
        let reading = readings.readings[reading];
        notes.push(format!(
            "weight of {:.3} kg at {} left out: it stands alone",
            reading.mass_g / 1000.0,
            seconds(record.time(reading.t_h))
        ));
    }
    for &(reading, fluid_g) in &fit.screened.removed {
        let t_h = readings.readings[reading].t_h;
        notes.push(format!("pads with about {fluid_g:.0} g were off the deck by {}", seconds(record.time(t_h))));
    }
    for wet in &record.wet {
        notes.push(format!(
            "{:.0} ± {:.0} g of fluid left the deck with {} at {}",
            wet.fluid_g,
            wet.u_g,
            wet.name,
            seconds(wet.time)
        ));
    }
    if fit.due {
        notes.push(
            "the weights fit better if entries of a route that keeps a pace ran up to the round they were due at than up \
             to their stamps: so they are taken"
                .to_owned(),
        );
    }
    if record.after_now > 0 {
        notes.push(format!("{} weights stand after the time now, and are used: is the clock right?", record.after_now));
    }
    if !record.late.is_empty() {
        let (n, lines) = (record.late.len(), lines(&record.late));
        notes.push(if n == 1 {
            format!("1 chart entry stands after later ones and counts at its own time: {lines}")
        } else {
            format!("{n} chart entries stand after later ones and count at their own time: {lines}")
        });
    }
    if fit.built.row_nodes.is_empty() {
        notes.push("the record holds no whole hour: no rows".to_owned());
    }
    notes
}

/// A time to the second.
pub(crate) fn seconds(time: Timestamp) -> Timestamp {
    time.round(jiff::Unit::Second).unwrap_or(time)
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
