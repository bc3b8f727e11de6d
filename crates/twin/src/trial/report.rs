//! The card over many runs: shares, percentiles and how they stand to what is asked of a class III deck.

use std::collections::BTreeMap;

use serde::Serialize;

use super::card::{Card, EventCounts, RowCounts};
use super::{AGAIN_S, Condition, Kind, Label};

/// Adds runs up, in the order in which they are given.
#[derive(Debug, Clone, PartialEq)]
pub struct Tally {
    asked: usize,
    hours: f64,
    seed: u64,
    runs: usize,
    all: RowCounts,
    conditions: BTreeMap<Condition, RowCounts>,
    groups: BTreeMap<Label, (usize, RowCounts)>,
    events: BTreeMap<Kind, EventCounts>,
    placed_mm: Vec<f64>,
    unplaced: usize,
    contacts_mistaken: usize,
    again_s: Vec<f64>,
    never_again: usize,
}

/// The card over many runs.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ReportCard {
    /// Runs that were made.
    pub runs: usize,
    /// Runs that were asked for.
    pub runs_asked: usize,
    /// Length of each, h.
    pub hours: f64,
    /// Number that all draws follow from.
    pub seed: u64,
    /// What is asked of the engine, and whether it was met.
    pub limits: Vec<Limit>,
    /// All settled rows.
    pub all: ConditionReport,
    /// By what was going on at the row.
    pub conditions: Vec<ConditionReport>,
    /// By what a whole run was like.
    pub groups: Vec<GroupReport>,
    /// What happened and was found.
    pub events: Vec<EventReport>,
    /// Distances of the named places of things from the true ones, mm: median, 95th percentile, largest.
    pub placed_mm: [f64; 3],
    /// Share of things found that were placed within 150 mm; one without a place was not.
    pub placed_within_150_mm: f64,
    /// Contacts that were named something that came or went.
    pub contacts_mistaken: usize,
    /// Times from stillness to the next settled row, s: median, 95th percentile, largest.
    pub settled_again_s: [f64; 3],
    /// Share of stillnesses settled within 15 s; those too short for that, in which nothing settled, are left out.
    pub settled_again_within_15_s: f64,
}

/// A figure that is asked for.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Limit {
    /// Which.
    pub name: &'static str,
    /// In words, with the limit.
    pub text: &'static str,
    /// What was measured.
    pub value: f64,
    /// Whether that is met; absent: nothing of the kind happened.
    pub met: Option<bool>,
}

/// Figures of rows.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ConditionReport {
    /// The condition in words; `all`.
    pub condition: String,
    /// Rows in which the patient lay there and nothing went on.
    pub still_rows: usize,
    /// Settled rows.
    pub settled_rows: usize,
    /// Settled share of the rows in which the patient lay there and nothing went on.
    pub share_settled: f64,
    /// Share of settled rows that were given during a disturbance.
    pub false_settled: f64,
    /// Median error, g.
    pub error_median_g: f64,
    /// Error that 95 % do not exceed, g.
    pub error_p95_g: f64,
    /// Error that 99 % do not exceed, g.
    pub error_p99_g: f64,
    /// Largest error, g.
    pub error_max_g: f64,
    /// Median error, % of the patient's weight.
    pub error_median_pct: f64,
    /// Error that 95 % do not exceed, % of the patient's weight.
    pub error_p95_pct: f64,
    /// Largest error, % of the patient's weight.
    pub error_max_pct: f64,
    /// Share within 0.1 % of the patient's weight or 50 g, the larger.
    pub share_within: f64,
    /// Share within 1.96 stated standard uncertainties.
    pub coverage_95: f64,
    /// Standard error of that share, from its spread between runs; absent of a single run.
    pub coverage_95_u: Option<f64>,
    /// Mean stated standard uncertainty, g.
    pub mean_u_g: f64,
}

/// Figures of the runs of one group.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GroupReport {
    /// What the runs are grouped by.
    pub group: &'static str,
    /// Runs.
    pub runs: usize,
    /// Their rows; the condition is the group's value.
    #[serde(flatten)]
    pub rows: ConditionReport,
}

/// Figures of the events of one kind.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct EventReport {
    /// Kind.
    pub kind: Kind,
    /// In words.
    pub text: &'static str,
    /// That happened.
    pub happened: usize,
    /// Of these, found.
    pub found: usize,
    /// Of these, missed.
    pub missed: usize,
    /// Named where nothing of the kind happened.
    #[serde(rename = "false")]
    pub false_alarms: usize,
    /// Share found.
    pub share_found: f64,
}

fn share(part: usize, of: usize) -> f64 {
    if of == 0 { f64::NAN } else { part as f64 / of as f64 }
}

fn percentile(sorted: &[f64], share: f64) -> f64 {
    if sorted.is_empty() {
        return f64::NAN;
    }
    sorted[((share * sorted.len() as f64).ceil() as usize).clamp(1, sorted.len()) - 1]
}

/// Standard error of Σc/Σs over runs (the ratio estimator of survey sampling, Cochran, *Sampling Techniques*, 2.11: memory).
fn between_runs(by_run: &[[usize; 2]]) -> Option<f64> {
    let n = by_run.len() as f64;
    let (of, part) = by_run.iter().fold((0, 0), |(s, c), run| (s + run[0], c + run[1]));
    if by_run.len() < 2 || of == 0 {
        return None;
    }
    let ratio = part as f64 / of as f64;
    let apart: f64 = by_run.iter().map(|run| (run[1] as f64 - ratio * run[0] as f64).powi(2)).sum();
    Some((apart * n / (n - 1.0)).sqrt() / of as f64)
}

impl ConditionReport {
    fn of(name: &str, rows: &RowCounts) -> Self {
        Self {
            condition: name.to_owned(),
            still_rows: rows.still,
            settled_rows: rows.settled,
            share_settled: share(rows.settled_still, rows.still),
            false_settled: share(rows.false_settled, rows.settled),
            error_median_g: rows.error_g.percentile(0.50),
            error_p95_g: rows.error_g.percentile(0.95),
            error_p99_g: rows.error_g.percentile(0.99),
            error_max_g: rows.error_g.largest(),
            error_median_pct: rows.error_pct.percentile(0.50),
            error_p95_pct: rows.error_pct.percentile(0.95),
            error_max_pct: rows.error_pct.largest(),
            share_within: share(rows.within, rows.settled),
            coverage_95: share(rows.covered, rows.settled),
            coverage_95_u: between_runs(&rows.by_run),
            mean_u_g: 1000.0 * rows.u_sum_kg / rows.settled as f64,
        }
    }
}

impl Tally {
    /// Nothing yet, of so many runs of so many hours.
    #[must_use]
    pub fn new(asked: usize, hours: f64, seed: u64) -> Self {
        Self {
            asked,
            hours,
            seed,
            runs: 0,
            all: RowCounts::default(),
            conditions: BTreeMap::new(),
            groups: BTreeMap::new(),
            events: BTreeMap::new(),
            placed_mm: Vec::new(),
            unplaced: 0,
            contacts_mistaken: 0,
            again_s: Vec::new(),
            never_again: 0,
        }
    }

    /// Adds a run.
    pub fn add(&mut self, labels: &[Label], card: &Card) {
        self.runs += 1;
        let all = card.all_rows();
        for (condition, rows) in &card.conditions {
            self.conditions.entry(*condition).or_default().merge(rows);
        }
        for label in labels {
            let (runs, rows) = self.groups.entry(label.clone()).or_default();
            *runs += 1;
            rows.merge(&all);
        }
        self.all.merge(&all);
        for (kind, counts) in &card.events {
            let sum = self.events.entry(*kind).or_default();
            sum.happened += counts.happened;
            sum.found += counts.found;
            sum.false_alarms += counts.false_alarms;
        }
        self.placed_mm.extend(&card.placed_mm);
        self.unplaced += card.unplaced;
        self.contacts_mistaken += card.contacts_mistaken;
        self.again_s.extend(&card.again_s);
        self.never_again += card.never_again;
    }

    /// Runs added so far.
    #[must_use]
    pub fn runs(&self) -> usize {
        self.runs
    }

    /// What they come to.
    #[must_use]
    pub fn report(&self) -> ReportCard {
        let three = |values: &[f64]| {
            let mut sorted = values.to_vec();
            sorted.sort_by(f64::total_cmp);
            [0.5, 0.95, 1.0].map(|s| percentile(&sorted, s))
        };
        let within = |values: &[f64], limit: f64| values.iter().filter(|v| **v <= limit).count();
        let report = ReportCard {
            runs: self.runs,
            runs_asked: self.asked,
            hours: self.hours,
            seed: self.seed,
            limits: Vec::new(),
            all: ConditionReport::of("all", &self.all),
            conditions: self.conditions.iter().map(|(c, rows)| ConditionReport::of(c.word(), rows)).collect(),
            groups: self.groups.iter().map(|(label, (runs, rows))| group(label, *runs, rows)).collect(),
            events: self.events.iter().map(|(kind, counts)| event(*kind, *counts)).collect(),
            placed_mm: three(&self.placed_mm),
            placed_within_150_mm: share(within(&self.placed_mm, 150.0), self.placed_mm.len() + self.unplaced),
            contacts_mistaken: self.contacts_mistaken,
            settled_again_s: three(&self.again_s),
            settled_again_within_15_s: share(within(&self.again_s, AGAIN_S), self.again_s.len() + self.never_again),
        };
        ReportCard { limits: limits(&report, self), ..report }
    }
}

fn group(label: &Label, runs: usize, rows: &RowCounts) -> GroupReport {
    GroupReport { group: label.group, runs, rows: ConditionReport::of(&label.value, rows) }
}

fn event(kind: Kind, counts: EventCounts) -> EventReport {
    EventReport {
        kind,
        text: kind.word(),
        happened: counts.happened,
        found: counts.found,
        missed: counts.happened - counts.found,
        false_alarms: counts.false_alarms,
        share_found: share(counts.found, counts.happened),
    }
}

/// What is asked of a class III deck on a ward.
fn limits(report: &ReportCard, tally: &Tally) -> Vec<Limit> {
    let of = |kind: Kind| tally.events.get(&kind).copied().unwrap_or_default();
    let limit = |name, text, value: f64, met: bool| Limit { name, text, value, met: (!value.is_nan()).then_some(met) };
    let all = &report.all;
    let found = share(of(Kind::Thing).found, of(Kind::Thing).happened);
    let mistaken = share(report.contacts_mistaken, of(Kind::Contact).happened);
    vec![
        limit(
            "error_p95_g_or_share",
            "settled rows within 0.1 % of the patient's weight or 50 g: at least 95 %",
            all.share_within,
            all.share_within >= 0.95,
        ),
        limit(
            "coverage_95",
            "settled rows within their stated 95 % interval: 93 to 97 %",
            all.coverage_95,
            (0.93..=0.97).contains(&all.coverage_95),
        ),
        limit(
            "false_settled",
            "settled rows given during a disturbance: at most 0.05 %",
            all.false_settled,
            all.false_settled <= 5e-4,
        ),
        limit("things_found", "things of 100 g and more that were found: at least 99 %", found, found >= 0.99),
        limit(
            "placed_within_150_mm",
            "things found that were placed within 150 mm: at least 95 %",
            report.placed_within_150_mm,
            report.placed_within_150_mm >= 0.95,
        ),
        limit(
            "contacts_mistaken",
            "contacts mistaken for something that came or went: at most 0.5 %",
            mistaken,
            mistaken <= 0.005,
        ),
        limit(
            "settled_again_within_15_s",
            "stillnesses settled within 15 s: at least 95 %",
            report.settled_again_within_15_s,
            report.settled_again_within_15_s >= 0.95,
        ),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn card(settled: usize, covered: usize) -> Card {
        let mut card = Card::default();
        for i in 0..settled {
            let error_kg = if i < covered { 0.01 } else { 0.2 };
            card.rows(Condition::Flat).add_error(error_kg, 0.02, 80.0);
        }
        card.rows(Condition::Flat).still = settled + 1;
        card.rows(Condition::Flat).settled_still = settled;
        card.close();
        card
    }

    #[test]
    fn adding_runs_up_is_adding_their_rows_by_condition_and_group() {
        let label = |value: &str| Label { group: "ward", order: 0, value: value.into() };
        let mut tally = Tally::new(3, 24.0, 1);
        tally.add(&[label("quiet")], &card(10, 9));
        tally.add(&[label("busy")], &card(30, 27));
        let report = tally.report();
        assert_eq!((report.runs, report.runs_asked), (2, 3));
        assert_eq!(report.all.settled_rows, 40);
        assert!((report.all.coverage_95 - 0.9).abs() < 1e-12 && report.all.coverage_95_u.unwrap() < 1e-12);
        assert!((report.conditions[0].share_settled - 40.0 / 42.0).abs() < 1e-12);
        let groups: Vec<_> = report.groups.iter().map(|g| (g.rows.condition.as_str(), g.runs)).collect();
        assert_eq!(groups, [("busy", 1), ("quiet", 1)]);
        assert_eq!(report.limits.iter().find(|l| l.name == "things_found").unwrap().met, None);
    }

    #[test]
    fn the_spread_of_a_coverage_is_that_between_runs() {
        // Two equal halves of 100 rows, covered 1 and 0.8: 0.9 ± sd/√2 = 0.1.
        assert!((between_runs(&[[100, 100], [100, 80]]).unwrap() - 0.1).abs() < 1e-12);
        assert_eq!(between_runs(&[[100, 100]]), None);
    }
}
