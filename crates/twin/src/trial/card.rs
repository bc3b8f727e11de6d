//! Counts of one run, added up without keeping its rows.

use std::collections::BTreeMap;

use super::{Condition, Kind};

/// What one run counted.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Card {
    /// Rows by condition.
    pub conditions: BTreeMap<Condition, RowCounts>,
    /// Events by kind.
    pub events: BTreeMap<Kind, EventCounts>,
    /// Distance of the place named from the true one, mm, of each thing found.
    pub placed_mm: Vec<f64>,
    /// Things found of which no place was named.
    pub unplaced: usize,
    /// Contacts that were taken for a thing.
    pub contacts_mistaken: usize,
    /// Times from the beginning of stillness to the next settled row, s.
    pub again_s: Vec<f64>,
    /// Times of stillness longer than [`super::AGAIN_S`] in which no row was settled.
    pub never_again: usize,
}

/// Rows under one condition.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct RowCounts {
    /// Rows in which the patient lay there and nothing went on.
    pub still: usize,
    /// Of these, settled.
    pub settled_still: usize,
    /// Rows settled during a disturbance.
    pub false_settled: usize,
    /// Settled rows.
    pub settled: usize,
    /// Of these, within 0.1 % of the patient's weight or 50 g, the larger.
    pub within: usize,
    /// Of these, within 1.96 stated standard uncertainties.
    pub covered: usize,
    /// Sum of the stated standard uncertainties, kg.
    pub u_sum_kg: f64,
    /// Errors, g.
    pub error_g: Errors,
    /// Errors, % of the patient's weight.
    pub error_pct: Errors,
    /// Settled and covered rows of each run, for the spread of the coverage between runs.
    pub by_run: Vec<[usize; 2]>,
}

/// What became of the events of one kind.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct EventCounts {
    /// That happened.
    pub happened: usize,
    /// Of these, found.
    pub found: usize,
    /// Named where nothing of the kind happened.
    pub false_alarms: usize,
}

/// Sizes of errors, counted in steps of 1.2 % of themselves.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Errors {
    counts: BTreeMap<u32, u64>,
    largest: f64,
}

/// Steps in which errors are kept, a factor of ten.
const STEPS_A_DECADE: f64 = 200.0;
/// Smallest error that is told apart from none.
const SMALLEST: f64 = 1e-4;

impl Errors {
    /// Adds one. A hundred million rows need a few hundred numbers.
    pub fn add(&mut self, size: f64) {
        let step = ((size.max(SMALLEST) / SMALLEST).log10() * STEPS_A_DECADE).ceil();
        *self.counts.entry(step as u32).or_default() += 1;
        self.largest = self.largest.max(size);
    }

    fn merge(&mut self, other: &Self) {
        for (step, n) in &other.counts {
            *self.counts.entry(*step).or_default() += n;
        }
        self.largest = self.largest.max(other.largest);
    }

    /// Size that a share of them does not exceed: the upper end of its step. NaN of none.
    #[must_use]
    pub fn percentile(&self, share: f64) -> f64 {
        let all: u64 = self.counts.values().sum();
        let mut seen = 0;
        for (step, n) in &self.counts {
            seen += n;
            if seen as f64 >= share * all as f64 {
                return (SMALLEST * 10f64.powf(f64::from(*step) / STEPS_A_DECADE)).min(self.largest);
            }
        }
        f64::NAN
    }

    /// The largest, exactly. NaN of none.
    #[must_use]
    pub fn largest(&self) -> f64 {
        if self.counts.is_empty() { f64::NAN } else { self.largest }
    }
}

impl RowCounts {
    pub(super) fn add_error(&mut self, error_kg: f64, u_kg: f64, patient_kg: f64) {
        self.settled += 1;
        self.within += usize::from(error_kg.abs() <= (1e-3 * patient_kg).max(0.05));
        self.covered += usize::from(error_kg.abs() <= 1.96 * u_kg);
        self.u_sum_kg += u_kg;
        self.error_g.add(1000.0 * error_kg.abs());
        self.error_pct.add(100.0 * error_kg.abs() / patient_kg);
    }

    pub(super) fn merge(&mut self, other: &Self) {
        self.still += other.still;
        self.settled_still += other.settled_still;
        self.false_settled += other.false_settled;
        self.settled += other.settled;
        self.within += other.within;
        self.covered += other.covered;
        self.u_sum_kg += other.u_sum_kg;
        self.error_g.merge(&other.error_g);
        self.error_pct.merge(&other.error_pct);
        self.by_run.extend(&other.by_run);
    }
}

impl Card {
    pub(super) fn rows(&mut self, condition: Condition) -> &mut RowCounts {
        self.conditions.entry(condition).or_default()
    }

    pub(super) fn event(&mut self, kind: Kind) -> &mut EventCounts {
        self.events.entry(kind).or_default()
    }

    /// Closes the run: from here on its rows count as those of one run.
    pub(super) fn close(&mut self) {
        for rows in self.conditions.values_mut() {
            rows.by_run = vec![[rows.settled, rows.covered]];
        }
    }

    /// Rows of all conditions together, as of one run.
    #[must_use]
    pub fn all_rows(&self) -> RowCounts {
        let mut all = RowCounts::default();
        self.conditions.values().for_each(|rows| all.merge(rows));
        all.by_run = vec![[all.settled, all.covered]];
        all
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn percentiles_of_known_errors_are_right_to_a_step() {
        let mut rows = RowCounts::default();
        for g in 1..=100 {
            rows.add_error(-f64::from(g) / 1000.0, 0.05, 80.0);
        }
        // A step is 10^(1/200), 1.16 %.
        for (share, g) in [(0.5, 50.0), (0.95, 95.0)] {
            let found = rows.error_g.percentile(share);
            assert!((g..=g * 1.0117).contains(&found), "{share}: {found}");
        }
        assert!((rows.error_g.largest() - 100.0).abs() < 1e-9 && (rows.error_pct.largest() - 0.125).abs() < 1e-12);
        // 0.1 % of 80 kg is 80 g; 1.96 · 50 g is 98 g.
        assert_eq!((rows.within, rows.covered), (80, 98));
    }

    #[test]
    fn no_error_is_small_and_no_rows_have_none() {
        let mut errors = Errors::default();
        assert!(errors.percentile(0.5).is_nan() && errors.largest().is_nan());
        errors.add(0.0);
        assert!(errors.percentile(0.95).abs() < 1e-12);
    }
}
