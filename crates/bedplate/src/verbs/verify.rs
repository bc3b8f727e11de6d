//! `verify`: metrological tests against their limits.

use verify::VerifyReport;
use web::documents::{EvidenceFiles, evidence};

use crate::cli::VerifyArgs;
use crate::failure::Failure;
use crate::files;
use crate::output::{self, Outcome};

pub(crate) fn run(args: &VerifyArgs) -> Result<Outcome, Failure> {
    let report = print(args)?;
    Ok(Outcome::of(report.passed))
}

/// Judges the tests, writes the evidence report where asked, and prints the result.
pub(crate) fn print(args: &VerifyArgs) -> Result<VerifyReport, Failure> {
    let deck = files::read_deck(&args.deck)?;
    let calibration = files::read_calibration(&args.calibration, &deck)?;
    let tests = formats::tests::read(&files::name(&args.tests), &files::read_text(&args.tests)?, &deck)?;
    let phase = if args.in_service { verify::Phase::InService } else { verify::Phase::Initial };
    let report = verify::verify(&deck, &calibration, &tests, phase).map_err(|e| Failure::stage(&args.tests, &e))?;
    if let Some(path) = &args.report {
        let (deck, calibration, tests) =
            (files::name(&args.deck), files::name(&args.calibration), files::name(&args.tests));
        let behind = EvidenceFiles { deck: &deck, calibration: &calibration, tests: &tests };
        files::write_text(path, &evidence(args.language.reader(), &report, behind, &files::now()).render())?;
    }
    output::report(args.json, &report, report::text::verification)?;
    Ok(report)
}
