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
use crate::words::Reader;

/// Sources that stand in the charts.
const SHOWN_IN_CHART: usize = 3;
const SHOWN_IN_TORNADO: usize = 9;

/// The sections of this part.
pub(super) fn sections(reader: Reader, deck: &Deck, report: &CheckReport) -> Vec<Section> {
    vec![
        Section::new(reader.say("Budget of a weight"), weight(reader, report)),
        Section::new(reader.say("Budget of a change"), change(reader, report)),
        Section::new(reader.say("What to improve first"), improvements(reader, report)),
        Section::new(reader.say("The patient's posture"), postures(reader, report)),
        Section::new(reader.say("What the budget takes for granted"), assumptions(reader, deck)),
    ]
}

/// `u / drawn` of every source under a heading for each load or time.
fn sources(reader: Reader, caption: &str, unit: &str, rows: &[BudgetRow], last: Vec<Vec<Markup>>) -> Markup {
    let Some(first) = rows.first() else {
        return html! { p { (reader.say("No source of error has anything to say.")) } };
    };
    let head: Vec<String> = std::iter::once(reader.say("source").to_owned())
        .chain(first.u_g.0.iter().map(|(at, _)| format!("{} {unit}", significant(*at, 3))))
        .collect();
    let head: Vec<&str> = head.iter().map(String::as_str).collect();
    let mut body: Vec<Vec<Markup>> = rows
        .iter()
        .map(|row| {
            let mut cells = vec![html! { (reader.stage(row.source)) div.kind { (reader.stage(row.kind)) } }];
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

fn weight(reader: Reader, report: &CheckReport) -> Markup {
    let combined = report.expanded_u_g.0.iter().zip(&report.monte_carlo);
    let last = vec![
        total(
            reader.say("combined"),
            combined.map(|((_, u), row)| format!("{} / {}", fixed(u / 2.0, 1), fixed(row.u_g, 1))),
        ),
        total(reader.say("expanded, k = 2"), report.expanded_u_g.0.iter().map(|(_, u)| fixed(*u, 1))),
    ];
    let rows: Vec<(String, &MonteCarloRow, f64)> = report
        .monte_carlo
        .iter()
        .zip(&report.expanded_u_g.0)
        .map(|(row, (kg, expanded))| (format!("{} kg", significant(*kg, 3)), row, expanded / 2.0))
        .collect();
    html! {
        figure {
            div.scroll { (PreEscaped(chart(reader, report))) }
            figcaption { (reader.say("Standard uncertainty of one weight over the load: all sources together, and the three largest at max.")) }
        }
        (sources(
            reader,
            reader.say("Standard uncertainty by source, g: sum of variances (JCGM 100) / drawn from the distributions (JCGM 101, 50 000 draws a source)"),
            "kg", &report.budget, last,
        ))
        (draws(reader, reader.say("Interval of 95 % of a weight, g, by both ways, and whether they agree to half of the second digit of u (JCGM 101, clause 8)"), &rows))
    }
}

/// The two ways to the interval of 95 %.
fn draws(reader: Reader, caption: &str, rows: &[(String, &MonteCarloRow, f64)]) -> Markup {
    let body: Vec<Vec<Markup>> = rows
        .iter()
        .map(|(at, row, u)| {
            let agrees = match (row.agreement_sure, row.agrees) {
                (true, true) => reader.say("agrees"),
                (true, false) => reader.say("differs"),
                (false, _) => reader.say("open"),
            };
            vec![
                html! { (at) },
                html! { "± " (fixed(1.96 * u, 1)) },
                html! { (reader.fill("{} to {}", [&fixed(row.interval_g[0], 1), &fixed(row.interval_g[1], 1)])) },
                html! { (fixed(row.ends_differ_g[0], 2)) "; " (fixed(row.ends_differ_g[1], 2)) },
                html! { (significant(row.tolerance_g, 1)) },
                html! { (row.draws) },
                html! { (agrees) },
            ]
        })
        .collect();
    table(
        caption,
        &[
            reader.say("at load or time"),
            reader.say("by variances"),
            reader.say("drawn"),
            reader.say("ends differ by"),
            reader.say("allowed"),
            reader.say("draws"),
            reader.say("verdict"),
        ],
        &body,
    )
}

fn chart(reader: Reader, report: &CheckReport) -> String {
    let at_max = |row: &BudgetRow| row.u_g.0.last().map_or(0.0, |(_, u)| *u);
    let points = |values: &ByLoad, by: f64| values.0.iter().map(|(kg, u)| [*kg, u * by]).collect();
    let mut order: Vec<&BudgetRow> = report.budget.iter().collect();
    order.sort_by(|a, b| at_max(b).total_cmp(&at_max(a)));
    let mut chart = XyChart::new(
        reader.say("Standard uncertainty over the load"),
        reader.say("All sources together and the largest ones, growing with the load."),
        Axis::linear(reader.say("net load, kg")),
        Axis::linear(reader.say("standard uncertainty, g")),
    );
    chart.series.push(Series::new(
        reader.say("all together"),
        Ink::Main,
        Mark::PointsAndLine,
        points(&report.expanded_u_g, 0.5),
    ));
    for (row, ink) in order.iter().take(SHOWN_IN_CHART).zip([Ink::Second, Ink::Third, Ink::Quiet]) {
        chart.series.push(Series::new(reader.stage(row.source), ink, Mark::PointsAndLine, points(&row.u_g, 1.0)));
    }
    chart.svg()
}

fn change(reader: Reader, report: &CheckReport) -> Markup {
    let change = &report.change;
    let combined = change.u_g.0.iter().zip(&change.monte_carlo);
    let last = vec![
        total(
            reader.say("combined"),
            combined.map(|((_, u), row)| format!("{} / {}", fixed(*u, 1), fixed(row.drawn.u_g, 1))),
        ),
        total(reader.say("smallest change told"), change.resolvable_g.0.iter().map(|(_, g)| fixed(*g, 0))),
    ];
    let rows: Vec<(String, &MonteCarloRow, f64)> = change
        .monte_carlo
        .iter()
        .zip(&change.u_g.0)
        .map(|(row, (hours, u))| (format!("{} h", significant(*hours, 2)), &row.drawn, *u))
        .collect();
    html! {
        p {
            (reader.fill(
                "Two weights of a patient of {} kg who stays on the deck. What is the same in both cancels; drift, noise, air and what a turn in bed moves from cell to cell do not. Told means: {}.",
                [&significant(change.patient_kg, 3), &reader.stage(change.criterion)],
            ))
        }
        (sources(reader, reader.say("Standard uncertainty of the difference by source, g: sum of variances / drawn, by hours between the weights"), "h", &change.rows, last))
        (draws(reader, reader.say("Interval of 95 % of a change, g, by both ways, and whether they agree to half of the second digit of u (JCGM 101, clause 8)"), &rows))
    }
}

fn improvements(reader: Reader, report: &CheckReport) -> Markup {
    let now_g = report.change.resolvable_24h_g;
    let bars = BarChart {
        title: reader.say("What to improve first").into(),
        description: reader
            .fill("From {} g today to what halving or removing each source would leave.", [&fixed(now_g, 0)]),
        x: Axis::linear(reader.say("smallest change told over 24 h, g"))
            .between(0.0, 1.03 * now_g.max(f64::MIN_POSITIVE)),
        series: vec![(reader.say("with half of it").into(), Ink::Main), (reader.say("without it").into(), Ink::Second)],
        rows: report
            .improvements
            .iter()
            .take(SHOWN_IN_TORNADO)
            .map(|row| BarRow {
                name: reader.stage(row.source),
                bars: vec![[now_g, row.resolvable_24h_if_halved_g], [now_g, row.resolvable_24h_without_g]],
            })
            .collect(),
        levels: vec![Level {
            name: reader.say("as designed").into(),
            ink: Ink::Limit,
            mark: Mark::Dashed,
            at: Across::X(now_g),
        }],
    };
    let rows: Vec<Vec<Markup>> = report
        .improvements
        .iter()
        .map(|row| {
            vec![
                html! { (reader.stage(row.source)) },
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
            figcaption { (reader.say("Each bar runs from the smallest change told as designed to what is left with half of a source, and without it: the longer, the more it buys.")) }
        }
        (table(
            reader.say("What each source is worth, the largest gain in the change first: change over 24 h, then one weight at max (k = 2)"),
            &[reader.say("source"), reader.say("of the change's variance, %"), reader.say("told with half, g"), reader.say("told without, g"), reader.say("of a weight's variance, %"), reader.say("U with half, g"), reader.say("U without, g")],
            &rows,
        ))
    }
}

fn postures(reader: Reader, report: &CheckReport) -> Markup {
    if report.postures.is_empty() {
        return html! { p { (reader.say("The deck file names no load case with a patient.")) } };
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
                .map(|r| format!("{} {} g", reader.stage(r.source), significant(r.u_g, 2)))
                .collect();
            vec![
                html! { (posture.case) },
                html! { (fixed(posture.load_kg, 1)) },
                html! { (significant(posture.expanded_u_g, 3)) },
                html! { span.left { (named.join("; ")) } },
            ]
        })
        .collect();
    table(
        reader.say("Expanded uncertainty (k = 2) of the patient's weight as they lie, and the standard uncertainties that make most of it"),
        &[reader.say("load case"), "kg", "U, g", reader.say("<largest sources")],
        &rows,
    )
}

fn assumptions(reader: Reader, deck: &Deck) -> Markup {
    let a = Assumptions::of(deck);
    let calibrated = match a.output_tolerance_pct {
        Some(pct) => reader.fill("none: rated output to ± {} %", [&pct.to_string()]),
        None => reader.fill("{} kg, {} placements", [&a.calibration_kg.to_string(), &a.placements.to_string()]),
    };
    let rows: Vec<Vec<Markup>> = [
        (reader.say("time over which a settled weight is averaged"), format!("{} s", a.averaging_s)),
        (reader.say("angle of a section, standard uncertainty"), format!("{}°", a.angle_u_deg)),
        (reader.say("angle found again, standard deviation"), format!("{}°", a.angle_again_deg)),
        (
            reader.say("calibration masses, standard uncertainty"),
            format!("{} mg/kg", significant(1e6 * a.masses_u_relative, 2)),
        ),
        (reader.say("mass on a cell to calibrate it"), calibrated),
        (reader.say("air pressure about its mean"), format!("± {} hPa", significant(a.pressure_pa / 100.0, 3))),
        (
            reader.say("error of a cell per side force on it"),
            format!("{} %", significant(100.0 * a.side_sensitivity, 2)),
        ),
        (
            reader.say("time since the zero was taken"),
            a.zero_h.map_or_else(|| reader.say("long").to_owned(), |h| format!("{h} h")),
        ),
        (reader.say("range of loads that the first zero takes off"), format!("{} kg", a.zero_range_kg)),
        (reader.say("mattress and linen, tared"), format!("{} kg", a.tare_kg)),
        (
            reader.say("load that a turn in bed moves to other cells"),
            format!("{} %", significant(100.0 * a.moved_share, 2)),
        ),
        (reader.say("time over which the ward's temperature forgets itself"), format!("{} h", a.room_h)),
        (
            reader.say("range of temperature, from the deck file"),
            reader.fill("{} to {} °C", [&deck.ambient_c[0].to_string(), &deck.ambient_c[1].to_string()]),
        ),
    ]
    .into_iter()
    .map(|(what, value)| vec![html! { (what) }, html! { (value) }])
    .collect();
    table(
        reader.say("How the deck is calibrated and used: what [practice] of the deck file states, else an engineering choice. State what is not true of your ward."),
        &[reader.say("what"), reader.say("taken as")],
        &rows,
    )
}
