//! `checks`: control charts of a body that is weighed again and again.

use calibrate::checks::{CheckError, CheckOptions};
use web::documents::CheckFiles;

use crate::cli::ChecksArgs;
use crate::failure::Failure;
use crate::files;
use crate::output::{self, Outcome};

pub(crate) fn run(args: &ChecksArgs) -> Result<Outcome, Failure> {
    let checks = formats::checks::read(&files::name(&args.checks), &files::read_text(&args.checks)?)?;
    let deck = args.deck.as_deref().map(files::read_deck).transpose()?;
    let options = CheckOptions { baseline: args.baseline, weight: args.weight, reach: args.reach };
    let report = calibrate::checks::checks(&checks, deck.as_ref(), &options).map_err(|e| match e {
        CheckError::BadOption { name, found, expected } => {
            Failure::Stage(format!("--{name} is {found}, expected {expected}"))
        }
        e => Failure::stage(&args.checks, &e),
    })?;
    if let Some(path) = &args.report {
        let (name, deck) = (files::name(&args.checks), args.deck.as_deref().map(files::name));
        let behind = CheckFiles { checks: &name, deck: deck.as_deref() };
        files::write_text(
            path,
            &web::documents::checks(args.language.reader(), &report, behind, &files::now()).render(),
        )?;
    }
    output::report(args.json, &report, report::text::checking)?;
    Ok(Outcome::of(report.in_control))
}
