//! `verify`: metrological tests against their limits.

use verify::VerifyReport;

use crate::cli::VerifyArgs;
use crate::failure::Failure;
use crate::files;
use crate::output::{self, Outcome};

pub(crate) fn run(args: &VerifyArgs) -> Result<Outcome, Failure> {
    let report = print(args)?;
    Ok(Outcome::of(report.passed))
}

/// Judges the tests and prints the report.
pub(crate) fn print(args: &VerifyArgs) -> Result<VerifyReport, Failure> {
    let deck = files::read_deck(&args.deck)?;
    let calibration = files::read_calibration(&args.calibration, &deck)?;
    let tests = formats::tests::read(&files::name(&args.tests), &files::read_text(&args.tests)?, &deck)?;
    let phase = if args.in_service { verify::Phase::InService } else { verify::Phase::Initial };
    let report = verify::verify(&deck, &calibration, &tests, phase).map_err(|e| Failure::stage(&args.tests, &e))?;
    output::report(args.json, &report, report::text::verification)?;
    Ok(report)
}
