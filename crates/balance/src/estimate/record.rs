//! The input of a balance: weights and chart, read and placed in time.

use formats::chart::Entry;
use formats::patient::PatientFile;
use formats::weights::Weight;
use jiff::{SignedDuration, Timestamp};

use crate::build::Span;
use crate::error::BalanceError;
use crate::insensible::{self, Insensible};
use crate::items::{self, Wet};
use crate::ledger::{Frame, Ledger, Stamps, hours, standing};
use crate::options::Options;
use crate::report::Window;
use crate::thin::{Readings, thin};

/// An entry this long after the last weight stands in the future where no present time is given, h.
const FUTURE_H: f64 = 24.0;
/// A chart may start this long before the first weight, h: an admission without a deck.
const BEFORE_H: f64 = 7.0 * 24.0;

/// The input, read and placed in time.
pub(crate) struct Record {
    pub(crate) readings: Readings,
    pub(crate) ledger: Ledger,
    /// The same chart, if stamps say when a volume was written down that was due before.
    pub(super) due: Ledger,
    pub(crate) span: Span,
    /// Median settled weight, kg.
    pub(crate) weight_kg: f64,
    pub(crate) prior: Insensible,
    /// Fluid that went with items.
    pub(crate) wet: Vec<Wet>,
    /// Settled readings after the time that was told as now.
    pub(crate) after_now: usize,
    /// Lines of the chart that were written after later ones.
    pub(crate) late: Vec<usize>,
}

/// The longest record, h: five years. The model stands at every hour, and what is longer has a mistyped year.
const LONGEST_H: f64 = 5.0 * 366.0 * 24.0;

impl Record {
    pub(super) fn read(
        file: &PatientFile,
        weights: &[Weight],
        entries: &[Entry],
        options: &Options,
    ) -> Result<Self, BalanceError> {
        let mut readings = thin(weights, None, options)?;
        let late = written_late(entries);
        let entries = &standing(entries, &options.corrections)?;
        let mut masses: Vec<f64> = readings.readings.iter().map(|reading| reading.mass_g).collect();
        masses.sort_by(f64::total_cmp);
        let weight_kg = masses[masses.len() / 2] / 1000.0;
        let now = options.now.unwrap_or_else(|| later(readings.last, FUTURE_H));
        let early = later(readings.first, -BEFORE_H);
        let origin = entries.iter().map(|e| e.time).filter(|t| *t >= early).fold(readings.first, Timestamp::min);
        let end = entries.iter().map(|e| e.time).filter(|t| *t <= now).fold(readings.last, Timestamp::max);
        if hours(origin, end) > LONGEST_H {
            return Err(BalanceError::TooLong { first: origin.to_string(), last: end.to_string() });
        }
        let shift_h = hours(origin, readings.first);
        let wet = items::wet(&options.items);
        for reading in &mut readings.readings {
            reading.t_h += shift_h;
            let gone = |wet: &&Wet| hours(origin, wet.time) < reading.t_h;
            reading.mass_g -= wet.iter().filter(gone).map(|wet| wet.fluid_g).sum::<f64>();
        }
        let frame =
            |stamps| Frame { origin, now_h: hours(origin, now), weight_kg, densities: options.densities, stamps };
        let ledger = Ledger::new(entries, &frame(Stamps::Read))?;
        let due = Ledger::new(entries, &frame(Stamps::Due))?;
        let prior = insensible::prior(&file.patient, weight_kg);
        let span = Span { origin, end_h: hours(origin, end) };
        let after_now = readings.readings.iter().filter(|reading| reading.t_h > hours(origin, now)).count();
        Ok(Self { readings, ledger, due, span, weight_kg, prior, wet, after_now, late })
    }

    /// Whether a window is the last day of the record.
    pub(crate) fn is_last_day(&self, window: &Window) -> bool {
        (window.hours - 24.0).abs() < 0.5 && self.span.end_h - hours(self.span.origin, window.to) < 1.0
    }

    /// Wall time of an hour of the model.
    pub(crate) fn time(&self, t_h: f64) -> Timestamp {
        later(self.span.origin, t_h)
    }
}

fn later(time: Timestamp, h: f64) -> Timestamp {
    SignedDuration::try_from_secs_f64(h * 3600.0).ok().and_then(|d| time.checked_add(d).ok()).unwrap_or(time)
}

/// Lines of entries that stand in the file after one of a later time: they were written late. They count at their own time.
fn written_late(entries: &[Entry]) -> Vec<usize> {
    let mut by_line: Vec<&Entry> = entries.iter().collect();
    by_line.sort_by_key(|entry| entry.line);
    let mut latest = Timestamp::MIN;
    let mut out = Vec::new();
    for entry in by_line {
        if entry.time < latest {
            out.push(entry.line);
        }
        latest = latest.max(entry.time);
    }
    out
}
