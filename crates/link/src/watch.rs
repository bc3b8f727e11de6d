//! What was lost on the way, and how a deck's clock runs against ours.
//!
//! **Sequence.** A number one above the last is the next sample; one further on leaves a gap of known length. One that is
//! not above it is an old sample, passed over, where its time fits between those of its neighbours; otherwise, and where
//! the deck's clock ran back, the deck started anew.
//!
//! **Clock.** A sample that the deck took at t arrives at a = o + r·t + d: offset o, rate r, and a delay d ≥ 0 of the way,
//! which is now and then small. So the least of a − t over a span lies near its o, and the slope of these minima over
//! spans is r − 1. The time of a sample on our clock is then o + t, steady where arrival times are not.

use std::collections::VecDeque;

/// Spans over which the least delay is taken, ms of the deck's clock.
const SPAN_MS: u64 = 60_000;
/// Spans that are remembered: two hours.
const SPANS: usize = 120;
/// Spans before a rate is told.
const SPANS_FOR_RATE: usize = 10;
/// Samples that are remembered, to know an old one by.
const REMEMBERED: usize = 1_000;

/// What a sample's number says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Came {
    /// The next one, or the first.
    InOrder,
    /// Samples are missing before it.
    AfterGap {
        /// How many.
        lost: u32,
    },
    /// It was here before, or comes too late; to be passed over.
    Again,
    /// The deck started anew: what was lost is not known.
    Restarted,
}

/// What a link was through.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Tally {
    /// Samples taken.
    pub samples: u64,
    /// Samples known to be lost.
    pub lost: u64,
    /// Gaps in which they were lost.
    pub gaps: u64,
    /// Samples that came again.
    pub again: u64,
    /// Starts of the deck after the first.
    pub restarts: u64,
}

/// Watches the samples of one deck.
#[derive(Debug, Clone, Default)]
pub struct Watch {
    /// Number and time of the last samples, newest last.
    taken: VecDeque<(u32, u64)>,
    tally: Tally,
    /// The least of arrival − deck time in a span, and the deck's time of that, ms; oldest first.
    least: VecDeque<(u64, i64)>,
}

impl Watch {
    /// Takes a sample's number and time, and when it arrived, ms of our clock.
    pub fn take(&mut self, sequence: u32, t_ms: u64, arrived_ms: i64) -> Came {
        let came = self.place(sequence, t_ms);
        match came {
            Came::Again => {
                self.tally.again += 1;
                return came;
            }
            Came::AfterGap { lost } => {
                self.tally.gaps += 1;
                self.tally.lost += u64::from(lost);
            }
            Came::Restarted => {
                self.tally.restarts += 1;
                self.least.clear();
                self.taken.clear();
            }
            Came::InOrder => {}
        }
        self.tally.samples += 1;
        if self.taken.len() == REMEMBERED {
            self.taken.pop_front();
        }
        self.taken.push_back((sequence, t_ms));
        self.take_delay(t_ms, arrived_ms);
        came
    }

    fn place(&self, sequence: u32, t_ms: u64) -> Came {
        let Some(&(last, last_ms)) = self.taken.back() else { return Came::InOrder };
        let on = sequence.wrapping_sub(last);
        if on == 0 || on > u32::MAX / 2 {
            return if self.fits_an_old_place(sequence, t_ms) { Came::Again } else { Came::Restarted };
        }
        if t_ms < last_ms {
            return Came::Restarted;
        }
        if on == 1 { Came::InOrder } else { Came::AfterGap { lost: on - 1 } }
    }

    /// Whether an old number's time is its own, or lies between those of the samples before and after it.
    fn fits_an_old_place(&self, sequence: u32, t_ms: u64) -> bool {
        let after = |(taken, _): &&(u32, u64)| taken.wrapping_sub(sequence) <= u32::MAX / 2;
        let (next, before) = (self.taken.iter().find(after), self.taken.iter().rev().find(|s| !after(s)));
        match (before, next) {
            (_, Some((taken, taken_ms))) if *taken == sequence => *taken_ms == t_ms,
            (Some((_, before_ms)), Some((_, next_ms))) => (*before_ms..=*next_ms).contains(&t_ms),
            _ => false,
        }
    }

    fn take_delay(&mut self, t_ms: u64, arrived_ms: i64) {
        let Ok(deck_ms) = i64::try_from(t_ms) else { return };
        let delay = arrived_ms.saturating_sub(deck_ms);
        match self.least.back_mut() {
            Some((from, least)) if t_ms / SPAN_MS == *from / SPAN_MS => {
                if delay < *least {
                    (*from, *least) = (t_ms, delay);
                }
            }
            _ => {
                if self.least.len() == SPANS {
                    self.least.pop_front();
                }
                self.least.push_back((t_ms, delay));
            }
        }
    }

    /// What the link was through.
    #[must_use]
    pub fn tally(&self) -> Tally {
        self.tally
    }

    /// The time of a deck's moment on our clock, ms: its own time and the offset of the last full span and this one.
    #[must_use]
    pub fn on_our_clock_ms(&self, t_ms: u64) -> Option<i64> {
        let recent = self.least.iter().rev().take(2).map(|(_, least)| *least).min()?;
        i64::try_from(t_ms).ok().map(|t| t.saturating_add(recent))
    }

    /// By how much the deck's clock is slow against ours, parts per million, once there are spans enough: a least-squares
    /// line through the least delays.
    #[must_use]
    #[allow(clippy::cast_precision_loss, reason = "hours in milliseconds")]
    pub fn slow_ppm(&self) -> Option<f64> {
        if self.least.len() < SPANS_FOR_RATE {
            return None;
        }
        let n = self.least.len() as f64;
        let (from, first) = *self.least.front()?;
        let points: Vec<(f64, f64)> = self
            .least
            .iter()
            .map(|(t, least)| (t.saturating_sub(from) as f64, least.saturating_sub(first) as f64))
            .collect();
        let (mean_x, mean_y) = points.iter().fold((0.0, 0.0), |(x, y), p| (x + p.0 / n, y + p.1 / n));
        let (sxx, sxy) = points
            .iter()
            .fold((0.0, 0.0), |(xx, xy), (x, y)| (xx + (x - mean_x).powi(2), xy + (x - mean_x) * (y - mean_y)));
        (sxx > 0.0).then(|| sxy / sxx * 1e6)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn take(watch: &mut Watch, sequence: u32, t_ms: u64) -> Came {
        watch.take(sequence, t_ms, 0)
    }

    #[test]
    fn numbers_tell_gaps_repeats_and_restarts() {
        let mut watch = Watch::default();
        assert_eq!(take(&mut watch, 7, 700), Came::InOrder);
        assert_eq!(take(&mut watch, 8, 800), Came::InOrder);
        assert_eq!(take(&mut watch, 8, 800), Came::Again);
        assert_eq!(take(&mut watch, 7, 700), Came::Again);
        assert_eq!(take(&mut watch, 12, 1_200), Came::AfterGap { lost: 3 });
        assert_eq!(take(&mut watch, 10, 1_000), Came::Again);
        assert_eq!(take(&mut watch, 0, 10), Came::Restarted);
        assert_eq!(take(&mut watch, 1, 110), Came::InOrder);
        let expected = Tally { samples: 5, lost: 3, gaps: 1, again: 3, restarts: 1 };
        assert_eq!(watch.tally(), expected);
    }

    #[test]
    fn the_last_number_is_followed_by_zero() {
        let mut watch = Watch::default();
        take(&mut watch, u32::MAX, 100);
        assert_eq!(take(&mut watch, 0, 200), Came::InOrder);
        assert_eq!(take(&mut watch, u32::MAX, 100), Came::Again);
    }

    #[test]
    fn a_restart_just_after_a_start_is_no_repeat() {
        // Ten samples, a power cut of a night, ten samples again: same numbers, and a clock that began anew.
        let mut watch = Watch::default();
        for i in 0..50 {
            take(&mut watch, i, 3_000_000 + u64::from(i) * 100);
        }
        assert_eq!(take(&mut watch, 0, 100), Came::Restarted);
    }

    #[test]
    fn offset_and_rate_come_out_of_jittered_arrivals() {
        let mut watch = Watch::default();
        let mut chance = 1_u64;
        let (offset_ms, slow) = (1_700_000_000_000_i64, 80e-6);
        let mut t_ms = 0;
        for sequence in 0..72_000 {
            t_ms = u64::from(sequence) * 100;
            chance = chance.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            let delay_ms = 3 + i64::try_from(chance >> 56).unwrap();
            #[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation)]
            let lag_ms = (t_ms as f64 * slow) as i64;
            watch.take(sequence, t_ms, offset_ms + i64::try_from(t_ms).unwrap() + lag_ms + delay_ms);
        }
        // Two hours; the least delay of a minute's 600 arrivals is 3 to 5 ms: 1 ms over an hour is 0.3 ppm.
        let found = watch.slow_ppm().unwrap();
        assert!((found - 80.0).abs() < 1.0, "{found}");
        let now_ms = watch.on_our_clock_ms(t_ms).unwrap() - offset_ms - i64::try_from(t_ms).unwrap();
        // The lag of two hours is 576 ms; the offset is of this span or the one before: at most 10 ms older.
        assert!((565..=582).contains(&now_ms), "{now_ms}");
    }

    #[test]
    fn absurd_times_do_no_harm() {
        let mut watch = Watch::default();
        for (t_ms, arrived_ms) in [(u64::MAX, i64::MIN), (0, i64::MAX), (u64::MAX / 2, i64::MIN), (1, 0)] {
            watch.take(1, t_ms, arrived_ms);
            let _ = (watch.on_our_clock_ms(t_ms), watch.slow_ppm());
        }
    }
}
