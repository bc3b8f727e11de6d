//! The three charts of one body and what they signal.

use super::{
    CheckChart, CheckError, CheckOptions, CheckPoint, LEAST_CHECKS, RANGE_VARIANCE, SOUND_BASELINE, Signal, SignalKind,
};
use formats::checks::Check;
use stats::control_chart::{AverageOptions, AveragePoint, Individuals, Process, individuals, moving_average};

/// Charts the checks of one body; without trend and term.
pub(super) fn chart(standard: &str, own: &[&Check], options: &CheckOptions) -> Result<CheckChart, CheckError> {
    if own.len() < LEAST_CHECKS {
        return Err(CheckError::TooFew { standard: standard.to_owned(), found: own.len() });
    }
    let wrong = |source| CheckError::Chart { standard: standard.to_owned(), source };
    let baseline = options.baseline.min(own.len());
    let mass_kg = own[0].mass_kg;
    let mean_kg = own[..baseline].iter().map(|c| c.shown_kg).sum::<f64>() / baseline as f64;
    let from_kg = mass_kg.unwrap_or(mean_kg);
    let values: Vec<f64> = own.iter().map(|c| 1000.0 * (c.shown_kg - from_kg)).collect();
    let usual = individuals(&values[..baseline], options.reach).map_err(wrong)?;
    if usual.mean_moving_range == 0.0 {
        let shown_kg = own[0].shown_kg;
        return Err(CheckError::Alike { standard: standard.to_owned(), n: baseline, shown_kg });
    }
    let process = Process { target: usual.limits.centre, sd: usual.sd };
    let settings = AverageOptions { weight: options.weight, reach: options.reach };
    let averages = moving_average(&values, process, settings).map_err(wrong)?;
    let points = points(own, &values, &averages, baseline);
    let mut signals = singles(&points, &usual);
    signals.extend(drifts(&points));
    signals.sort_by_key(|s| s.line);
    Ok(CheckChart {
        standard: standard.to_owned(),
        mass_kg,
        from_kg,
        baseline,
        centre_g: usual.limits.centre,
        sd_g: usual.sd,
        limits_g: [usual.limits.lower, usual.limits.upper],
        range_limit_g: usual.range_limits.upper,
        notes: notes(own.len(), baseline, &signals, &points),
        points,
        signals,
        trend: None,
        due: None,
    })
}

fn points(own: &[&Check], values: &[f64], averages: &[AveragePoint], baseline: usize) -> Vec<CheckPoint> {
    own.iter()
        .zip(averages)
        .enumerate()
        .map(|(i, (check, average))| CheckPoint {
            line: check.line,
            time: check.time.to_string(),
            shown_kg: check.shown_kg,
            value_g: values[i],
            range_g: i.checked_sub(1).map(|before| (values[i] - values[before]).abs()),
            average_g: average.average,
            average_limits_g: [average.limits.lower, average.limits.upper],
            is_baseline: i < baseline,
        })
        .collect()
}

/// Signals of single checks and of steps.
fn singles(points: &[CheckPoint], usual: &Individuals) -> Vec<Signal> {
    let mut signals = Vec::new();
    for point in points {
        let mut note = |kind, text| {
            let (line, time) = (point.line, point.time.clone());
            signals.push(Signal { kind, line, last_line: line, time, text });
        };
        if !usual.limits.holds(point.value_g) {
            note(
                SignalKind::BeyondLimits,
                format!(
                    "this check shows {:+.2} g, usual are {:+.2} to {:+.2} g",
                    point.value_g, usual.limits.lower, usual.limits.upper
                ),
            );
        }
        if let Some(range) = point.range_g.filter(|r| !usual.range_limits.holds(*r)) {
            let text =
                format!("{range:.2} g from the check before, usual are steps up to {:.2} g", usual.range_limits.upper);
            note(SignalKind::Jump, text);
        }
    }
    signals
}

/// Side of its limits that a moving average lies on: −1, 0 or 1.
fn side(point: &CheckPoint) -> i8 {
    let [low, high] = point.average_limits_g;
    i8::from(point.average_g > high) - i8::from(point.average_g < low)
}

/// Signals of the moving average: a stretch outside its limits is one signal.
fn drifts(points: &[CheckPoint]) -> Vec<Signal> {
    points
        .chunk_by(|a, b| side(a) == side(b))
        .filter_map(|stretch| {
            let (first, last) = (stretch.first()?, stretch.last()?);
            let word = match side(first) {
                1 => "above",
                -1 => "below",
                _ => return None,
            };
            let count = match stretch.len() {
                1 => "this check".to_owned(),
                n => format!("these {n} checks, up to line {},", last.line),
            };
            Some(Signal {
                kind: SignalKind::Drifted,
                line: first.line,
                last_line: last.line,
                time: first.time.clone(),
                text: format!(
                    "the moving average of {count} lies {word} its limits ({:+.2} g at last, limits {:+.2} to {:+.2} g)",
                    last.average_g, last.average_limits_g[0], last.average_limits_g[1]
                ),
            })
        })
        .collect()
}

fn notes(n: usize, baseline: usize, signals: &[Signal], points: &[CheckPoint]) -> Vec<String> {
    let mut notes = Vec::new();
    if baseline < SOUND_BASELINE {
        notes.push(format!(
            "The limits come from {baseline} checks and are themselves known to about {:.0} %; {SOUND_BASELINE} to 20 make them firm.",
            100.0 * (RANGE_VARIANCE / baseline as f64).sqrt()
        ));
    }
    if n == baseline {
        notes.push("All checks belong to the baseline: the next ones are held against it.".into());
    }
    let last_of_baseline = points[baseline - 1].line;
    if signals.iter().any(|s| s.line <= last_of_baseline) {
        notes.push(
            "The baseline itself has a signal: find out why, and set the limits anew from checks without it.".into(),
        );
    }
    notes
}
