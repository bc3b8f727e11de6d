//! `dose` for a person: the weights first and what each would do, then every quantity side by side, then what each
//! figure rests on and what was refused.

use std::fmt::Write as _;

use balance::dose::{DoseReport, Formula, Kind, KnownWeight, Quantity, Status, Value};

use super::{CAUTION, folded, heading};
use crate::number::{fixed, optional, significant};
use crate::table::Sheet;

/// Weights side by side in one table; more go into the next.
const WEIGHTS_A_TABLE: usize = 5;

/// The screen of `dose`.
#[must_use]
pub fn dose(report: &DoseReport) -> String {
    let mut out = heading(&format!("{} · weight-dependent quantities", report.label));
    out.push_str(&folded(&first_words(report)));
    // Writing to a String cannot fail, here and below.
    let _ = write!(out, "\n\n{}", weights(report));
    if !report.heights.is_empty() {
        let _ = write!(out, "\n{}", heights(report));
    }
    let columns: Vec<usize> = (0..report.weights.len()).collect();
    for shown in columns.chunks(WEIGHTS_A_TABLE) {
        let _ = write!(out, "\n{}", side_by_side(report, shown));
    }
    let alone = alone(report);
    if !alone.is_empty() {
        let _ = write!(out, "\n{alone}");
    }
    let _ = write!(out, "\nWhat the figures rest on\n{}", bases(report));
    if !report.refused.is_empty() {
        let _ = write!(out, "\nRefused, and why\n{}", refused(report));
    }
    out.push_str("\nBeware\n");
    for caution in &report.cautions {
        let _ = writeln!(out, "{}", folded(&format!("! {caution}")));
    }
    let _ = write!(out, "\nNo quantity here is a dose of anything.\n{CAUTION}");
    out
}

fn first_words(report: &DoseReport) -> String {
    match report.reference.and_then(|name| report.weights.iter().find(|weight| weight.name == name)) {
        Some(weight) => format!(
            "Differences refer to the {} of {} kg. A quantity reckoned by kg changes with the weight, one reckoned by m² \
             with its square root.",
            weight.name,
            significant(weight.kg, 4)
        ),
        None => "No weight is measured or stated: nothing to refer differences to.".to_owned(),
    }
}

fn kind_word(kind: Kind) -> &'static str {
    match kind {
        Kind::Measured => "MEASURED",
        Kind::Stated => "stated",
        Kind::Dry => "dry",
        Kind::Birth => "at birth",
        Kind::Estimated => "estimated",
        Kind::Predicted => "predicted",
    }
}

fn percent(value: Option<f64>) -> String {
    optional(value, |v| {
        let text = fixed(v, 1);
        if v > 0.0 && text != "0.0" { format!("+{text}") } else { text }
    })
}

fn weights(report: &DoseReport) -> String {
    let mut sheet = Sheet::new(&["<", "<weight", "<how known", "kg", "by kg, %", "by m², %"]);
    for (idx, weight) in report.weights.iter().enumerate() {
        let effect = report.effects.iter().find(|effect| effect.weight == weight.name);
        sheet.row([
            number_of(idx),
            weight.name.to_owned(),
            kind_word(weight.kind).to_owned(),
            significant(weight.kg, 4),
            percent(effect.map(|effect| effect.per_kg_pct)),
            percent(effect.and_then(|effect| effect.per_m2_pct)),
        ]);
    }
    sheet.print()
}

fn number_of(idx: usize) -> String {
    format!("[{}]", idx + 1)
}

fn heights(report: &DoseReport) -> String {
    let mut sheet = Sheet::new(&["<height", "cm", "<"]);
    for (idx, height) in report.heights.iter().enumerate() {
        let used = if idx == 0 { "used below" } else { "" };
        sheet.row([height.name.to_owned(), fixed(height.cm, 1), used.to_owned()]);
    }
    sheet.print()
}

fn side_by_side(report: &DoseReport, shown: &[usize]) -> String {
    let head: Vec<String> = shown.iter().map(|&idx| number_of(idx)).collect();
    let columns: Vec<&str> = ["<quantity", "<unit"].into_iter().chain(head.iter().map(String::as_str)).collect();
    let mut sheet = Sheet::new(&columns);
    for quantity in &report.quantities {
        let cells: Vec<String> = shown.iter().map(|&idx| cell(quantity, &report.weights[idx])).collect();
        if cells.iter().any(|cell| !cell.is_empty()) {
            sheet.row([quantity.facts.name.to_owned(), quantity.unit.to_owned()].into_iter().chain(cells));
        }
    }
    sheet.print()
}

/// The value for a weight; empty where the quantity refuses it.
fn cell(quantity: &Quantity, weight: &KnownWeight) -> String {
    quantity.values.iter().find(|value| value.weight == Some(weight.name)).map(shown_value).unwrap_or_default()
}

/// Four digits of large values, three of small ones: no formula here deserves more.
fn shown_value(value: &Value) -> String {
    significant(value.value, if value.value.abs() >= 1000.0 { 4 } else { 3 })
}

fn alone(report: &DoseReport) -> String {
    let rows: Vec<(&Quantity, &Value)> = report
        .quantities
        .iter()
        .flat_map(|quantity| quantity.values.iter().map(move |value| (quantity, value)))
        .filter(|(_, value)| value.weight.is_none())
        .collect();
    if rows.is_empty() {
        return String::new();
    }
    let mut sheet = Sheet::new(&["<by no weight of the patient", "<unit", "value"]);
    for (quantity, value) in rows {
        sheet.row([quantity.facts.name.to_owned(), quantity.unit.to_owned(), shown_value(value)]);
    }
    sheet.print()
}

fn bases(report: &DoseReport) -> String {
    let weights = report.weights.iter().map(|weight| weight.facts);
    let heights = report.heights.iter().map(|height| height.facts);
    let quantities = report.quantities.iter().map(|quantity| quantity.facts);
    let mut out = String::new();
    for facts in weights.chain(heights).chain(quantities) {
        let _ = writeln!(out, "{}", folded(&basis(&facts)));
    }
    out
}

fn basis(facts: &Formula) -> String {
    let how = match facts.status {
        Status::Read | Status::Definition => "",
        Status::ReadSecondary => " (read on a secondary page)",
        Status::Memory => " (FROM MEMORY, not confirmed)",
    };
    let mut text = format!("{}: {}. {}{how}.", facts.name, facts.formula, facts.source);
    if !facts.range.is_empty() {
        let _ = write!(text, " Holds for: {}.", facts.range);
    }
    if !facts.caution.is_empty() {
        let _ = write!(text, " Beware: {}.", facts.caution);
    }
    text
}

fn refused(report: &DoseReport) -> String {
    let mut out = String::new();
    for refusal in &report.refused {
        let of = refusal.weight.map(|weight| format!(" (for the weight by {weight})")).unwrap_or_default();
        let _ = writeln!(out, "{}", folded(&format!("- {}{of}", refusal.reason)));
    }
    out
}
