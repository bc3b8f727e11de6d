//! Presses in a recording: when all cells together moved, and by how much each.

use super::TouchError;
use deck::chain::channels;
use formats::deck::Deck;
use formats::recording::Sample;
use stats::robust::median;

/// Seconds at rest that a touch check begins with.
pub(crate) const REST_S: f64 = 2.0;
/// A press moves all cells together by at least this part of the hardest one: over a dead cell only its fellows move.
const LEAST_PART: f64 = 0.01;
/// And by so many times what they show at rest.
const OVER_REST: f64 = 4.0;
/// And by this much, kg: breath and steps beside the deck are less.
const LEAST_KG: f64 = 0.05;
/// A shorter one is a knock, a shorter gap a tremble, s.
const LEAST_PRESS_S: f64 = 0.5;
const LEAST_GAP_S: f64 = 0.5;
/// Part of a press at either end that is left out: the hand comes and goes.
const EDGE: f64 = 0.25;

/// What all cells show, from rest.
#[derive(Debug, Clone)]
pub(crate) struct Traces {
    /// Time of each sample, s.
    t_s: Vec<f64>,
    /// Counts from rest, sample by sample; a lost sample keeps the one before.
    moved: Vec<Vec<f64>>,
    /// Counts a kilogram by the data sheet, one a cell.
    pub(crate) counts_per_kg: Vec<f64>,
    /// Part of the samples that each cell lost.
    pub(crate) lost: Vec<f64>,
    n_rest: usize,
}

/// A press.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Press {
    pub(crate) seconds: [f64; 2],
    /// By how much each cell moved, kg by the data sheet, signed.
    pub(crate) moved_kg: Vec<f64>,
}

impl Press {
    /// All that moved, kg.
    pub(crate) fn total_kg(&self) -> f64 {
        self.moved_kg.iter().map(|kg| kg.abs()).sum()
    }
}

impl Traces {
    pub(crate) fn new(deck: &Deck, samples: &[Sample]) -> Result<Self, TouchError> {
        let counts_per_kg: Vec<f64> = channels(deck)?.iter().map(|c| c.counts_per_kg).collect();
        let t_s: Vec<f64> = samples.iter().map(|s| s.t_s).collect();
        let (first, last) = (t_s.first().copied().unwrap_or(0.0), t_s.last().copied().unwrap_or(0.0));
        let n_rest = t_s.iter().filter(|t| **t < first + REST_S).count();
        if last - first < 2.0 * REST_S || n_rest < 4 {
            return Err(TouchError::TooShort { n_samples: samples.len(), seconds: last - first, rest_s: 2.0 * REST_S });
        }
        let n = counts_per_kg.len();
        let rest = |c: usize| median(&samples[..n_rest].iter().filter_map(|s| s.counts[c]).collect::<Vec<f64>>());
        let base: Vec<Option<f64>> = (0..n).map(rest).collect();
        let mut before = vec![0.0; n];
        let mut lost = vec![0.0; n];
        let mut moved = Vec::with_capacity(samples.len());
        for sample in samples {
            for c in 0..n {
                match sample.counts[c].zip(base[c]) {
                    Some((counts, base)) => before[c] = counts - base,
                    None => lost[c] += 1.0 / samples.len() as f64,
                }
            }
            moved.push(before.clone());
        }
        Ok(Self { t_s, moved, counts_per_kg, lost, n_rest })
    }

    /// All cells together, kg, sample by sample.
    fn activity(&self) -> Vec<f64> {
        let of_sample =
            |row: &Vec<f64>| row.iter().zip(&self.counts_per_kg).map(|(d, per_kg)| (d / per_kg).abs()).sum();
        self.moved.iter().map(of_sample).collect()
    }

    /// The presses, in order.
    pub(crate) fn presses(&self) -> Vec<Press> {
        let activity = self.activity();
        let hardest = activity.iter().copied().fold(0.0, f64::max);
        let at_rest = median(&activity[..self.n_rest]).unwrap_or(0.0);
        let threshold = (LEAST_PART * hardest).max(OVER_REST * at_rest).max(LEAST_KG);
        let mut spans: Vec<[usize; 2]> = Vec::new();
        for (i, _) in activity.iter().enumerate().filter(|(_, a)| **a > threshold) {
            match spans.last_mut() {
                Some(span) if self.t_s[i] - self.t_s[span[1]] < LEAST_GAP_S => span[1] = i,
                _ => spans.push([i, i]),
            }
        }
        spans.retain(|s| self.t_s[s[1]] - self.t_s[s[0]] >= LEAST_PRESS_S);
        spans.into_iter().map(|s| self.press(s)).collect()
    }

    fn press(&self, [first, last]: [usize; 2]) -> Press {
        let edge = ((last - first) as f64 * EDGE) as usize;
        let held = first + edge..last - edge + 1;
        // What a cell keeps of the presses before is taken off.
        let quiet = first.saturating_sub(held.len().max(4) + 1)..first.saturating_sub(1).max(1);
        let middle = |rows: std::ops::Range<usize>, c: usize| {
            median(&self.moved[rows].iter().map(|r| r[c]).collect::<Vec<f64>>()).unwrap_or(0.0)
        };
        let n = self.counts_per_kg.len();
        let moved_kg =
            (0..n).map(|c| (middle(held.clone(), c) - middle(quiet.clone(), c)) / self.counts_per_kg[c]).collect();
        Press { seconds: [self.t_s[first], self.t_s[last]], moved_kg }
    }
}
