//! Over which time an entry's fluid ran.
//!
//! Entries of one route that come at a steady pace (hourly infusion, hourly urine) ran since the entry
//! before; a lone entry (a drink, a bolus) ran within the half hour before its stamp. What an entry
//! deviates from its neighbours in rate may have run at another time: a steady flow has no timing error,
//! but for stamps that wander about the pace, which move its rate from one window into the next.

use formats::chart::{Direction, Entry, Route};

use super::digits::digit_step_ml;

/// A lone entry ran within this time before its stamp, h. Common practice, no source.
const LONE_H: f64 = 0.5;
/// Entries further apart than this are lone ones, h: a nursing shift is 8.
const PACE_MAX_H: f64 = 8.0;

/// The window of one entry.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Window {
    /// Start, h.
    pub(super) start_h: f64,
    /// End, h: the stamp.
    pub(super) end_h: f64,
    /// Time since the entry before on the same route, h.
    pub(super) since_last_h: Option<f64>,
    /// Largest deviation of its volume from what its neighbours' rates would give, mL.
    pub(super) deviation_ml: f64,
    /// What wandering stamps move into or out of it, mL (standard deviation).
    pub(super) jitter_ml: f64,
}

/// Windows of a sorted chart.
#[derive(Debug, Clone)]
pub(super) struct Windows {
    windows: Vec<Window>,
    digit_steps_ml: Vec<f64>,
}

impl Windows {
    /// Windows for a chart in order of time.
    pub(super) fn new(entries: &[Entry], stamps_h: &[f64]) -> Self {
        let blank = Window { start_h: 0.0, end_h: 0.0, since_last_h: None, deviation_ml: 0.0, jitter_ml: 0.0 };
        let mut out = Self { windows: vec![blank; entries.len()], digit_steps_ml: vec![1.0; entries.len()] };
        for direction in [Direction::Intake, Direction::Output] {
            for route in ROUTES {
                let members: Vec<usize> = (0..entries.len())
                    .filter(|&i| entries[i].direction == direction && entries[i].route == route)
                    .collect();
                out.fill(&members, entries, stamps_h);
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

    fn fill(&mut self, members: &[usize], entries: &[Entry], stamps_h: &[f64]) {
        let volumes: Vec<f64> = members.iter().map(|&i| entries[i].volume_ml).collect();
        let step_ml = digit_step_ml(&volumes);
        let pace = Pace::of(&members.iter().map(|&i| stamps_h[i]).collect::<Vec<_>>());
        let pace_h = pace.map(|pace| pace.h);
        let jitter_h = pace.map_or(0.0, |pace| pace.jitter_h);
        // The latest entry at least half a pace earlier starts the window: a bolus between two hourly
        // entries must not cut the later one short.
        let mut first_near = 0;
        for (k, &idx) in members.iter().enumerate() {
            let stamp = stamps_h[idx];
            let least = pace_h.map_or(1e-9, |pace| 0.5 * pace);
            while first_near < k && stamps_h[members[first_near]] <= stamp - least {
                first_near += 1;
            }
            let since_last_h = first_near.checked_sub(1).map(|p| stamp - stamps_h[members[p]]);
            let length_h = match (pace_h, since_last_h) {
                (Some(pace), Some(since)) if since <= 1.5 * pace => since,
                (Some(pace), _) => pace,
                (None, since) => since.unwrap_or(LONE_H).min(LONE_H),
            };
            let jitter_ml = entries[idx].volume_ml * (jitter_h / length_h).min(1.0);
            self.windows[idx] =
                Window { start_h: stamp - length_h, end_h: stamp, since_last_h, deviation_ml: 0.0, jitter_ml };
            self.digit_steps_ml[idx] = step_ml;
        }
        self.deviations(members, entries, pace_h.is_some());
    }

    fn deviations(&mut self, members: &[usize], entries: &[Entry], paced: bool) {
        for (k, &idx) in members.iter().enumerate() {
            let volume = entries[idx].volume_ml;
            let length = self.windows[idx].end_h - self.windows[idx].start_h;
            let from = |&neighbour: &usize| {
                let window = self.windows[neighbour];
                (volume - entries[neighbour].volume_ml * length / (window.end_h - window.start_h)).abs()
            };
            let before = k.checked_sub(1).map(|p| from(&members[p]));
            let after = members.get(k + 1).map(from);
            self.windows[idx].deviation_ml = match (paced, before, after) {
                (true, Some(a), Some(b)) => a.max(b).min(volume.max(a.min(b))),
                (true, Some(a), None) | (true, None, Some(a)) => a,
                _ => volume,
            };
        }
    }
}

const ROUTES: [Route; 10] = [
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

/// The pace of a route.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Pace {
    /// Median gap between distinct stamps, h.
    h: f64,
    /// How far a stamp wanders about it, h (standard deviation).
    jitter_h: f64,
}

impl Pace {
    /// A pace needs three gaps, and half of the gaps within a quarter of their median.
    fn of(stamps_h: &[f64]) -> Option<Self> {
        let mut gaps: Vec<f64> = stamps_h.windows(2).map(|pair| pair[1] - pair[0]).filter(|gap| *gap > 1e-6).collect();
        if gaps.len() < 3 {
            return None;
        }
        gaps.sort_by(f64::total_cmp);
        let median = gaps[gaps.len() / 2];
        let mut off: Vec<f64> = gaps.iter().map(|gap| (gap - median).abs()).collect();
        off.sort_by(f64::total_cmp);
        let n_near = off.partition_point(|off| *off <= 0.25 * median);
        // A gap holds two stamps' errors; 1.4826 takes a median deviation to a standard deviation.
        let jitter_h = 1.4826 * off[off.len() / 2] / std::f64::consts::SQRT_2;
        (median <= PACE_MAX_H && 2 * n_near >= gaps.len()).then_some(Self { h: median, jitter_h })
    }
}
