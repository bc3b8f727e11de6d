//! The design page: the deck on the bed with its deflection, requirements, budget, bill.

use formats::deck::Deck;
use maud::{Markup, PreEscaped, html};
use report::number::{fixed, optional, significant};
use report::text::requirement_words;

use crate::layout::{self, PLACES, headline, panel, table, verdict};
use crate::plan::{legend, plan};
use crate::plot::{Ink, Mark, Plot, Series, figure};
use crate::words::Reader;

/// The page of `check`.
#[must_use]
pub fn design(reader: Reader, deck: &Deck, report: &::design::CheckReport) -> Markup {
    layout::page(
        reader,
        PLACES[1],
        &deck.name,
        &html! {
            div.headlines {
                (headline(reader.say("Largest deflection"), &significant(worst(report, |c| c.max_deflection_mm), 3), "mm", reader.say("of any plate under any load case")))
                (headline(reader.say("Expanded uncertainty"), &significant(report.expanded_u_g.largest(), 3), "g", reader.say("k = 2, the largest up to max")))
                (headline(reader.say("Mass"), &fixed(report.mass_kg, 1), "kg", reader.say("plates and ribs")))
                (headline(reader.say("Cost"), &fixed(report.cost, 0), &deck.currency, reader.say("plates, cells, channels")))
            }
            (panel(reader.say("Requirements"), &requirements(reader, deck, report)))
            (panel(reader.say("Deflection on the bed"), &plans(reader, deck, report)))
            (panel(reader.say("Each plate under each load case"), &cases(reader, report)))
            div.pair {
                (panel(reader.say("Where the uncertainty comes from"), &budget(reader, report)))
                (panel(reader.say("Bill"), &bill(reader, deck, report)))
            }
            (panel(reader.say("Before a person lies on it"), &html! {
                ul.plain #before {
                    @for warning in &report.warnings { li { (reader.stage(warning)) } }
                    li { (reader.say("Not computed here: trapping between plates as the bed moves, sharp edges, cleaning and ingress, electrical safety at the bed. The bed's own safe working load includes deck, mattress and accessories.")) }
                }
            }))
        },
    )
}

fn worst(report: &::design::CheckReport, value: impl Fn(&::design::report::CaseReport) -> f64) -> f64 {
    report.plates.iter().flat_map(|p| &p.cases).map(value).fold(0.0, f64::max)
}

fn requirements(reader: Reader, deck: &Deck, report: &::design::CheckReport) -> Markup {
    let rows: Vec<Vec<Markup>> = report
        .requirements
        .iter()
        .map(|r| {
            let (name, unit) = requirement_words(&r.name, &deck.currency);
            let sign = r.sign();
            vec![
                html! { (reader.stage(&name)) },
                verdict(reader, r.met),
                html! { (significant(r.value, 3)) " " (unit) },
                html! { (sign) " " (significant(r.limit, 3)) " " (unit) },
            ]
        })
        .collect();
    html! {
        (table(
            reader.say("What the deck file asks for, and what was found"),
            &[reader.say("requirement"), reader.say("verdict"), reader.say("found"), reader.say("limit")],
            &rows,
        ))
        @if !report.warnings.is_empty() {
            p { "▲ " a href="#before" { (reader.fill("Warnings: {}, below", [&report.warnings.len().to_string()])) } }
        }
    }
}

fn plans(reader: Reader, deck: &Deck, report: &::design::CheckReport) -> Markup {
    let names: Vec<&str> = deck.load_cases.iter().map(|c| c.name.as_str()).collect();
    html! {
        @for (i, name) in names.iter().enumerate() {
            details open[i == 0] {
                summary { (reader.say("Load case:")) " " (name) }
                figure {
                    (PreEscaped(plan(reader, deck, report, i).svg()))
                    figcaption { (legend(reader)) }
                }
            }
        }
    }
}

fn cases(reader: Reader, report: &::design::CheckReport) -> Markup {
    let mut rows = Vec::new();
    for plate in &report.plates {
        for case in plate.cases.iter().filter(|c| c.load_kg > 0.0) {
            let most = case.cells.iter().map(|c| c.load_pct_of_capacity).fold(0.0, f64::max);
            rows.push(vec![
                html! { (plate.name) },
                html! { span.left { (case.case) } },
                html! { (fixed(case.load_kg, 1)) },
                html! { (fixed(case.max_deflection_mm, 2)) },
                html! { (fixed(case.clearance_left_mm, 1)) @if case.touches { " " (reader.say("touches")) } },
                html! { (fixed(case.shunted_pct, 1)) },
                html! { (optional(case.safety_factor, |f| significant(f, 2))) },
                html! { (fixed(most, 0)) },
            ]);
        }
    }
    table(
        reader.say("Deflection is measured down from the unloaded plate; the plate's own weight is tare"),
        &[
            reader.say("plate"),
            reader.say("<load case"),
            reader.say("load, kg"),
            reader.say("deflection, mm"),
            reader.say("clearance left, mm"),
            reader.say("shunted, %"),
            reader.say("strength over stress"),
            reader.say("most loaded cell, %"),
        ],
        &rows,
    )
}

fn budget(reader: Reader, report: &::design::CheckReport) -> Markup {
    let inks = [Ink::Main, Ink::Second, Ink::Third, Ink::Quiet];
    let at_max = |row: &::design::report::BudgetRow| row.u_g.0.last().map_or(0.0, |(_, u)| *u);
    let mut order: Vec<_> = report.budget.iter().collect();
    order.sort_by(|a, b| at_max(b).total_cmp(&at_max(a)));
    let mut series = vec![Series {
        name: reader.say("all together").into(),
        ink: Ink::Main,
        mark: Mark::PointsAndLine,
        x: report.expanded_u_g.0.iter().map(|(kg, _)| (*kg).into()).collect(),
        y: report.expanded_u_g.0.iter().map(|(_, u)| Some(u / 2.0)).collect(),
        half: None,
        text: None,
    }];
    for (row, ink) in order.iter().take(3).zip(inks.into_iter().skip(1)) {
        series.push(Series {
            name: reader.stage(row.source),
            ink,
            mark: Mark::Dashed,
            x: row.u_g.0.iter().map(|(kg, _)| (*kg).into()).collect(),
            y: row.u_g.0.iter().map(|(_, u)| Some(*u)).collect(),
            half: None,
            text: None,
        });
    }
    let plot = Plot {
        x_title: reader.say("net load, kg").into(),
        y_title: reader.say("standard uncertainty, g").into(),
        x_is_time: false,
        y_range: None,
        bands: vec![],
        series,
    };
    let rows: Vec<Vec<Markup>> = order
        .iter()
        .map(|row| {
            vec![
                html! { (reader.stage(row.source)) },
                html! { (significant(at_max(row), 2)) },
                html! { span.left { (reader.stage(row.kind)) } },
            ]
        })
        .collect();
    html! {
        (figure(reader, "budget", reader.say("Standard uncertainty of one weight over the load: all sources together, and the three largest at max."), &plot))
        details { summary { (reader.say("All sources at max")) } (table(reader.say("Standard uncertainty by source at the largest load"), &[reader.say("source"), "g", reader.say("<distribution")], &rows)) }
    }
}

fn bill(reader: Reader, deck: &Deck, report: &::design::CheckReport) -> Markup {
    let mut rows: Vec<Vec<Markup>> = report
        .bill
        .iter()
        .map(|row| {
            vec![
                html! { (reader.stage(&row.item)) },
                html! { (row.quantity) },
                html! { (optional(row.mass_kg, |m| fixed(m, 2))) },
                html! { (optional(row.cost, |c| fixed(c, 2))) },
            ]
        })
        .collect();
    rows.push(vec![
        html! { (reader.say("whole deck")) },
        html! {},
        html! { (fixed(report.mass_kg, 2)) },
        html! { (fixed(report.cost, 2)) },
    ]);
    table(reader.say("What to buy"), &[reader.say("item"), reader.say("pieces"), "kg", &deck.currency], &rows)
}
