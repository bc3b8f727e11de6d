//! The verification page: errors inside their limits, each test, agreement with a standard.

use maud::{Markup, html};
use report::number::{fixed, significant};
use verify::{AgreeReport, VerifyReport};

use crate::layout::{self, PLACES, headline, panel, signs, table, verdict};
use crate::plot::{Coordinate, Ink, Mark, Plot, Series, figure};

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
pub fn verification(report: &VerifyReport, pairs: &[PairPoint], agreement: &AgreeReport) -> Markup {
    let failed = report.tests.iter().filter(|t| !t.passed).count();
    layout::page(
        PLACES[3],
        &report.deck,
        &html! {
            div.headlines {
                (headline("Class and interval", &format!("{}, e = {}", report.class, significant(report.e_g, 3)), "g", &format!("Max {} kg", significant(report.max_kg, 4))))
                (headline("Kinds of test", &report.tests.len().to_string(), "", &if failed == 0 { "each within its limits".to_owned() } else { format!("{failed} outside their limits") }))
                @if let Some(d) = report.deviation_pct {
                    (headline("Deviation", &significant(d.mean, 2), "%", &format!("on average; {} % at most", significant(d.max, 2))))
                }
                (headline("Bias against a standard", &fixed(agreement.bias * 1000.0, 0), "g", &format!("SD {} g over {} pairs", fixed(agreement.sd * 1000.0, 0), agreement.n)))
            }
            (panel("Errors inside their limits", &errors(report)))
            (panel("Each kind of test", &tests(report)))
            (panel("Agreement with a standard", &differences(pairs, agreement)))
            (panel("What this is", &html! {
                p { (report.statement) }
                p { (report.edition) }
                @if !report.not_tested.is_empty() { p { "Not tested: " (report.not_tested.join(", ")) "." } }
            }))
        },
    )
}

fn errors(report: &VerifyReport) -> Markup {
    let inks = [Ink::Main, Ink::Second, Ink::Third];
    let shown = ["weighing", "eccentricity", "repeatability"];
    let mut series = Vec::new();
    for (i, test) in report.tests.iter().filter(|t| shown.contains(&t.test)).enumerate() {
        series.push(Series {
            name: test.test.to_owned(),
            ink: inks[i % inks.len()],
            mark: Mark::Points,
            x: test.rows.iter().map(|r| r.load_kg.into()).collect(),
            y: test.rows.iter().map(|r| Some(r.error_g)).collect(),
            half: None,
            text: Some(
                test.rows
                    .iter()
                    .map(|r| {
                        let plate = r.plate.as_deref().map(|p| format!(" on {p}")).unwrap_or_default();
                        format!(
                            "{} kg{plate}: error {} g, limit ± {} g",
                            significant(r.load_kg, 4),
                            fixed(r.error_g, 1),
                            fixed(r.limit_g, 0)
                        )
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
                name: if sign > 0.0 { "limit".into() } else { "limit, below".into() },
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
        x_title: "load, kg".into(),
        y_title: "error of the indication, g".into(),
        x_is_time: false,
        y_range: None,
        bands: vec![],
        series,
    };
    figure(
        "errors",
        "Error of each reading over its load, with the limits of the weighing test. Hover for the plate and the limit of a reading.",
        &plot,
    )
}

fn tests(report: &VerifyReport) -> Markup {
    let rows: Vec<Vec<Markup>> = report
        .tests
        .iter()
        .map(|t| {
            vec![
                html! { (t.test.replace('_', " ")) },
                html! { (t.rows.len()) },
                html! { (fixed(t.worst_error_g, 1)) },
                html! { (fixed(t.limit_g, 1)) },
                verdict(t.passed),
                html! { span.left { (t.judged) } },
            ]
        })
        .collect();
    let gaps: Vec<String> =
        report.tests.iter().flat_map(|t| t.gaps.iter().map(|g| format!("{}: {g}", t.test))).collect();
    html! {
        (table("The worst row of each kind of test, in relation to its limit", &["test", "rows", "worst, g", "limit, g", "verdict", "<what is judged"], &rows))
        @if !gaps.is_empty() {
            h3 { "What the recommendation asks and the rows do not show" }
            ul.plain { @for gap in &gaps { li { (gap) } } }
        }
    }
}

fn differences(pairs: &[PairPoint], agreement: &AgreeReport) -> Markup {
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
        x_title: "mean of both, kg".into(),
        y_title: "deck − standard, g".into(),
        x_is_time: false,
        y_range: None,
        bands: vec![],
        series: vec![
            Series {
                name: "pair".into(),
                ink: Ink::Main,
                mark: Mark::Points,
                x: means.iter().map(|m| (*m).into()).collect(),
                y: pairs.iter().map(|p| Some(1000.0 * (p.method - p.reference))).collect(),
                half: None,
                text: None,
            },
            level("bias", agreement.bias, Ink::Second, Mark::Line),
            level("upper limit of agreement", agreement.limits[1], Ink::Limit, Mark::Dashed),
            level("lower limit of agreement", agreement.limits[0], Ink::Limit, Mark::Dashed),
        ],
    };
    html! {
        (figure("agreement", &signs(&format!(
            "Difference of each pair over its mean. Bias {} g; 95 % of differences between {} and {} g (Bland and Altman).",
            fixed(1000.0 * agreement.bias, 0), fixed(1000.0 * agreement.limits[0], 0), fixed(1000.0 * agreement.limits[1], 0)
        )), &plot))
    }
}
