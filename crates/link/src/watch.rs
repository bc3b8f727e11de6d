//! What was lost on the way, and how a deck's clock runs against ours.
//!
//! **Sequence.** A number one above the last is the next sample; one further on leaves a gap of known length. One that is
//! not above it is an old sample, passed over, where its time fits between those of its neighbours; otherwise, and where
//! the deck's clock ran back, the deck started anew. A deck that starts anew soon after a start gives the same numbers at the
//! same times again: one of a number and time that were taken, with **other contents**, is of a new start too. Converters' noise
//! makes contents differ; those of samples from before a restart of the service are not known, and taken for the same. A broker may
//! bring samples of before a restart of the deck again after it: they are remembered beside those of the new start.
//!
//! A deck that starts anew while its link is away, and is away until its number and time are above those of before, is told by its
//! clock: that began after the last sample was taken. (So does the clock of a deck whose sample behind a gap waited for longer than the deck
//! had run: one that had just been plugged in, and whose buffer dropped its oldest samples. It is taken for a new start too.)
//!
//! **Clock.** A sample that the deck took at t arrives at a = o + r·t + d: offset o, rate r, and a delay d ≥ 0 of the way,
//! which is now and then small. So the least of a − t over a span lies near its o, and the slope of these minima over
//! spans is r − 1. The time of a sample on our clock is then o + t, steady where arrival times are not.
//!
//! **Samples that waited.** What a broker or a deck held back for an hour comes an hour late, all of it: the least delay of its
//! spans is of the wait, not of the way, and must not move o. A clock of quartz does not run off by more than
//! `OFF_MOST`; so o rises no faster than that, unless the least delays of several full spans agree, as they do where our
//! own clock was put forward, and as they do not while what waited is being caught up with.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

/// Spans over which the least delay is taken, ms of the deck's clock.
const SPAN_MS: u64 = 60_000;
/// Spans that are remembered: two hours.
const SPANS: usize = 120;
/// Spans before a rate is told.
const SPANS_FOR_RATE: usize = 10;
/// Samples that are remembered, to know an old one by.
const REMEMBERED: usize = 1_000;
/// Of these, and of those of the starts before, how many outlive a restart: a broker brings those again that were not acknowledged.
const KEPT: usize = 64;
/// A clock runs off by at most this part: five times what a cheap quartz does (common practice, no source).
const OFF_MOST: f64 = 500e-6;
/// Full spans whose least delays agree within so many ms: then they are of the way, and our own clock was set.
const AGREED: usize = 3;
const AGREE_MS: i64 = 1_000;

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
    /// The last samples of this start of the deck, newest last.
    taken: VecDeque<Taken>,
    /// Those of the starts before, newest last.
    before: VecDeque<Taken>,
    tally: Tally,
    /// Oldest first.
    spans: VecDeque<Span>,
}

/// A sample that was taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Taken {
    sequence: u32,
    t_ms: u64,
    /// A digest of its contents; `None` for one from before a restart of the service.
    contents: Option<u64>,
}

/// A span of the deck's clock.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Span {
    /// The deck's time of the least delay, ms.
    at_ms: u64,
    /// The least of arrival − deck time that was seen, ms.
    least: i64,
    /// The offset, where it may not rise beyond: from the span before, and what a clock can run off since.
    most: i64,
}

impl Span {
    fn offset(&self) -> i64 {
        self.least.min(self.most)
    }
}

/// What a watch must remember through a restart of the service, so that a sample which waited meanwhile still has its time, and
/// one that comes again is known.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Kept {
    /// Number and time of the last samples, oldest first: those of the starts before, then those of the last one.
    taken: Vec<(u32, u64)>,
    /// Offset and the deck's time of it, ms.
    offset: Option<(u64, i64)>,
}

impl Watch {
    /// Takes a sample's number and time, a digest of its contents ([`Frame::contents`](crate::line::Frame::contents)), and when it
    /// arrived, ms of our clock.
    pub fn take(&mut self, sequence: u32, t_ms: u64, contents: u64, arrived_ms: i64) -> Came {
        let came = match self.place(sequence, t_ms, contents) {
            Came::AfterGap { .. } if self.began_since(t_ms, arrived_ms) => Came::Restarted,
            came => came,
        };
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
                self.spans.clear();
                self.before.append(&mut self.taken);
                self.before.drain(..self.before.len().saturating_sub(REMEMBERED));
            }
            Came::InOrder => {}
        }
        self.tally.samples += 1;
        if self.taken.len() == REMEMBERED {
            self.taken.pop_front();
        }
        self.taken.push_back(Taken { sequence, t_ms, contents: Some(contents) });
        self.take_delay(t_ms, arrived_ms);
        came
    }

    fn place(&self, sequence: u32, t_ms: u64, contents: u64) -> Came {
        let Some(last) = self.taken.back() else { return Came::InOrder };
        let on = sequence.wrapping_sub(last.sequence);
        // One that is the next in order is another's than its own only where its contents are known to be.
        let is_known = |s: &Taken| {
            (s.sequence, s.t_ms) == (sequence, t_ms) && s.contents.map_or(on != 1, |known| known == contents)
        };
        if self.before.iter().any(is_known) {
            return Came::Again;
        }
        if on == 0 || on > u32::MAX / 2 {
            let is_old = self.fits_an_old_place(sequence, t_ms, contents);
            return if is_old { Came::Again } else { Came::Restarted };
        }
        if t_ms < last.t_ms {
            return Came::Restarted;
        }
        if on == 1 { Came::InOrder } else { Came::AfterGap { lost: on - 1 } }
    }

    /// Whether a sample behind a gap is of a start after the last sample: then its clock began later than that was taken.
    fn began_since(&self, t_ms: u64, arrived_ms: i64) -> bool {
        let (Some(last), Ok(t_ms)) = (self.taken.back(), i64::try_from(t_ms)) else { return false };
        let taken_ms = self.on_our_clock_ms(last.t_ms);
        taken_ms.is_some_and(|taken_ms| arrived_ms.saturating_sub(t_ms) > taken_ms)
    }

    /// Whether an old number's time and contents are its own, or its time lies between those of the samples before and after it.
    fn fits_an_old_place(&self, sequence: u32, t_ms: u64, contents: u64) -> bool {
        let after = |taken: &&Taken| taken.sequence.wrapping_sub(sequence) <= u32::MAX / 2;
        let (next, before) = (self.taken.iter().find(after), self.taken.iter().rev().find(|s| !after(s)));
        match (before, next) {
            (_, Some(same)) if same.sequence == sequence => {
                same.t_ms == t_ms && same.contents.is_none_or(|known| known == contents)
            }
            (Some(before), Some(next)) => (before.t_ms..=next.t_ms).contains(&t_ms),
            _ => false,
        }
    }

    fn take_delay(&mut self, t_ms: u64, arrived_ms: i64) {
        let Ok(deck_ms) = i64::try_from(t_ms) else { return };
        let delay = arrived_ms.saturating_sub(deck_ms);
        match self.spans.back_mut() {
            Some(span) if t_ms / SPAN_MS == span.at_ms / SPAN_MS => {
                if delay < span.least {
                    (span.at_ms, span.least) = (t_ms, delay);
                }
            }
            _ => {
                if self.spans.len() == SPANS {
                    self.spans.pop_front();
                }
                let most = self.rises_to(t_ms);
                self.spans.push_back(Span { at_ms: t_ms, least: delay, most });
            }
        }
    }

    /// How high the offset may stand in a span that begins.
    #[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation, reason = "hours in milliseconds")]
    fn rises_to(&self, t_ms: u64) -> i64 {
        let Some(last) = self.spans.back() else { return i64::MAX };
        let recent = self.spans.iter().rev().take(AGREED).map(|span| span.least);
        let (least, most) = (recent.clone().min().unwrap_or(0), recent.clone().max().unwrap_or(0));
        let agree = recent.count() == AGREED && most.saturating_sub(least) <= AGREE_MS;
        let off_ms = (t_ms.saturating_sub(last.at_ms) as f64 * OFF_MOST).ceil();
        if agree { least } else { last.offset() }.saturating_add(off_ms as i64)
    }

    /// Our clock was set forward by so much, ms (back where it is less than nothing): where that is known, what came before is beside
    /// the new time at once, and nobody waits until spans agree. Where the deck's clock stood still or ran on otherwise meanwhile,
    /// the next sample that comes without delay says so.
    pub fn our_clock_was_set(&mut self, by_ms: i64) {
        for span in &mut self.spans {
            span.least = span.least.saturating_add(by_ms);
            span.most = span.most.saturating_add(by_ms);
        }
    }

    /// What must outlive a restart.
    #[must_use]
    pub fn kept(&self) -> Kept {
        let last = |samples: &VecDeque<Taken>| {
            let from = samples.len().saturating_sub(KEPT);
            samples.range(from..).map(|s| (s.sequence, s.t_ms)).collect::<Vec<_>>()
        };
        let offset = self.spans.back().and_then(|s| self.on_our_clock_ms(0).map(|o| (s.at_ms, o)));
        Kept { taken: [last(&self.before), last(&self.taken)].concat(), offset }
    }

    /// A watch that goes on from what was kept.
    #[must_use]
    pub fn resumed(kept: &Kept) -> Self {
        let span = kept.offset.map(|(at_ms, offset)| Span { at_ms, least: offset, most: offset });
        let from = kept.taken.len().saturating_sub(2 * KEPT);
        let kept = &kept.taken[from..];
        // A new start shows where number or time do not rise.
        let begins = |pair: &[(u32, u64)]| pair[1].0.wrapping_sub(pair[0].0) > u32::MAX / 2 || pair[1].1 < pair[0].1;
        let (before, last) = kept.split_at(kept.windows(2).rposition(begins).map_or(0, |place| place + 1));
        let taken = |&(sequence, t_ms): &(u32, u64)| Taken { sequence, t_ms, contents: None };
        Self {
            taken: last.iter().map(taken).collect(),
            before: before.iter().map(taken).collect(),
            spans: span.into_iter().collect(),
            tally: Tally::default(),
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
        let recent = self.spans.iter().rev().take(2).map(Span::offset).min()?;
        i64::try_from(t_ms).ok().map(|t| t.saturating_add(recent))
    }

    /// By how much the deck's clock is slow against ours, parts per million, once there are spans enough: a least-squares
    /// line through the least delays.
    #[must_use]
    #[allow(clippy::cast_precision_loss, reason = "hours in milliseconds")]
    pub fn slow_ppm(&self) -> Option<f64> {
        if self.spans.len() < SPANS_FOR_RATE {
            return None;
        }
        let n = self.spans.len() as f64;
        let first = *self.spans.front()?;
        let points: Vec<(f64, f64)> = self
            .spans
            .iter()
            .map(|s| (s.at_ms.saturating_sub(first.at_ms) as f64, s.offset().saturating_sub(first.offset()) as f64))
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

    /// Contents of a sample, where they do not matter.
    const SAME: u64 = 0;

    fn take(watch: &mut Watch, sequence: u32, t_ms: u64) -> Came {
        watch.take(sequence, t_ms, SAME, 0)
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
    fn a_restart_soon_after_a_start_is_none_to_be_passed_over_though_its_numbers_and_times_are_those_of_before() {
        // A controller whose time is exactly its number, in tenths of a second, and which starts anew after forty.
        let mut watch = Watch::default();
        let sample = |watch: &mut Watch, start: u64, n: u32| {
            let contents = 1_000 * start + u64::from(n);
            let on_way_ms = 1_000_000 * i64::try_from(start).unwrap() + 100 * i64::from(n);
            watch.take(n, 100 * u64::from(n), contents, on_way_ms)
        };
        for start in 0..4 {
            for n in 0..40 {
                let came = if start > 0 && n == 0 { Came::Restarted } else { Came::InOrder };
                assert_eq!(sample(&mut watch, start, n), came, "{n} of start {start}");
            }
            // What a broker brings again is known all the same.
            assert_eq!(sample(&mut watch, start, 30), Came::Again);
        }
        assert_eq!(watch.on_our_clock_ms(0), Some(3_000_000), "the time of the last start");
        assert_eq!((watch.tally().samples, watch.tally().restarts), (160, 3));
    }

    #[test]
    fn what_is_brought_again_of_before_a_restart_makes_nobody_deaf_to_the_new_start() {
        let sample = |watch: &mut Watch, start: u64, n: u32| {
            let t_ms = 100 * u64::from(n);
            watch.take(n, t_ms, start << 32 | u64::from(n), 10_000_000 * i64::try_from(start).unwrap() + i64::from(n))
        };
        // With a restart of the service too, before the broker brings it all again: what the samples held is not known then.
        for is_resumed in [false, true] {
            let mut watch = Watch::default();
            for n in 50_000..50_010 {
                assert_eq!(sample(&mut watch, 0, n), Came::InOrder);
            }
            for n in 0..40 {
                let came = if n == 0 { Came::Restarted } else { Came::InOrder };
                assert_eq!(sample(&mut watch, 1, n), came, "{n}");
            }
            if is_resumed {
                watch = Watch::resumed(&watch.kept());
            }
            for (start, numbers) in [(0, 50_005..50_010), (1, 30..40), (0, 50_000..50_003)] {
                for n in numbers {
                    assert_eq!(sample(&mut watch, start, n), Came::Again, "{n}");
                }
            }
            for n in 40..200 {
                assert_eq!(sample(&mut watch, 1, n), Came::InOrder, "{n}");
            }
            assert_eq!(watch.tally().lost, 0);
        }
    }

    #[test]
    fn what_comes_in_order_after_two_restarts_is_taken_though_its_number_and_time_were_here_before() {
        let mut watch = Watch::default();
        for n in 0..40 {
            take(&mut watch, n, 100 * u64::from(n));
        }
        assert_eq!(take(&mut watch, 0, 7), Came::Restarted);
        // The service starts anew: of the start before only numbers and times are known.
        let mut watch = Watch::resumed(&watch.kept());
        assert_eq!(take(&mut watch, 1, 100), Came::InOrder);
        assert_eq!(take(&mut watch, 30, 3_000), Came::Again);
        assert_eq!(take(&mut watch, 2, 200), Came::InOrder);
    }

    #[test]
    fn a_deck_that_started_anew_while_its_link_was_away_has_its_new_time_at_once() {
        let mut watch = Watch::default();
        arrive(&mut watch, 0..3_000, |_| 5);
        // Five minutes; then it is off for ten, and is heard again only once its number and time are above those of before.
        let back = |watch: &mut Watch, n: u32| {
            let t_ms = 100 * u64::from(n);
            let arrived_ms = 1_000_000 + 900_000 + i64::try_from(t_ms).unwrap() + 5;
            let came = watch.take(n, t_ms, SAME, arrived_ms);
            (came, arrived_ms - watch.on_our_clock_ms(t_ms).unwrap())
        };
        assert_eq!(back(&mut watch, 30_000), (Came::Restarted, 0));
        assert_eq!(back(&mut watch, 30_001), (Came::InOrder, 0));
        assert_eq!((watch.tally().lost, watch.tally().gaps, watch.tally().restarts), (0, 0, 1));
    }

    #[test]
    fn a_gap_before_what_waited_for_an_hour_is_no_new_start_of_a_deck_that_had_run_for_longer() {
        let mut watch = Watch::default();
        arrive(&mut watch, 0..72_000, |_| 5);
        assert_eq!(watch.take(72_003, 7_200_300, SAME, 1_000_000 + 7_200_300 + 3_600_000), Came::AfterGap { lost: 3 });
        assert_eq!(offset_ms(&watch), 5);
        // Nor is one that comes late by a moment, soon after the start.
        let mut watch = Watch::default();
        arrive(&mut watch, 0..10, |_| 5);
        assert_eq!(watch.take(12, 1_200, SAME, 1_000_000 + 1_200 + 300), Came::AfterGap { lost: 2 });
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
            watch.take(sequence, t_ms, SAME, offset_ms + i64::try_from(t_ms).unwrap() + lag_ms + delay_ms);
        }
        // Two hours; the least delay of a minute's 600 arrivals is 3 to 5 ms: 1 ms over an hour is 0.3 ppm.
        let found = watch.slow_ppm().unwrap();
        assert!((found - 80.0).abs() < 1.0, "{found}");
        let now_ms = watch.on_our_clock_ms(t_ms).unwrap() - offset_ms - i64::try_from(t_ms).unwrap();
        // The lag of two hours is 576 ms; the offset is of this span or the one before: at most 10 ms older.
        assert!((565..=582).contains(&now_ms), "{now_ms}");
    }

    /// Samples at 10 Hz from `from` on that arrive `late_ms(t)` after they were taken.
    fn arrive(watch: &mut Watch, numbers: std::ops::Range<u32>, mut late_ms: impl FnMut(u64) -> i64) {
        for sequence in numbers {
            let t_ms = u64::from(sequence) * 100;
            watch.take(sequence, t_ms, SAME, 1_000_000 + i64::try_from(t_ms).unwrap() + late_ms(t_ms));
        }
    }

    fn offset_ms(watch: &Watch) -> i64 {
        watch.on_our_clock_ms(0).unwrap() - 1_000_000
    }

    #[test]
    fn samples_that_waited_for_an_hour_keep_the_time_at_which_they_were_taken() {
        let mut watch = Watch::default();
        arrive(&mut watch, 0..6_000, |_| 5);
        // From 600 s to 4200 s nothing comes; then all of it, twenty times as fast as it was taken.
        let (back_ms, fast) = (4_200_000_i64, 20);
        for sequence in 6_000..43_000 {
            let t_ms = u64::from(sequence) * 100;
            let taken_ms = i64::try_from(t_ms).unwrap();
            let came_ms = (back_ms + (taken_ms - 600_000) / fast).max(taken_ms) + 5;
            watch.take(sequence, t_ms, SAME, 1_000_000 + came_ms);
            // 500 ppm of an hour are 1.8 s.
            assert!((0..=1_900).contains(&offset_ms(&watch)), "{} at {t_ms}", offset_ms(&watch));
        }
        arrive(&mut watch, 43_000..45_000, |_| 5);
        assert_eq!(offset_ms(&watch), 5, "once caught up, the way's own delay is found again");
    }

    #[test]
    fn what_was_kept_gives_samples_that_waited_through_a_restart_their_time() {
        let mut before = Watch::default();
        arrive(&mut before, 0..6_000, |_| 5);
        let mut after = Watch::resumed(&before.kept());
        assert_eq!(after.take(5_990, 599_000, SAME, 1_900_000), Came::Again);
        assert_eq!(after.take(5_937, 593_700, SAME, 1_900_000), Came::Again);
        assert_eq!(after.take(6_000, 600_000, SAME, 1_900_000), Came::InOrder);
        assert_eq!(after.on_our_clock_ms(600_000), Some(1_600_005));
        assert_eq!(after.take(3, 300, SAME, 1_900_100), Came::Restarted);
        assert_eq!(after.on_our_clock_ms(300), Some(1_900_100));
    }

    #[test]
    fn a_clock_of_ours_that_was_put_forward_is_followed_after_some_minutes() {
        let mut watch = Watch::default();
        arrive(&mut watch, 0..6_000, |_| 5);
        arrive(&mut watch, 6_000..9_000, |_| 7_200_005);
        assert_eq!(offset_ms(&watch), 7_200_005);
        // And one that was put back at once.
        arrive(&mut watch, 9_000..9_001, |_| -3_000);
        assert_eq!(offset_ms(&watch), -3_000);
    }

    #[test]
    fn a_clock_of_ours_that_is_known_to_be_set_is_followed_at_once_and_what_waited_keeps_its_time() {
        let mut watch = Watch::default();
        arrive(&mut watch, 0..6_000, |_| 5);
        watch.our_clock_was_set(7_200_000);
        // Those of the last minute waited at a broker; then it goes on.
        arrive(&mut watch, 6_000..6_600, |_| 7_260_005);
        // 500 ppm of a minute are 30 ms.
        assert!((7_200_005..=7_200_035).contains(&offset_ms(&watch)), "{}", offset_ms(&watch));
        arrive(&mut watch, 6_600..6_700, |_| 7_200_005);
        assert_eq!(offset_ms(&watch), 7_200_005);
        watch.our_clock_was_set(-7_200_000);
        assert_eq!(offset_ms(&watch), 5);
    }

    proptest::proptest! {
        #![proptest_config(proptest::test_runner::Config { rng_seed: proptest::test_runner::RngSeed::Fixed(30), ..proptest::test_runner::Config::default() })]

        /// What is kept lies in a table that others may write.
        #[test]
        fn whatever_was_kept_a_watch_goes_on(
            taken in proptest::collection::vec(proptest::prelude::any::<(u32, u64)>(), 0..400),
            offset in proptest::prelude::any::<Option<(u64, i64)>>(),
            came in proptest::collection::vec(proptest::prelude::any::<(u32, u64, i64)>(), 1..50),
        ) {
            let mut watch = Watch::resumed(&Kept { taken, offset });
            for (sequence, t_ms, arrived_ms) in came {
                watch.take(sequence, t_ms, SAME, arrived_ms);
                let _ = (watch.on_our_clock_ms(t_ms), watch.slow_ppm(), watch.kept());
                proptest::prop_assert!(watch.taken.len() <= REMEMBERED && watch.before.len() <= REMEMBERED);
            }
        }
    }

    #[test]
    fn absurd_times_do_no_harm() {
        let mut watch = Watch::default();
        for (t_ms, arrived_ms) in [(u64::MAX, i64::MIN), (0, i64::MAX), (u64::MAX / 2, i64::MIN), (1, 0)] {
            watch.take(1, t_ms, SAME, arrived_ms);
            let _ = (watch.on_our_clock_ms(t_ms), watch.slow_ppm());
        }
    }
}
