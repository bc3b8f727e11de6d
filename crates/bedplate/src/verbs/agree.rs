//! `agree`: agreement of two methods on the same subjects.

use formats::pairs::Pair;
use verify::AgreeReport;
use web::documents::{AgreementFiles, agreement};

use crate::cli::AgreeArgs;
use crate::failure::Failure;
use crate::files;
use crate::output::{self, Outcome};

pub(crate) fn run(args: &AgreeArgs) -> Result<Outcome, Failure> {
    print(args)?;
    Ok(Outcome::Met)
}

/// Compares the methods, writes the report where asked, and prints the result.
pub(crate) fn print(args: &AgreeArgs) -> Result<(Vec<Pair>, AgreeReport), Failure> {
    let pairs = formats::pairs::read(&files::name(&args.pairs), &files::read_text(&args.pairs)?)?;
    let options =
        verify::AgreeOptions { variance_ratio: args.ratio, proportional: args.proportional, width: args.width };
    let report = verify::agree(&pairs, &options).map_err(|e| Failure::stage(&args.pairs, &e))?;
    if let Some(path) = &args.report {
        let behind = AgreementFiles { pairs: &files::name(&args.pairs) };
        files::write_text(path, &agreement(args.language.reader(), &pairs, &report, behind, &files::now()).render())?;
    }
    output::report(args.json, &report, report::text::agreement)?;
    Ok((pairs, report))
}
