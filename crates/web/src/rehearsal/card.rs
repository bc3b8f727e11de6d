//! What the weights were worth: settled rows against the truth of the twin.

use formats::weights::{State, Weight};
use serde::Serialize;

/// Points of the curve that the page draws; more are thinned out.
const POINTS_MOST: usize = 600;
/// What a stated standard uncertainty holds in 95 of 100 rows, if it is right.
const K_95: f64 = 1.96;

/// Counted so far.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub(super) struct Card {
    rows: usize,
    settled: usize,
    /// Settled rows while the patient lay there, whose truth is one number.
    judged: usize,
    /// Of these, within 1.96 stated standard uncertainties.
    covered: usize,
    sum_g: f64,
    square_sum_g2: f64,
    largest_g: f64,
    #[serde(skip)]
    every: usize,
    /// Hours, shown and true weight.
    curve: Vec<(f64, Option<f64>, Option<f64>)>,
}

/// The figures of the card.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub(super) struct Figures {
    pub(super) rows: usize,
    pub(super) settled_pct: Option<f64>,
    pub(super) mean_g: Option<f64>,
    pub(super) sd_g: Option<f64>,
    pub(super) largest_g: Option<f64>,
    pub(super) covered_pct: Option<f64>,
}

impl Card {
    /// Counts a row; `true_kg` is what a perfect deck would show, where the patient lies there whole.
    pub(super) fn add(&mut self, row: &Weight, true_kg: Option<f64>) {
        let is_settled = row.state == State::Settled;
        self.rows += 1;
        self.settled += usize::from(is_settled);
        if let (true, Some(kg), Some(u_kg), Some(truth)) = (is_settled, row.patient_kg, row.u_kg, true_kg) {
            let error_g = 1e3 * (kg - truth);
            self.judged += 1;
            self.covered += usize::from(error_g.abs() <= K_95 * 1e3 * u_kg);
            self.sum_g += error_g;
            self.square_sum_g2 += error_g * error_g;
            self.largest_g = self.largest_g.max(error_g.abs());
        }
        self.every = self.every.max(1);
        if self.rows.is_multiple_of(self.every) {
            self.curve.push((row.t_s / 3600.0, row.patient_kg.filter(|_| is_settled), true_kg));
        }
        if self.curve.len() > POINTS_MOST {
            let mut keep = false;
            self.curve.retain(|_| {
                keep = !keep;
                keep
            });
            self.every *= 2;
        }
    }

    pub(super) fn curve(&self) -> &[(f64, Option<f64>, Option<f64>)] {
        &self.curve
    }

    pub(super) fn figures(&self) -> Figures {
        let n = self.judged as f64;
        let mean = (self.judged > 0).then(|| self.sum_g / n);
        let sd = (self.judged > 1).then(|| {
            let about_mean = self.square_sum_g2 - self.sum_g * self.sum_g / n;
            (about_mean.max(0.0) / (n - 1.0)).sqrt()
        });
        let pct = |part: usize, of: usize| (of > 0).then(|| 100.0 * part as f64 / of as f64);
        Figures {
            rows: self.rows,
            settled_pct: pct(self.settled, self.rows),
            mean_g: mean,
            sd_g: sd,
            // Of no row nothing is known, not even that it was right.
            largest_g: (self.judged > 0).then_some(self.largest_g),
            covered_pct: pct(self.covered, self.judged),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(t_s: f64, kg: f64, state: State) -> Weight {
        Weight { time: None, t_s, patient_kg: Some(kg), u_kg: Some(0.01), state }
    }

    #[test]
    fn errors_of_settled_rows_are_counted_and_others_are_not() {
        let mut card = Card::default();
        assert_eq!(card.figures().largest_g, None);
        card.add(&row(0.0, 70.010, State::Settled), Some(70.0));
        card.add(&row(1.0, 69.970, State::Settled), Some(70.0));
        card.add(&row(2.0, 75.0, State::Moving), Some(70.0));
        card.add(&row(3.0, 70.0, State::Settled), None);
        let figures = card.figures();
        assert_eq!((figures.rows, figures.settled_pct, figures.covered_pct), (4, Some(75.0), Some(50.0)));
        assert!((figures.mean_g.unwrap() + 10.0).abs() < 1e-6 && (figures.largest_g.unwrap() - 30.0).abs() < 1e-6);
        // Two values 40 g apart: s = 40/√2.
        assert!((figures.sd_g.unwrap() - 40.0 / 2f64.sqrt()).abs() < 1e-6);
    }

    #[test]
    fn a_long_night_is_thinned_out_and_keeps_its_length() {
        let mut card = Card::default();
        for i in 0..100_000 {
            card.add(&row(f64::from(i), 70.0, State::Settled), Some(70.0));
        }
        let curve = card.curve();
        assert!(curve.len() <= POINTS_MOST && curve.len() > POINTS_MOST / 3, "{}", curve.len());
        assert!(curve.last().unwrap().0 > 27.5, "{:?}", curve.last());
    }
}
