//! Counts of one night, and the report card over many.

use std::collections::BTreeMap;

use serde::Serialize;

use super::Condition;

/// What one night counted.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Card {
    /// By condition.
    pub conditions: BTreeMap<Condition, ConditionCard>,
    /// Things that came or went.
    pub things: usize,
    /// Of these, found.
    pub things_found: usize,
    /// Distance of the place named from the true one, mm.
    pub placed_mm: Vec<f64>,
    /// Contacts.
    pub contacts: usize,
    /// Of these, taken for a thing.
    pub contacts_mistaken: usize,
    /// Times from the end of a disturbance to the next settled row, s.
    pub again_s: Vec<f64>,
    /// Whether a settled row is being waited for.
    pub(super) waiting: bool,
}

/// Counts under one condition.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ConditionCard {
    /// Rows in which the patient lay still.
    pub still_rows: usize,
    /// Of these, settled.
    pub settled_still: usize,
    /// Rows settled during a disturbance.
    pub false_settled: usize,
    /// Settled rows.
    pub settled: usize,
    /// Of these, within 0.1 % of the load or 50 g.
    pub within: usize,
    /// Of these, within 1.96 stated uncertainties.
    pub covered: usize,
    /// Sum of the stated uncertainties, kg.
    pub u_sum_kg: f64,
    /// Settled rows by their error, in steps of [`BIN_G`]; the last bin holds what is beyond.
    bins: Vec<u64>,
}

/// Width of a bin of errors, g.
const BIN_G: f64 = 1.0;
/// Errors are told apart up to this, g.
const BINS_G: f64 = 20_000.0;

impl ConditionCard {
    pub(super) fn add_error(&mut self, error_kg: f64, u_kg: f64, load_kg: f64) {
        self.settled += 1;
        self.within += usize::from(error_kg.abs() <= (1e-3 * load_kg).max(0.05));
        self.covered += usize::from(error_kg.abs() <= 1.96 * u_kg);
        self.u_sum_kg += u_kg;
        let last = (BINS_G / BIN_G) as usize;
        if self.bins.is_empty() {
            self.bins = vec![0; last + 1];
        }
        self.bins[((1000.0 * error_kg.abs() / BIN_G) as usize).min(last)] += 1;
    }

    fn merge(&mut self, other: &Self) {
        self.still_rows += other.still_rows;
        self.settled_still += other.settled_still;
        self.false_settled += other.false_settled;
        self.settled += other.settled;
        self.within += other.within;
        self.covered += other.covered;
        self.u_sum_kg += other.u_sum_kg;
        if self.bins.is_empty() {
            self.bins.clone_from(&other.bins);
        } else {
            self.bins.iter_mut().zip(&other.bins).for_each(|(a, b)| *a += b);
        }
    }

    /// Error that a share of the settled rows does not exceed, g (upper edge of its bin).
    fn percentile_g(&self, share: f64) -> f64 {
        let wanted = share * self.settled as f64;
        let mut seen = 0.0;
        for (i, n) in self.bins.iter().enumerate() {
            seen += *n as f64;
            if seen >= wanted && seen > 0.0 {
                return (i + 1) as f64 * BIN_G;
            }
        }
        f64::NAN
    }
}

impl Card {
    pub(super) fn of(&mut self, condition: Condition) -> &mut ConditionCard {
        self.conditions.entry(condition).or_default()
    }

    /// A settled row after so much stillness.
    pub(super) fn again(&mut self, since_s: f64) {
        if self.waiting {
            self.again_s.push(since_s);
            self.waiting = false;
        }
    }
}

/// The card over many nights.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ReportCard {
    /// Nights.
    pub nights: usize,
    /// By condition, then all together.
    pub conditions: Vec<ConditionReport>,
    /// Things of 100 g and more that came or went.
    pub things: usize,
    /// Share of them found.
    pub found: f64,
    /// Distance within which 95 % of those found were placed, mm.
    pub placed_p95_mm: f64,
    /// Contacts.
    pub contacts: usize,
    /// Share of them mistaken for a thing.
    pub mistaken: f64,
    /// Time within which 95 % were settled again, s.
    pub again_p95_s: f64,
    /// Its median, s.
    pub again_p50_s: f64,
}

/// Figures under one condition.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ConditionReport {
    /// The condition in words; `all`.
    pub condition: String,
    /// Settled rows.
    pub settled: usize,
    /// Settled share of the rows in which the patient lay still.
    pub share_settled: f64,
    /// Share of settled rows that were given during a disturbance.
    pub false_settled: f64,
    /// Median error, g.
    pub error_p50_g: f64,
    /// Error that 95 % do not exceed, g.
    pub error_p95_g: f64,
    /// Error that 99 % do not exceed, g.
    pub error_p99_g: f64,
    /// Share within 0.1 % of the load or 50 g.
    pub within: f64,
    /// Share within 1.96 stated uncertainties.
    pub coverage: f64,
    /// Mean stated standard uncertainty, g.
    pub mean_u_g: f64,
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

impl ConditionReport {
    fn of(name: &str, card: &ConditionCard) -> Self {
        Self {
            condition: name.to_owned(),
            settled: card.settled,
            share_settled: share(card.settled_still, card.still_rows),
            false_settled: share(card.false_settled, card.settled),
            error_p50_g: card.percentile_g(0.50),
            error_p95_g: card.percentile_g(0.95),
            error_p99_g: card.percentile_g(0.99),
            within: share(card.within, card.settled),
            coverage: share(card.covered, card.settled),
            mean_u_g: 1000.0 * card.u_sum_kg / card.settled as f64,
        }
    }
}

impl ReportCard {
    /// Adds nights up.
    #[must_use]
    pub fn of(cards: &[Card]) -> Self {
        let mut by: BTreeMap<Condition, ConditionCard> = BTreeMap::new();
        let mut all = ConditionCard::default();
        for (condition, card) in cards.iter().flat_map(|c| &c.conditions) {
            by.entry(*condition).or_default().merge(card);
            all.merge(card);
        }
        let mut conditions: Vec<_> = by.iter().map(|(c, card)| ConditionReport::of(c.word(), card)).collect();
        conditions.push(ConditionReport::of("all", &all));
        let sum = |of: fn(&Card) -> usize| cards.iter().map(of).sum::<usize>();
        let sorted = |of: fn(&Card) -> &Vec<f64>| {
            let mut values: Vec<f64> = cards.iter().flat_map(|c| of(c).iter().copied()).collect();
            values.sort_by(f64::total_cmp);
            values
        };
        let again = sorted(|c| &c.again_s);
        Self {
            nights: cards.len(),
            conditions,
            things: sum(|c| c.things),
            found: share(sum(|c| c.things_found), sum(|c| c.things)),
            placed_p95_mm: percentile(&sorted(|c| &c.placed_mm), 0.95),
            contacts: sum(|c| c.contacts),
            mistaken: share(sum(|c| c.contacts_mistaken), sum(|c| c.contacts)),
            again_p95_s: percentile(&again, 0.95),
            again_p50_s: percentile(&again, 0.50),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn percentiles_of_known_errors() {
        let mut card = ConditionCard::default();
        for g in 1..=100 {
            card.add_error(f64::from(g) / 1000.0 - 2e-4, 0.05, 80.0);
        }
        // Errors of 0.8, 1.8 … 99.8 g, told apart to a gram.
        assert!((card.percentile_g(0.5) - 50.0).abs() < 1e-9);
        assert!((card.percentile_g(0.95) - 95.0).abs() < 1e-9);
        // 0.1 % of 80 kg is 80 g; 1.96 · 50 g is 98 g.
        assert_eq!((card.within, card.covered), (80, 98));
    }

    #[test]
    fn merging_is_adding() {
        let mut a = Card::default();
        a.of(Condition::Flat).add_error(0.01, 0.02, 80.0);
        a.of(Condition::Flat).still_rows = 2;
        a.of(Condition::Flat).settled_still = 1;
        let report = ReportCard::of(&[a.clone(), a]);
        assert_eq!(report.conditions.len(), 2);
        assert_eq!(report.conditions[1].settled, 2);
        assert!((report.conditions[0].share_settled - 0.5).abs() < 1e-12);
    }
}
