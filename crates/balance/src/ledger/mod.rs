//! The chart as flows: each entry with its mass, its uncertainty and the time over which it ran.
//!
//! An entry is a lump with one stamp, but the fluid ran before it: an infusion charted each hour ran
//! through that hour. So each entry becomes a flow of even rate over a window that ends at its stamp.
//!
//! | symbol | name          | unit |
//! |--------|---------------|------|
//! | V      | `volume_ml`   | mL, as charted |
//! | m      | `body_g`      | g, into the body positive |
//! | –      | `pool_g`      | g, onto pads and linen |
//! | u²(m)  | `var_g2`      | g², of the charted volume |
//! | –      | `timing_g2`   | g², what ran at another time than the window says |
//!
//! Signs: into the patient positive. Times are hours since the origin that the caller names.
//! Totals by stamp ([`Ledger::charted_ml`]) are plain sums, without windows and without density.

mod corrections;
mod digits;
mod steps;
mod windows;

pub(crate) use corrections::standing;
pub use digits::digit_step_ml;
pub(crate) use steps::distribute;

use formats::chart::{Direction, Entry, Route};
use jiff::Timestamp;
use serde::Serialize;

use crate::contradict::Contradiction;
use crate::error::BalanceError;
use crate::options::Densities;
pub use windows::Stamps;
use windows::{ROUTES, Windows};

/// Share of an entry's deviation from its neighbours that may have run at another time: the standard
/// deviation of an even spread over the whole window, 1/√12.
const TIMING_SHARE: f64 = 0.29;

/// Relative standard uncertainty that all entries of a pumped route share: most pumps run within ±2 % of
/// what they show (an even spread: 1.2 %; common practice, no source). No weight can tell it from a loss.
const PUMP_U: f64 = 0.012;
/// Relative standard uncertainty of a flow that is taken to run on: rates change, pumps stop. Own choice.
const RUN_ON_U: f64 = 0.4;

/// One entry as a flow.
#[derive(Debug, Clone, PartialEq)]
pub struct Flow {
    /// Index of the entry in [`Ledger::entries`].
    pub entry_idx: usize,
    /// Stamp, h since the origin.
    pub stamp_h: f64,
    /// Start of the window, h.
    pub start_h: f64,
    /// End of the window, h.
    pub end_h: f64,
    /// Volume, mL, into the patient positive.
    pub signed_ml: f64,
    /// Mass, g, into the patient positive.
    pub body_g: f64,
    /// Mass that came onto the deck with it and stays, g.
    pub pool_g: f64,
    /// Variance of the mass, g².
    pub var_g2: f64,
    /// Variance of what ran at another time than the window says, g².
    pub timing_g2: f64,
    /// Pace of its route, h, where the entry keeps it.
    pub pace_h: Option<f64>,
}

/// An entry that cannot be meant as it stands; it is not relied on.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Doubt {
    /// Line of the chart.
    pub line: usize,
    /// When, h since the origin.
    #[serde(skip)]
    pub stamp_h: f64,
    /// Whether it counts in the charted totals: it does, unless its time lies outside the record.
    pub counted: bool,
    /// What is wrong with it.
    pub text: String,
}

/// The chart of one patient, sorted by time.
#[derive(Debug, Clone, PartialEq)]
pub struct Ledger {
    /// Entries in order of time.
    pub entries: Vec<Entry>,
    /// One flow an entry, in the same order.
    pub flows: Vec<Flow>,
    /// Entries in doubt.
    pub doubts: Vec<Doubt>,
    /// Whether the fluids' densities were given.
    pub densities_given: bool,
}

/// What a ledger must know besides the chart.
#[derive(Debug, Clone, Copy)]
pub struct Frame {
    /// Time zero.
    pub origin: Timestamp,
    /// Time after which an entry lies in the future, h.
    pub now_h: f64,
    /// Weight by which a volume is judged, kg.
    pub weight_kg: f64,
    /// Mass of one mL.
    pub densities: Option<Densities>,
    /// What the stamps of a route that keeps a pace say.
    pub stamps: Stamps,
}

impl Ledger {
    /// Reads a chart: sorts it, refuses what is no entry, and marks what is in doubt.
    ///
    /// # Errors
    /// A negative volume or one that is not finite; the same entry twice.
    pub fn new(entries: &[Entry], frame: &Frame) -> Result<Self, BalanceError> {
        let mut entries = entries.to_vec();
        entries.sort_by_key(|entry| (entry.time, entry.line));
        check(&entries)?;
        let stamps: Vec<f64> = entries.iter().map(|entry| hours(frame.origin, entry.time)).collect();
        let windows = Windows::new(&entries, &stamps, frame.stamps);
        let densities_given = frame.densities.is_some();
        let mut ledger =
            Self { flows: Vec::with_capacity(entries.len()), doubts: Vec::new(), entries, densities_given };
        for (idx, &stamp_h) in stamps.iter().enumerate() {
            let flow = ledger.flow(idx, stamp_h, &windows, frame);
            ledger.flows.push(flow);
        }
        Ok(ledger)
    }

    /// The same chart with no reliance on the entries that the deck contradicts.
    pub(crate) fn without_trust(&self, contradictions: &[Contradiction]) -> Self {
        let mut out = self.clone();
        for contradiction in contradictions {
            let flow = &mut out.flows[contradiction.flow];
            // Wrong by up to twice its mass.
            flow.var_g2 += 4.0 * flow.body_g * flow.body_g;
        }
        out
    }

    /// The same chart with some entries' fluid on the pads just before these were taken off, at the time given with each, h.
    pub(crate) fn on_pads_before(&self, found: &[(usize, f64)]) -> Self {
        const BEFORE_H: f64 = 1.0 / 60.0;
        let mut out = self.clone();
        for &(flow, at_h) in found {
            let flow = &mut out.flows[flow];
            let length_h = flow.end_h - flow.start_h;
            flow.end_h = at_h - BEFORE_H;
            flow.start_h = flow.end_h - length_h;
        }
        out
    }

    /// Sum of intake less output by stamp over `(from_h, to_h]`, mL.
    pub fn charted_ml(&self, from_h: f64, to_h: f64) -> f64 {
        // Added to nothing, since a sum of no numbers is minus nothing.
        0.0 + self.within(from_h, to_h).map(|flow| flow.signed_ml).sum::<f64>()
    }

    /// Sum over `(from_h, to_h]` of one direction, mL.
    pub fn total_ml(&self, direction: Direction, from_h: f64, to_h: f64) -> f64 {
        self.within(from_h, to_h)
            .filter(|flow| self.entries[flow.entry_idx].direction == direction)
            .map(|flow| flow.signed_ml.abs())
            .sum()
    }

    /// What errors common to all entries of a route leave in a total, with nothing in it yet.
    pub(crate) fn shared(&self) -> SharedSums {
        SharedSums { sums: [[Shared::default(); 2]; ROUTES.len()], densities_given: self.densities_given }
    }

    /// Flows whose stamp lies in `(from_h, to_h]`.
    pub fn within(&self, from_h: f64, to_h: f64) -> impl Iterator<Item = &Flow> {
        self.flows.iter().filter(move |flow| flow.stamp_h > from_h && flow.stamp_h <= to_h)
    }

    /// What runs on after the last entries and is not charted yet: each route that keeps a pace goes on at
    /// the rate of its last round, for at most one and a half paces.
    ///
    /// These flows count in no total; they keep the model from taking the unwritten for the unexplained.
    pub fn pending(&self, end_h: f64) -> Vec<Flow> {
        let mut out: Vec<Flow> = Vec::new();
        let mut last_rounds: Vec<((Direction, Route, bool), f64)> = Vec::new();
        for flow in self.flows.iter().rev() {
            let Some(pace_h) = flow.pace_h else { continue };
            let entry = &self.entries[flow.entry_idx];
            let key = (entry.direction, entry.route, entry.leaves_deck);
            // Entries of the route's last round only: those within half a pace of the last one.
            let last_h = match last_rounds.iter().find(|(other, _)| *other == key) {
                Some((_, last_h)) => *last_h,
                None => {
                    last_rounds.push((key, flow.stamp_h));
                    flow.stamp_h
                }
            };
            let length_h = flow.end_h - flow.start_h;
            let run_on_h = (end_h - flow.end_h).min(1.5 * pace_h);
            // A route that has been silent for longer than two paces has stopped.
            let silent = end_h - last_h > 2.0 * pace_h;
            if silent || last_h - flow.stamp_h >= 0.5 * pace_h || run_on_h <= 0.0 || length_h <= 0.0 {
                continue;
            }
            let share = run_on_h / length_h;
            out.push(Flow {
                stamp_h: f64::INFINITY,
                start_h: flow.end_h,
                end_h: flow.end_h + run_on_h,
                signed_ml: 0.0,
                body_g: share * flow.body_g,
                pool_g: share * flow.pool_g,
                var_g2: (RUN_ON_U * share * flow.body_g).powi(2),
                ..flow.clone()
            });
        }
        out
    }

    fn flow(&mut self, idx: usize, stamp_h: f64, windows: &Windows, frame: &Frame) -> Flow {
        let entry = &self.entries[idx];
        let window = windows.of(idx);
        let sign = if entry.direction == Direction::Intake { 1.0 } else { -1.0 };
        let density = density(entry.route, &frame.densities.unwrap_or_default());
        let mass_g = entry.volume_ml * density;
        let retained = entry.direction == Direction::Output && !entry.leaves_deck;
        let step_ml = windows.digit_step_ml(idx);
        let relative = relative_u(entry.route) * mass_g;
        let mut var_g2 = relative * relative + (step_ml * density).powi(2) / 12.0;
        let mut share = 1.0;
        if let Some(text) = doubt(entry, window.since_last_h, stamp_h, frame) {
            let counted = (0.0..=frame.now_h).contains(&stamp_h);
            share = f64::from(u8::from(counted));
            self.doubts.push(Doubt { line: entry.line, stamp_h, counted, text });
            // In doubt means that it may be nothing at all.
            var_g2 += mass_g * mass_g;
        }
        Flow {
            entry_idx: idx,
            stamp_h,
            start_h: window.start_h,
            end_h: window.end_h,
            // What counts in no total is in none.
            signed_ml: share * sign * entry.volume_ml,
            body_g: share * sign * mass_g,
            pool_g: if retained { share * mass_g } else { 0.0 },
            var_g2: share * var_g2,
            timing_g2: share
                * ((TIMING_SHARE * window.deviation_ml).powi(2) + window.jitter_ml.powi(2))
                * density
                * density,
            pace_h: window.pace_h,
        }
    }
}

/// Hours from `origin` to `time`.
pub(crate) fn hours(origin: Timestamp, time: Timestamp) -> f64 {
    time.duration_since(origin).as_secs_f64() / 3600.0
}

/// A thousand litres: what stands below it and is too much is counted and told of, see [`doubt`].
const VOLUME_MAX_ML: f64 = 1e6;

fn check(sorted: &[Entry]) -> Result<(), BalanceError> {
    for entry in sorted {
        if !(0.0..=VOLUME_MAX_ML).contains(&entry.volume_ml) {
            return Err(BalanceError::BadVolume { line: entry.line, found: entry.volume_ml });
        }
    }
    let same = |a: &Entry, b: &Entry| {
        a.direction == b.direction
            && a.route == b.route
            && a.volume_ml.to_bits() == b.volume_ml.to_bits()
            && a.leaves_deck == b.leaves_deck
            && a.note == b.note
    };
    for (idx, entry) in sorted.iter().enumerate() {
        let twin =
            sorted[idx + 1..].iter().take_while(|other| other.time == entry.time).find(|other| same(entry, other));
        if let Some(twin) = twin {
            return Err(BalanceError::DuplicateEntry { first: entry.line, second: twin.line });
        }
    }
    Ok(())
}

/// Relative standard uncertainty of a charted volume beyond what all entries of its route share: pumps are read to the mL and run
/// evenly from hour to hour, graduated bags and jugs are read to about 5 %, cups, pads and stool are guessed. Assumed, no
/// source; the estimator scales all of them by one factor that the data choose.
fn relative_u(route: Route) -> f64 {
    match route {
        Route::Ultrafiltrate | Route::Iv | Route::Enteral => 0.015,
        Route::Blood => 0.03,
        Route::Urine | Route::Drain => 0.05,
        Route::Gastric | Route::Other => 0.10,
        Route::Oral => 0.20,
        Route::Stool => 0.25,
    }
}

/// A charted total, as far as errors common to all entries of a route ask.
#[derive(Debug, Clone)]
pub(crate) struct SharedSums {
    /// In and out err apart from each other.
    sums: [[Shared; 2]; ROUTES.len()],
    densities_given: bool,
}

impl SharedSums {
    /// Takes an entry into the total.
    pub(crate) fn add(&mut self, entry: &Entry, flow: &Flow) {
        let side = usize::from(entry.direction == Direction::Output);
        if let Some(slot) = ROUTES.iter().position(|route| *route == entry.route) {
            self.sums[slot][side].add(entry.volume_ml, flow.pace_h);
        }
    }

    /// Standard uncertainty that is left in the total over so many hours, mL: the pumps' own errors, and the densities of fluids of
    /// which no more is known than that they are watery.
    pub(crate) fn u_ml(&self, over_h: f64) -> f64 {
        let var = |(route, sides): (&Route, &[Shared; 2])| -> f64 {
            let (pump, density) = shared_u(*route, self.densities_given);
            sides.iter().map(|sum| pump * pump * sum.pumps_ml2(over_h) + (density * sum.all_ml).powi(2)).sum()
        };
        ROUTES.iter().zip(&self.sums).map(var).sum::<f64>().sqrt()
    }
}

/// What one side of a route has given, as far as its common errors ask.
#[derive(Debug, Clone, Copy, Default)]
struct Shared {
    /// All volumes, mL.
    all_ml: f64,
    /// Those that keep a pace, mL, their squares, mL², and the pace, h.
    paced_ml: f64,
    paced_ml2: f64,
    pace_h: f64,
    /// Squares of the others, mL²: each ran on a pump of its own.
    lone_ml2: f64,
}

impl Shared {
    fn add(&mut self, volume_ml: f64, pace_h: Option<f64>) {
        self.all_ml += volume_ml;
        match pace_h {
            Some(pace_h) => {
                self.paced_ml += volume_ml;
                self.paced_ml2 += volume_ml * volume_ml;
                self.pace_h = pace_h;
            }
            None => self.lone_ml2 += volume_ml * volume_ml,
        }
    }

    /// What pumps of a relative error of 1 each would leave, mL². Entries that keep a pace are so many pumps as stand in a round:
    /// with N rounds the pumps' totals have a root sum of squares of √(N Σ v²), all of Σ v where there is one pump.
    fn pumps_ml2(&self, over_h: f64) -> f64 {
        let n_rounds = if self.pace_h > 0.0 { over_h / self.pace_h } else { 0.0 };
        (n_rounds * self.paced_ml2).min(self.paced_ml * self.paced_ml) + self.lone_ml2
    }
}

/// Relative standard uncertainties that entries of a route share: a pump's own error, and how far a fluid of the route may
/// lie from the density used. Tube feeds 1.02–1.08 and packed cells 1.07–1.09 g/mL (from memory), urine 1.005–1.030 (read).
///
/// Half of a span that lies to one side of 1 g/mL is its middle's distance and its spread at once; where densities are `given`
/// the spread alone is left.
fn shared_u(route: Route, given: bool) -> (f64, f64) {
    let of = |open: f64, left: f64| if given { left } else { open };
    match route {
        Route::Iv | Route::Ultrafiltrate => (PUMP_U, of(0.004, 0.002)),
        Route::Enteral => (PUMP_U, of(0.035, 0.01)),
        Route::Blood => (0.0, of(0.05, 0.02)),
        Route::Urine => (0.0, of(0.015, 0.005)),
        Route::Drain | Route::Gastric | Route::Oral | Route::Stool | Route::Other => (0.0, 0.01),
    }
}

fn density(route: Route, densities: &Densities) -> f64 {
    match route {
        Route::Iv => densities.iv_g_ml,
        Route::Blood => densities.blood_g_ml,
        Route::Urine => densities.urine_g_ml,
        Route::Enteral => densities.enteral_g_ml,
        _ => densities.other_g_ml,
    }
}

/// Why an entry cannot be meant as it stands.
///
/// Rates beyond belief, by weight: urine 20 mL/kg/h (the largest water diuresis is 15–20 mL/min in an
/// adult, from memory), everything else 60 mL/kg/h (the largest rate of resuscitation in common practice).
fn doubt(entry: &Entry, since_last_h: Option<f64>, stamp_h: f64, frame: &Frame) -> Option<String> {
    if stamp_h > frame.now_h {
        return Some(format!("stands {:.1} h in the future", stamp_h - frame.now_h));
    }
    if stamp_h < 0.0 {
        return Some(format!("stands {:.1} h before the record begins", -stamp_h));
    }
    let limit_ml_kg_h = if entry.route == Route::Urine { 20.0 } else { 60.0 };
    let over_h = since_last_h.unwrap_or(1.0).clamp(1.0, 12.0);
    let rate = entry.volume_ml / over_h / frame.weight_kg;
    (rate > limit_ml_kg_h).then(|| {
        format!("{:.0} mL in {over_h:.1} h is {rate:.0} mL/kg/h, more than {limit_ml_kg_h:.0} can be", entry.volume_ml)
    })
}

#[cfg(test)]
mod tests;
