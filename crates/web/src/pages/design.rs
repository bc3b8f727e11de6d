//! The design page: the deck on the bed with its deflection, requirements, budget, bill.

use formats::deck::Deck;
use maud::{Markup, PreEscaped, html};
use report::number::{fixed, optional, significant};
use report::text::requirement_words;

use crate::layout::{self, PLACES, headline, panel, table, verdict};
use crate::plan::{LEGEND, plan};
use crate::plot::{Ink, Mark, Plot, Series, figure};

/// The page of `check`.
#[must_use]
pub fn design(deck: &Deck, report: &::design::CheckReport) -> Markup {
    layout::page(
        PLACES[1],
        &deck.name,
        &html! {
            div.headlines {
                (headline("Largest deflection", &significant(worst(report, |c| c.max_deflection_mm), 3), "mm", "of any plate under any load case"))
                (headline("Expanded uncertainty", &significant(report.expanded_u_g.largest(), 3), "g", "k = 2, the largest up to max"))
                (headline("Mass", &fixed(report.mass_kg, 1), "kg", "plates and ribs"))
                (headline("Cost", &fixed(report.cost, 0), &deck.currency, "plates, cells, channels"))
            }
            (panel("Requirements", &requirements(deck, report)))
            (panel("Deflection on the bed", &plans(deck, report)))
            (panel("Each plate under each load case", &cases(report)))
            div.pair {
                (panel("Where the uncertainty comes from", &budget(report)))
                (panel("Bill", &bill(deck, report)))
            }
            (panel("Before a person lies on it", &html! {
                ul.plain {
                    @for warning in &report.warnings { li { (warning) } }
                    li { "Not computed here: trapping between plates as the bed moves, sharp edges, cleaning and ingress, electrical safety at the bed. The bed's own safe working load includes deck, mattress and accessories." }
                }
            }))
        },
    )
}

fn worst(report: &::design::CheckReport, value: impl Fn(&::design::report::CaseReport) -> f64) -> f64 {
    report.plates.iter().flat_map(|p| &p.cases).map(value).fold(0.0, f64::max)
}

fn requirements(deck: &Deck, report: &::design::CheckReport) -> Markup {
    let rows: Vec<Vec<Markup>> = report
        .requirements
        .iter()
        .map(|r| {
            let (name, unit) = requirement_words(&r.name, &deck.currency);
            let sign = r.sign();
            vec![
                html! { (name) },
                html! { (significant(r.value, 3)) " " (unit) },
                html! { (sign) " " (significant(r.limit, 3)) " " (unit) },
                verdict(r.met),
            ]
        })
        .collect();
    table("What the deck file asks for, and what was found", &["requirement", "found", "limit", "verdict"], &rows)
}

fn plans(deck: &Deck, report: &::design::CheckReport) -> Markup {
    let names: Vec<&str> = deck.load_cases.iter().map(|c| c.name.as_str()).collect();
    html! {
        @for (i, name) in names.iter().enumerate() {
            details open[i == 0] {
                summary { "Load case: " (name) }
                figure {
                    (PreEscaped(plan(deck, report, i).svg()))
                    figcaption { (LEGEND) }
                }
            }
        }
    }
}

fn cases(report: &::design::CheckReport) -> Markup {
    let mut rows = Vec::new();
    for plate in &report.plates {
        for case in plate.cases.iter().filter(|c| c.load_kg > 0.0) {
            let most = case.cells.iter().map(|c| c.load_pct_of_capacity).fold(0.0, f64::max);
            rows.push(vec![
                html! { (plate.name) },
                html! { span.left { (case.case) } },
                html! { (fixed(case.load_kg, 1)) },
                html! { (fixed(case.max_deflection_mm, 2)) },
                html! { (fixed(case.clearance_left_mm, 1)) @if case.touches { " touches" } },
                html! { (fixed(case.shunted_pct, 1)) },
                html! { (optional(case.safety_factor, |f| significant(f, 2))) },
                html! { (fixed(most, 0)) },
            ]);
        }
    }
    table(
        "Deflection is measured down from the unloaded plate; the plate's own weight is tare",
        &[
            "plate",
            "<load case",
            "load, kg",
            "deflection, mm",
            "clearance left, mm",
            "shunted, %",
            "strength over stress",
            "most loaded cell, %",
        ],
        &rows,
    )
}

fn budget(report: &::design::CheckReport) -> Markup {
    let inks = [Ink::Main, Ink::Second, Ink::Third, Ink::Quiet];
    let at_max = |row: &::design::report::BudgetRow| row.u_g.0.last().map_or(0.0, |(_, u)| *u);
    let mut order: Vec<_> = report.budget.iter().collect();
    order.sort_by(|a, b| at_max(b).total_cmp(&at_max(a)));
    let mut series = vec![Series {
        name: "all together".into(),
        ink: Ink::Main,
        mark: Mark::PointsAndLine,
        x: report.expanded_u_g.0.iter().map(|(kg, _)| (*kg).into()).collect(),
        y: report.expanded_u_g.0.iter().map(|(_, u)| Some(u / 2.0)).collect(),
        half: None,
        text: None,
    }];
    for (row, ink) in order.iter().take(3).zip(inks.into_iter().skip(1)) {
        series.push(Series {
            name: row.source.to_owned(),
            ink,
            mark: Mark::Dashed,
            x: row.u_g.0.iter().map(|(kg, _)| (*kg).into()).collect(),
            y: row.u_g.0.iter().map(|(_, u)| Some(*u)).collect(),
            half: None,
            text: None,
        });
    }
    let plot = Plot {
        x_title: "net load, kg".into(),
        y_title: "standard uncertainty, g".into(),
        x_is_time: false,
        y_range: None,
        bands: vec![],
        series,
    };
    let rows: Vec<Vec<Markup>> = order
        .iter()
        .map(|row| {
            vec![html! { (row.source) }, html! { (significant(at_max(row), 2)) }, html! { span.left { (row.kind) } }]
        })
        .collect();
    html! {
        (figure("budget", "Standard uncertainty of one weight over the load: all sources together, and the three largest at max.", &plot))
        details { summary { "All sources at max" } (table("Standard uncertainty by source at the largest load", &["source", "g", "<distribution"], &rows)) }
    }
}

fn bill(deck: &Deck, report: &::design::CheckReport) -> Markup {
    let mut rows: Vec<Vec<Markup>> = report
        .bill
        .iter()
        .map(|row| {
            vec![
                html! { (row.item) },
                html! { (row.quantity) },
                html! { (optional(row.mass_kg, |m| fixed(m, 2))) },
                html! { (optional(row.cost, |c| fixed(c, 2))) },
            ]
        })
        .collect();
    rows.push(vec![
        html! { "whole deck" },
        html! {},
        html! { (fixed(report.mass_kg, 2)) },
        html! { (fixed(report.cost, 2)) },
    ]);
    table("What to buy", &["item", "pieces", "kg", &deck.currency], &rows)
}
