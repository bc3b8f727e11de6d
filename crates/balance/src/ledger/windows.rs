//! Over which time an entry's fluid ran.
//!
//! Entries of one route are read in rounds: several pumps and bags within some minutes. Rounds that come at
//! a steady pace (hourly infusion, hourly urine) tell that each entry ran since the round before; a lone
//! entry (a drink, a bolus) ran within the half hour before its stamp. What an entry deviates in rate from
//! the most like entry of the rounds beside it may have run at another time: a steady flow has no timing
//! error, but for stamps that wander about the pace, which move its rate from one window into the next.

use formats::chart::{Direction, Entry, Route};
use stats::robust::MAD_TO_SD;

use super::digits::digit_step_ml;

/// A lone entry ran within this time before its stamp, h; a unit of blood over 1 to 4 h. Common practice,
/// no source.
const LONE_H: f64 = 0.5;
const LONE_BLOOD_H: f64 = 2.5;
/// A gap within this share of the pace keeps it.
const PACE_SHARE: f64 = 0.25;
/// Rounds further apart than this have no pace, h: a nursing shift is 8.
const PACE_MAX_H: f64 = 8.0;
/// An intake that differs by more than this share of itself from the rounds on both sides is a portion. Own choice.
const PORTION_SHARE: f64 = 0.6;
/// A stamp further than this share of the pace from where rounds are due stands between them.
const OFF_PACE: f64 = 0.2;
/// Entries closer than this belong to one round, h.
const ROUND_H: f64 = 0.3;

/// The window of one entry.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Window {
    /// Start, h.
    pub(super) start_h: f64,
    /// End, h: the stamp.
    pub(super) end_h: f64,
    /// Time since the round before on the same route, h.
    pub(super) since_last_h: Option<f64>,
    /// Largest deviation of its volume from what its likest neighbours' rates would give, mL.
    pub(super) deviation_ml: f64,
    /// What wandering stamps move into or out of it, mL (standard deviation).
    pub(super) jitter_ml: f64,
    /// Pace of its route, h, where it keeps it.
    pub(super) pace_h: Option<f64>,
}

/// Windows of a sorted chart.
#[derive(Debug, Clone)]
pub(super) struct Windows {
    windows: Vec<Window>,
    digit_steps_ml: Vec<f64>,
}

impl Windows {
    /// Windows for a chart in order of time.
    pub(super) fn new(entries: &[Entry], stamps_h: &[f64], meaning: Stamps) -> Self {
        let blank =
            Window { start_h: 0.0, end_h: 0.0, since_last_h: None, deviation_ml: 0.0, jitter_ml: 0.0, pace_h: None };
        let mut out = Self { windows: vec![blank; entries.len()], digit_steps_ml: vec![1.0; entries.len()] };
        for direction in [Direction::Intake, Direction::Output] {
            for route in ROUTES {
                let members: Vec<usize> = (0..entries.len())
                    .filter(|&i| entries[i].direction == direction && entries[i].route == route)
                    .collect();
                out.fill(&members, entries, stamps_h, meaning);
            }
        }
        out
    }

    /// Window of an entry.
    pub(super) fn of(&self, idx: usize) -> Window {
        self.windows[idx]
    }

    /// Rounding step of the entry's route, mL.
    pub(super) fn digit_step_ml(&self, idx: usize) -> f64 {
        self.digit_steps_ml[idx]
    }

    fn fill(&mut self, members: &[usize], entries: &[Entry], stamps_h: &[f64], meaning: Stamps) {
        let volumes: Vec<f64> = members.iter().map(|&i| entries[i].volume_ml).collect();
        let guessed = members.first().is_some_and(|&i| matches!(entries[i].route, Route::Oral | Route::Stool));
        let step_ml = digit_step_ml(&volumes, guessed);
        let rounds = rounds(members, stamps_h);
        // Stool into pads comes in lumps: three that happen to be evenly apart are no flow that runs on.
        let lumps = members.first().is_some_and(|&i| entries[i].route == Route::Stool && !entries[i].leaves_deck);
        let median_ml = median(&volumes);
        let stamps: Vec<f64> = rounds.iter().map(|round| round.t_h).collect();
        let pace = if lumps { None } else { Pace::of(&stamps) };
        let due = match meaning {
            Stamps::Due => pace.and_then(|pace| Due::of(&pace, members.iter().map(|&i| stamps_h[i]))),
            Stamps::Read => None,
        };
        for (k, round) in rounds.iter().enumerate() {
            // The latest round at least half a pace earlier starts the window: a bolus between two hourly
            // rounds must not cut the later one short.
            let least_h = pace.map_or(1e-9, |pace| 0.5 * pace.h);
            let before = rounds[..k].iter().rev().find(|other| round.t_h - other.t_h >= least_h);
            let after = rounds[k + 1..].iter().find(|other| other.t_h - round.t_h >= least_h);
            for &idx in &round.members {
                let stamp = stamps_h[idx];
                let since_last_h = before.map(|before| stamp - before.t_h);
                let lone_h = if entries[idx].route == Route::Blood { LONE_BLOOD_H } else { LONE_H };
                let volume = entries[idx].volume_ml;
                let apart = |other: Option<&Round>| other.map(|other| other.apart_ml(volume, entries));
                // A bolus among hourly pumps is like none of the rounds beside it, or large and written between the rounds:
                // a portion of its own.
                let unlike = [apart(before), apart(after)].into_iter().flatten().all(|ml| ml > PORTION_SHARE * volume);
                let between =
                    volume > 2.0 * median_ml && pace.is_some_and(|pace| pace.off_h(stamp) > OFF_PACE * pace.h);
                let portion = pace.is_some() && entries[idx].direction == Direction::Intake && (unlike || between);
                let pace = pace.filter(|_| !portion);
                let length_h = match (pace, since_last_h) {
                    (Some(pace), Some(since)) if since <= 1.5 * pace.h => since,
                    (Some(pace), _) => pace.h,
                    (None, since) if !portion => since.unwrap_or(lone_h).clamp(0.5 * lone_h, lone_h),
                    // Late by some minutes, too: a bolus of half an hour may have begun well before its half hour.
                    (None, _) => 1.5 * lone_h,
                };
                let keeps_pace =
                    |pace: &Pace| since_last_h.is_none_or(|since| (since / pace.h - 1.0).abs() <= PACE_SHARE);
                let pace = pace.filter(keeps_pace);
                let jitter_h = pace.map_or(0.0, |pace| pace.jitter_h);
                let deviation_ml = match (pace, apart(before), apart(after)) {
                    (Some(_), Some(a), Some(b)) => a.max(b),
                    (Some(_), Some(a), None) | (Some(_), None, Some(a)) => a,
                    _ => volume,
                };
                let (end_h, length_h, jitter_h) = match due.filter(|_| !portion).and_then(|due| due.before(stamp)) {
                    Some((due_h, pace_h)) => (due_h, pace_h, MINUTE_H),
                    None => (stamp, length_h, jitter_h),
                };
                self.windows[idx] = Window {
                    start_h: end_h - length_h,
                    end_h,
                    since_last_h,
                    deviation_ml,
                    jitter_ml: volume * (jitter_h / length_h).min(1.0),
                    pace_h: pace.map(|pace| pace.h),
                };
                self.digit_steps_ml[idx] = step_ml;
            }
        }
    }
}

/// Every route.
pub(super) const ROUTES: [Route; 10] = [
    Route::Iv,
    Route::Oral,
    Route::Enteral,
    Route::Blood,
    Route::Urine,
    Route::Drain,
    Route::Stool,
    Route::Gastric,
    Route::Ultrafiltrate,
    Route::Other,
];

/// Entries read together.
struct Round {
    /// Mean stamp, h.
    t_h: f64,
    members: Vec<usize>,
}

impl Round {
    /// How far a volume lies from the nearest one of this round, mL.
    fn apart_ml(&self, volume_ml: f64, entries: &[Entry]) -> f64 {
        self.members.iter().map(|&i| (entries[i].volume_ml - volume_ml).abs()).fold(f64::INFINITY, f64::min)
    }
}

fn rounds(members: &[usize], stamps_h: &[f64]) -> Vec<Round> {
    let mut out: Vec<Round> = Vec::new();
    let mut first_h = f64::NEG_INFINITY;
    for &idx in members {
        let stamp = stamps_h[idx];
        match out.last_mut().filter(|_| stamp - first_h < ROUND_H) {
            Some(round) => {
                let n = round.members.len() as f64;
                round.t_h = (n * round.t_h + stamp) / (n + 1.0);
                round.members.push(idx);
            }
            None => {
                first_h = stamp;
                out.push(Round { t_h: stamp, members: vec![idx] });
            }
        }
    }
    out
}

/// What the stamps of a route that keeps a pace say.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stamps {
    /// When the volume was read: it ran up to the stamp.
    Read,
    /// When the volume was written down that was due at the round before: it ran up to that.
    Due,
}

/// Paces that rounds are held at, h.
const CLOCK_H: [f64; 8] = [0.25, 0.5, 1.0, 2.0, 3.0, 4.0, 6.0, 8.0];
/// A pace within this share of one of the clock's is that one.
const CLOCK_SHARE: f64 = 0.05;
/// What a stamp to the minute leaves open, h.
const MINUTE_H: f64 = 1.0 / 60.0;

/// When rounds are due: at the clock's pace, from the phase just after which most stamps stand.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Due {
    pace_h: f64,
    phase_h: f64,
}

impl Due {
    fn of(pace: &Pace, stamps_h: impl Iterator<Item = f64>) -> Option<Self> {
        let pace_h = CLOCK_H.into_iter().find(|h| (pace.h / h - 1.0).abs() <= CLOCK_SHARE)?;
        let phases: Vec<f64> = stamps_h.map(|stamp| stamp.rem_euclid(pace_h)).collect();
        let sorted = sorted(&phases);
        let n_after = |phase: f64| n_on_circle(&sorted, (phase, phase + OFF_PACE * pace_h), pace_h);
        let phase_h = phases.iter().copied().max_by_key(|phase| n_after(*phase))?;
        Some(Self { pace_h, phase_h })
    }

    /// The round that a stamp was due at, and the pace, h; `None` for a stamp between rounds.
    fn before(&self, stamp_h: f64) -> Option<(f64, f64)> {
        // A hair more than the phase itself, which rounding must not put a whole pace late.
        let late_h = (stamp_h - self.phase_h + 1e-6).rem_euclid(self.pace_h);
        (late_h <= OFF_PACE * self.pace_h + 1e-6).then_some((stamp_h - late_h, self.pace_h))
    }
}

/// The pace of a route.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Pace {
    /// Median gap between rounds, h.
    h: f64,
    /// How far a round wanders about it, h (standard deviation).
    jitter_h: f64,
    /// Where in the pace most rounds stand, h.
    phase_h: f64,
}

fn median(values: &[f64]) -> f64 {
    sorted(values).get(values.len() / 2).copied().unwrap_or(0.0)
}

fn sorted(values: &[f64]) -> Vec<f64> {
    let mut out = values.to_vec();
    out.sort_by(f64::total_cmp);
    out
}

impl Pace {
    /// A pace needs three gaps, and half of the gaps within a quarter of their median.
    fn of(rounds_h: &[f64]) -> Option<Self> {
        let mut gaps: Vec<f64> = rounds_h.windows(2).map(|pair| pair[1] - pair[0]).collect();
        if gaps.len() < 3 {
            return None;
        }
        gaps.sort_by(f64::total_cmp);
        let median = gaps[gaps.len() / 2];
        let mut off: Vec<f64> = gaps.iter().map(|gap| (gap - median).abs()).collect();
        off.sort_by(f64::total_cmp);
        let n_near = off.partition_point(|off| *off <= PACE_SHARE * median);
        // A gap holds two rounds' errors.
        let phases: Vec<f64> = rounds_h.iter().map(|t| t.rem_euclid(median)).collect();
        let phase_h = fullest(&phases, median);
        let jitter_h = MAD_TO_SD * off[off.len() / 2] / std::f64::consts::SQRT_2;
        (median <= PACE_MAX_H && 2 * n_near >= gaps.len()).then_some(Self { h: median, jitter_h, phase_h })
    }

    /// How far a stamp lies from the nearest time at which a round is due, h.
    fn off_h(&self, stamp_h: f64) -> f64 {
        around(stamp_h.rem_euclid(self.h) - self.phase_h, self.h)
    }
}

/// Distance on a circle of length `h`.
fn around(difference_h: f64, h: f64) -> f64 {
    let d = difference_h.rem_euclid(h);
    d.min(h - d)
}

/// The phase with most others within [`OFF_PACE`] of the pace.
fn fullest(phases: &[f64], pace_h: f64) -> f64 {
    let (sorted, reach_h) = (sorted(phases), OFF_PACE * pace_h);
    let n_near = |phase: f64| n_on_circle(&sorted, (phase - reach_h, phase + reach_h), pace_h);
    phases.iter().copied().max_by_key(|phase| n_near(*phase)).unwrap_or(0.0)
}

/// How many of the phases, which ascend within `0..h`, lie on the arc of a circle of length `h` from `low` to `high`, which
/// reaches less than once around.
fn n_on_circle(phases: &[f64], (low, high): (f64, f64), h: f64) -> usize {
    let between = |low: f64, high: f64| {
        phases.partition_point(|phase| *phase <= high).saturating_sub(phases.partition_point(|phase| *phase < low))
    };
    if low < 0.0 {
        between(0.0, high) + between(low + h, h)
    } else if high >= h {
        between(low, h) + between(0.0, high - h)
    } else {
        between(low, high)
    }
}
