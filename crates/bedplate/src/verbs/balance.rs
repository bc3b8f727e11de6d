//! `balance`: weights and chart to a fluid balance.

use balance::BalanceReport;
use formats::patient::PatientFile;

use crate::cli::BalanceArgs;
use crate::failure::Failure;
use crate::files;
use crate::output::{self, Outcome};

pub(crate) fn run(args: &BalanceArgs) -> Result<Outcome, Failure> {
    print(args)?;
    Ok(Outcome::Met)
}

/// Sets weights against chart and prints the report.
pub(crate) fn print(args: &BalanceArgs) -> Result<(PatientFile, BalanceReport), Failure> {
    let patient = formats::patient::read(&files::name(&args.patient), &files::read_text(&args.patient)?)?;
    let weights = formats::weights::read(&files::name(&args.weights), &files::read_text(&args.weights)?)?;
    let chart = formats::chart::read(&files::name(&args.chart), &files::read_text(&args.chart)?)?;
    let options = balance::Options::default();
    let report =
        balance::balance(&patient, &weights, &chart, &options).map_err(|e| Failure::stage(&args.weights, &e))?;
    output::report(args.json, &report, |r| report::text::balance(&patient.patient.label, r))?;
    Ok((patient, report))
}
