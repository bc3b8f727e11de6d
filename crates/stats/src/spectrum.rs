//! Spectral density of an evenly spaced record by averaging (Welch): the level of white noise, and lines above it.
//!
//! Segments of `length` readings, half overlapping, lose their mean, are weighted by a periodic Hann window w, and their
//! one-sided power is averaged: P(f) = 2 |Σ w y e^(−iωt)|² / (f_s Σ w²), not doubled at 0 and at f_s/2.
//!
//! | symbol | name | meaning | unit |
//! |---|---|---|---|
//! | f_s | | readings a second | Hz |
//! | P | `density` | power a hertz | y²/Hz |
//! | √P | | noise density | y/√Hz |
//!
//! Source: Welch, IEEE Trans. Audio Electroacoust. 15 (1967) 70–73 (from memory); tested against scipy.signal.welch.
//! Not here: detrending beyond the mean, other windows.

use std::f64::consts::TAU;

use rustfft::FftPlanner;
use rustfft::num_complex::Complex;

use crate::distribution::chi2_quantile;
use crate::robust::median;

/// Why a spectrum could not be computed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SpectrumError {
    /// A value is NaN or infinite.
    #[error("value {index} is not finite")]
    NotFinite {
        /// Its place, from 0.
        index: usize,
    },
    /// The rate is none.
    #[error("the rate is {found} Hz, expected above 0")]
    Rate {
        /// What was given.
        found: f64,
    },
    /// No whole segment.
    #[error("a segment of {length} readings was asked for, expected 4 to the {readings} there are")]
    Length {
        /// Readings of a segment.
        length: usize,
        /// Readings there are.
        readings: usize,
    },
}

/// One-sided spectral density.
#[derive(Debug, Clone, PartialEq)]
pub struct Spectrum {
    /// Distance of the frequencies, Hz: `density[k]` is at k times it.
    pub bin_hz: f64,
    /// Power a hertz, in the unit of the readings squared over Hz.
    pub density: Vec<f64>,
    /// Segments averaged.
    pub segments: usize,
}

/// A line above the noise around it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpectralLine {
    /// Its frequency as recorded, Hz: the centre of its power.
    pub frequency_hz: f64,
    /// Amplitude of the sine, in the unit of the readings.
    pub amplitude: f64,
}

/// Bins to each side that a Hann window spreads a line over.
const SPREAD: usize = 2;
/// Bins to each side whose median is the floor around a bin.
const AROUND: usize = 16;

/// Welch's estimate from segments of `length` readings, half overlapping.
///
/// # Errors
/// Values that are not finite, a rate that is not positive, a segment below 4 readings or above those given.
pub fn welch(readings: &[f64], rate_hz: f64, length: usize) -> Result<Spectrum, SpectrumError> {
    if !(rate_hz > 0.0 && rate_hz.is_finite()) {
        return Err(SpectrumError::Rate { found: rate_hz });
    }
    if let Some(index) = readings.iter().position(|v| !v.is_finite()) {
        return Err(SpectrumError::NotFinite { index });
    }
    if length < 4 || length > readings.len() {
        return Err(SpectrumError::Length { length, readings: readings.len() });
    }
    let window: Vec<f64> = (0..length).map(|i| 0.5 - 0.5 * (TAU * count(i) / count(length)).cos()).collect();
    let norm = rate_hz * window.iter().map(|w| w * w).sum::<f64>();
    let fft = FftPlanner::new().plan_fft_forward(length);
    let mut scratch = vec![Complex::default(); fft.get_inplace_scratch_len()];
    let mut buffer = vec![Complex::default(); length];
    let mut density = vec![0.0; length / 2 + 1];
    let mut segments = 0;
    for start in (0..=readings.len() - length).step_by(length - length / 2) {
        let segment = &readings[start..start + length];
        let mean = segment.iter().sum::<f64>() / count(length);
        for ((slot, y), w) in buffer.iter_mut().zip(segment).zip(&window) {
            *slot = Complex::new((y - mean) * w, 0.0);
        }
        fft.process_with_scratch(&mut buffer, &mut scratch);
        for (sum, value) in density.iter_mut().zip(&buffer) {
            *sum += value.norm_sqr();
        }
        segments += 1;
    }
    let last = length / 2;
    for (k, p) in density.iter_mut().enumerate() {
        let sides = if k == 0 || (k == last && length.is_multiple_of(2)) { 1.0 } else { 2.0 };
        *p *= sides / (norm * count(segments));
    }
    Ok(Spectrum { bin_hz: rate_hz / count(length), density, segments })
}

impl Spectrum {
    /// Level of the white noise, unit/√Hz: the median density of the upper half of the band, which lines and drift hardly move.
    #[must_use]
    pub fn white_level(&self) -> f64 {
        let upper = &self.density[self.density.len() / 2..];
        (median(upper).unwrap_or(0.0) / self.median_over_mean()).sqrt()
    }

    /// Lines that stand above the noise around them, by frequency, but for one chance in `1/false_alarm` spectra of noise alone.
    ///
    /// A bin counts if it is the highest within ± 2 and above the χ² quantile (shared out over the bins) of the median of
    /// the 16 to each side. The two lowest bins hold drift and are left out.
    #[must_use]
    pub fn lines(&self, false_alarm: f64) -> Vec<SpectralLine> {
        let bins = self.density.len();
        let dof = self.degrees_of_freedom();
        let threshold = chi2_quantile(1.0 - false_alarm / count(bins.max(1)), dof) / dof / self.median_over_mean();
        let mut lines = Vec::new();
        for k in SPREAD..bins {
            let near = k - SPREAD..(k + SPREAD + 1).min(bins);
            let p = self.density[k];
            if self.density[near.clone()].iter().any(|other| *other > p) {
                continue;
            }
            let around: Vec<f64> = (k.saturating_sub(AROUND).max(1)..(k + AROUND + 1).min(bins))
                .filter(|i| !near.contains(i))
                .map(|i| self.density[i])
                .collect();
            let floor = median(&around).unwrap_or(0.0);
            if !(p > threshold * floor && p > 0.0) {
                continue;
            }
            let above = |i: usize| (self.density[i] - floor / self.median_over_mean()).max(0.0);
            let power: f64 = near.clone().map(above).sum();
            let centre: f64 = near.map(|i| above(i) * count(i)).sum::<f64>() / power;
            // A sine of amplitude a has power a²/2; of one at f_s/2 all of it stands on one side.
            let amplitude = (2.0 * power * self.bin_hz).sqrt();
            lines.push(SpectralLine { frequency_hz: centre * self.bin_hz, amplitude });
        }
        lines
    }

    /// Equivalent degrees of freedom of a bin: half-overlapping Hann segments correlate by 1/36 with the next in power.
    fn degrees_of_freedom(&self) -> f64 {
        let k = count(self.segments);
        2.0 * k / (1.0 + (k - 1.0) / k / 18.0)
    }

    /// Median over mean of χ² with these degrees of freedom.
    fn median_over_mean(&self) -> f64 {
        let dof = self.degrees_of_freedom();
        chi2_quantile(0.5, dof) / dof
    }
}

#[expect(clippy::cast_precision_loss, reason = "lengths of records are far below 2^52")]
fn count(n: usize) -> f64 {
    n as f64
}

#[cfg(test)]
mod tests {
    use rand::SeedableRng;
    use rand_distr::{Distribution, Normal};

    use super::*;

    fn white(n: usize, sd: f64, seed: u64) -> Vec<f64> {
        let mut rng = rand_xoshiro::Xoshiro256PlusPlus::seed_from_u64(seed);
        let normal = Normal::new(0.0, sd).unwrap();
        (0..n).map(|_| normal.sample(&mut rng)).collect()
    }

    /// White noise of standard deviation s has density s √(2/f_s).
    #[test]
    fn the_level_of_white_noise_is_found() {
        let spectrum = welch(&white(40_000, 3.0, 1), 10.0, 512).unwrap();
        let expected = 3.0 * (2.0f64 / 10.0).sqrt();
        // 155 segments and 129 bins: the median of the density is sure to about 1 %.
        assert!((spectrum.white_level() / expected - 1.0).abs() < 0.02, "{}", spectrum.white_level());
    }

    #[test]
    fn a_sine_in_noise_is_found_with_its_amplitude() {
        let mut y = white(20_000, 1.0, 2);
        for (i, v) in y.iter_mut().enumerate() {
            *v += 0.5 * (TAU * 2.34 * count(i) / 10.0).sin();
        }
        let lines = welch(&y, 10.0, 1024).unwrap().lines(1e-3);
        let [line] = lines[..] else { panic!("{lines:?}") };
        assert!((line.frequency_hz - 2.34).abs() < 0.01 && (line.amplitude - 0.5).abs() < 0.05, "{line:?}");
    }

    /// At one false alarm in a hundred spectra, 100 of them give 1 on average; 6 or more have a chance below 1 in 1000.
    #[test]
    fn noise_alone_shows_hardly_a_line() {
        let found =
            (0..100).filter(|&seed| !welch(&white(8192, 1.0, 100 + seed), 10.0, 512).unwrap().lines(0.01).is_empty());
        let found = found.count();
        assert!(found <= 5, "{found} of 100");
    }

    #[test]
    fn what_cannot_be_done_is_said() {
        assert_eq!(welch(&[0.0; 8], 1.0, 9), Err(SpectrumError::Length { length: 9, readings: 8 }));
        assert_eq!(welch(&[0.0; 8], 0.0, 8), Err(SpectrumError::Rate { found: 0.0 }));
        assert!(matches!(welch(&[0.0, f64::NAN], 1.0, 2), Err(SpectrumError::NotFinite { index: 1 })));
        // A record that does not move has no line and no level.
        let still = welch(&[5.0; 64], 1.0, 16).unwrap();
        assert!(still.lines(0.01).is_empty() && still.white_level().abs() < 1e-12);
    }
}
