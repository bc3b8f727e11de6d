//! One channel: is it alive, and is this sample a spike?
//!
//! A sample that is missing, at the converter's end or a spike is replaced by the channel's median of late; when that
//! lasts, the channel is called bad and gives nothing. A spike is judged by Hampel's rule over the last five
//! samples: farther from their median than `spike_sigmas` × 1.4826 × their median absolute deviation (1.4826
//! makes the deviation of normal noise its standard deviation) and than a floor. A true step passes after two samples.
//!
//! Source: Hampel, *The influence curve and its role in robust estimation*, JASA 69 (1974) 383–393 (common practice;
//! the figure 1.4826 = 1/Φ⁻¹(3/4) is exact to its digits).

use crate::config::{CellConfig, ChannelLimits};

/// Samples that a spike is judged by.
const HISTORY: usize = 5;
/// Fewest repeats of one count that can be called stuck, however long they take.
const STUCK_SAMPLES: u32 = 20;
/// Samples of a channel after which its own liveliness is known.
const KNOWN_SAMPLES: u32 = 20;
/// No converter counts farther; a number beyond is the end of something.
const MOST_COUNTS: f64 = 1e12;
/// Scale of the median absolute deviation to the standard deviation of normal noise: 1/Φ⁻¹(3/4).
const MAD_TO_SD: f64 = 1.4826;

/// What is known of a channel at a sample.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Channel {
    /// Nothing was heard yet.
    #[default]
    Silent,
    /// The sample was used.
    Good,
    /// The sample was missing or a spike; the median of late stands in.
    Bridged,
    /// No sample for too long.
    Lost,
    /// One and the same count for too long.
    Stuck,
    /// At the end of the converter's range.
    Saturated,
    /// Its zero wanders: it alone changed while nothing moved.
    Drifting,
}

impl Channel {
    /// Whether the channel gives a force.
    #[must_use]
    pub const fn gives(self) -> bool {
        matches!(self, Self::Good | Self::Bridged)
    }

    /// Whether the channel has failed.
    #[must_use]
    pub const fn is_bad(self) -> bool {
        matches!(self, Self::Lost | Self::Stuck | Self::Saturated | Self::Drifting)
    }
}

/// State of one channel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChannelState {
    history: [f64; HISTORY],
    filled: usize,
    last_good_s: f64,
    last_counts: f64,
    same_since_s: f64,
    same_samples: u32,
    samples: u32,
    changes: u32,
    at_end: u32,
}

impl ChannelState {
    /// A channel that has not been heard.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            history: [0.0; HISTORY],
            filled: 0,
            last_good_s: f64::NEG_INFINITY,
            last_counts: f64::NAN,
            same_since_s: 0.0,
            same_samples: 0,
            samples: 0,
            changes: 0,
            at_end: 0,
        }
    }

    /// Takes a sample at `t_s` and gives the counts to use, which are meaningful where the state gives.
    pub fn push(&mut self, t_s: f64, counts: Option<f64>, cell: &CellConfig, limits: &ChannelLimits) -> (Channel, f64) {
        let Some(counts) = counts.filter(|counts| counts.is_finite()) else {
            return self.bridge(t_s, limits);
        };
        self.note_repeat(t_s, counts);
        if counts <= cell.counts_min || counts >= cell.counts_max || counts.abs() > MOST_COUNTS {
            self.at_end = self.at_end.saturating_add(1);
            // One sample at the end may be a spike; two in a row are the converter.
            return if self.at_end >= 2 { (Channel::Saturated, self.median()) } else { self.bridge(t_s, limits) };
        }
        self.at_end = 0;
        if self.is_stuck(t_s, cell, limits) {
            return (Channel::Stuck, counts);
        }
        let spike = self.is_spike(counts, cell, limits);
        self.remember(counts);
        self.last_good_s = t_s;
        if spike { (Channel::Bridged, self.median()) } else { (Channel::Good, counts) }
    }

    /// Lets a pause of the whole recording pass, which is no channel's fault.
    pub fn pause(&mut self, s: f64) {
        self.last_good_s += s;
        self.same_since_s += s;
    }

    fn bridge(&mut self, t_s: f64, limits: &ChannelLimits) -> (Channel, f64) {
        if self.last_good_s == f64::NEG_INFINITY {
            self.last_good_s = t_s;
        }
        if t_s - self.last_good_s > limits.lost_after_s {
            (Channel::Lost, self.median())
        } else if self.filled == 0 {
            (Channel::Silent, 0.0)
        } else {
            (Channel::Bridged, self.median())
        }
    }

    const fn note_repeat(&mut self, t_s: f64, counts: f64) {
        if counts.to_bits() == self.last_counts.to_bits() {
            self.same_samples = self.same_samples.saturating_add(1);
        } else {
            // A run of repeats counts as one sample, so that a stuck channel keeps its earlier liveliness.
            self.samples = self.samples.saturating_add(1);
            self.changes = if self.same_samples < 2 { self.changes.saturating_add(1) } else { self.changes };
            self.last_counts = counts;
            self.same_since_s = t_s;
            self.same_samples = 0;
        }
    }

    /// Repeats tell only where the channel's noise shows in counts: by its configuration or its own past.
    fn is_stuck(&self, t_s: f64, cell: &CellConfig, limits: &ChannelLimits) -> bool {
        let lively = cell.noise_counts >= 0.5 || (self.samples >= KNOWN_SAMPLES && self.changes >= self.samples / 2);
        lively && self.same_samples >= STUCK_SAMPLES && t_s - self.same_since_s >= limits.stuck_after_s
    }

    fn is_spike(&self, counts: f64, cell: &CellConfig, limits: &ChannelLimits) -> bool {
        if self.filled < HISTORY {
            return false;
        }
        let [kg_per_count, floor] = [cell.kg_per_count.abs(), limits.spike_floor_kg];
        let past_floor = |from: f64| (counts - from).abs() * kg_per_count > floor;
        // With three of five within the floor their median is, too: nearly every sample ends here.
        if self.history.iter().filter(|past| past_floor(**past)).count() < 3 {
            return false;
        }
        let median = self.median();
        let deviation = median_of_five(self.history.map(|past| (past - median).abs()));
        past_floor(median) && (counts - median).abs() > limits.spike_sigmas * MAD_TO_SD * deviation
    }

    fn remember(&mut self, counts: f64) {
        let [_, a, b, c, d] = self.history;
        self.history = if self.filled == 0 { [counts; HISTORY] } else { [a, b, c, d, counts] };
        self.filled = (self.filled + 1).min(HISTORY);
    }

    fn median(&self) -> f64 {
        median_of_five(self.history)
    }
}

impl Default for ChannelState {
    fn default() -> Self {
        Self::new()
    }
}

/// Median of five by seven comparisons, without branches that depend on more than the values.
fn median_of_five([a, b, c, d, e]: [f64; HISTORY]) -> f64 {
    let (a, b) = (a.min(b), a.max(b));
    let (c, d) = (c.min(d), c.max(d));
    // The smallest and the largest of the four cannot be the median of five.
    let (low, high) = (a.max(c), b.min(d));
    median_of_three(low, high, e)
}

const fn median_of_three(a: f64, b: f64, c: f64) -> f64 {
    a.min(b).max(a.max(b).min(c))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::Limits;

    const CELL: CellConfig = CellConfig {
        counts_min: -8e6,
        counts_max: 8e6,
        noise_counts: 20.0,
        ..CellConfig::straight(0, [0.0; 2], 0.0, 2e-5, 50.0)
    };

    /// Feeds counts at ten a second and gives the last answer.
    fn feed(state: &mut ChannelState, from: u32, counts: impl Iterator<Item = Option<f64>>) -> (Channel, f64) {
        let limits = Limits::default().channel;
        (from..).zip(counts).fold((Channel::Silent, 0.0), |_, (i, c)| state.push(0.1 * f64::from(i), c, &CELL, &limits))
    }

    fn lively(n: u32) -> impl Iterator<Item = Option<f64>> {
        (0..n).map(|i| Some(500_000.0 + f64::from(i * 37 % 41)))
    }

    #[test]
    fn a_single_spike_is_replaced_and_a_step_passes_at_the_third_sample() {
        let mut state = ChannelState::new();
        feed(&mut state, 0, lively(30));
        let (channel, used) = feed(&mut state, 30, [Some(900_000.0)].into_iter());
        assert_eq!(channel, Channel::Bridged);
        assert!((used - 500_020.0).abs() < 25.0, "{used}");
        assert_eq!(feed(&mut state, 31, lively(1)).0, Channel::Good);
        let mut state = ChannelState::new();
        feed(&mut state, 0, lively(30));
        let used = feed(&mut state, 30, [Some(600_000.0); 3].into_iter()).1;
        assert!((used - 600_000.0).abs() < 1e-9);
    }

    #[test]
    fn no_samples_are_bridged_for_two_seconds_and_then_lost() {
        let mut state = ChannelState::new();
        feed(&mut state, 0, lively(30));
        assert_eq!(feed(&mut state, 30, [None; 19].into_iter()).0, Channel::Bridged);
        assert_eq!(feed(&mut state, 49, [None, Some(f64::NAN)].into_iter()).0, Channel::Lost);
        assert_eq!(feed(&mut state, 51, lively(1)).0, Channel::Good);
        assert_eq!(feed(&mut ChannelState::new(), 0, [None; 10].into_iter()).0, Channel::Silent);
        assert_eq!(feed(&mut ChannelState::new(), 0, [None; 30].into_iter()).0, Channel::Lost);
    }

    #[test]
    fn one_count_for_ten_seconds_is_stuck_where_noise_must_show() {
        let mut state = ChannelState::new();
        feed(&mut state, 0, lively(30));
        assert_eq!(feed(&mut state, 30, [Some(500_041.0); 100].into_iter()).0, Channel::Good);
        assert_eq!(feed(&mut state, 130, [Some(500_041.0); 2].into_iter()).0, Channel::Stuck);
        assert_eq!(feed(&mut state, 132, lively(1)).0, Channel::Good);
        // A quiet converter repeats itself by right.
        let quiet = CellConfig { noise_counts: 0.0, ..CELL };
        let (mut state, limits) = (ChannelState::new(), Limits::default().channel);
        let last =
            (0..300_u32).map(|i| state.push(0.1 * f64::from(i), Some(f64::from(i / 25)), &quiet, &limits).0).last();
        assert_eq!(last, Some(Channel::Good));
    }

    #[test]
    fn two_samples_at_the_end_of_the_range_are_saturation_and_one_is_not() {
        let mut state = ChannelState::new();
        feed(&mut state, 0, lively(30));
        assert_eq!(feed(&mut state, 30, [Some(8e6)].into_iter()).0, Channel::Bridged);
        assert_eq!(feed(&mut state, 31, [Some(8e6)].into_iter()).0, Channel::Saturated);
        assert_eq!(feed(&mut state, 32, lively(1)).0, Channel::Good);
    }

    #[test]
    fn the_median_of_five_is_the_third_in_order() {
        // All orders of five numbers, two of them equal.
        let mut order = [1.0, 2.0, 2.0, 4.0, 9.0];
        for i in 0..120_usize {
            order.swap(i % 4, i % 4 + 1);
            order.swap(i % 3, i % 5);
            assert!((median_of_five(order) - 2.0).abs() < 1e-12, "{order:?}");
        }
    }
}
