//! Checks of a body over their number: single checks inside their limits, and their moving average inside its own.

use calibrate::checks::{CheckChart, CheckPoint, SignalKind};

use crate::number::{decimals_for, fixed};
use crate::svg::xy_chart::{Across, Band, Level, Series, XyChart};
use crate::svg::{Axis, Ink, Mark};

/// Shewhart's chart: every check, centre and limits.
#[must_use]
pub fn single_checks(chart: &CheckChart) -> XyChart {
    let decimals = decimals_for(chart.sd_g);
    let mut drawn = XyChart::new(
        format!("{}: single checks", chart.standard),
        format!(
            "{} checks, centre {} g, limits {} and {} g.",
            chart.points.len(),
            fixed(chart.centre_g, decimals),
            fixed(chart.limits_g[0], decimals),
            fixed(chart.limits_g[1], decimals)
        ),
        along(chart),
        Axis::linear(up(chart, "")),
    );
    drawn.levels = vec![
        Level { name: "centre".into(), ink: Ink::Second, mark: Mark::Line, at: Across::Y(chart.centre_g) },
        Level::limit("limits", chart.limits_g[1]),
        Level::limit("", chart.limits_g[0]),
    ];
    if chart.points.len() > chart.baseline {
        let end = chart.baseline as f64 + 0.5;
        drawn.levels.push(Level {
            name: "end of the baseline".into(),
            ink: Ink::Quiet,
            mark: Mark::Dashed,
            at: Across::X(end),
        });
    }
    let value = |p: &CheckPoint| p.value_g;
    drawn.series.push(Series::new("check", Ink::Main, Mark::PointsAndLine, numbered(chart, value)));
    mark(&mut drawn, chart, &[SignalKind::BeyondLimits, SignalKind::Jump], value);
    drawn
}

/// The exponentially weighted moving average inside its own limits.
#[must_use]
pub fn moving_average(chart: &CheckChart) -> XyChart {
    let mut drawn = XyChart::new(
        format!("{}: moving average", chart.standard),
        format!("The moving average of {} checks inside limits that widen until they settle.", chart.points.len()),
        along(chart),
        Axis::linear(up(chart, "moving average of the ")),
    );
    let numbers: Vec<f64> = (1..=chart.points.len()).map(|i| i as f64).collect();
    drawn.bands.push(Band {
        name: "limits".into(),
        ink: Ink::Limit,
        x: numbers,
        low: chart.points.iter().map(|p| p.average_limits_g[0]).collect(),
        high: chart.points.iter().map(|p| p.average_limits_g[1]).collect(),
    });
    let centre = Across::Y(chart.centre_g);
    drawn.levels.push(Level { name: "centre".into(), ink: Ink::Second, mark: Mark::Line, at: centre });
    let value = |p: &CheckPoint| p.average_g;
    drawn.series.push(Series::new("moving average", Ink::Main, Mark::PointsAndLine, numbered(chart, value)));
    mark(&mut drawn, chart, &[SignalKind::Drifted], value);
    drawn
}

fn along(chart: &CheckChart) -> Axis {
    Axis::linear("check, in the order of time").between(0.0, chart.points.len() as f64 + 1.0)
}

fn up(chart: &CheckChart, of: &str) -> String {
    let what = if chart.mass_kg.is_some() { "error" } else { "difference from the mean of the baseline" };
    format!("{of}{what}, g")
}

fn numbered(chart: &CheckChart, value: impl Fn(&CheckPoint) -> f64) -> Vec<[f64; 2]> {
    chart.points.iter().enumerate().map(|(i, p)| [i as f64 + 1.0, value(p)]).collect()
}

/// Crosses over the points that a signal of those kinds names.
fn mark(drawn: &mut XyChart, chart: &CheckChart, kinds: &[SignalKind], value: impl Fn(&CheckPoint) -> f64) {
    let named = |p: &CheckPoint| {
        chart.signals.iter().any(|s| kinds.contains(&s.kind) && (s.line..=s.last_line).contains(&p.line))
    };
    let points: Vec<[f64; 2]> =
        chart.points.iter().enumerate().filter(|(_, p)| named(p)).map(|(i, p)| [i as f64 + 1.0, value(p)]).collect();
    if !points.is_empty() {
        drawn.series.push(Series::new("signal", Ink::Limit, Mark::Points, points));
    }
}
