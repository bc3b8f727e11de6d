//! `calibrate`: reads a deck and a run, writes a calibration.

use formats::calibration::Calibration;

use crate::cli::CalibrateArgs;
use crate::failure::Failure;
use crate::files;
use crate::output::{self, Outcome};

pub(crate) fn run(args: &CalibrateArgs) -> Result<Outcome, Failure> {
    let calibration = print(args)?;
    Ok(Outcome::of(calibration.findings.is_empty()))
}

/// Fits the run, writes the calibration where asked, and prints it.
pub(crate) fn print(args: &CalibrateArgs) -> Result<Calibration, Failure> {
    let deck = files::read_deck(&args.deck)?;
    let run = formats::run::read(&files::name(&args.run), &files::read_text(&args.run)?, &deck)?;
    let options = calibrate::Options::new(files::now());
    let calibration = calibrate::calibrate(&deck, &run, &options).map_err(|e| Failure::stage(&args.run, &e))?;
    if let Some(output) = &args.output {
        files::write_text(output, &formats::calibration::write(&calibration))?;
    }
    output::report(args.json, &calibration, report::text::calibration)?;
    Ok(calibration)
}
