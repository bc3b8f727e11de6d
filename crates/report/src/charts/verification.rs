//! The rows of a test inside their limits.

use verify::{Permissible, Row, TestReport};

use crate::number::{fixed, significant};
use crate::svg::xy_chart::{Level, Series, XyChart};
use crate::svg::{Axis, Ink, Mark};

/// Rows that stand side by side with a name of their own; more are numbered.
const MOST_NAMES: usize = 30;
/// Half length of the dash that marks the limit of one row, share of the axis.
const DASH: f64 = 0.012;
/// Inks of the parts of a test.
const INKS: [Ink; 4] = [Ink::Main, Ink::Second, Ink::Third, Ink::Quiet];

/// A test's name for a heading.
#[must_use]
pub fn test_name(test: &str) -> &'static str {
    match test {
        "weighing" => "Weighing performance",
        "eccentricity" => "Eccentricity",
        "repeatability" => "Repeatability",
        "discrimination" => "Discrimination",
        "zero" => "Zero setting",
        "tare" => "Tare",
        "creep" => "Creep",
        "zero_return" => "Zero return",
        "tilt" => "Tilt",
        "temperature" => "Temperature",
        _ => "Test",
    }
}

/// What is judged of each row, over what the test varies, with its limits.
///
/// `permissible` are the bands of the permissible error, for the tests that are judged by them over the load.
#[must_use]
pub fn of_test(test: &TestReport, permissible: &[Permissible]) -> XyChart {
    let along = Along::of(test);
    let (worst, limit) = (fixed(test.worst_error_g, 1), fixed(test.limit_g, 1));
    let mut chart = XyChart::new(
        format!("{}: rows inside their limits", test_name(test.test)),
        match test.rows.len() {
            1 => format!("One row: {worst} g against a limit of {limit} g. Judged: {}.", test.judged),
            n => format!("{n} rows; the worst is {worst} g against a limit of {limit} g. Judged: {}.", test.judged),
        },
        along.axis(test),
        Axis::linear(up_label(test.test)),
    );
    for (i, part) in parts(test).into_iter().enumerate() {
        let rows: Vec<(f64, &Row)> =
            test.rows.iter().enumerate().filter(|(_, r)| r.part == part).map(|(k, r)| (along.at(r, k), r)).collect();
        let ink = INKS[i.min(INKS.len() - 1)];
        let mark = if i == 0 { Mark::Points } else { Mark::OpenPoints };
        let name = if part.is_empty() { "reading" } else { part };
        let points = rows.iter().map(|(x, r)| [*x, r.judged_g]).collect();
        chart.series.push(Series::new(name, ink, mark, points));
    }
    if matches!(along, Along::Load) && test.test == "weighing" {
        chart.series.extend(bands(permissible));
    } else {
        limits(&mut chart, test, &along);
    }
    chart
}

/// What the rows of a test are laid out along.
enum Along {
    Load,
    Minutes,
    Tilt,
    Temperature,
    /// One after the other.
    Rows,
}

impl Along {
    fn of(test: &TestReport) -> Self {
        match test.test {
            "weighing" | "discrimination" | "tare" => Self::Load,
            "creep" => Self::Minutes,
            "tilt" => Self::Tilt,
            "temperature" => Self::Temperature,
            _ => Self::Rows,
        }
    }

    fn at(&self, row: &Row, index: usize) -> f64 {
        match self {
            Self::Load => row.load_kg,
            Self::Minutes => row.minutes.unwrap_or(f64::NAN),
            Self::Tilt => row.tilt_deg.unwrap_or(f64::NAN),
            Self::Temperature => row.temperature_c.unwrap_or(f64::NAN),
            Self::Rows => place(index),
        }
    }

    fn axis(&self, test: &TestReport) -> Axis {
        match self {
            Self::Load => Axis::linear("load, kg"),
            Self::Minutes => Axis::linear("time under load, min"),
            Self::Tilt => Axis::linear("tilt, °"),
            Self::Temperature => Axis::linear("temperature, °C"),
            Self::Rows if test.rows.len() <= MOST_NAMES => {
                Axis::named("reading, in the order of the file", test.rows.iter().map(row_name))
            }
            Self::Rows => Axis::linear("reading, in the order of the file"),
        }
    }
}

fn row_name(row: &Row) -> String {
    let kg = format!("{} kg", significant(row.load_kg, 4));
    match (&row.plate, row.step.as_str()) {
        (Some(plate), _) => plate.clone(),
        (None, "") => kg,
        (None, step) if row.load_kg > 0.0 => format!("{step} · {kg}"),
        (None, step) => step.to_owned(),
    }
}

fn up_label(test: &str) -> &'static str {
    match test {
        "repeatability" => "above the lowest of its load, g",
        "discrimination" => "additional load or shortfall, g",
        "creep" | "zero_return" | "tilt" => "change of the indication, g",
        "temperature" => "error or change, g",
        _ => "error, g",
    }
}

/// What is judged has no sign: a limit below zero would say nothing.
fn one_sided(test: &str) -> bool {
    matches!(test, "repeatability" | "discrimination")
}

fn parts(test: &TestReport) -> Vec<&'static str> {
    let mut parts: Vec<&'static str> = Vec::new();
    for row in &test.rows {
        if !parts.contains(&row.part) {
            parts.push(row.part);
        }
    }
    parts
}

/// Limits over the load, each up to the upper end of its band.
fn bands(permissible: &[Permissible]) -> Vec<Series> {
    let edge = |sign: f64| -> Vec<[f64; 2]> {
        let first = permissible.first().map(|p| [0.0, sign * p.limit_g]);
        first.into_iter().chain(permissible.iter().map(|p| [p.up_to_kg, sign * p.limit_g])).collect()
    };
    vec![
        Series::new("permissible error", Ink::Limit, Mark::StepsUpTo, edge(1.0)),
        Series::new("", Ink::Limit, Mark::StepsUpTo, edge(-1.0)),
    ]
}

/// One line right across where all rows of a part have one limit, else a dash at each row.
fn limits(chart: &mut XyChart, test: &TestReport, along: &Along) {
    let parts = parts(test);
    let signs: &[f64] = if one_sided(test.test) { &[1.0] } else { &[1.0, -1.0] };
    let xs: Vec<f64> = test.rows.iter().enumerate().map(|(k, r)| along.at(r, k)).collect();
    let (low, high) = xs.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), x| (l.min(*x), h.max(*x)));
    let half = match along {
        Along::Rows => 0.35,
        _ if high > low => DASH * (high - low),
        _ => 0.5,
    };
    let mut dashes: [Vec<[f64; 2]>; 2] = [Vec::new(), Vec::new()];
    for part in &parts {
        let rows: Vec<(f64, &Row)> = xs.iter().copied().zip(&test.rows).filter(|(_, r)| r.part == *part).collect();
        let first_g = rows.first().map_or(0.0, |(_, r)| r.limit_g);
        if rows.iter().all(|(_, r)| (r.limit_g - first_g).abs() <= 1e-9 * first_g.abs()) {
            let sign = if one_sided(test.test) { "" } else { "± " };
            let of = if parts.len() > 1 { format!(", {part}") } else { String::new() };
            for (i, sign_of) in signs.iter().enumerate() {
                let name =
                    if i == 0 { format!("limit {sign}{} g{of}", significant(first_g, 3)) } else { String::new() };
                chart.levels.push(Level::limit(name, sign_of * first_g));
            }
        } else {
            for (x, row) in &rows {
                for (i, sign) in signs.iter().enumerate() {
                    let g = sign * row.limit_g;
                    dashes[i].extend([[x - half, g], [x + half, g], [f64::NAN, g]]);
                }
            }
        }
    }
    for (i, dash) in dashes.into_iter().enumerate().filter(|(_, d)| !d.is_empty()) {
        let name = if i == 0 { "limit of the reading" } else { "" };
        chart.series.push(Series::new(name, Ink::Limit, Mark::Line, dash));
    }
}

/// Places of rows one after the other, from 1 as the names of an axis.
#[expect(clippy::cast_precision_loss, reason = "rows of a file are far below 2^52")]
fn place(index: usize) -> f64 {
    (index + 1) as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(part: &'static str, load_kg: f64, judged_g: f64, limit_g: f64) -> Row {
        Row {
            line: 2,
            step: "1".into(),
            part,
            plate: None,
            at_mm: None,
            load_kg,
            indication_kg: load_kg,
            added_g: None,
            minutes: Some(5.0),
            temperature_c: Some(20.0),
            tilt_deg: Some(10.0),
            error_g: judged_g,
            judged_g,
            limit_g,
            passed: true,
        }
    }

    fn test(name: &'static str, rows: Vec<Row>) -> TestReport {
        TestReport {
            test: name,
            worst_error_g: 1.0,
            limit_g: 50.0,
            passed: true,
            judged: "error",
            rows,
            gaps: vec![],
            rules: vec![],
        }
    }

    #[test]
    fn limits_of_weighing_step_where_the_bands_end() {
        let bands = [Permissible { up_to_kg: 50.0, limit_g: 50.0 }, Permissible { up_to_kg: 200.0, limit_g: 100.0 }];
        let chart = of_test(&test("weighing", vec![row("", 60.0, 5.0, 100.0)]), &bands);
        let upper = &chart.series[1];
        assert_eq!(
            (upper.mark, &upper.points[..]),
            (Mark::StepsUpTo, &[[0.0, 50.0], [50.0, 50.0], [200.0, 100.0]][..])
        );
    }

    #[test]
    fn every_kind_has_a_chart_with_all_its_rows_and_limits() {
        for kind in [
            "weighing",
            "eccentricity",
            "repeatability",
            "discrimination",
            "zero",
            "tare",
            "creep",
            "zero_return",
            "tilt",
            "temperature",
        ] {
            let rows = vec![row("a", 0.0, 1.0, 25.0), row("b", 50.0, -2.0, 50.0), row("b", 60.0, 3.0, 100.0)];
            let bands = [Permissible { up_to_kg: 200.0, limit_g: 50.0 }];
            let chart = of_test(&test(kind, rows), &bands);
            let points: Vec<[f64; 2]> =
                chart.series.iter().filter(|s| s.ink != Ink::Limit).flat_map(|s| s.points.clone()).collect();
            assert_eq!(points.len(), 3, "{kind}");
            assert!(points.iter().flatten().all(|v| v.is_finite()));
            let limits = chart.levels.len() + chart.series.iter().filter(|s| s.ink == Ink::Limit).count();
            assert!(limits >= if one_sided(kind) { 1 } else { 2 }, "{kind}: {chart:?}");
            assert_ne!(test_name(kind), "Test");
            assert!(!chart.svg().contains("NaN"));
        }
    }

    /// A part of one limit gets a line across, a part of several a dash a row.
    #[test]
    fn one_limit_is_a_line_and_several_are_dashes() {
        let rows = vec![
            row("tare setting", 0.0, 1.0, 25.0),
            row("net load", 10.0, 1.0, 50.0),
            row("net load", 90.0, 1.0, 100.0),
        ];
        let chart = of_test(&test("tare", rows), &[]);
        let names: Vec<&str> = chart.levels.iter().map(|l| l.name.as_str()).collect();
        assert_eq!(names, ["limit ± 25.0 g, tare setting", ""]);
        let dashes = chart.series.iter().find(|s| s.name == "limit of the reading").unwrap();
        assert_eq!(dashes.points.len(), 6);
    }
}
