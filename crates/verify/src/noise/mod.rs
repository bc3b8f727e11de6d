//! What a recording of a deck at rest says of its noise: density, steps, mains hum, stability over averaging time, drift,
//! and the smallest change that all this lets through.
//!
//! | symbol | name | meaning | unit |
//! |---|---|---|---|
//! | f_s | `rate_hz` | rows a second | Hz |
//! | q | `step` | smallest difference between two counts | counts |
//! | √P | `density` | level of the white noise, one-sided | g/√Hz |
//! | σ_A(τ) | `allan_g` | overlapping Allan deviation | g |
//! | τ* | `best` | averaging time of the smallest σ_A | s |
//!
//! Two neighbouring averages over τ differ by √2 σ_A(τ) (standard deviation, by the definition of σ_A); a change is
//! resolved where it exceeds that by the factor of `stats::resolvable`. The deck must lie still: what people do at the bed
//! is no noise. Counts become grams by a calibration, or by the data sheet of the cells where there is none.
//! Drift is the slope through the means of 16 equal blocks, with the uncertainty that their scatter about it gives.
//!
//! Source: stability: NIST SP 1065 (through `stats::allan`); density: Welch (through `stats::spectrum`); a uniform step's
//! q/√12: common practice, from memory. Aliases: f ↦ |f − f_s round(f/f_s)|, sampling theory.
//! Not here: creep, temperature, load and tilt, which add to what a real change must exceed (see `check`).

mod cell;
mod mains;
mod options;
mod stretch;

pub use cell::{AllanPoint, Drift, Quantization, SeriesNoise};
pub use mains::{Hum, Line as HumLine};
pub use options::NoiseOptions;
pub use stretch::{Stretch, StretchFinder};

use deck::DeckError;
use deck::chain::{self, Channel};
use formats::calibration::Calibration;
use formats::deck::Deck;
use serde::Serialize;
use stats::allan::AllanError;
use stats::resolvable::CRITERION;
use stats::spectrum::SpectrumError;

/// Fewest rows that can be judged: enough for a spectrum of a dozen bins and averages over eight rows.
pub const FEWEST_ROWS: usize = 128;

/// Why a recording cannot be judged.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum NoiseError {
    /// Too little without a gap.
    #[error("the longest stretch without a gap has {found} rows, expected at least {FEWEST_ROWS}")]
    TooShort {
        /// Rows of the longest stretch.
        found: usize,
    },
    /// Nothing moves.
    #[error("no cell's counts change over {rows} rows: there is no noise to judge (a converter that stands still?)")]
    Constant {
        /// Rows of the stretch.
        rows: usize,
    },
    /// The calibration leaves a cell open.
    #[error("the calibration does not determine cell \"{cell}\": its counts have no weight")]
    Undetermined {
        /// The cell.
        cell: String,
    },
    /// The deck is not whole.
    #[error(transparent)]
    Deck(#[from] DeckError),
    /// The spectrum could not be computed.
    #[error("spectrum: {0}")]
    Spectrum(#[from] SpectrumError),
    /// The stability could not be computed.
    #[error("stability over averaging time: {0}")]
    Allan(#[from] AllanError),
}

/// What a recording says of noise; serializes to the fields of `noise --json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct NoiseReport {
    /// Name of the deck.
    pub deck: String,
    /// What makes counts into grams: `calibration` or `data sheet`.
    pub grams_by: &'static str,
    /// Rows of the stretch judged.
    pub rows: usize,
    /// Its first time, s.
    pub from_s: f64,
    /// Its last time, s.
    pub to_s: f64,
    /// Rows a second.
    pub rate_hz: f64,
    /// Rows of the whole recording that were read.
    pub rows_read: usize,
    /// Stretches that gaps (lost samples, jumps of time, moved sections) cut it into.
    pub stretches: usize,
    /// The cells, in the order of the deck.
    pub cells: Vec<CellNoise>,
    /// The weight: the sum of the cells, each by the cosine of its section.
    pub sum: SeriesNoise,
    /// Mains frequencies and where they would appear at this rate, in the sum.
    pub hum: Vec<Hum>,
    /// Averaging time at which two neighbouring averages differ least, s.
    pub best_averaging_s: f64,
    /// Whether the deviation still falls at the longest time that the stretch can judge.
    pub still_falling: bool,
    /// Smallest resolvable change between two neighbouring averages over that time, g.
    pub resolvable_g: f64,
    /// What counts as resolvable.
    pub criterion: &'static str,
    /// What a reader must know of this recording.
    pub notes: Vec<String>,
}

/// One cell.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CellNoise {
    /// Name.
    pub name: String,
    /// Mean counts.
    pub mean_counts: f64,
    /// Steps of its counts.
    pub quantization: Quantization,
    /// Noise that deck file and data sheet promise at the converter's rate, g rms.
    pub promised_g: f64,
    /// Noise density at the converter's input, nV/√Hz.
    pub density_nv: f64,
    /// All else, in grams.
    #[serde(flatten)]
    pub noise: SeriesNoise,
}

/// Judges the stretch that a [`StretchFinder`] found.
///
/// # Errors
/// [`NoiseError`] where the stretch is too short, nothing moves, or a cell's counts have no weight.
pub fn noise(deck: &Deck, calibration: Option<&Calibration>, stretch: &Stretch) -> Result<NoiseReport, NoiseError> {
    let rows = stretch.rows();
    if rows < FEWEST_ROWS {
        return Err(NoiseError::TooShort { found: rows });
    }
    let rate_hz = stretch.rate_hz();
    let channels = chain::channels(deck)?;
    let grams = grams_per_count(deck, calibration, &channels)?;
    let mut sum = vec![0.0; rows];
    let mut cells = Vec::with_capacity(channels.len());
    for (((plate_idx, cell), counts), (g, channel)) in
        deck.cells().zip(&stretch.counts).zip(grams.iter().copied().zip(&channels))
    {
        let mean = counts.iter().sum::<f64>() / as_f64(rows);
        let series: Vec<f64> = counts.iter().map(|c| (c - mean) * g).collect();
        let cosine = deck.plates.get(plate_idx).map_or(1.0, |plate| stretch.cosine(&plate.section));
        for (total, value) in sum.iter_mut().zip(&series) {
            *total += value / cosine;
        }
        let noise = cell::series(&series, rate_hz)?;
        cells.push(CellNoise {
            name: cell.name.clone(),
            mean_counts: mean,
            quantization: Quantization::of(counts, g),
            promised_g: channel.noise_g,
            density_nv: noise.density_g / g.abs() * channel.nv_per_count,
            noise,
        });
    }
    if cells.iter().all(|c| c.noise.sd_g <= 0.0) {
        return Err(NoiseError::Constant { rows });
    }
    let whole = cell::series(&sum, rate_hz)?;
    let (best, still_falling) = whole.best();
    let mut report = NoiseReport {
        deck: deck.name.clone(),
        grams_by: if calibration.is_some() { "calibration" } else { "data sheet" },
        rows,
        from_s: stretch.from_s,
        to_s: stretch.to_s,
        rate_hz,
        rows_read: stretch.rows_read,
        stretches: stretch.stretches,
        hum: mains::hum(&whole, rate_hz),
        best_averaging_s: best.map_or(0.0, |b| b.tau_s),
        still_falling,
        resolvable_g: best.map_or(0.0, |b| b.resolvable_g),
        cells,
        sum: whole,
        criterion: CRITERION,
        notes: Vec::new(),
    };
    report.notes = notes(&report, stretch);
    Ok(report)
}

/// Grams a count of each cell, with the calibration's sign.
fn grams_per_count(
    deck: &Deck,
    calibration: Option<&Calibration>,
    channels: &[Channel],
) -> Result<Vec<f64>, NoiseError> {
    let Some(calibration) = calibration else { return Ok(channels.iter().map(Channel::step_g).collect()) };
    deck.cells()
        .map(|(_, cell)| {
            let line = calibration.cells.iter().find(|c| c.name == cell.name);
            let gain = line.and_then(|c| c.kg_per_count).filter(|g| g.is_finite() && g.abs() > 0.0);
            gain.map(|g| 1000.0 * g).ok_or_else(|| NoiseError::Undetermined { cell: cell.name.clone() })
        })
        .collect()
}

fn notes(report: &NoiseReport, stretch: &Stretch) -> Vec<String> {
    let mut notes = Vec::new();
    for cell in &report.cells {
        if cell.noise.sd_g <= 0.0 {
            notes.push(format!("cell {} does not move at all: dead, or its converter stands still", cell.name));
        } else if cell.quantization.hides_noise {
            notes.push(format!(
                "cell {}: a step of {:.3} g is wider than its noise: averaging gains less than it should",
                cell.name, cell.quantization.step_g
            ));
        }
    }
    if let Some(jump) = report.sum.largest_jump() {
        notes.push(format!(
            "the load moved by {:.3} kg near t = {:.0} s: what follows is not noise alone; give a quiet part by --from and --to",
            jump.by_g / 1000.0,
            stretch.from_s + jump.after_s
        ));
    }
    if report.still_falling {
        notes.push("the deviation still falls at the longest time judged: a longer recording would show more".into());
    }
    if stretch.stretches > 1 {
        notes.push(format!(
            "gaps cut the recording into {} stretches; the longest, {} of {} rows, is judged",
            stretch.stretches, report.rows, report.rows_read
        ));
    }
    if stretch.full {
        notes.push(format!("only the first {} rows of the stretch are judged", report.rows));
    }
    notes
}

#[expect(clippy::cast_precision_loss, reason = "rows of a stretch are far below 2^52")]
fn as_f64(n: usize) -> f64 {
    n as f64
}

#[cfg(test)]
mod tests;
