//! `explore` for a person: the best in each sense first, then every design on a line, then the key of the stacks.

use std::fmt::Write as _;

use design::explore::{DesignReport, ExploreReport};
use formats::deck::Deck;

use super::{CAUTION, heading};
use crate::number::{fixed, significant};
use crate::table::Sheet;

/// Most designs on a screen.
const SHOWN: usize = 40;

/// The screen of `explore`.
#[must_use]
pub fn exploration(deck: &Deck, report: &ExploreReport) -> String {
    let mut out = heading(&format!("{} · designs that none of the others beats", deck.name));
    // Writing to a String cannot fail, here and below.
    let _ = writeln!(
        out,
        "{} of about {} designs tried, on {} plates solved; {} of {} rounds{}",
        report.candidates,
        significant(report.space, 2),
        report.plates_solved,
        report.rounds,
        report.of_rounds,
        if report.finished { "" } else { ": STOPPED before its end" }
    );
    if report.designs.is_empty() {
        out.push_str(nothing(report));
        return out;
    }
    out.push_str(&best(report, &deck.currency));
    let shown = shown(&report.designs);
    let stacks = stacks(&shown);
    out.push_str(&designs(&shown, report.designs.len(), &stacks, &deck.currency));
    out.push_str(&key(deck, &stacks));
    out.push_str(
        "One of them as a deck file of its own: --write N -o FILE; then `check` it, which has the last word.\n",
    );
    out.push_str(CAUTION);
    out
}

fn nothing(report: &ExploreReport) -> &'static str {
    if report.finished {
        "None keeps to the deflection and carries its loads on all cells: allow thicker layers or other places of cells.\n"
    } else {
        "Nothing was found before the search was stopped.\n"
    }
}

/// The number of the best design in each sense.
fn best(report: &ExploreReport, currency: &str) -> String {
    let mut sheet = Sheet::new(&["<best in", "design", "<with"]);
    let senses = [
        ("cost", currency),
        ("mass", "kg"),
        ("stiffness", "mm left of the allowed deflection"),
        ("resolvable change, 24 h", "g"),
    ];
    for (sense, (name, unit)) in senses.into_iter().enumerate() {
        if let Some(found) = best_in(&report.designs, sense) {
            let value = significant(found.scores.objectives()[sense].abs(), 3);
            sheet.row([name.to_owned(), found.number.to_string(), format!("{value} {unit}")]);
        }
    }
    format!("\n{}", sheet.print())
}

/// The best design in an objective, by its place in [`Scores::objectives`](design::explore::Scores::objectives).
fn best_in(designs: &[DesignReport], sense: usize) -> Option<&DesignReport> {
    let score = |d: &DesignReport| d.scores.objectives()[sense];
    designs.iter().min_by(|a, b| score(a).total_cmp(&score(b)))
}

/// The designs for a screen: all, or the best in each sense and others spread evenly over the list.
fn shown(designs: &[DesignReport]) -> Vec<&DesignReport> {
    if designs.len() <= SHOWN {
        return designs.iter().collect();
    }
    let best: Vec<usize> = (0..4).filter_map(|sense| best_in(designs, sense)).map(|d| d.number).collect();
    let stride = designs.len().div_ceil(SHOWN - best.len());
    designs.iter().filter(|d| (d.number - 1).is_multiple_of(stride) || best.contains(&d.number)).collect()
}

/// Every stack that a design uses, in the order in which they appear.
fn stacks<'a>(designs: &[&'a DesignReport]) -> Vec<&'a str> {
    let mut found: Vec<&str> = Vec::new();
    for plate in designs.iter().flat_map(|d| &d.plates) {
        if !found.contains(&plate.stack.as_str()) {
            found.push(&plate.stack);
        }
    }
    found
}

fn designs(shown: &[&DesignReport], of: usize, stacks: &[&str], currency: &str) -> String {
    let head = [
        "no.",
        currency,
        "kg",
        "margin mm",
        "24 h g",
        "U g",
        "cells",
        "<cell type",
        "<converter",
        "<plates: stack, cells",
    ];
    let mut sheet = Sheet::new(&head);
    for design in shown {
        let s = &design.scores;
        let plates: Vec<String> = design
            .plates
            .iter()
            .map(|p| {
                let place = stacks.iter().position(|&stack| stack == p.stack).unwrap_or(0);
                format!("{}{}", letters(place), p.cells_at_mm.len())
            })
            .collect();
        sheet.row([
            design.number.to_string(),
            fixed(s.cost, 0),
            fixed(s.mass_kg, 1),
            fixed(s.deflection_margin_mm, 2),
            significant(s.resolvable_24h_g, 3),
            significant(s.expanded_u_g, 3),
            design.plates.iter().map(|p| p.cells_at_mm.len()).sum::<usize>().to_string(),
            design.cell_type.clone(),
            design.converter.clone(),
            plates.join(" "),
        ]);
    }
    let count = if shown.len() < of {
        format!("{} of {of} designs, spread over the list (--json gives all)", shown.len())
    } else {
        format!("{of} designs")
    };
    format!(
        "\n{count}; margin: allowed less largest deflection; 24 h: smallest change\nresolved over a day; U: expanded (k = 2) at max\n{}",
        sheet.print()
    )
}

fn key(deck: &Deck, stacks: &[&str]) -> String {
    let plates: Vec<&str> = deck.plates.iter().map(|p| p.name.as_str()).collect();
    let mut out = format!("\nPlates in the order {}; letter: stack, number: cells\n", plates.join(", "));
    for (place, stack) in stacks.iter().enumerate() {
        let _ = writeln!(out, "  {} = {stack}", letters(place));
    }
    out.push('\n');
    out
}

/// A, B, … Z, AA, AB, … for 0, 1, …
fn letters(place: usize) -> String {
    let last = char::from(b'A' + u8::try_from(place % 26).unwrap_or(0));
    if place < 26 { last.to_string() } else { format!("{}{last}", letters(place / 26 - 1)) }
}

#[cfg(test)]
mod tests {
    use super::letters;

    #[test]
    fn letters_go_on_after_the_last() {
        assert_eq!([0, 25, 26, 51, 52].map(letters), ["A", "Z", "AA", "AZ", "BA"]);
    }
}
