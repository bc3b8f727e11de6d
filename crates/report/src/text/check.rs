//! `check` for a person: verdict first, the headline, what to improve, the worst of each plate, bill, warnings; every table in
//! full only where all is asked for.

use std::fmt::Write as _;

use design::CheckReport;
use design::report::{BudgetRow, CaseReport, PlateReport, Requirement};
use formats::deck::Deck;

use super::{folded, heading};
use crate::number::{fixed, optional, safe_kg, significant};
use crate::table::{Sheet, verdict};

/// Sources that make up less of the variance at every load stand in the full table alone.
const SMALL_SHARE: f64 = 0.01;
/// Improvements on the short screen.
const FIRST_IMPROVEMENTS: usize = 4;

/// The screen of `check`; with `all`, each plate under each load case with its cells, and every source of error.
#[must_use]
pub fn check(deck: &Deck, report: &CheckReport, all: bool) -> String {
    let mut out = heading(&format!("{} · check before cutting", deck.name));
    out.push_str(&requirements(&report.requirements, &deck.currency));
    out.push_str(&resolved(report));
    out.push_str(&improvements(report, all));
    out.push_str(&plates(report, all));
    out.push_str(&postures(report));
    out.push_str(&limits(deck, report));
    out.push_str(&budget(report, all));
    if all {
        out.push_str(&budget_of_a_change(report));
        out.push_str(&modules(report));
    }
    out.push_str(&bill(report, &deck.currency));
    for warning in &report.warnings {
        // Writing to a String cannot fail, here and below.
        let _ = writeln!(out, "! {warning}");
    }
    out.push_str(
        "! Before a person lies on it: trapping between plates, sharp edges, cleaning, electrical safety at the bed and the\n  \
         bed's own safe working load are not computed here; local codes and the bed's manufacturer decide.\n",
    );
    if !all {
        out.push_str("\nEvery plate, cell and source: --all. To keep and print: --report FILE.html\n");
    }
    out
}

fn requirements(requirements: &[Requirement], currency: &str) -> String {
    let mut sheet = Sheet::new(&["<requirement", "found", "limit", "<verdict"]);
    for r in requirements {
        let (name, unit) = requirement_words(&r.name, currency);
        // A factor is a lower limit, all others are upper ones.
        let sign = r.sign();
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
    let by_hours: Vec<String> = change
        .resolvable_g
        .0
        .iter()
        .map(|(hours, g)| format!("{} g over {} h", significant(*g, 2), significant(*hours, 2)))
        .collect();
    let mut out = format!(
        "\nSmallest change of weight told over 24 h, patient of {} kg: {} g ({})\n({})\n",
        significant(change.patient_kg, 3),
        significant(change.resolvable_24h_g, 2),
        by_hours.join(", "),
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
        "shunted_pct" => ("load that passes the cells by", "%"),
        "safety_factor" => ("strength over stress, any layer", ""),
        other => (other, ""),
    };
    (words.to_owned(), unit.to_owned())
}

/// What each source is worth, the largest gain in the change first.
fn improvements(report: &CheckReport, all: bool) -> String {
    let mut sheet = Sheet::new(&[
        "<to improve",
        "of it, %",
        "told with half, g",
        "without, g",
        "U at max with half, g",
        "without, g",
    ]);
    let shown = if all { report.improvements.len() } else { FIRST_IMPROVEMENTS };
    for row in report.improvements.iter().take(shown) {
        sheet.row([
            row.source.to_owned(),
            fixed(row.share_of_change_variance_pct, 0),
            significant(row.resolvable_24h_if_halved_g, 2),
            significant(row.resolvable_24h_without_g, 2),
            significant(row.expanded_u_if_halved_g, 3),
            significant(row.expanded_u_without_g, 3),
        ]);
    }
    format!(
        "\nWhat to improve first: share of the change's variance over 24 h, and what is left with half of a source or without it\n{}",
        sheet.print()
    )
}

/// Each plate under each load case, or under the case that bends it most.
fn plates(report: &CheckReport, all: bool) -> String {
    let mut head = vec!["<plate", "<load case", "load kg", "down mm", "left mm", "shunted %", "factor", "cell %"];
    if all {
        head.extend(["at x, y mm", "stress MPa", "cells N"]);
    }
    let mut sheet = Sheet::new(&head);
    for plate in &report.plates {
        // A patch on one plate leaves the others without a load: nothing to say.
        let loaded = plate.cases.iter().filter(|c| c.load_kg > 0.0);
        if all {
            loaded.for_each(|case| sheet.row(plate_row(plate, case, true)));
        } else if let Some(worst) = loaded.max_by(|a, b| a.max_deflection_mm.total_cmp(&b.max_deflection_mm)) {
            sheet.row(plate_row(plate, worst, false));
        }
    }
    let title = if all {
        "Each plate under each load case (down: largest deflection; left: clearance left; cell: most loaded, of its capacity)"
    } else {
        "Each plate under the load case that bends it most (left: clearance left; cell: most loaded, of its capacity)"
    };
    let mut out = format!("\n{title}\n{}", sheet.print());
    if let Some((case, plate)) = worst_on_the_ward(report) {
        let touch = if case.touches { ", touching its base" } else { "" };
        let _ = writeln!(
            out,
            "On a ward (knee or elbow, chest compression, sitting on the edge) at worst, {} on {}: {} mm down{touch}, a cell at {} % of its capacity, strength over stress {}",
            case.case,
            plate.name,
            fixed(case.max_deflection_mm, 1),
            fixed(most_loaded_pct(case), 0),
            optional(case.safety_factor, |f| significant(f, 2))
        );
    }
    if all {
        let mut sheet = Sheet::new(&head);
        for plate in &report.ward_loads {
            plate.cases.iter().filter(|c| c.load_kg > 0.0).for_each(|case| sheet.row(plate_row(plate, case, true)));
        }
        let _ = write!(out, "\nEach plate under the loads of a ward\n{}", sheet.print());
        let mut sheet = Sheet::new(&["<plate", "safe on its edge, kg", "<limited by", "<then"]);
        for edge in &report.safe_edge {
            let then = if edge.touches { "bears on its base, reads low" } else { "stays off its base" };
            sheet.row([edge.plate.clone(), safe_kg(edge.load_kg), edge.limited_by.clone(), then.to_owned()]);
        }
        let _ = write!(out, "\nSomeone who sits on the edge of a plate\n{}", sheet.print());
    }
    out
}

/// The ward's load that brings a cell nearest to its capacity.
fn worst_on_the_ward(report: &CheckReport) -> Option<(&CaseReport, &PlateReport)> {
    let all = report.ward_loads.iter().flat_map(|p| p.cases.iter().map(move |c| (c, p)));
    all.max_by(|(a, _), (b, _)| most_loaded_pct(a).total_cmp(&most_loaded_pct(b)))
}

fn most_loaded_pct(case: &CaseReport) -> f64 {
    case.cells.iter().map(|c| c.load_pct_of_capacity).fold(0.0, f64::max)
}

fn plate_row(plate: &PlateReport, case: &CaseReport, all: bool) -> Vec<String> {
    let touch = if case.touches { " touches" } else { "" };
    let mut row = vec![
        plate.name.clone(),
        case.case.clone(),
        fixed(case.load_kg, 1),
        fixed(case.max_deflection_mm, 2),
        format!("{}{touch}", fixed(case.clearance_left_mm, 1)),
        fixed(case.shunted_pct, 1),
        optional(case.safety_factor, |f| significant(f, 2)),
        fixed(most_loaded_pct(case), 0),
    ];
    if all {
        let newton = |c: &design::report::CellReport| {
            if c.lifts { "lifts".into() } else { fixed(c.reaction_newton, 0) }
        };
        let reactions: Vec<String> = case.cells.iter().map(newton).collect();
        row.push(format!("{}, {}", fixed(case.at_mm[0], 0), fixed(case.at_mm[1], 0)));
        row.push(significant(case.max_stress_mpa, 2));
        row.push(reactions.join(" "));
    }
    row
}

fn postures(report: &CheckReport) -> String {
    if report.postures.is_empty() {
        return String::new();
    }
    let mut sheet = Sheet::new(&["<posture", "kg", "U (k = 2) g", "<most of it"]);
    for posture in &report.postures {
        let mut order: Vec<_> = posture.rows.iter().filter(|r| r.u_g > 0.0).collect();
        order.sort_by(|a, b| b.u_g.total_cmp(&a.u_g));
        let named: Vec<String> =
            order.iter().take(3).map(|r| format!("{} {}", r.source, significant(r.u_g, 2))).collect();
        sheet.row([
            posture.case.clone(),
            fixed(posture.load_kg, 1),
            significant(posture.expanded_u_g, 3),
            named.join(", "),
        ]);
    }
    format!("\nA weight in each posture\n{}", sheet.print())
}

/// Safe load, lift, cells and converter: a line each.
fn limits(deck: &Deck, report: &CheckReport) -> String {
    let (safe, lift, modules) = (&report.safe_load, &report.lift, &report.modules);
    let missed: Vec<&str> = modules.conditions.iter().filter(|c| !c.met).map(|c| c.name.as_str()).collect();
    let fit = if missed.is_empty() {
        format!("{} checks of compatibility are met, none is missed", modules.conditions.len())
    } else {
        format!("not met: {}", missed.join("; "))
    };
    let open = match modules.open.len() {
        0 => String::new(),
        n => format!(", {n} open as no certificate is stated"),
    };
    let within = |yes: bool| if yes { "within" } else { "beyond" };
    let of_deck = if safe.load_kg.is_finite() {
        format!("{} kg, limited by the {}", safe_kg(safe.load_kg), safe.limited_by)
    } else {
        "not limited by any load case".to_owned()
    };
    let edge = report.safe_edge.iter().min_by(|a, b| a.load_kg.total_cmp(&b.load_kg)).map(|e| {
        format!(
            "Safe load on an edge, someone sitting: {} kg on {}, the least of all plates, limited by the {}{}",
            safe_kg(e.load_kg),
            e.plate,
            e.limited_by,
            if e.touches { "; the plate then bears on its base and reads low" } else { "" }
        )
    });
    let lines = [
        format!(
            "Safe load of the deck, not a standard's safe working load: {of_deck} (max is {} kg; the bed has its own)",
            fixed(deck.max_kg, 0)
        ),
        edge.unwrap_or_default(),
        format!(
            "One person's lift: heaviest plate {} kg, {} {} kg; all plates {} kg, {} it ({}){}",
            fixed(lift.heaviest_plate_kg, 1),
            within(lift.plate_within_one_lift),
            design::lift::LIFT_KG,
            fixed(lift.deck_kg, 1),
            within(lift.deck_within_one_lift),
            lift.guideline,
            if lift.is_complete { "" } else { "; without bases or cells whose mass the deck file does not state" }
        ),
        format!(
            "Cells and converter: {fit}{open}; {} counts per e, {} noise-free divisions, noise {} g rms settled ({})",
            significant(modules.counts_per_e, 3),
            significant(modules.noise_free_divisions, 3),
            significant(modules.averaged_noise_g_rms, 2),
            modules.note
        ),
    ];
    let mut out = String::from("\n");
    for line in lines.into_iter().filter(|line| !line.is_empty()) {
        out.push_str(&folded(&line));
        out.push('\n');
    }
    out
}

/// Whether a source makes up something of the variance anywhere in its row of totals.
fn matters(row: &BudgetRow, combined_u_g: &[f64]) -> bool {
    row.u_g.0.iter().zip(combined_u_g).any(|((_, u), all)| u * u >= SMALL_SHARE * all * all && *u > 0.0)
}

fn budget(report: &CheckReport, all: bool) -> String {
    let loads = &report.expanded_u_g.0;
    let combined: Vec<f64> = loads.iter().map(|(_, expanded)| expanded / 2.0).collect();
    let mut head = vec!["<source".to_owned(), "<distribution".to_owned()];
    head.extend(loads.iter().map(|(kg, _)| format!("{} kg", significant(*kg, 3))));
    let head: Vec<&str> = head.iter().map(String::as_str).collect();
    let mut sheet = Sheet::new(&head);
    let (shown, small): (Vec<&BudgetRow>, Vec<&BudgetRow>) =
        report.budget.iter().partition(|row| all || matters(row, &combined));
    for row in shown {
        // The JSON document says also what is shared between cells; here the shape is enough.
        let shape = row.kind.split(',').next().unwrap_or(row.kind);
        let mut cells = vec![row.source.to_owned(), shape.to_owned()];
        cells.extend(row.u_g.0.iter().map(|(_, u)| fixed(*u, 1)));
        sheet.row(cells);
    }
    let mut totals = |name: String, values: &dyn Fn(usize) -> f64| {
        let mut cells = vec![name, String::new()];
        cells.extend((0..loads.len()).map(|i| fixed(values(i), 1)));
        sheet.row(cells);
    };
    if !small.is_empty() {
        let square = |i: usize| small.iter().filter_map(|r| r.u_g.0.get(i)).map(|(_, u)| u * u).sum::<f64>();
        totals(format!("{} smaller sources", small.len()), &|i| square(i).sqrt());
    }
    totals("expanded, k = 2".to_owned(), &|i| loads[i].1);
    if all {
        totals("drawn, k = 2".to_owned(), &|i| report.monte_carlo.get(i).map_or(f64::NAN, |row| 2.0 * row.u_g));
    }
    format!("\nStandard uncertainty of a weight by source, g, at a row of loads\n{}", sheet.print())
}

fn budget_of_a_change(report: &CheckReport) -> String {
    let change = &report.change;
    let mut head = vec!["<source".to_owned()];
    head.extend(change.u_g.0.iter().map(|(hours, _)| format!("{} h", significant(*hours, 2))));
    let head: Vec<&str> = head.iter().map(String::as_str).collect();
    let mut sheet = Sheet::new(&head);
    let row = |name: &str, values: &design::report::ByLoad| {
        std::iter::once(name.to_owned()).chain(values.0.iter().map(|(_, g)| fixed(*g, 1))).collect::<Vec<String>>()
    };
    change.rows.iter().for_each(|r| sheet.row(row(r.source, &r.u_g)));
    sheet.row(row("combined", &change.u_g));
    sheet.row(row("smallest change told", &change.resolvable_g));
    format!(
        "\nStandard uncertainty of a change of weight by source, g, by hours between the weights\n{}",
        sheet.print()
    )
}

fn modules(report: &CheckReport) -> String {
    let mut sheet = Sheet::new(&["<condition of compatibility", "found", "asked", "<verdict"]);
    for c in &report.modules.conditions {
        sheet.row([c.name.clone(), significant(c.value, 3), significant(c.limit, 3), verdict(c.met).into()]);
    }
    let mut out = format!("\nCells and converter together\n{}", sheet.print());
    if !report.modules.open.is_empty() {
        let mut sheet = Sheet::new(&["<condition that is open", "<found", "<what would settle it"]);
        for c in &report.modules.open {
            sheet.row([c.name.clone(), c.found.clone(), c.needs.to_owned()]);
        }
        out.push_str(&sheet.print());
    }
    out
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
