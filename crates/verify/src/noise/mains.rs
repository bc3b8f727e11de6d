//! Hum of the mains: where it would appear at the recording's rate, and whether it does.
//!
//! A frequency above half the rate is folded: f ↦ |f − f_s round(f/f_s)|. At rates that divide it (10 Hz and 50 Hz) it lands
//! on 0 and cannot be told from drift.

use serde::Serialize;

use super::cell::SeriesNoise;

/// Nominal mains frequencies, Hz.
const MAINS_HZ: [f64; 2] = [50.0, 60.0];
/// Harmonics that bridges and supplies show most.
const HARMONICS: [u32; 3] = [1, 2, 3];
/// Mains stay within this of their nominal, relative (EN 50160: ± 1 % for 99.5 % of a year; from memory).
const WANDER: f64 = 0.01;
/// Below this frequency a line cannot be told from drift, as a share of the rate.
const LOWEST: f64 = 1e-3;

/// One mains frequency.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Hum {
    /// Nominal frequency, Hz.
    pub mains_hz: f64,
    /// Its harmonics.
    pub lines: Vec<Line>,
}

/// One harmonic.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Line {
    /// Frequency at its source, Hz.
    pub source_hz: f64,
    /// Frequency at which it is recorded, Hz.
    pub alias_hz: f64,
    /// Whether it could be told from drift.
    pub visible: bool,
    /// Amplitude of a line that is there, g; `None`: none was seen. A line may have another source.
    pub amplitude_g: Option<f64>,
}

/// Hum in a series.
pub(super) fn hum(series: &SeriesNoise, rate_hz: f64) -> Vec<Hum> {
    MAINS_HZ
        .iter()
        .map(|&mains_hz| {
            let lines = HARMONICS.iter().map(|h| {
                let source_hz = f64::from(*h) * mains_hz;
                let alias_hz = alias(source_hz, rate_hz);
                // The mains wander, and their alias by as many hertz.
                let reach = (WANDER * source_hz).min(rate_hz / 8.0);
                let visible = alias_hz > LOWEST * rate_hz;
                let found = series.lines.iter().filter(|l| (l.frequency_hz - alias_hz).abs() <= reach);
                Line {
                    source_hz,
                    alias_hz,
                    visible,
                    amplitude_g: found.map(|l| l.amplitude_g).reduce(f64::max).filter(|_| visible),
                }
            });
            Hum { mains_hz, lines: lines.collect() }
        })
        .collect()
}

/// Where a frequency is recorded at a rate.
fn alias(hz: f64, rate_hz: f64) -> f64 {
    (hz - rate_hz * (hz / rate_hz).round()).abs()
}

#[cfg(test)]
mod tests {
    use super::alias;

    /// Made: 50 Hz at 80 Hz shows at 30 Hz, at 12.5 Hz on 0, 60 Hz at 80 Hz at 20 Hz, 150 Hz at 80 Hz at 10 Hz; below half
    /// the rate nothing is folded.
    #[test]
    fn frequencies_fold_at_half_the_rate() {
        for (hz, rate, expected) in [
            (50.0, 80.0, 30.0),
            (50.0, 12.5, 0.0),
            (60.0, 80.0, 20.0),
            (150.0, 80.0, 10.0),
            (3.0, 10.0, 3.0),
            (50.0, 10.0, 0.0),
        ] {
            assert!((alias(hz, rate) - expected).abs() < 1e-9, "{hz} at {rate}: {}", alias(hz, rate));
        }
    }
}
