//! Whether a reading has settled: the counts of the last seconds, their mean, and whether they still run away.
//!
//! | symbol | name       | meaning                                             | unit   |
//! |--------|------------|-----------------------------------------------------|--------|
//! | m₁, m₂ | `halves`   | means of the first and second half of the reading   | counts |
//! | s      | `noise`    | median of \|xᵢ₊₁ − xᵢ\| over √2 · 0.6745             | counts |
//! | d      | `drift_g`  | m₂ − m₁ by the data sheet                           | g      |
//!
//! A cell has settled where |d| ≤ 3 s √(4/n), what noise alone leaves between two means of n/2 samples in all but 0.3 % of
//! readings, or where |d| is below e/40, which no limit of the deck's class can see. Samples count as independent.
//! The noise comes from neighbours and a median, so that a step, as of a body that was put down while the reading ran, does not
//! pass for noise (0.6745 σ is the median of |x| of a normal x).
//! Limits: 10 s and the two bounds are engineering choices (no source).

use deck::chain::channels;
use formats::deck::Deck;
use formats::recording::Sample;
use serde::Serialize;
use stats::robust::{MAD_TO_SD, median};

/// Length of a reading, s.
pub const READING_S: f64 = 10.0;
/// Fewest samples of a cell in a reading.
const LEAST_SAMPLES: usize = 8;
/// A reading may lack so much of its length at its ends, s: samples come when they come.
const SHORT_S: f64 = 0.6;

/// A reading under way.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Settling {
    /// Seconds that the samples span, at most [`READING_S`].
    pub seconds: f64,
    /// Mean counts of each cell; `None`: too few samples.
    pub counts: Vec<Option<f64>>,
    /// By how much each cell still moved from the first half of the reading to the second, g by the data sheet.
    pub drift_g: Vec<Option<f64>>,
    /// Whether the reading is whole and every cell has settled.
    pub settled: bool,
    /// Cells that have not, in the order of the deck.
    pub unsettled: Vec<String>,
}

/// Judges the newest reading of a recording; older samples than [`READING_S`] do not count.
///
/// # Errors
/// A deck that cannot be computed.
pub fn settle(deck: &Deck, samples: &[Sample]) -> Result<Settling, deck::DeckError> {
    let end_s = samples.last().map_or(0.0, |s| s.t_s);
    let from = samples.partition_point(|s| s.t_s < end_s - READING_S);
    let reading = &samples[from..];
    let seconds = reading.first().map_or(0.0, |s| end_s - s.t_s);
    let middle_s = end_s - seconds / 2.0;
    let is_whole = seconds >= READING_S - SHORT_S;
    let (mut counts, mut drift_g, mut unsettled) = (Vec::new(), Vec::new(), Vec::new());
    for (cell, (channel, (_, named))) in channels(deck)?.iter().zip(deck.cells()).enumerate() {
        let of = |sample: &&Sample| sample.counts.get(cell).copied().flatten();
        let first: Vec<f64> = reading.iter().filter(|s| s.t_s < middle_s).filter_map(|s| of(&s)).collect();
        let second: Vec<f64> = reading.iter().filter(|s| s.t_s >= middle_s).filter_map(|s| of(&s)).collect();
        let n = first.len() + second.len();
        if n < LEAST_SAMPLES || first.len() < 2 || second.len() < 2 {
            counts.push(None);
            drift_g.push(None);
            unsettled.push(named.name.clone());
            continue;
        }
        let [m1, m2] = [mean(&first), mean(&second)];
        let noise = noise(&first, &second);
        let drift = m2 - m1;
        let g = 1e3 * drift / channel.counts_per_kg;
        if drift.abs() > 3.0 * noise * (4.0 / n as f64).sqrt() && g.abs() > deck.e_g / 40.0 {
            unsettled.push(named.name.clone());
        }
        counts.push(Some((m1 * first.len() as f64 + m2 * second.len() as f64) / n as f64));
        drift_g.push(Some(g));
    }
    Ok(Settling { seconds, settled: is_whole && unsettled.is_empty(), counts, drift_g, unsettled })
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

fn noise(first: &[f64], second: &[f64]) -> f64 {
    let steps = |half: &[f64]| half.windows(2).map(|w| (w[1] - w[0]).abs()).collect::<Vec<f64>>();
    let steps = [steps(first), steps(second)].concat();
    MAD_TO_SD * median(&steps).unwrap_or(0.0) / 2f64.sqrt()
}

/// What each cell bears more than at rest, kg by the data sheet: mean of the last `seconds` less `rest` counts.
///
/// # Errors
/// A deck that cannot be computed.
pub fn moved_kg(deck: &Deck, samples: &[Sample], rest: &[f64], seconds: f64) -> Result<Vec<f64>, deck::DeckError> {
    let end_s = samples.last().map_or(0.0, |s| s.t_s);
    let newest = &samples[samples.partition_point(|s| s.t_s < end_s - seconds)..];
    let of_cell = |(cell, channel): (usize, &deck::chain::Channel)| {
        let counts: Vec<f64> = newest.iter().filter_map(|s| s.counts.get(cell).copied().flatten()).collect();
        let rest = rest.get(cell).copied().unwrap_or(0.0);
        if counts.is_empty() { 0.0 } else { (mean(&counts) - rest) / channel.counts_per_kg }
    };
    Ok(channels(deck)?.iter().enumerate().map(of_cell).collect())
}

/// What each cell bears more in one reading than in another, kg by the data sheet.
///
/// # Errors
/// A deck that cannot be computed.
pub fn between_kg(deck: &Deck, before: &[f64], after: &[f64]) -> Result<Vec<f64>, deck::DeckError> {
    let counts = before.iter().zip(after).map(|(before, after)| after - before);
    Ok(channels(deck)?.iter().zip(counts).map(|(channel, more)| more / channel.counts_per_kg).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn deck() -> Deck {
        formats::deck::read("deck.toml", include_str!("../../formats/data/examples/deck.toml")).unwrap()
    }

    /// Ten samples a second whose first cell runs by `counts_per_s`, with a small even flicker.
    fn samples(deck: &Deck, n: usize, counts_per_s: f64) -> Vec<Sample> {
        let n_cells = deck.cells().count();
        let sample = |i: usize| {
            let t_s = i as f64 / 10.0;
            let flicker = if i.is_multiple_of(2) { 3.0 } else { -3.0 };
            let mut counts = vec![Some(1000.0 + flicker); n_cells];
            counts[0] = counts[0].map(|c| c + counts_per_s * t_s);
            Sample { t_s, temperature_c: None, tilt_deg: Vec::new(), counts }
        };
        (0..n).map(sample).collect()
    }

    #[test]
    fn a_load_at_rest_settles_after_a_whole_reading() {
        let deck = deck();
        assert!(!settle(&deck, &samples(&deck, 60, 0.0)).unwrap().settled, "six seconds are no reading");
        let settled = settle(&deck, &samples(&deck, 150, 0.0)).unwrap();
        assert!(settled.settled, "{settled:?}");
        assert!(settled.counts.iter().all(|c| c.is_some_and(|c| (c - 1000.0).abs() < 0.1)));
    }

    #[test]
    fn a_cell_that_runs_away_is_named_and_its_pace_is_told() {
        let deck = deck();
        let per_kg = channels(&deck).unwrap()[0].counts_per_kg;
        // 5 g a second: 25 g from the middle of one half to that of the other.
        let running = settle(&deck, &samples(&deck, 150, 0.005 * per_kg)).unwrap();
        let name = deck.cells().next().unwrap().1.name.clone();
        assert_eq!((running.settled, running.unsettled.clone()), (false, vec![name]));
        assert!((running.drift_g[0].unwrap() - 25.0).abs() < 0.5, "{running:?}");
    }

    /// A body that was put down when the reading had begun: two samples of a hundred are of the time before.
    #[test]
    fn a_step_inside_the_reading_is_no_noise() {
        let deck = deck();
        let mut stepped = samples(&deck, 100, 0.0);
        stepped[..2].iter_mut().for_each(|s| s.counts.iter_mut().flatten().for_each(|c| *c -= 300_000.0));
        let found = settle(&deck, &stepped).unwrap();
        assert!(!found.settled && found.unsettled.len() == deck.cells().count(), "{found:?}");
    }

    #[test]
    fn a_cell_without_samples_never_settles() {
        let deck = deck();
        let mut lost = samples(&deck, 150, 0.0);
        lost.iter_mut().for_each(|s| s.counts[1] = None);
        let found = settle(&deck, &lost).unwrap();
        assert!(!found.settled && found.counts[1].is_none());
        assert!(!settle(&deck, &[]).unwrap().settled);
    }
}
