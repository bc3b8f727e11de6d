//! `dose`: weight-dependent quantities for the measured weight and for each estimate.

use balance::dose::DoseReport;

use crate::cli::DoseArgs;
use crate::failure::Failure;
use crate::files;
use crate::output::{self, Outcome};

pub(crate) fn run(args: &DoseArgs) -> Result<Outcome, Failure> {
    print(args)?;
    Ok(Outcome::Met)
}

/// Reckons every quantity and prints the report.
pub(crate) fn print(args: &DoseArgs) -> Result<DoseReport, Failure> {
    let patient = formats::patient::read(&files::name(&args.patient), &files::read_text(&args.patient)?)?;
    let report = balance::dose::dose(&patient, args.measured).map_err(|e| Failure::stage(&args.patient, &e))?;
    output::report(args.json, &report, report::text::dose)?;
    Ok(report)
}
