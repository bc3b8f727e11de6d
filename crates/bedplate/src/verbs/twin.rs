//! `twin`: a virtual deck, bed and patient, written into the files that real ones would fill.

use std::fmt::Write as _;
use std::io::Write as _;
use std::path::Path;

use calibrate::Options;
use formats::calibration::Calibration;
use formats::deck::Deck;
use formats::recording::{Sample, Writer};
use serde::Serialize;
use twin::bench::run::BenchTruth;
use twin::{BenchOptions, BuiltDeck, Night, NightTruth, Scenario, TwinError};

use crate::cli::{TwinArgs, TwinFilesArgs, TwinVerb};
use crate::failure::Failure;
use crate::files::{self, Aside};
use crate::output::{self, Outcome};
use crate::progress;

/// Invented persons whose weights are compared with a standing scale's.
const PERSONS: usize = 20;
/// Time between rows of truth.csv, s.
const TRUTH_EVERY_S: f64 = 60.0;

/// What was written.
#[derive(Debug, Serialize)]
pub(crate) struct TwinReport {
    /// Number that all draws follow from.
    pub(crate) seed: u64,
    /// Files, in the order in which they were written.
    pub(crate) files: Vec<&'static str>,
    /// What is true of them.
    pub(crate) truth: Truth,
}

/// The truth behind the files.
#[derive(Debug, Serialize)]
pub(crate) struct Truth {
    bench: BenchTruth,
    night: NightTruth,
}

pub(crate) fn run(args: &TwinArgs) -> Result<Outcome, Failure> {
    match (&args.other, &args.files) {
        (Some(TwinVerb::Trial(trial)), _) => super::trial::run(trial),
        (Some(TwinVerb::Fluids(fluids)), _) => super::fluids::run(fluids),
        (Some(TwinVerb::Ward(ward)), _) => super::twin_ward::run(ward),
        (None, Some(files)) => print(files).map(|_| Outcome::Met),
        // The command line asks for a deck before it comes to this.
        (None, None) => Err(Failure::Stage("no deck: name a deck.toml and a folder, or `trial`".into())),
    }
}

/// Writes the files and prints what they are.
pub(crate) fn print(args: &TwinFilesArgs) -> Result<TwinReport, Failure> {
    let deck = files::read_deck(&args.deck)?;
    let scenario = scenario(args.scenario.as_deref())?;
    let given = args.calibration.as_deref().map(|path| files::read_calibration(path, &deck)).transpose()?;
    files::make_folder(&args.output)?;
    let report = write_all(args, &deck, &scenario, given)?;
    output::report(args.json, &report, |r| screen(&args.output, &scenario, r))?;
    Ok(report)
}

/// The scenario of a file, or the demo's.
pub(crate) fn scenario(path: Option<&Path>) -> Result<Scenario, Failure> {
    match path {
        Some(path) => Scenario::read(&files::name(path), &files::read_text(path)?),
        None => twin::demo::scenario(),
    }
    .map_err(|e| Failure::Stage(e.to_string()))
}

fn write_all(
    args: &TwinFilesArgs,
    deck: &Deck,
    scenario: &Scenario,
    given: Option<Calibration>,
) -> Result<TwinReport, Failure> {
    let of_deck = |e: TwinError| Failure::stage(&args.deck, &e);
    let folder = &args.output;
    let spread = scenario.cell_spread();
    let built = BuiltDeck::build(deck, &spread, args.seed).map_err(of_deck)?;
    let bench =
        twin::bench_run(deck, args.seed, &BenchOptions { spread, ..BenchOptions::default() }).map_err(of_deck)?;
    files::write_text(&folder.join("run.csv"), &formats::run::write(&bench.run))?;
    let calibration = match given {
        Some(calibration) => calibration,
        None => calibrate::calibrate(deck, &bench.run, &Options::new(files::now()))
            .map_err(|e| Failure::stage(&args.deck, &e))?,
    };
    let tests = twin::tests_run(deck, &built, &calibration, args.seed);
    files::write_text(&folder.join("tests.csv"), &formats::tests::write(&tests))?;
    let pairs = twin::pairs(deck, &built, &calibration, PERSONS, args.seed);
    files::write_text(&folder.join("pairs.csv"), &formats::pairs::write(&pairs))?;
    let mut night = Night::new(deck, &built, scenario, args.seed).map_err(of_deck)?;
    files::write_text(&folder.join("actions.csv"), &formats::actions::write(night.actions()))?;
    files::write_text(&folder.join("patient.toml"), &formats::patient::write(night.patient_file()))?;
    files::write_text(&folder.join("chart.csv"), &formats::chart::write(night.chart()))?;
    record(&mut night, folder).map_err(|e| match e {
        Trouble::Twin(e) => of_deck(e),
        Trouble::File(e) => Failure::write(&folder.join("recording.csv"), e),
        Trouble::Finish(failure) => failure,
    })?;
    let truth = Truth { bench: bench.truth, night: night.truth().clone() };
    let json = serde_json::to_string_pretty(&truth).map_err(|e| Failure::Stage(e.to_string()))?;
    files::write_text(&folder.join("truth.json"), &json)?;
    let files = vec![
        "run.csv",
        "tests.csv",
        "pairs.csv",
        "actions.csv",
        "patient.toml",
        "chart.csv",
        "recording.csv",
        "truth.csv",
        "truth.json",
    ];
    Ok(TwinReport { seed: args.seed, files, truth })
}

/// Why recording stopped.
enum Trouble {
    Twin(TwinError),
    File(std::io::Error),
    Finish(Failure),
}

/// Lives through the days, sample by sample, and writes recording.csv and truth.csv.
fn record(night: &mut Night<'_>, folder: &Path) -> Result<(), Trouble> {
    let aside = Aside::create(&folder.join("recording.csv")).map_err(Trouble::Finish)?;
    let mut recording = Writer::new(aside, night.header()).map_err(Trouble::File)?;
    let mut truth = Aside::create(&folder.join("truth.csv")).map_err(Trouble::Finish)?;
    writeln!(truth, "t_s,patient_kg,pad_kg,items_kg").map_err(Trouble::File)?;
    let bar = progress::bar(night.n_samples(), "living through the days");
    let mut sample = Sample::default();
    let mut truth_due_s = 0.0;
    while night.next_sample(&mut sample).map_err(Trouble::Twin)? {
        recording.write(&sample).map_err(Trouble::File)?;
        if sample.t_s >= truth_due_s {
            let now = night.now();
            let aboard_kg = now.patient_kg * now.aboard;
            writeln!(truth, "{},{aboard_kg:.4},{:.4},{:.4}", sample.t_s, now.pad_kg, now.items_kg)
                .map_err(Trouble::File)?;
            truth_due_s = sample.t_s + TRUTH_EVERY_S;
        }
        bar.inc(1);
    }
    bar.finish_and_clear();
    recording.finish().map_err(Trouble::File)?.finish().map_err(Trouble::Finish)?;
    truth.finish().map_err(Trouble::Finish)
}

fn screen(folder: &Path, scenario: &Scenario, report: &TwinReport) -> String {
    let mut out = format!("{} (invented), seed {}\n", scenario.name, report.seed);
    // Writing to a String cannot fail.
    let _ = writeln!(out, "Written into {}: {}", folder.display(), report.files.join(", "));
    let night = &report.truth.night;
    let _ = writeln!(
        out,
        "Truth: tare {:.2} kg, patient {:.2} kg at first and {:.2} kg at the end, {} things happened, {} mL went uncharted.",
        night.tare_kg,
        night.first_patient_kg,
        night.last_patient_kg,
        night.events.len(),
        report::number::fixed(night.hidden_ml, 0)
    );
    out
}
