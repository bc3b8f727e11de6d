//! How sure a weight and a change of it are: budgets, draws beside them, postures, and what to improve.

use ::design::Assumptions;
use ::design::report::{BudgetRow, ByLoad, CheckReport, MonteCarloRow};
use formats::deck::Deck;
use maud::{Markup, PreEscaped, html};
use report::number::{fixed, significant};
use report::svg::bars::{BarChart, BarRow};
use report::svg::xy_chart::{Across, Level, Series, XyChart};
use report::svg::{Axis, Ink, Mark};

use crate::document::Section;
use crate::layout::table;

/// Sources that stand in the charts.
const SHOWN_IN_CHART: usize = 3;
const SHOWN_IN_TORNADO: usize = 9;

/// The sections of this part.
pub(super) fn sections(deck: &Deck, report: &CheckReport) -> Vec<Section> {
    vec![
        Section::new("Budget of a weight", weight(report)),
        Section::new("Budget of a change", change(report)),
        Section::new("What to improve first", improvements(report)),
        Section::new("The patient's posture", postures(report)),
        Section::new("What the budget takes for granted", assumptions(deck)),
    ]
}

/// `u / drawn` of every source under a heading for each load or time.
fn sources(caption: &str, unit: &str, rows: &[BudgetRow], last: Vec<Vec<Markup>>) -> Markup {
    let Some(first) = rows.first() else {
        return html! { p { "No source of error has anything to say." } };
    };
    let head: Vec<String> = std::iter::once("source".to_owned())
        .chain(first.u_g.0.iter().map(|(at, _)| format!("{} {unit}", significant(*at, 3))))
        .collect();
    let head: Vec<&str> = head.iter().map(String::as_str).collect();
    let mut body: Vec<Vec<Markup>> = rows
        .iter()
        .map(|row| {
            let mut cells = vec![html! { (row.source) div.kind { (row.kind) } }];
            for ((_, u), (_, drawn)) in row.u_g.0.iter().zip(&row.drawn_u_g.0) {
                cells.push(html! { (fixed(*u, 1)) " / " (fixed(*drawn, 1)) });
            }
            cells
        })
        .collect();
    body.extend(last);
    table(caption, &head, &body)
}

fn total(name: &str, values: impl Iterator<Item = String>) -> Vec<Markup> {
    std::iter::once(html! { strong { (name) } }).chain(values.map(|v| html! { strong { (v) } })).collect()
}

fn weight(report: &CheckReport) -> Markup {
    let combined = report.expanded_u_g.0.iter().zip(&report.monte_carlo);
    let last = vec![
        total("combined", combined.map(|((_, u), row)| format!("{} / {}", fixed(u / 2.0, 1), fixed(row.u_g, 1)))),
        total("expanded, k = 2", report.expanded_u_g.0.iter().map(|(_, u)| fixed(*u, 1))),
    ];
    let rows: Vec<(String, &MonteCarloRow, f64)> = report
        .monte_carlo
        .iter()
        .zip(&report.expanded_u_g.0)
        .map(|(row, (kg, expanded))| (format!("{} kg", significant(*kg, 3)), row, expanded / 2.0))
        .collect();
    html! {
        figure {
            div.scroll { (PreEscaped(chart(report))) }
            figcaption { "Standard uncertainty of one weight over the load: all sources together, and the three largest at max." }
        }
        (sources(
            "Standard uncertainty by source, g: sum of variances (JCGM 100) / drawn from the distributions (JCGM 101, 50 000 draws a source)",
            "kg", &report.budget, last,
        ))
        (draws(&rows))
    }
}

/// The two ways to the interval of 95 %.
fn draws(rows: &[(String, &MonteCarloRow, f64)]) -> Markup {
    let body: Vec<Vec<Markup>> = rows
        .iter()
        .map(|(at, row, u)| {
            let agrees = match (row.agreement_sure, row.agrees) {
                (true, true) => "agrees",
                (true, false) => "differs",
                (false, _) => "open",
            };
            vec![
                html! { (at) },
                html! { "± " (fixed(1.96 * u, 1)) },
                html! { (fixed(row.interval_g[0], 1)) " to " (fixed(row.interval_g[1], 1)) },
                html! { (fixed(row.ends_differ_g[0], 2)) ", " (fixed(row.ends_differ_g[1], 2)) },
                html! { (significant(row.tolerance_g, 1)) },
                html! { (row.draws) },
                html! { (agrees) },
            ]
        })
        .collect();
    table(
        "Interval of 95 %, g, by both ways, and whether they agree to half of the second digit of u (JCGM 101, clause 8)",
        &["at", "by variances", "drawn", "ends differ by", "allowed", "draws", "verdict"],
        &body,
    )
}

fn chart(report: &CheckReport) -> String {
    let at_max = |row: &BudgetRow| row.u_g.0.last().map_or(0.0, |(_, u)| *u);
    let points = |values: &ByLoad, by: f64| values.0.iter().map(|(kg, u)| [*kg, u * by]).collect();
    let mut order: Vec<&BudgetRow> = report.budget.iter().collect();
    order.sort_by(|a, b| at_max(b).total_cmp(&at_max(a)));
    let mut chart = XyChart::new(
        "Standard uncertainty over the load",
        "All sources together and the largest ones, growing with the load.",
        Axis::linear("net load, kg"),
        Axis::linear("standard uncertainty, g"),
    );
    chart.series.push(Series::new("all together", Ink::Main, Mark::PointsAndLine, points(&report.expanded_u_g, 0.5)));
    for (row, ink) in order.iter().take(SHOWN_IN_CHART).zip([Ink::Second, Ink::Third, Ink::Quiet]) {
        chart.series.push(Series::new(row.source, ink, Mark::PointsAndLine, points(&row.u_g, 1.0)));
    }
    chart.svg()
}

fn change(report: &CheckReport) -> Markup {
    let change = &report.change;
    let combined = change.u_g.0.iter().zip(&change.monte_carlo);
    let last = vec![
        total("combined", combined.map(|((_, u), row)| format!("{} / {}", fixed(*u, 1), fixed(row.drawn.u_g, 1)))),
        total("smallest change told", change.resolvable_g.0.iter().map(|(_, g)| fixed(*g, 0))),
    ];
    let rows: Vec<(String, &MonteCarloRow, f64)> = change
        .monte_carlo
        .iter()
        .zip(&change.u_g.0)
        .map(|(row, (hours, u))| (format!("{} h", significant(*hours, 2)), &row.drawn, *u))
        .collect();
    html! {
        p {
            "Two weights of a patient of " (significant(change.patient_kg, 3)) " kg who stays on the deck. What is the same in both \
             cancels; drift, noise, air and what a turn in bed moves from cell to cell do not. Told means: " (change.criterion) "."
        }
        (sources("Standard uncertainty of the difference by source, g: sum of variances / drawn, by hours between the weights", "h", &change.rows, last))
        (draws(&rows))
    }
}

fn improvements(report: &CheckReport) -> Markup {
    let now_g = report.change.resolvable_24h_g;
    let bars = BarChart {
        title: "What to improve first".into(),
        description: format!("From {now_g:.0} g today to what halving or removing each source would leave."),
        x: Axis::linear("smallest change told over 24 h, g").between(0.0, 1.03 * now_g.max(f64::MIN_POSITIVE)),
        series: vec![("with half of it".into(), Ink::Main), ("without it".into(), Ink::Second)],
        rows: report
            .improvements
            .iter()
            .take(SHOWN_IN_TORNADO)
            .map(|row| BarRow {
                name: row.source.to_owned(),
                bars: vec![[now_g, row.resolvable_24h_if_halved_g], [now_g, row.resolvable_24h_without_g]],
            })
            .collect(),
        levels: vec![Level { name: "as designed".into(), ink: Ink::Limit, mark: Mark::Dashed, at: Across::X(now_g) }],
    };
    let rows: Vec<Vec<Markup>> = report
        .improvements
        .iter()
        .map(|row| {
            vec![
                html! { (row.source) },
                html! { (fixed(row.share_of_change_variance_pct, 1)) },
                html! { (significant(row.resolvable_24h_if_halved_g, 3)) },
                html! { (significant(row.resolvable_24h_without_g, 3)) },
                html! { (fixed(row.share_of_variance_pct, 1)) },
                html! { (significant(row.expanded_u_if_halved_g, 3)) },
                html! { (significant(row.expanded_u_without_g, 3)) },
            ]
        })
        .collect();
    html! {
        figure {
            div.scroll { (PreEscaped(bars.svg())) }
            figcaption { "Each bar runs from the smallest change told as designed to what is left with half of a source, and without it: the longer, the more it buys." }
        }
        (table(
            "What each source is worth, the largest gain in the change first: change over 24 h, then one weight at max (k = 2)",
            &["source", "of the change's variance, %", "told with half, g", "told without, g", "of a weight's variance, %", "U with half, g", "U without, g"],
            &rows,
        ))
    }
}

fn postures(report: &CheckReport) -> Markup {
    if report.postures.is_empty() {
        return html! { p { "The deck file names no load case with a patient." } };
    }
    let rows: Vec<Vec<Markup>> = report
        .postures
        .iter()
        .map(|posture| {
            let mut order: Vec<_> = posture.rows.iter().filter(|r| r.u_g > 0.0).collect();
            order.sort_by(|a, b| b.u_g.total_cmp(&a.u_g));
            let named: Vec<String> = order
                .iter()
                .take(SHOWN_IN_CHART)
                .map(|r| format!("{} {} g", r.source, significant(r.u_g, 2)))
                .collect();
            vec![
                html! { (posture.case) },
                html! { (fixed(posture.load_kg, 1)) },
                html! { (significant(posture.expanded_u_g, 3)) },
                html! { span.left { (named.join(", ")) } },
            ]
        })
        .collect();
    table(
        "Expanded uncertainty (k = 2) of the patient's weight as they lie, and the standard uncertainties that make most of it",
        &["load case", "kg", "U, g", "<largest sources"],
        &rows,
    )
}

fn assumptions(deck: &Deck) -> Markup {
    let a = Assumptions::of(deck);
    let calibrated = match a.output_tolerance_pct {
        Some(pct) => format!("none: rated output to ± {pct} %"),
        None => format!("{} kg, {} placements", a.calibration_kg, a.placements),
    };
    let rows: Vec<Vec<Markup>> = [
        ("time over which a settled weight is averaged", format!("{} s", a.averaging_s)),
        ("angle of a section, standard uncertainty", format!("{}°", a.angle_u_deg)),
        ("angle found again, standard deviation", format!("{}°", a.angle_again_deg)),
        ("calibration masses, standard uncertainty", format!("{} mg/kg", significant(1e6 * a.masses_u_relative, 2))),
        ("mass on a cell to calibrate it", calibrated),
        ("air pressure about its mean", format!("± {} hPa", significant(a.pressure_pa / 100.0, 3))),
        ("error of a cell per side force on it", format!("{} %", significant(100.0 * a.side_sensitivity, 2))),
        ("time since the zero was taken", a.zero_h.map_or_else(|| "long".to_owned(), |h| format!("{h} h"))),
        ("range of loads that the first zero takes off", format!("{} kg", a.zero_range_kg)),
        ("mattress and linen, tared", format!("{} kg", a.tare_kg)),
        ("load that a turn in bed moves to other cells", format!("{} %", significant(100.0 * a.moved_share, 2))),
        ("time over which the ward's temperature forgets itself", format!("{} h", a.room_h)),
        ("range of temperature, from the deck file", format!("{} to {} °C", deck.ambient_c[0], deck.ambient_c[1])),
    ]
    .into_iter()
    .map(|(what, value)| vec![html! { (what) }, html! { (value) }])
    .collect();
    table(
        "How the deck is calibrated and used: what [practice] of the deck file states, else an engineering choice. State what is not true of your ward.",
        &["what", "taken as"],
        &rows,
    )
}
