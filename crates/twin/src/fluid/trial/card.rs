//! What an engine said, held against the truth, and summed over cases.

use std::collections::BTreeMap;

use formats::weights::{State, Weight};
use serde::Serialize;

use super::{AHEAD_H, ASKED_H, Case, Episode, FOUND_WITHIN_H, HOURS, LOOK_BACK_H, Said, TRUE_ML_KG, Told};

/// 97.5 % point of the normal law.
const Z95: f64 = 1.96;
/// A weight stands for an hour where it was taken within this of it, s.
const NEAR_S: f64 = 3600.0;

/// What one case gave.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Card {
    /// Word of the story.
    pub story: String,
    /// Intervals asked and those that held the truth: mass, uncharted fluid, a day ahead.
    pub intervals: [[usize; 2]; 3],
    /// Whether a hidden loss was found; `None` where there was none.
    pub found: Option<bool>,
    /// Time to the alert that found it, h.
    pub delay_h: Option<f64>,
    /// Whether it would have been told of all the same; `None` where nothing was lost, or nobody asked.
    pub told_anyway: Option<bool>,
    /// False alerts, and hours in which they could come.
    pub false_alerts: usize,
    /// Squared errors of the day's balance, g²: chart alone, weight alone, fused.
    pub day_g2: Option<[f64; 3]>,
    /// Squared errors a day ahead, g²: chart alone, weight alone, persistence, the engine.
    pub ahead_g2: Option<[f64; 4]>,
}

/// Holds what was said of a case against its truth; `without` is what was said of the same case without its hidden loss.
#[must_use]
pub fn score(case: &Case, said: &Said, without: Option<&Said>) -> Card {
    let mut card = Card { story: format!("{:?}", case.story).to_lowercase(), ..Card::default() };
    card.told_anyway = case.episode.zip(without).map(|(e, without)| without.alerts.iter().any(|told| finds(e, told)));
    let truth = |series: &[f64], hour: usize| series[60 * hour];
    for asked in ASKED_H {
        let Some(hour) = said.hours.iter().find(|said| said.hour == asked) else { continue };
        let mass_error = 1000.0 * hour.mass_kg - truth(&case.mass_g, asked);
        let fluid_error = hour.unexplained_ml - truth(&case.uncharted_g, asked);
        for (slot, error, u) in [(0, mass_error, 1000.0 * hour.u_kg), (1, fluid_error, hour.u_unexplained_ml)] {
            card.intervals[slot][0] += 1;
            card.intervals[slot][1] += usize::from(error.abs() <= Z95 * u);
        }
    }
    let at_end_kg = truth(&case.mass_g, HOURS + AHEAD_H) / 1000.0;
    if let Some([_, low, high]) = said.ahead_kg {
        card.intervals[2] = [1, usize::from((low..=high).contains(&at_end_kg))];
    }
    alerts(case, said, &mut card);
    errors(case, said, &mut card);
    card
}

fn alerts(case: &Case, said: &Said, card: &mut Card) {
    let of_episode = |told: &Told| case.episode.is_some_and(|e| finds(e, told));
    if let Some(episode) = case.episode {
        let first = said.alerts.iter().filter(|told| of_episode(told)).map(|t| t.at_h).fold(f64::INFINITY, f64::min);
        card.found = Some(first.is_finite());
        card.delay_h = first.is_finite().then_some(first - episode.from_h);
    }
    card.false_alerts = said.alerts.iter().filter(|told| !of_episode(told) && !is_true(case, told.at_h)).count();
}

/// Whether an alert is of a hidden loss, by what it says and when.
fn finds(episode: Episode, told: &Told) -> bool {
    told.is_loss && (episode.from_h..=episode.from_h + FOUND_WITHIN_H).contains(&told.at_h)
}

/// Whether so much was missing from the chart over any stretch that ends by the alert.
fn is_true(case: &Case, alert_h: f64) -> bool {
    let end = ((60.0 * alert_h) as usize).min(case.missing_g.len() - 1);
    let from = end.saturating_sub(60 * LOOK_BACK_H);
    let limit_g = TRUE_ML_KG * case.mass_g[0] / 1000.0;
    let (mut lowest, mut highest) = (f64::INFINITY, f64::NEG_INFINITY);
    for g in &case.missing_g[from..=end] {
        lowest = lowest.min(*g);
        highest = highest.max(*g);
        if g - lowest >= limit_g || highest - g >= limit_g {
            return true;
        }
    }
    false
}

fn errors(case: &Case, said: &Said, card: &mut Card) {
    let day_from = HOURS - 24;
    let true_day_g = case.mass_g[60 * HOURS] - case.mass_g[60 * day_from];
    let (Some(first), Some(early), Some(last)) = (near(case, 0), near(case, day_from), near(case, HOURS)) else {
        return;
    };
    let square = |value: f64, truth: f64| (value - truth).powi(2);
    if let Some([charted_ml, fused_ml]) = said.day_ml {
        card.day_g2 =
            Some([square(charted_ml, true_day_g), square(last - early, true_day_g), square(fused_ml, true_day_g)]);
    }
    let Some([ahead_kg, ..]) = said.ahead_kg else { return };
    let true_end_g = case.mass_g[60 * (HOURS + AHEAD_H)];
    let plan = case.patient.plan.unwrap_or_default();
    let planned_g = AHEAD_H as f64 * (plan.intake_ml_h - plan.output_ml_h - plan.ultrafiltration_ml_h);
    let charted_g: f64 = case
        .chart
        .iter()
        .map(|entry| match entry.direction {
            formats::chart::Direction::Intake => entry.volume_ml,
            formats::chart::Direction::Output => -entry.volume_ml,
        })
        .sum();
    card.ahead_g2 = Some([
        square(first + charted_g + planned_g, true_end_g),
        square(last, true_end_g),
        square(last + (last - early), true_end_g),
        square(1000.0 * ahead_kg, true_end_g),
    ]);
}

/// The settled weight nearest to an hour, g.
fn near(case: &Case, hour: usize) -> Option<f64> {
    let t_s = 3600.0 * hour as f64;
    let apart = |weight: &Weight| (weight.t_s - t_s).abs();
    let settled = case.weights.iter().filter(|weight| weight.state == State::Settled && apart(weight) <= NEAR_S);
    settled.min_by(|a, b| apart(a).total_cmp(&apart(b))).and_then(|weight| weight.patient_kg).map(|kg| 1000.0 * kg)
}

/// Cards summed up, by story and over all.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Tally {
    groups: BTreeMap<String, Sum>,
    all: Sum,
}

#[derive(Debug, Clone, PartialEq, Default)]
struct Sum {
    n: usize,
    intervals: [[usize; 2]; 3],
    hidden: usize,
    delays_h: Vec<f64>,
    asked_anyway: usize,
    told_anyway: usize,
    false_alerts: usize,
    day_g2: [f64; 3],
    n_day: usize,
    ahead_g2: [f64; 4],
    n_ahead: usize,
}

/// Figures of one group of cases.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Figures {
    /// Which cases; `all`.
    pub group: String,
    /// Cases.
    pub n: usize,
    /// Shares of 95 % intervals that held the truth: mass, uncharted fluid, a day ahead.
    pub coverage: [f64; 3],
    /// Hidden losses.
    pub hidden: usize,
    /// Share of these that were found.
    pub found: f64,
    /// Share of the same patients, without the loss, of whom a loss was told in that time.
    pub told_anyway: f64,
    /// Time to the alert, h: median and 95th percentile.
    pub delay_h: [f64; 2],
    /// False alerts a patient-day.
    pub false_alerts_a_day: f64,
    /// Root mean square error of the day's balance, mL: chart alone, weight alone, fused.
    #[serde(rename = "day_error_mL")]
    pub day_error_ml: [f64; 3],
    /// Fused over the better of the two others.
    pub day_error_ratio: f64,
    /// Root mean square error a day ahead, g: chart alone, weight alone, last-day persistence, the engine.
    pub ahead_error_g: [f64; 4],
}

/// A figure that is asked of all cases together.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Limit {
    /// Which.
    pub name: &'static str,
    /// The limit in words.
    pub text: &'static str,
    /// What was measured.
    pub value: f64,
    /// Whether that is met; absent: nothing of the kind happened.
    pub met: Option<bool>,
}

/// A trial's figures.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Report {
    /// Number that all draws follow from.
    pub seed: u64,
    /// Length of each record, h.
    pub hours: usize,
    /// What is asked, and whether it was met.
    pub limits: Vec<Limit>,
    /// By story, and over all at the end.
    pub groups: Vec<Figures>,
}

impl Tally {
    /// Adds a card.
    pub fn add(&mut self, card: &Card) {
        self.groups.entry(card.story.clone()).or_default().add(card);
        self.all.add(card);
    }

    /// The figures.
    #[must_use]
    pub fn report(&self, seed: u64) -> Report {
        let mut groups: Vec<Figures> = self.groups.iter().map(|(group, sum)| sum.figures(group)).collect();
        let all = self.all.figures("all");
        let limits = limits(&all);
        groups.push(all);
        Report { seed, hours: HOURS, limits, groups }
    }
}

fn limits(all: &Figures) -> Vec<Limit> {
    let limit = |name, text, value: f64, low: f64, high: f64| Limit {
        name,
        text,
        value,
        met: value.is_finite().then(|| (low..=high).contains(&value)),
    };
    vec![
        limit("95 % intervals of the mass that held", "0.93 to 0.97", all.coverage[0], 0.93, 0.97),
        limit("95 % intervals of uncharted fluid that held", "0.93 to 0.97", all.coverage[1], 0.93, 0.97),
        limit("95 % intervals a day ahead that held", "0.93 to 0.97", all.coverage[2], 0.93, 0.97),
        limit("hidden half litres found", "≥ 0.95", all.found, 0.95, 1.0),
        limit("false alerts a patient-day", "≤ 0.1", all.false_alerts_a_day, 0.0, 0.1),
        limit("error of a day's balance over the better simple one", "≤ 0.5", all.day_error_ratio, 0.0, 0.5),
    ]
}

impl Sum {
    fn add(&mut self, card: &Card) {
        self.n += 1;
        for (sum, one) in self.intervals.iter_mut().zip(card.intervals) {
            sum[0] += one[0];
            sum[1] += one[1];
        }
        self.hidden += usize::from(card.found.is_some());
        self.delays_h.extend(card.delay_h);
        self.asked_anyway += usize::from(card.told_anyway.is_some());
        self.told_anyway += usize::from(card.told_anyway == Some(true));
        self.false_alerts += card.false_alerts;
        if let Some(errors) = card.day_g2 {
            self.n_day += 1;
            self.day_g2.iter_mut().zip(errors).for_each(|(sum, one)| *sum += one);
        }
        if let Some(errors) = card.ahead_g2 {
            self.n_ahead += 1;
            self.ahead_g2.iter_mut().zip(errors).for_each(|(sum, one)| *sum += one);
        }
    }

    fn figures(&self, group: &str) -> Figures {
        let share = |part: usize, of: usize| if of == 0 { f64::NAN } else { part as f64 / of as f64 };
        let mut delays = self.delays_h.clone();
        delays.sort_by(f64::total_cmp);
        let percentile = |p: f64| {
            let idx = (p * delays.len() as f64).ceil() as usize;
            delays.get(idx.max(1) - 1).copied().unwrap_or(f64::NAN)
        };
        let day = self.day_g2.map(|sum| (sum / self.n_day.max(1) as f64).sqrt());
        Figures {
            group: group.to_owned(),
            n: self.n,
            coverage: self.intervals.map(|[asked, held]| share(held, asked)),
            hidden: self.hidden,
            found: share(self.delays_h.len(), self.hidden),
            told_anyway: share(self.told_anyway, self.asked_anyway),
            delay_h: [percentile(0.5), percentile(0.95)],
            false_alerts_a_day: 24.0 * share(self.false_alerts, self.n * HOURS),
            day_error_ml: day,
            day_error_ratio: day[2] / day[0].min(day[1]),
            ahead_error_g: self.ahead_g2.map(|sum| (sum / self.n_ahead.max(1) as f64).sqrt()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::{draw, draw_without_loss};
    use super::*;

    /// The same draws to the last digit until the loss begins, and the whole loss more of the patient at the end of it.
    #[test]
    fn a_case_without_its_loss_is_the_same_case() {
        let number = (0..).find(|&n| draw(7, n).episode.is_some_and(|e| e.ml > 400.0)).unwrap();
        let (case, without) = (draw(7, number), draw_without_loss(7, number));
        let Episode { from_h, to_h, ml } = case.episode.unwrap();
        assert!(without.episode.is_none() && case.patient.patient == without.patient.patient);
        let minute = |h: f64| (60.0 * h) as usize;
        let before = minute(from_h);
        assert_eq!(case.mass_g[..before], without.mass_g[..before]);
        let apart_g = |h| without.mass_g[minute(h)] - case.mass_g[minute(h)];
        // The kidney makes a little less urine of what is lost.
        assert!((0.5 * ml..=1.1 * ml).contains(&apart_g(to_h)), "{} g of {ml} mL", apart_g(to_h));
    }

    /// Within the time a word that fluid was lost finds a loss; another word is no find, and is false where nothing was missing.
    #[test]
    fn a_hidden_loss_is_found_by_who_says_that_fluid_was_lost() {
        let case = (0..).map(|n| draw(7, n)).find(|c| c.episode.is_some()).unwrap();
        let from_h = case.episode.unwrap().from_h;
        let card = |at_h: f64, is_loss| {
            let alerts = vec![Told { at_h, is_loss }];
            score(&case, &Said { alerts, ..Said::default() }, None)
        };
        let found = card(from_h + 6.0, true);
        assert_eq!((found.found, found.false_alerts), (Some(true), 0));
        assert!((found.delay_h.unwrap() - 6.0).abs() < 1e-9);
        assert_eq!(card(from_h + 6.0, false).found, Some(false));
        assert_eq!(card(from_h + FOUND_WITHIN_H + 1.0, true).found, Some(false));
        // What is told of the same patient without the loss, in the same time, would have been told of all the same.
        let anyway = |at_h: f64| {
            let without = Said { alerts: vec![Told { at_h, is_loss: true }], ..Said::default() };
            score(&case, &Said::default(), Some(&without)).told_anyway
        };
        assert_eq!(
            (anyway(from_h + 6.0), anyway(from_h - 1.0), card(from_h, true).told_anyway),
            (Some(true), Some(false), None)
        );
        // Before anything was lost, a word of anything is false.
        assert!(from_h > 1.0);
        let early = [true, false].map(|is_loss| card(0.5, is_loss));
        assert!(early.iter().all(|c| c.found == Some(false) && c.false_alerts == 1), "{early:?}");
    }
}
