//! What may be written on the command line. A verb's `--help` says what it reads, what it prints and when it exits 1.

use std::num::NonZeroUsize;
use std::path::PathBuf;

use clap::{Args, Parser, Subcommand};

/// Weigh patients who cannot leave the bed: design, calibrate, verify and use a weighing deck.
///
/// Exit status: 0 done and every limit met; 1 done, a limit is not met (the result is printed all the same);
/// 2 could not be done (one message on standard error says what to change).
///
/// Research and engineering tool: not for dosing or treatment decisions on its own; local codes, the manufacturer
/// of the bed and licensed practice come first.
#[derive(Debug, Parser)]
#[command(name = "bedplate", version, about, long_about, propagate_version = true, max_term_width = 110)]
pub(crate) struct Cli {
    #[command(subcommand)]
    pub(crate) verb: Verb,
}

#[derive(Debug, Subcommand)]
pub(crate) enum Verb {
    Demo(DemoArgs),
    Check(CheckArgs),
    Explore(ExploreArgs),
    Draw(DrawArgs),
    Calibrate(CalibrateArgs),
    Verify(VerifyArgs),
    Weigh(WeighArgs),
    Agree(AgreeArgs),
    Balance(BalanceArgs),
    Twin(TwinArgs),
}

/// The whole job on an invented scenario, then its pages on this machine.
///
/// Makes an invented deck, ward and patient, runs every stage on them through the same files as a user would, prints
/// a screen a stage, and serves pages on 127.0.0.1 until Ctrl-C.
#[derive(Debug, Args)]
pub(crate) struct DemoArgs {
    /// Stop after printing; serve no pages
    #[arg(long)]
    pub(crate) no_serve: bool,
    /// Leave every file in this folder, so that each stage can be repeated by hand [default: a folder that disappears]
    #[arg(long, value_name = "DIR")]
    pub(crate) dir: Option<PathBuf>,
    /// Port of the pages on 127.0.0.1; 0 takes a free one
    #[arg(long, default_value_t = 4780)]
    pub(crate) port: u16,
    /// Seed of the invented noise and events
    #[arg(long, default_value_t = 20_311_104)]
    pub(crate) seed: u64,
}

/// Deflection, cell reactions, stress, error budget, mass and cost of a deck, against its own targets.
///
/// Reads deck.toml. Exits 1 when a target of [deck.target], a cell's capacity or a layer's strength is not met.
#[derive(Debug, Args)]
pub(crate) struct CheckArgs {
    /// The deck, deck.toml
    pub(crate) deck: PathBuf,
    /// Print one JSON document instead of tables
    #[arg(long)]
    pub(crate) json: bool,
}

/// Searches the design space that the deck file opens, and prints the designs that none of the others beats.
///
/// Reads deck.toml with its table `explore`, which says what may vary: stacks of layers, cell types, number and place
/// of cells, converter. Designs are set against each other by cost, mass, deflection margin and the smallest change
/// resolved over 24 h. The same file gives the same list. Ctrl-C stops and prints what was found so far.
/// Exits 1 when no design keeps to the deflection.
///
/// JSON: {"designs": [{"number", "cost", "mass_kg", "deflection_margin_mm", "resolvable_24h_g", "expanded_u_g",
/// "cell_type", "converter", "plates": [{"plate", "stack", "bond", "layers": [{"material", "thickness_mm"}],
/// "cells_at_mm"}]}], "space", "candidates", "plates_solved", "rounds", "of_rounds", "finished"}
#[derive(Debug, Args)]
pub(crate) struct ExploreArgs {
    /// The deck, deck.toml
    pub(crate) deck: PathBuf,
    /// Write design N of the list as a whole deck.toml
    #[arg(long, value_name = "N", requires = "output")]
    pub(crate) write: Option<NonZeroUsize>,
    /// The file to write it to
    #[arg(short, long, value_name = "FILE", requires = "write")]
    pub(crate) output: Option<PathBuf>,
    /// Threads that compute [default: as many as the machine has]
    #[arg(long, value_name = "N")]
    pub(crate) threads: Option<NonZeroUsize>,
    /// Print one JSON document instead of tables
    #[arg(long)]
    pub(crate) json: bool,
}

/// Dimensioned drawings of every plate and of the whole deck, as SVG and DXF.
///
/// Reads deck.toml. Writes plate-NAME and assembly, each as .svg and .dxf (release 12, ASCII), in millimetres at full
/// size, seen from above: outlines, cell centres with their coordinates, ribs, layers, dimensions from one corner.
///
/// JSON: {"files": [...]}
#[derive(Debug, Args)]
pub(crate) struct DrawArgs {
    /// The deck, deck.toml
    pub(crate) deck: PathBuf,
    /// Folder to write into; it is made where it is missing
    #[arg(short, long, value_name = "DIR")]
    pub(crate) output: PathBuf,
    /// Print one JSON document instead of a list
    #[arg(long)]
    pub(crate) json: bool,
}

/// Zero and gain of every cell from a run of known and unknown loads, with uncertainty and findings.
///
/// Reads deck.toml and run.csv (one settled reading a row). Exits 1 when something is found wrong: a cell that is
/// reversed, dead, swapped, noisy or nonlinear, a row that does not belong, a cell that the run does not determine.
#[derive(Debug, Args)]
pub(crate) struct CalibrateArgs {
    /// The deck, deck.toml
    pub(crate) deck: PathBuf,
    /// The run, run.csv
    pub(crate) run: PathBuf,
    /// Write the calibration to this file (calibration.json)
    #[arg(short, long, value_name = "FILE")]
    pub(crate) output: Option<PathBuf>,
    /// Print one JSON document instead of tables
    #[arg(long)]
    pub(crate) json: bool,
}

/// Metrological tests against the limits of OIML R 76-1, and percentage deviation.
///
/// Reads deck.toml, calibration.json and tests.csv. Exits 1 when a test misses its limit. The result is evidence for
/// an assessor, not an approval: the law of the place decides.
#[derive(Debug, Args)]
pub(crate) struct VerifyArgs {
    /// The deck, deck.toml
    pub(crate) deck: PathBuf,
    /// Its calibration, calibration.json
    pub(crate) calibration: PathBuf,
    /// The tests, tests.csv
    pub(crate) tests: PathBuf,
    /// Judge by the limits in service (twice those of initial verification)
    #[arg(long)]
    pub(crate) in_service: bool,
    /// Print one JSON document instead of tables
    #[arg(long)]
    pub(crate) json: bool,
}

/// Counts to kilograms over a recording: weights, what happened, what is at fault.
///
/// Reads deck.toml, calibration.json, recording.csv and actions.csv. Exits 1 when the last state is `fault`.
/// A change that no action explains is asked about: until it is answered the column `open_kg` holds it, and patient_kg + open_kg is the
/// weight if it was the patient's own. The action `patient_step` says that it was; `add` and `remove` say that it was not.
///
/// With --follow the recording is read as it comes, and each row, event and fault is given out at once: rows on standard output (with -o into
/// the file, and sentences on standard output), with --json one document a line. Lines that are no samples are told and passed over. Lines
/// added to the actions file are taken up.
#[derive(Debug, Args)]
pub(crate) struct WeighArgs {
    /// The deck, deck.toml
    pub(crate) deck: PathBuf,
    /// Its calibration, calibration.json
    pub(crate) calibration: PathBuf,
    /// The recording, recording.csv; - (or none with --follow) reads standard input
    #[arg(required_unless_present = "follow")]
    pub(crate) recording: Option<PathBuf>,
    /// Read the recording as it comes, and give rows and events out as they come
    #[arg(long)]
    pub(crate) follow: bool,
    /// Keep tare, items, hold and questions in this file through power cuts, and go on from it
    #[arg(long, value_name = "FILE", requires = "follow")]
    pub(crate) state: Option<PathBuf>,
    /// What people did at the bed, actions.csv
    #[arg(long, value_name = "FILE")]
    pub(crate) actions: Option<PathBuf>,
    /// Wall time of t_s = 0, RFC 3339; gives the weights a `time` column
    #[arg(long, value_name = "TIME")]
    pub(crate) start: Option<jiff::Timestamp>,
    /// Seconds between the weights written
    #[arg(long, value_name = "S", default_value_t = 1.0)]
    pub(crate) every: f64,
    /// Write the weights to this file (weights.csv)
    #[arg(short, long, value_name = "FILE")]
    pub(crate) output: Option<PathBuf>,
    /// Print one JSON document instead of tables
    #[arg(long)]
    pub(crate) json: bool,
}

/// Agreement of two methods: bias, limits of agreement, concordance, lines with errors in both.
///
/// Reads pairs.csv. Difference = method − reference; intervals at 95 %.
#[derive(Debug, Args)]
pub(crate) struct AgreeArgs {
    /// The pairs, pairs.csv
    pub(crate) pairs: PathBuf,
    /// Variance of the method's error over that of the reference's, for the line with errors in both
    #[arg(long, default_value_t = 1.0)]
    pub(crate) ratio: f64,
    /// Print one JSON document instead of tables
    #[arg(long)]
    pub(crate) json: bool,
}

/// Fluid balance from weights and chart: what was gained or lost, what the chart missed, what comes next.
///
/// Reads patient.toml, weights.csv (with times) and chart.csv. Not for treatment decisions on its own.
#[derive(Debug, Args)]
pub(crate) struct BalanceArgs {
    /// The patient, patient.toml
    pub(crate) patient: PathBuf,
    /// The weights, weights.csv
    pub(crate) weights: PathBuf,
    /// The chart, chart.csv
    pub(crate) chart: PathBuf,
    /// Print one JSON document instead of tables
    #[arg(long)]
    pub(crate) json: bool,
}

/// A virtual deck, bed and patient: writes the same files as real ones, and the truth beside them.
///
/// Writes into the folder: run.csv (a calibration run), tests.csv and pairs.csv (the deck against known loads),
/// recording.csv and actions.csv (days on the deck), patient.toml and chart.csv (fluids in and out), and the truth in
/// truth.json and truth.csv. Everything written is invented; the same seed gives the same files.
#[derive(Debug, Args)]
#[command(args_conflicts_with_subcommands = true, subcommand_negates_reqs = true)]
pub(crate) struct TwinArgs {
    #[command(subcommand)]
    pub(crate) other: Option<TwinVerb>,
    #[command(flatten)]
    pub(crate) files: Option<TwinFilesArgs>,
}

/// What the twin does besides writing files.
#[derive(Debug, Subcommand)]
pub(crate) enum TwinVerb {
    Trial(TrialArgs),
}

/// A virtual deck whose files are written.
#[derive(Debug, Args)]
pub(crate) struct TwinFilesArgs {
    /// The deck, deck.toml
    pub(crate) deck: PathBuf,
    /// Folder to write into; it is made where it is missing
    #[arg(short, long, value_name = "DIR")]
    pub(crate) output: PathBuf,
    /// What happens, scenario.toml [default: the three days of the demo]
    #[arg(long, value_name = "FILE")]
    pub(crate) scenario: Option<PathBuf>,
    /// Calibration behind the indications in tests.csv and pairs.csv [default: one fitted to run.csv]
    #[arg(long, value_name = "FILE")]
    pub(crate) calibration: Option<PathBuf>,
    /// Seed of noise and events
    #[arg(long, default_value_t = 1)]
    pub(crate) seed: u64,
    /// Print one JSON document (seed, files, truth) instead of a table
    #[arg(long)]
    pub(crate) json: bool,
}

/// Many invented wards with known truth: the report card of the weighing stage.
///
/// Without scenario files, each run draws its own deck (3 to 9 plates), patient (3 to 170 kg), ward (quiet to busy),
/// articulation and faults; with files, the runs take them in turn. Every run is calibrated on its own bench run first.
/// Prints errors of settled weights, coverage of their stated intervals, what was found, missed and named falsely, and
/// how all that stands to what is asked. Ctrl-C stops and prints what was done. The same seed gives the same card.
/// Exits 1 when something asked for is not met.
///
/// JSON: {"runs", "runs_asked", "hours", "seed", "limits": [{"name", "text", "value", "met"}], "all": {…},
/// "conditions": [{"condition", "still_rows", "settled_rows", "share_settled", "false_settled", "error_median_g",
/// "error_p95_g", "error_p99_g", "error_max_g", "error_median_pct", "error_p95_pct", "error_max_pct", "share_within",
/// "coverage_95", "coverage_95_u", "mean_u_g"}], "groups": [{"group", "runs", …}], "events": [{"kind", "text",
/// "happened", "found", "missed", "false", "share_found"}], "placed_mm", "placed_within_150_mm", "contacts_mistaken",
/// "settled_again_s", "settled_again_within_15_s"}
#[derive(Debug, Args)]
pub(crate) struct TrialArgs {
    /// What happens, scenario.toml; several are taken in turn [default: every run draws its own]
    pub(crate) scenarios: Vec<PathBuf>,
    /// The deck, deck.toml [default: invented decks of 3 to 9 plates; with scenarios, the deck of the demo]
    #[arg(long, value_name = "FILE")]
    pub(crate) deck: Option<PathBuf>,
    /// Number of runs
    #[arg(long, value_name = "N", default_value = "20")]
    pub(crate) runs: NonZeroUsize,
    /// Hours of each run [default: those of the scenario, or 24]
    #[arg(long, value_name = "H")]
    pub(crate) hours: Option<f64>,
    /// Seed of everything that is drawn
    #[arg(long, default_value_t = 1)]
    pub(crate) seed: u64,
    /// Threads that compute [default: as many as the machine has]
    #[arg(long, value_name = "N")]
    pub(crate) threads: Option<NonZeroUsize>,
    /// Print one JSON document instead of tables
    #[arg(long)]
    pub(crate) json: bool,
}
