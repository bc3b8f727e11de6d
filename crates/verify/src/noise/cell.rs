//! One series of grams: its level, lines, stability over averaging time, drift.

use serde::Serialize;
use stats::allan::Record;
use stats::resolvable::PER_U;
use stats::spectrum::{SpectralLine, Spectrum, welch};

use super::{NoiseError, as_f64};

/// Longest segment of the spectrum, rows: lines 0.002 Hz apart at 10 Hz need no more.
const LONGEST_SEGMENT: usize = 4096;
/// Chance that noise alone shows a line in a spectrum.
const FALSE_LINE: f64 = 1e-3;
/// Coverage of the interval of a deviation.
const COVERAGE: f64 = 0.95;
/// An averaging time is judged where the stretch holds it this many times.
const TIMES_HELD: usize = 6;
/// Blocks through whose means the drift is drawn.
const BLOCKS: usize = 16;
/// A jump between blocks of 32 rows counts as a moved load from this many of their usual differences.
const JUMP: f64 = 12.0;
/// Rows of a block in which a jump is looked for.
const JUMP_ROWS: usize = 32;

/// Noise of one series, in grams.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SeriesNoise {
    /// Standard deviation of the rows, g: noise, hum and drift together.
    pub sd_g: f64,
    /// Level of the white noise, g/√Hz, one-sided.
    pub density_g: f64,
    /// Lines above it.
    pub lines: Vec<Spectral>,
    /// Smallest amplitude that a line would have been seen by at the white level, g.
    pub line_seen_from_g: f64,
    /// Overlapping Allan deviation at averaging times of 1, 2, 4, … rows.
    pub allan: Vec<AllanPoint>,
    /// Drift.
    pub drift: Drift,
    /// Where the load moved, if it did.
    #[serde(skip_serializing_if = "Option::is_none")]
    jump: Option<Jump>,
}

/// A line of the spectrum.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Spectral {
    /// Frequency as recorded, Hz.
    pub frequency_hz: f64,
    /// Amplitude of the sine, g.
    pub amplitude_g: f64,
}

/// Stability at one averaging time.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct AllanPoint {
    /// Averaging time, s.
    pub tau_s: f64,
    /// Overlapping Allan deviation, g.
    pub allan_g: f64,
    /// Its 95 % interval if the noise were white, g; drift leaves it wider.
    pub ci_g: [f64; 2],
    /// Smallest resolvable change between two neighbouring averages over this time, g.
    pub resolvable_g: f64,
}

/// A straight drift.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Drift {
    /// Slope, g/h.
    pub g_per_h: f64,
    /// Its standard uncertainty, g/h.
    pub u_g_per_h: f64,
}

/// A load that moved.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Jump {
    /// Time after the start of the stretch, s.
    pub after_s: f64,
    /// By how much, g.
    pub by_g: f64,
}

/// Steps of a cell's counts.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Quantization {
    /// Smallest difference between two counts; 0 where they never change.
    pub step_counts: f64,
    /// The same in grams.
    pub step_g: f64,
    /// Standard deviation that rounding to such steps adds, g: q/√12.
    pub u_g: f64,
    /// Whether the noise is below half a step, so that rounding no longer averages out.
    pub hides_noise: bool,
}

impl Quantization {
    /// Of counts, each worth `grams`.
    pub(super) fn of(counts: &[f64], grams: f64) -> Self {
        let mut sorted = counts.to_vec();
        sorted.sort_by(f64::total_cmp);
        let steps = sorted.windows(2).map(|pair| pair[1] - pair[0]).filter(|step| *step > 0.0);
        let step_counts = steps.reduce(f64::min).unwrap_or(0.0);
        let step_g = step_counts * grams.abs();
        let mean = counts.iter().sum::<f64>() / as_f64(counts.len().max(1));
        let variance = counts.iter().map(|c| (c - mean) * (c - mean)).sum::<f64>() / as_f64(counts.len().max(1));
        Self {
            step_counts,
            step_g,
            u_g: step_g / 12f64.sqrt(),
            hides_noise: step_counts > 0.0 && variance.sqrt() < 0.5 * step_counts,
        }
    }
}

/// Judges a series whose mean is about 0.
pub(super) fn series(values: &[f64], rate_hz: f64) -> Result<SeriesNoise, NoiseError> {
    let n = values.len();
    let mean = values.iter().sum::<f64>() / as_f64(n);
    let sd_g = (values.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / as_f64(n - 1)).sqrt();
    // Eight or more halves of segments: the level is sure to some 10 %.
    let length = (n / 4).next_power_of_two().min(LONGEST_SEGMENT).min(n);
    let spectrum = welch(&without_slope(values), rate_hz, length)?;
    let density_g = spectrum.white_level();
    // A record that hardly moves has a floor of nothing, above which rounding would pass for lines.
    let lines = if density_g > 0.0 { spectrum.lines(FALSE_LINE) } else { Vec::new() };
    Ok(SeriesNoise {
        sd_g,
        density_g,
        lines: lines.iter().map(Spectral::from).collect(),
        line_seen_from_g: seen_from(&spectrum, density_g),
        allan: allan(values, rate_hz)?,
        drift: drift(values, rate_hz),
        jump: jump(values, rate_hz),
    })
}

impl From<&SpectralLine> for Spectral {
    fn from(line: &SpectralLine) -> Self {
        Self { frequency_hz: line.frequency_hz, amplitude_g: line.amplitude }
    }
}

/// Amplitude whose power in the three bins of a Hann window's main part is four times that of the white noise there.
fn seen_from(spectrum: &Spectrum, density_g: f64) -> f64 {
    (2.0 * 4.0 * 3.0 * density_g * density_g * spectrum.bin_hz).sqrt()
}

/// Without its straight drift, whose ends would leak into every bin.
fn without_slope(values: &[f64]) -> Vec<f64> {
    let n = as_f64(values.len());
    let centre = (n - 1.0) / 2.0;
    let mean = values.iter().sum::<f64>() / n;
    let (mut along, mut up) = (0.0, 0.0);
    for (i, v) in values.iter().enumerate() {
        let x = as_f64(i) - centre;
        along += x * x;
        up += x * (v - mean);
    }
    let slope = up / along;
    values.iter().enumerate().map(|(i, v)| v - mean - slope * (as_f64(i) - centre)).collect()
}

fn allan(values: &[f64], rate_hz: f64) -> Result<Vec<AllanPoint>, NoiseError> {
    let record = Record::from_frequency(values, 1.0 / rate_hz)?;
    let factors = record.octaves(1).into_iter().take_while(|m| m * TIMES_HELD <= values.len());
    let mut points = Vec::new();
    for factor in factors {
        let found = record.overlapping(factor)?;
        let ci_g = found.interval(record.white_edf(factor)?, COVERAGE)?;
        points.push(AllanPoint {
            tau_s: found.tau_s,
            allan_g: found.value,
            ci_g,
            resolvable_g: PER_U * std::f64::consts::SQRT_2 * found.value,
        });
    }
    Ok(points)
}

/// Slope through the means of equal blocks.
fn drift(values: &[f64], rate_hz: f64) -> Drift {
    let length = values.len() / BLOCKS;
    let means: Vec<f64> =
        values.chunks_exact(length).take(BLOCKS).map(|b| b.iter().sum::<f64>() / as_f64(length)).collect();
    let n = as_f64(means.len());
    let (centre, mean) = ((n - 1.0) / 2.0, means.iter().sum::<f64>() / n);
    let x = |i: usize| as_f64(i) - centre;
    let s_xx: f64 = (0..means.len()).map(|i| x(i) * x(i)).sum();
    let slope = means.iter().enumerate().map(|(i, m)| x(i) * (m - mean)).sum::<f64>() / s_xx;
    let residual_ss: f64 = means.iter().enumerate().map(|(i, m)| (m - mean - slope * x(i)).powi(2)).sum();
    let per_h = 3600.0 * rate_hz / as_f64(length);
    Drift { g_per_h: slope * per_h, u_g_per_h: (residual_ss / (n - 2.0) / s_xx).sqrt() * per_h }
}

/// The largest step between neighbouring blocks, where it stands out from the usual one.
fn jump(values: &[f64], rate_hz: f64) -> Option<Jump> {
    let means: Vec<f64> = values.chunks_exact(JUMP_ROWS).map(|b| b.iter().sum::<f64>() / as_f64(JUMP_ROWS)).collect();
    // One block apart, so that a step inside a block shows in full.
    let steps: Vec<f64> = means.windows(3).map(|w| w[2] - w[0]).collect();
    let mut sizes: Vec<f64> = steps.iter().map(|s| s.abs()).collect();
    sizes.sort_by(f64::total_cmp);
    let usual = sizes.get(sizes.len() / 2).copied()?;
    let (index, by_g) = steps.iter().copied().enumerate().max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))?;
    let stands_out = by_g.abs() > JUMP * usual && usual > 0.0;
    stands_out.then(|| Jump { after_s: as_f64((index + 1) * JUMP_ROWS) / rate_hz, by_g })
}

impl SeriesNoise {
    /// The point of the smallest deviation, and whether it is the last.
    pub(super) fn best(&self) -> (Option<AllanPoint>, bool) {
        let best = self.allan.iter().enumerate().min_by(|a, b| a.1.allan_g.total_cmp(&b.1.allan_g));
        (best.map(|(_, p)| *p), best.is_some_and(|(i, _)| i + 1 == self.allan.len()))
    }

    /// Where the load moved, if it did.
    #[must_use]
    pub fn largest_jump(&self) -> Option<Jump> {
        self.jump
    }
}
