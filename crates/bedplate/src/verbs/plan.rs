//! `plan`: where to put which mass, the run to fill in, the checklist; and the touch check before.

use std::path::Path;

use calibrate::plan::{Plan, PlanError, PlanOptions};
use calibrate::touch::{TouchPlace, TouchReport};
use formats::deck::Deck;
use formats::recording::{Reader, Sample};

use crate::cli::PlanArgs;
use crate::failure::Failure;
use crate::files;
use crate::output::{self, Outcome};

pub(crate) fn run(args: &PlanArgs) -> Result<Outcome, Failure> {
    let deck = files::read_deck(&args.deck)?;
    if args.touch {
        let places = Places { deck: deck.name.clone(), places: calibrate::touch::touch_places(&deck) };
        output::report(args.json, &places, |p| report::text::touch_list(&p.deck, &p.places))?;
        return Ok(Outcome::Met);
    }
    if let Some(recording) = &args.touched {
        let report = touched(&deck, recording)?;
        output::report(args.json, &report, report::text::touching)?;
        return Ok(Outcome::of(report.findings.is_empty()));
    }
    let plan = planned(&deck, args)?;
    output::report(args.json, &plan, report::text::planning)?;
    Ok(Outcome::of(plan.open.is_empty() && plan.enough_lifts.is_some()))
}

/// The list of a touch check.
#[derive(serde::Serialize)]
struct Places {
    deck: String,
    places: Vec<TouchPlace>,
}

/// The plan, its files written where asked for.
fn planned(deck: &Deck, args: &PlanArgs) -> Result<Plan, Failure> {
    // Clap asks for the file; without one there is nothing at hand.
    let path = args.masses.as_deref().unwrap_or(Path::new("masses.csv"));
    let masses = formats::masses::read(&files::name(path), &files::read_text(path)?)?;
    let options = PlanOptions {
        lifts: args.lifts,
        u_pct: args.u_pct,
        lift_kg: args.lift_kg,
        plate_kg: args.plate_kg,
        ..PlanOptions::default()
    };
    let run_file = args.output.as_ref().map(|folder| folder.join("run.csv"));
    if let Some(run_file) = run_file.as_deref().filter(|f| f.exists()) {
        // It may hold a day's readings.
        return Err(Failure::Stage(format!(
            "{} is there already and may hold readings: name another folder with -o, or move it away",
            run_file.display()
        )));
    }
    let plan = calibrate::plan::plan(deck, &masses, &options).map_err(|e| match e {
        PlanError::BadOption { name, found, expected } => {
            Failure::Stage(format!("--{name} is {found}, expected {expected}"))
        }
        PlanError::Deck(e) => Failure::stage(&args.deck, &e),
        e => Failure::stage(path, &e),
    })?;
    let reader = args.language.reader();
    let checklist = || web::checklist::checklist(reader, deck, &plan, &files::name(path), &files::now()).render();
    if let (Some(folder), Some(run_file)) = (&args.output, &run_file) {
        files::make_folder(folder)?;
        files::write_text(run_file, &formats::run::write(&calibrate::plan::run_to_fill(deck, &plan)))?;
        files::write_text(&folder.join("checklist.html"), &checklist())?;
    }
    if let Some(file) = &args.report {
        files::write_text(file, &checklist())?;
    }
    Ok(plan)
}

/// A touch check takes minutes; more would only fill the memory, s.
const LONGEST_S: f64 = 7200.0;

fn touched(deck: &Deck, path: &Path) -> Result<TouchReport, Failure> {
    let mut reader = Reader::new(&files::name(path), files::open(path)?, deck)?;
    let mut samples: Vec<Sample> = Vec::new();
    let mut sample = Sample::default();
    while reader.next_sample(&mut sample)? {
        let first_s = samples.first().map_or(sample.t_s, |s| s.t_s);
        if sample.t_s - first_s > LONGEST_S {
            return Err(Failure::Stage(format!(
                "{}: line {}: the recording runs for more than {LONGEST_S} s, expected the minutes of a touch check",
                path.display(),
                reader.line()
            )));
        }
        samples.push(sample.clone());
    }
    calibrate::touch::touch(deck, &samples).map_err(|e| Failure::stage(path, &e))
}
