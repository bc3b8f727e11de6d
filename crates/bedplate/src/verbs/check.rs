//! `check`: reads a deck, judges it against its own targets.

use design::CheckReport;
use formats::deck::Deck;
use formats::field::Row;

use crate::cli::CheckArgs;
use crate::failure::Failure;
use crate::files;
use crate::output::{self, Outcome};
use crate::progress;

pub(crate) fn run(args: &CheckArgs) -> Result<Outcome, Failure> {
    let (_, report) = print(args)?;
    Ok(Outcome::of(report.passed()))
}

/// Checks the deck, writes the report where one is asked for, and prints the screen.
pub(crate) fn print(args: &CheckArgs) -> Result<(Deck, CheckReport), Failure> {
    let (deck, warnings) = files::read_deck_with_warnings(&args.deck)?;
    let working = progress::spinner("bending the plates");
    let mut report = design::check(&deck).map_err(|e| Failure::stage(&args.deck, &e))?;
    report.warnings.extend(warnings);
    working.finish_and_clear();
    if let Some(path) = &args.report {
        let made =
            web::documents::check(args.language.reader(), &deck, &files::name(&args.deck), &report, &files::now());
        files::write_text(path, &made.render())?;
    }
    if let Some(path) = &args.field {
        files::write_text(path, &formats::field::write(field(&deck, &report)))?;
    }
    output::report(args.json, &report, |r| report::text::check(&deck, r, args.all))?;
    Ok((deck, report))
}

/// The points of the deflection field as rows of the file.
fn field<'a>(deck: &'a Deck, report: &'a CheckReport) -> impl Iterator<Item = Row<'a>> {
    design::field::points(deck, report).map(|point| Row {
        load_case: point.case,
        plate: point.plate,
        at_mm: point.at_mm,
        in_bed_mm: point.in_bed_mm,
        deflection_mm: point.deflection_mm,
        clearance_left_mm: point.clearance_left_mm,
    })
}
