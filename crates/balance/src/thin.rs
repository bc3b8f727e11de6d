//! Weights to measurements: only what is settled, averaged over blocks.
//!
//! Weights may come each second, and neighbours share their error: breathing, the low-pass filter and
//! slow wander act over a minute. Taken as independent, a night of them would claim milligrams. So all
//! settled weights of a block (ten minutes by default; fluid moves over hours) become one measurement,
//! their mean at their mean time, and count as no more than one reading for each two correlation times:
//! n_eff = 1 + span/(2 τ), at most n. What stays correlated over longer than a block (how the patient
//! lies) is a state of the model, not noise. A block ends where the patient was not settled, so that no
//! mean straddles care.
//!
//! | symbol | name      | unit |
//! |--------|-----------|------|
//! | τ      | `correlation_s` | s |
//! | u      | `u_g`     | g, mean of the stated standard uncertainties |
//! | n_eff  | `n_eff`   | count |

use formats::weights::{State, Weight};
use jiff::{SignedDuration, Timestamp};

use crate::error::BalanceError;
use crate::options::Options;

/// One measurement.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// Mean time, h since the origin.
    pub t_h: f64,
    /// Mean weight, g.
    pub mass_g: f64,
    /// Stated standard uncertainty of one weight, g.
    pub u_g: f64,
    /// Independent readings that the mean counts for.
    pub n_eff: f64,
    /// Weights in the mean.
    pub n: usize,
    /// Whether care, movement or a gap longer than a block lay before it.
    pub after_break: bool,
}

/// The weights of a record as measurements.
#[derive(Debug, Clone, PartialEq)]
pub struct Readings {
    /// In order of time.
    pub readings: Vec<Reading>,
    /// Time of the first row, whatever its state.
    pub first: Timestamp,
    /// Time of the last row, whatever its state.
    pub last: Timestamp,
    /// Settled rows used.
    pub n_settled: usize,
    /// Rows in any state.
    pub n_rows: usize,
}

/// No patient weighs less or more, and no deck shows more. A weight below it that cannot be the patient's is left out by the screening, and told.
const WEIGHT_MIN_KG: f64 = 0.05;
const WEIGHT_MAX_KG: f64 = 5000.0;
/// A milligram: no scale for people knows better.
const U_MIN_KG: f64 = 1e-6;

/// A settled weight at its time.
struct Row {
    t_s: f64,
    kg: f64,
    u_kg: f64,
    after_break: bool,
}

/// Averages the settled weights over blocks; times in the result count from `origin`, which defaults to
/// the first row where `None`.
///
/// # Errors
/// No settled weight; a weight without a wall time; time running backwards; a settled weight that is
/// not a positive number with a positive uncertainty.
pub fn thin(weights: &[Weight], origin: Option<Timestamp>, options: &Options) -> Result<Readings, BalanceError> {
    let times = wall_times(weights, options.start)?;
    let (Some(&first), Some(&last)) = (times.first(), times.last()) else {
        return Err(BalanceError::TooFewWeights { n_rows: 0, needed: 1 });
    };
    let rows = settled(weights, &times, origin.unwrap_or(first))?;
    if rows.is_empty() {
        return Err(BalanceError::TooFewWeights { n_rows: weights.len(), needed: 1 });
    }
    let readings = blocks(&rows, options.block_s, options.correlation_s);
    Ok(Readings { readings, first, last, n_settled: rows.len(), n_rows: weights.len() })
}

fn wall_times(weights: &[Weight], start: Option<Timestamp>) -> Result<Vec<Timestamp>, BalanceError> {
    let mut times: Vec<Timestamp> = Vec::with_capacity(weights.len());
    for (index, weight) in weights.iter().enumerate() {
        let from_start = || start.and_then(|s| s.checked_add(SignedDuration::try_from_secs_f64(weight.t_s).ok()?).ok());
        let time = weight.time.or_else(from_start).ok_or(BalanceError::NoWallTime { t_s: weight.t_s })?;
        if let Some(previous) = times.last().filter(|previous| **previous >= time) {
            let (found, previous) = (time.to_string(), previous.to_string());
            return Err(BalanceError::WeightsNotAscending { index, found, previous });
        }
        times.push(time);
    }
    Ok(times)
}

fn settled(weights: &[Weight], times: &[Timestamp], origin: Timestamp) -> Result<Vec<Row>, BalanceError> {
    let mut rows = Vec::with_capacity(weights.len());
    let mut after_break = true;
    for (weight, &time) in weights.iter().zip(times) {
        if weight.state != State::Settled {
            after_break = true;
            continue;
        }
        let bad = |what, found: Option<f64>, expected| BalanceError::BadWeight {
            time: time.to_string(),
            what,
            found: found.map_or("empty".to_owned(), |value| value.to_string()),
            expected,
        };
        let kg = weight.patient_kg.filter(|kg| (WEIGHT_MIN_KG..=WEIGHT_MAX_KG).contains(kg));
        let u_kg = weight.u_kg.filter(|u_kg| *u_kg >= U_MIN_KG && *u_kg <= WEIGHT_MAX_KG);
        let kg = kg.ok_or_else(|| bad("patient_kg", weight.patient_kg, "a weight of 0.05 to 5000 kg"))?;
        let u_kg = u_kg.ok_or_else(|| bad("u_kg", weight.u_kg, "a standard uncertainty of 0.000001 to 5000 kg"))?;
        rows.push(Row { t_s: time.duration_since(origin).as_secs_f64(), kg, u_kg, after_break });
        after_break = false;
    }
    Ok(rows)
}

fn blocks(rows: &[Row], block_s: f64, correlation_s: f64) -> Vec<Reading> {
    let mut out = Vec::new();
    let mut start = 0;
    let mut previous_end_s = f64::NEG_INFINITY;
    for end in 1..=rows.len() {
        let block_of = |row: &Row| (row.t_s / block_s).floor();
        let closes = end == rows.len() || rows[end].after_break || block_of(&rows[end]) > block_of(&rows[start]);
        if !closes {
            continue;
        }
        let block = &rows[start..end];
        let n = block.len();
        let mean = |of: fn(&Row) -> f64| block.iter().map(of).sum::<f64>() / n as f64;
        let span_s = block[n - 1].t_s - block[0].t_s;
        let gap_s = block[0].t_s - previous_end_s;
        out.push(Reading {
            t_h: mean(|row| row.t_s) / 3600.0,
            mass_g: 1000.0 * mean(|row| row.kg),
            u_g: 1000.0 * mean(|row| row.u_kg),
            n_eff: (1.0 + span_s / (2.0 * correlation_s)).min(n as f64),
            n,
            after_break: block[0].after_break || gap_s > 1.5 * block_s,
        });
        previous_end_s = block[n - 1].t_s;
        start = end;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn weight(t_s: f64, kg: f64, state: State) -> Weight {
        Weight { time: None, t_s, patient_kg: Some(kg), u_kg: Some(0.03), state }
    }

    fn options() -> Options {
        Options { start: Some("2031-03-04T00:00:00Z".parse().unwrap()), ..Options::default() }
    }

    #[test]
    fn ten_minute_weights_stay_as_they_are() {
        let weights: Vec<Weight> = (0..6).map(|i| weight(600.0 * f64::from(i), 70.0, State::Settled)).collect();
        let thinned = thin(&weights, None, &options()).unwrap();
        assert_eq!(thinned.readings.len(), 6);
        assert!(thinned.readings.iter().all(|r| (r.n_eff - 1.0).abs() < 1e-12));
    }

    #[test]
    fn a_block_of_seconds_counts_as_a_handful_of_readings() {
        let weights: Vec<Weight> = (0..600).map(|i| weight(f64::from(i), 70.0, State::Settled)).collect();
        let thinned = thin(&weights, None, &options()).unwrap();
        assert_eq!(thinned.readings.len(), 1);
        // 599 s over two correlation times of 60 s, and one.
        assert!((thinned.readings[0].n_eff - (1.0 + 599.0 / 120.0)).abs() < 1e-9);
    }

    #[test]
    fn no_mean_straddles_care() {
        let mut weights: Vec<Weight> = (0..60).map(|i| weight(f64::from(i), 70.0, State::Settled)).collect();
        weights.extend((60..120).map(|i| weight(f64::from(i), 70.0, State::Held)));
        weights.extend((120..180).map(|i| weight(f64::from(i), 69.6, State::Settled)));
        let thinned = thin(&weights, None, &options()).unwrap();
        assert_eq!(thinned.readings.len(), 2);
        assert!(thinned.readings[1].after_break);
        assert!((thinned.readings[1].mass_g - 69_600.0).abs() < 1e-6);
    }

    #[test]
    fn a_settled_row_without_uncertainty_is_refused() {
        let mut row = weight(0.0, 70.0, State::Settled);
        row.u_kg = None;
        let error = thin(&[row], None, &options()).unwrap_err();
        assert!(error.to_string().contains("u_kg is empty"), "{error}");
    }

    #[test]
    fn rows_without_wall_time_need_a_start() {
        let error = thin(&[weight(3.0, 70.0, State::Settled)], None, &Options::default()).unwrap_err();
        assert_eq!(error, BalanceError::NoWallTime { t_s: 3.0 });
    }
}
