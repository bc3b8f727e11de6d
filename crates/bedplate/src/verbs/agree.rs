//! `agree`: agreement of two methods on the same subjects.

use formats::pairs::Pair;
use verify::AgreeReport;

use crate::cli::AgreeArgs;
use crate::failure::Failure;
use crate::files;
use crate::output::{self, Outcome};

pub(crate) fn run(args: &AgreeArgs) -> Result<Outcome, Failure> {
    print(args)?;
    Ok(Outcome::Met)
}

/// Compares the methods and prints the report.
pub(crate) fn print(args: &AgreeArgs) -> Result<(Vec<Pair>, AgreeReport), Failure> {
    let pairs = formats::pairs::read(&files::name(&args.pairs), &files::read_text(&args.pairs)?)?;
    let options = verify::AgreeOptions { variance_ratio: args.ratio };
    let report = verify::agree(&pairs, &options).map_err(|e| Failure::stage(&args.pairs, &e))?;
    output::report(args.json, &report, report::text::agreement)?;
    Ok((pairs, report))
}
