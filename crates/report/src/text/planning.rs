//! `plan` for a person: what to put where, what it will be good for, what stays open and what would close it.

use std::fmt::Write as _;

use calibrate::plan::{Lift, Plan};

use super::{folded, heading};
use crate::number::{fixed, significant};
use crate::table::Sheet;

/// Said where loads are lifted onto a bed.
const CARE: &str = "Lift by your local rules, two people where they say so; feet clear of the deck. No body heavier than the bed's \
                    safe working load less the deck. The forecast holds noise, scatter, places and masses; bow, hysteresis and \
                    creep, which every run has alike, belong to the budget of `check`.";

/// The screen of `plan`.
#[must_use]
pub fn planning(plan: &Plan) -> String {
    let mut out = heading(&format!("{} · plan of a calibration", plan.deck));
    // Writing to a String cannot fail, here and below.
    let _ = writeln!(
        out,
        "{}\n",
        folded(&format!(
            "{} placements, {} pieces carried. Criterion: {}. {}",
            plan.lifts.len(),
            plan.pieces,
            plan.criterion,
            how_many(plan)
        ))
    );
    for note in &plan.notes {
        let _ = writeln!(out, "{}", folded(&format!("! {note}")));
    }
    if !plan.unused.is_empty() {
        let names = plan.unused.join(", ");
        let text = format!("Not needed: {names}. In as many placements the others serve better.");
        let _ = writeln!(out, "{}\n", folded(&text));
    }
    out.push_str(&open(plan));
    out.push_str(&lifts(&plan.lifts));
    let _ = write!(out, "\nWhat each gain will be known to (standard uncertainty)\n{}", cells(plan));
    let _ = write!(out, "\nWhat the gains will make of a weight (standard uncertainty, g)\n{}", weights(plan));
    let _ = writeln!(out, "\n{}\n\n{}", folded(&plan.centres.text), folded(CARE));
    out
}

fn how_many(plan: &Plan) -> String {
    let n = plan.lifts.len();
    match (plan.least_lifts, plan.enough_lifts) {
        (Some(least), Some(enough)) if n > enough => format!(
            "{least} determine every cell to 5 %; {enough} bring all within what was asked for and leave equations to spare: the \
             other {} only average the scatter further.",
            n - enough
        ),
        (Some(least), Some(_)) => format!(
            "{least} would determine every cell to 5 %, with little to spare; these bring all within what was asked for, and the \
             run will show its own scatter."
        ),
        (Some(least), None) => {
            format!("{least} determine every cell to 5 %, but these do not bring all within what was asked for.")
        }
        (None, _) => "They do not determine every cell.".into(),
    }
}

/// Cells that stay open, and the placements that would close them.
fn open(plan: &Plan) -> String {
    if plan.open.is_empty() {
        return String::new();
    }
    let cells = plan.open.join(", ");
    if plan.closing.is_empty() {
        let text = format!(
            "! Open: {cells}. No few placements of these masses close them: the plate spreads every load among its cells by \
             the same few numbers. A plate that bends more, cells that do not lie in two rows, or a heavier known mass would."
        );
        return format!("{}\n\n", folded(&text));
    }
    let text = format!("! Open: {cells}. {} further placements would close them:", plan.closing.len());
    format!("{}\n{}\n", folded(&text), lifts(&plan.closing))
}

fn lifts(lifts: &[Lift]) -> String {
    let mut sheet = Sheet::new(&["step", "<body", "kg", "<plate", "x, mm", "y, mm", "<lifts off"]);
    for lift in lifts {
        let kg = match lift.mass_kg {
            // As the file states it: the digits are the certificate's.
            Some(kg) => kg.to_string(),
            None => format!("~{}", significant(lift.about_kg, 3)),
        };
        sheet.row([
            lift.step.to_string(),
            lift.load.clone(),
            kg,
            lift.plate.clone(),
            fixed(lift.x_mm, 0),
            fixed(lift.y_mm, 0),
            lift.lifts_off.join(" "),
        ]);
    }
    let lifted = if lifts.iter().any(|l| !l.lifts_off.is_empty()) {
        "Lifts off: cells that the plate leaves by a hair as the body presses the others down; the sum stays right.\n"
    } else {
        ""
    };
    format!("{}{lifted}", sheet.print())
}

fn cells(plan: &Plan) -> String {
    let mut sheet = Sheet::new(&["<cell", "u, %", "bears of an even load, %"]);
    for cell in &plan.cells {
        let u = if cell.determined { significant(cell.u_pct, 2) } else { "open".into() };
        sheet.row([cell.name.clone(), u, fixed(cell.even_pct, 1)]);
    }
    sheet.print()
}

fn weights(plan: &Plan) -> String {
    if !plan.open.is_empty() {
        return "As long as cells are open, no weight is determined.\n".into();
    }
    let mut sheet =
        Sheet::new(&["load, kg", "on the plates' centres", "spread evenly", "towards one cell of each plate"]);
    for w in &plan.weights {
        sheet.row([
            significant(w.kg, 3),
            significant(w.centres_u_g, 2),
            significant(w.even_u_g, 2),
            significant(w.uneven_u_g, 2),
        ]);
    }
    sheet.print()
}
