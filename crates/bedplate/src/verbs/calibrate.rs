//! `calibrate`: reads a deck and a run, writes a calibration.

use calibrate::Earlier;
use formats::calibration::Calibration;
use formats::certificate::Details;
use formats::deck::Deck;
use formats::run::Run;

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
    let earlier = match &args.earlier {
        Some(path) => {
            Some(Earlier { calibration: files::read_calibration(path, &deck)?, replaced: args.replaced.clone() })
        }
        None => None,
    };
    let options = calibrate::Options { earlier, ..calibrate::Options::new(files::now()) };
    let calibration = calibrate::calibrate(&deck, &run, &options).map_err(|e| Failure::stage(&args.run, &e))?;
    if let Some(output) = &args.output {
        files::write_text(output, &formats::calibration::write(&calibration))?;
    }
    if let Some(path) = &args.certificate {
        files::write_text(path, &certificate(args, &deck, &run, &calibration)?)?;
    }
    output::report(args.json, &calibration, report::text::calibration)?;
    Ok(calibration)
}

/// The certificate as one HTML document.
fn certificate(args: &CalibrateArgs, deck: &Deck, run: &Run, calibration: &Calibration) -> Result<String, Failure> {
    let details = match &args.details {
        Some(path) => formats::certificate::read(&files::name(path), &files::read_text(path)?)?,
        None => Details::default(),
    };
    let stated = calibrate::certificate::certificate(deck, run, calibration, &details)
        .map_err(|e| Failure::stage(&args.run, &e))?;
    let run_file = files::name(&args.run);
    let source = web::certificate::Source {
        deck,
        run_file: &run_file,
        calibration,
        details: &details,
        certificate: &stated,
        gravity_in_use_m_s2: deck::gravity_m_s2(&deck.site),
    };
    Ok(web::certificate::certificate(args.language.reader(), &source).render())
}
