//! The verification page: errors inside their limits, each test, agreement with a standard.

use maud::{Markup, html};
use report::charts::test_name;
use report::number::{fixed, significant};
use verify::{AgreeReport, VerifyReport};

use crate::layout::{self, PLACES, headline, panel, signs, standing, table};
use crate::plot::{Coordinate, Ink, Mark, Plot, Series, figure};
use crate::words::Reader;

/// One pair for the plot of differences.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PairPoint {
    /// The reference method.
    pub reference: f64,
    /// The method under test.
    pub method: f64,
}

/// The page of `verify` and `agree`.
#[must_use]
pub fn verification(reader: Reader, report: &VerifyReport, pairs: &[PairPoint], agreement: &AgreeReport) -> Markup {
    let failed = report.tests.iter().filter(|t| !t.passed).count();
    let within = match (failed, report.incomplete()) {
        (0, 0) => reader.say("each within its limits").to_owned(),
        (0, open) => reader.fill("each within its limits; {} not complete", [&open.to_string()]),
        (failed, _) => reader.fill("{} outside their limits", [&failed.to_string()]),
    };
    layout::page(
        reader,
        PLACES[3],
        &report.deck,
        &html! {
            div.headlines {
                (headline(reader.say("Class and interval"), &format!("{}, e = {}", report.class, significant(report.e_g, 3)), "g", &format!("Max {} kg", significant(report.max_kg, 4))))
                (headline(reader.say("Kinds of test"), &report.tests.len().to_string(), "", &within))
                @if let Some(d) = report.deviation_pct {
                    (headline(reader.say("Deviation"), &significant(d.mean, 2), "%", &reader.fill("on average; {} % at most", [&significant(d.max, 2)])))
                }
                (headline(reader.say("Bias against a standard"), &fixed(agreement.bias * 1000.0, 0), "g", &reader.fill("SD {} g over {} pairs", [&fixed(agreement.sd * 1000.0, 0), &agreement.n.to_string()])))
            }
            (panel(reader.say("Errors inside their limits"), &errors(reader, report)))
            (panel(reader.say("Each kind of test"), &tests(reader, report)))
            (panel(reader.say("Agreement with a standard"), &differences(reader, pairs, agreement)))
            (panel(reader.say("What this is"), &html! {
                p { (reader.stage(report.statement)) }
                p { (reader.stage(report.edition)) }
                @if !report.not_tested.is_empty() { p { (reader.say("Not tested:")) " " (report.not_tested.iter().map(|t| name(reader, t)).collect::<Vec<_>>().join(", ")) "." } }
            }))
        },
    )
}

/// A kind of test, for the middle of a sentence or table.
fn name(reader: Reader, test: &str) -> String {
    reader.stage(test_name(test))
}

fn errors(reader: Reader, report: &VerifyReport) -> Markup {
    let inks = [Ink::Main, Ink::Second, Ink::Third];
    let shown = ["weighing", "eccentricity", "repeatability"];
    let mut series = Vec::new();
    for (i, test) in report.tests.iter().filter(|t| shown.contains(&t.test)).enumerate() {
        series.push(Series {
            name: name(reader, test.test),
            ink: inks[i % inks.len()],
            mark: Mark::Points,
            x: test.rows.iter().map(|r| r.load_kg.into()).collect(),
            y: test.rows.iter().map(|r| Some(r.error_g)).collect(),
            half: None,
            text: Some(
                test.rows
                    .iter()
                    .map(|r| {
                        let plate =
                            r.plate.as_deref().map(|p| format!(" {} {p}", reader.say("on plate"))).unwrap_or_default();
                        reader.signs(&reader.fill(
                            "{} kg{}: error {} g, limit ± {} g",
                            [&significant(r.load_kg, 4), &plate, &fixed(r.error_g, 1), &fixed(r.limit_g, 1)],
                        ))
                    })
                    .collect(),
            ),
        });
    }
    if let Some(weighing) = report.tests.iter().find(|t| t.test == "weighing") {
        let mut edge: Vec<(f64, f64)> = weighing.rows.iter().map(|r| (r.load_kg, r.limit_g)).collect();
        edge.sort_by(|a, b| a.0.total_cmp(&b.0));
        for sign in [1.0, -1.0] {
            series.push(Series {
                // One name for both edges.
                name: if sign > 0.0 { reader.say("limit").into() } else { String::new() },
                ink: Ink::Limit,
                mark: Mark::LimitSteps,
                x: edge.iter().map(|(kg, _)| (*kg).into()).collect(),
                y: edge.iter().map(|(_, g)| Some(sign * g)).collect(),
                half: None,
                text: None,
            });
        }
    }
    let plot = Plot {
        x_title: reader.say("load, kg").into(),
        y_title: reader.say("error of the indication, g").into(),
        x_is_time: false,
        y_range: None,
        bands: vec![],
        series,
    };
    figure(
        reader,
        "errors",
        reader.say("Error of each reading over its load, with the limits of the weighing test. Hover for the plate and the limit of a reading."),
        &plot,
    )
}

fn tests(reader: Reader, report: &VerifyReport) -> Markup {
    let rows: Vec<Vec<Markup>> = report
        .tests
        .iter()
        .map(|t| {
            vec![
                html! { (name(reader, t.test)) },
                standing(reader, t.standing()),
                html! { (t.rows.len()) },
                html! { (fixed(t.worst_error_g, 1)) },
                html! { (fixed(t.limit_g, 1)) },
                html! { span.left { (reader.stage(t.judged)) } },
            ]
        })
        .collect();
    let gaps: Vec<String> = report
        .tests
        .iter()
        .flat_map(|t| t.gaps.iter().map(|g| format!("{}: {}", name(reader, t.test), reader.stage(g))))
        .collect();
    html! {
        (table(reader.say("The worst row of each kind of test, in relation to its limit"), &[reader.say("test"), reader.say("verdict"), reader.say("rows"), reader.say("worst, g"), reader.say("limit, g"), reader.say("<what is judged")], &rows))
        @if !gaps.is_empty() {
            h3 { (reader.say("What the recommendation asks and the rows do not show")) }
            ul.plain { @for gap in &gaps { li { (gap) } } }
        }
    }
}

fn differences(reader: Reader, pairs: &[PairPoint], agreement: &AgreeReport) -> Markup {
    let means: Vec<f64> = pairs.iter().map(|p| f64::midpoint(p.reference, p.method)).collect();
    let (low, high) = means.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), m| (l.min(*m), h.max(*m)));
    let level = |name: &str, at_kg: f64, ink, mark| Series {
        name: name.to_owned(),
        ink,
        mark,
        x: vec![Coordinate::Number(low), Coordinate::Number(high)],
        y: vec![Some(1000.0 * at_kg); 2],
        half: None,
        text: None,
    };
    let plot = Plot {
        x_title: reader.say("mean of both, kg").into(),
        y_title: reader.say("deck − standard, g").into(),
        x_is_time: false,
        y_range: None,
        bands: vec![],
        series: vec![
            Series {
                name: reader.say("pair").into(),
                ink: Ink::Main,
                mark: Mark::Points,
                x: means.iter().map(|m| (*m).into()).collect(),
                y: pairs.iter().map(|p| Some(1000.0 * (p.method - p.reference))).collect(),
                half: None,
                text: None,
            },
            level(reader.say("bias"), agreement.bias, Ink::Second, Mark::Line),
            level(reader.say("upper limit of agreement"), agreement.limits[1], Ink::Limit, Mark::Dashed),
            level(reader.say("lower limit of agreement"), agreement.limits[0], Ink::Limit, Mark::Dashed),
        ],
    };
    html! {
        (figure(reader, "agreement", &signs(&reader.fill(
            "Difference of each pair over its mean. Bias {} g; 95 % of differences between {} and {} g (Bland and Altman).",
            [&fixed(1000.0 * agreement.bias, 0), &fixed(1000.0 * agreement.limits[0], 0), &fixed(1000.0 * agreement.limits[1], 0)]
        )), &plot))
    }
}
