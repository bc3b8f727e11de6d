//! Two methods on the same subjects: differences over means, and one method over the other.

use formats::pairs::Pair;
use verify::AgreeReport;

use crate::number::{decimals_for, fixed};
use crate::svg::xy_chart::{Across, Band, Level, Series, XyChart};
use crate::svg::{Axis, Ink, Mark};

/// Difference of each pair over its mean, with bias, limits of agreement and their 95 % intervals.
///
/// Source: Bland & Altman, Lancet 1986;i:307–310.
#[must_use]
pub fn differences(pairs: &[Pair], report: &AgreeReport, unit: &str) -> XyChart {
    let decimals = decimals_for(report.sd);
    let said = |v: f64| fixed(v, decimals);
    let mut chart = XyChart::new(
        "Difference of each pair over its mean",
        format!(
            "{} pairs. Bias {}; limits of agreement {} and {}.",
            report.n,
            said(report.bias),
            said(report.limits[0]),
            said(report.limits[1])
        ),
        Axis::linear(label("mean of both", unit)),
        Axis::linear(label("method − reference", unit)),
    );
    let point = |p: &Pair| [f64::midpoint(p.reference, p.method), p.method - p.reference];
    chart.series.push(Series::new("pair", Ink::Main, Mark::OpenPoints, pairs.iter().map(point).collect()));
    let means = pairs.iter().map(|p| f64::midpoint(p.reference, p.method));
    let (low, high) = means.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), m| (l.min(m), h.max(m)));
    let across = |name: &str, ink, ends: [f64; 2]| Band {
        name: name.to_owned(),
        ink,
        x: vec![low, high],
        low: vec![ends[0]; 2],
        high: vec![ends[1]; 2],
    };
    chart.bands = vec![
        across("95 % interval of a limit", Ink::Limit, report.limits_ci[0]),
        across("", Ink::Limit, report.limits_ci[1]),
        across("95 % interval of the bias", Ink::Second, report.bias_ci),
    ];
    let level = |name: &str, ink, mark, at| Level { name: name.to_owned(), ink, mark, at: Across::Y(at) };
    chart.levels = vec![
        level("bias", Ink::Second, Mark::Line, report.bias),
        level("limits of agreement", Ink::Limit, Mark::Dashed, report.limits[1]),
        level("", Ink::Limit, Mark::Dashed, report.limits[0]),
    ];
    if let Some(line) = report.proportional.filter(|line| line.p < 0.05) {
        let at = Across::Line { slope: line.slope, intercept: line.intercept };
        chart.levels.push(Level { name: "bias that changes with size".into(), ink: Ink::Third, mark: Mark::Line, at });
    }
    chart
}

/// The method over the reference, with the line of identity and the lines with errors in both.
#[must_use]
pub fn identity(pairs: &[Pair], report: &AgreeReport, unit: &str) -> XyChart {
    let mut chart = XyChart::new(
        "Method over reference",
        "Each pair, the line on which both are equal, and the lines with errors in both methods.",
        Axis::linear(label("reference", unit)),
        Axis::linear(label("method", unit)),
    );
    let points = pairs.iter().map(|p| [p.reference, p.method]).collect();
    chart.series.push(Series::new("pair", Ink::Main, Mark::OpenPoints, points));
    let line = |name: &str, ink, slope, intercept| Level {
        name: name.to_owned(),
        ink,
        mark: Mark::Line,
        at: Across::Line { slope, intercept },
    };
    chart.levels.push(line("both equal", Ink::Quiet, 1.0, 0.0));
    if let Some(deming) = &report.deming {
        chart.levels.push(line("errors in both (Deming)", Ink::Second, deming.slope, deming.intercept));
    }
    if let Some(ranks) = &report.passing_bablok {
        chart.levels.push(line("by ranks (Passing–Bablok)", Ink::Third, ranks.slope, ranks.intercept));
    }
    chart
}

fn label(words: &str, unit: &str) -> String {
    format!("{words}, {unit}")
}
