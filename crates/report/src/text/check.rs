//! `check` for a person: verdict first, then plates, budget, bill, warnings.

use std::fmt::Write as _;

use design::CheckReport;
use design::report::{CaseReport, PlateReport, Requirement};
use formats::deck::Deck;

use super::heading;
use crate::number::{fixed, optional, significant};
use crate::table::{Sheet, verdict};

/// The screen of `check`.
#[must_use]
pub fn check(deck: &Deck, report: &CheckReport) -> String {
    let mut out = heading(&format!("{} · check before cutting", deck.name));
    out.push_str(&requirements(&report.requirements, &deck.currency));
    out.push_str(&resolved(report));
    out.push_str(&plates(&report.plates));
    out.push_str(&budget(report));
    out.push_str(&bill(report, &deck.currency));
    for warning in &report.warnings {
        // Writing to a String cannot fail, here and below.
        let _ = writeln!(out, "! {warning}");
    }
    out.push_str(
        "! Before a person lies on it: trapping between plates, sharp edges, cleaning, electrical safety at the bed and the\n  \
         bed's own safe working load are not computed here; local codes and the bed's manufacturer decide.\n",
    );
    out
}

fn requirements(requirements: &[Requirement], currency: &str) -> String {
    let mut sheet = Sheet::new(&["<requirement", "found", "limit", "<verdict"]);
    for r in requirements {
        let (name, unit) = requirement_words(&r.name, currency);
        // A factor is a lower limit, all others are upper ones.
        let sign = if r.name == "safety_factor" { "≥" } else { "≤" };
        sheet.row([
            name,
            format!("{} {unit}", significant(r.value, 3)),
            format!("{sign} {} {unit}", significant(r.limit, 3)),
            verdict(r.met).into(),
        ]);
    }
    sheet.print()
}

/// The headline of a design, and the draws that stand beside the sum of variances.
fn resolved(report: &CheckReport) -> String {
    let change = &report.change;
    let mut out = format!(
        "\nSmallest change of weight told over 24 h, patient of {} kg: {} g\n({})\n",
        significant(change.patient_kg, 3),
        significant(change.resolvable_24h_g, 2),
        change.criterion
    );
    if let Some(row) = report.monte_carlo.last() {
        // Writing to a String cannot fail.
        let _ = writeln!(
            out,
            "Monte Carlo at {} kg: u = {} g, 95 % within {} to {} g; {}",
            significant(row.load_kg, 3),
            significant(row.u_g, 2),
            significant(row.interval_g[0], 2),
            significant(row.interval_g[1], 2),
            match (row.agreement_sure, row.agrees) {
                (true, true) => "the sum of variances agrees",
                (true, false) => "the sum of variances differs by more than the draws' tolerance",
                (false, _) => "whether the sum of variances agrees stays open",
            }
        );
    }
    out
}

/// A requirement's name in words, and its unit.
#[must_use]
pub fn requirement_words(name: &str, currency: &str) -> (String, String) {
    let (words, unit) = match name {
        "deflection_mm" => ("largest deflection", "mm"),
        "expanded_u_g" => ("expanded uncertainty of a weight, k = 2", "g"),
        "mass_kg" => ("mass of the deck", "kg"),
        "cost" => ("cost of the deck", currency),
        "plate_mass_kg" => ("heaviest plate", "kg"),
        "cell_load_pct_of_capacity" => ("most loaded cell, of its capacity", "%"),
        "safety_factor" => ("strength over stress, any layer", ""),
        other => (other, ""),
    };
    (words.to_owned(), unit.to_owned())
}

fn plates(plates: &[PlateReport]) -> String {
    let mut sheet = Sheet::new(&[
        "<plate",
        "<load case",
        "load kg",
        "down mm",
        "at x, y mm",
        "left mm",
        "shunted %",
        "stress MPa",
        "factor",
        "cells N",
    ]);
    for plate in plates {
        // A patch on one plate leaves the others without a load: nothing to say.
        for case in plate.cases.iter().filter(|c| c.load_kg > 0.0) {
            sheet.row(plate_row(plate, case));
        }
    }
    format!("\nEach plate under each load case (down: largest deflection; left: clearance left)\n{}", sheet.print())
}

fn plate_row(plate: &PlateReport, case: &CaseReport) -> [String; 10] {
    let reactions: Vec<String> =
        case.cells.iter().map(|c| if c.lifts { "lifts".into() } else { fixed(c.reaction_newton, 0) }).collect();
    let touch = if case.touches { " touches" } else { "" };
    [
        plate.name.clone(),
        case.case.clone(),
        fixed(case.load_kg, 1),
        fixed(case.max_deflection_mm, 2),
        format!("{}, {}", fixed(case.at_mm[0], 0), fixed(case.at_mm[1], 0)),
        format!("{}{touch}", fixed(case.clearance_left_mm, 1)),
        fixed(case.shunted_pct, 1),
        significant(case.max_stress_mpa, 2),
        optional(case.safety_factor, |f| significant(f, 2)),
        reactions.join(" "),
    ]
}

fn budget(report: &CheckReport) -> String {
    let loads = &report.expanded_u_g.0;
    let mut head = vec!["<source".to_owned(), "<distribution".to_owned()];
    head.extend(loads.iter().map(|(kg, _)| format!("{} kg", significant(*kg, 3))));
    let head: Vec<&str> = head.iter().map(String::as_str).collect();
    let mut sheet = Sheet::new(&head);
    for row in &report.budget {
        // The JSON document says also what is shared between cells; here the shape is enough.
        let shape = row.kind.split(',').next().unwrap_or(row.kind);
        let mut cells = vec![row.source.to_owned(), shape.to_owned()];
        cells.extend(row.u_g.0.iter().map(|(_, u)| fixed(*u, 1)));
        sheet.row(cells);
    }
    let mut total = vec!["expanded, k = 2".to_owned(), String::new()];
    total.extend(loads.iter().map(|(_, u)| fixed(*u, 1)));
    sheet.row(total);
    format!("\nStandard uncertainty of a weight by source, g, at a row of loads\n{}", sheet.print())
}

fn bill(report: &CheckReport, currency: &str) -> String {
    let mut sheet = Sheet::new(&["<item", "pieces", "kg", currency]);
    for row in &report.bill {
        sheet.row([
            row.item.clone(),
            row.quantity.to_string(),
            optional(row.mass_kg, |m| fixed(m, 2)),
            optional(row.cost, |c| fixed(c, 2)),
        ]);
    }
    sheet.row(["whole deck".to_owned(), String::new(), fixed(report.mass_kg, 2), fixed(report.cost, 2)]);
    format!("\nBill\n{}\n", sheet.print())
}
