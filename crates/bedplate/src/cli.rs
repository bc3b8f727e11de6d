//! What may be written on the command line. A verb's `--help` says what it reads, what it prints and when it exits 1.

use std::num::{NonZeroU64, NonZeroUsize};
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
    Plan(PlanArgs),
    Calibrate(CalibrateArgs),
    Checks(ChecksArgs),
    Verify(VerifyArgs),
    Weigh(WeighArgs),
    Agree(AgreeArgs),
    Noise(NoiseArgs),
    Balance(BalanceArgs),
    Dose(DoseArgs),
    Twin(TwinArgs),
    Bench(BenchArgs),
    Serve(ServeArgs),
    Ward(WardArgs),
    Completions(CompletionsArgs),
    Man(ManArgs),
}

/// A script that completes this program's verbs, options and files in a shell, on standard output.
///
/// For bash: bedplate completions bash > ~/.local/share/bash-completion/completions/bedplate
#[derive(Debug, Args)]
pub(crate) struct CompletionsArgs {
    /// The shell
    pub(crate) shell: clap_complete::Shell,
}

/// The help of every verb as manual pages for `man`, a file a verb.
#[derive(Debug, Args)]
pub(crate) struct ManArgs {
    /// Folder to write into (`…/share/man/man1` where `man` is to find them); it is made where it is missing
    #[arg(short, long, value_name = "DIR")]
    pub(crate) output: PathBuf,
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
/// Reads deck.toml. Says how sure a weight and a change of it will be, and what to improve first. With --report it also
/// writes all of it as one HTML file to keep and print.
/// Exits 1 when a target of [deck.target], a cell's capacity or a layer's strength is not met.
#[derive(Debug, Args)]
pub(crate) struct CheckArgs {
    /// The deck, deck.toml
    pub(crate) deck: PathBuf,
    /// Write everything found as one printable HTML file, which needs nothing else
    #[arg(long, value_name = "FILE.html")]
    pub(crate) report: Option<PathBuf>,
    /// Write the deflection of every plate in every load case as CSV: load_case, plate, x_mm, y_mm (from the plate's
    /// corner), bed_x_mm, bed_y_mm (the bed lying flat), deflection_mm, clearance_left_mm (below a rib where there is one)
    #[arg(long, value_name = "FILE.csv")]
    pub(crate) field: Option<PathBuf>,
    /// Print every plate, cell and source of error
    #[arg(long, conflicts_with = "json")]
    pub(crate) all: bool,
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

/// Which mass to put where, in what order, to calibrate with the masses at hand; and a touch check before.
///
/// Reads deck.toml and masses.csv: `name,mass_kg,u_g,count[,about_kg]`, a row a kind; an empty mass_kg is a body of
/// unknown mass (a water can, say), about_kg what it weighs roughly (20 kg where it does not say). Prints the placements
/// that determine every cell best with the fewest lifts, and what every gain and the summed weight will be known to.
/// With -o it writes run.csv, to be filled in for `calibrate`, and checklist.html, to be printed. An existing run.csv is
/// never overwritten. Exits 1 when cells stay open.
///
/// Touch check: --touch prints where to press by hand, one place after the other; --touched judges the recording of it
/// (recording.csv, two seconds at rest first) and names cells that are swapped, reversed or dead; exits 1 when there are.
///
/// JSON: {"deck", "criterion", "lifts": [{"step", "load", "mass_kg", "about_kg", "u_mass_g", "pieces", "plate", "x_mm",
/// "y_mm", "lifts_off", "cells_kg"}], "pieces", "cells": [{"name", "u_pct", "determined", "even_pct"}], "weights": [{"kg",
/// "centres_u_g", "even_u_g", "uneven_u_g"}], "open", "closing", "least_lifts", "enough_lifts", "centres", "quality",
/// "notes"}; --touched: {"deck", "places", "findings": [{"kind", "cell", "text"}]}
#[derive(Debug, Args)]
pub(crate) struct PlanArgs {
    /// The deck, deck.toml
    pub(crate) deck: PathBuf,
    /// The masses at hand, masses.csv
    #[arg(long, value_name = "FILE", required_unless_present_any = ["touch", "touched"])]
    pub(crate) masses: Option<PathBuf>,
    /// Placements [default: as few as bring every cell within --u-pct and leave equations to spare]
    #[arg(long, value_name = "N")]
    pub(crate) lifts: Option<usize>,
    /// Standard uncertainty of a cell's gain that is good enough, %
    #[arg(long, value_name = "PCT", default_value_t = calibrate::plan::PlanOptions::default().u_pct)]
    pub(crate) u_pct: f64,
    /// Heaviest piece that one person lifts, kg; local rules for lifting come first
    #[arg(long, value_name = "KG", default_value_t = calibrate::plan::PlanOptions::default().lift_kg)]
    pub(crate) lift_kg: f64,
    /// Heaviest load on one plate, kg [default: what its cells and its clearance bear]
    #[arg(long, value_name = "KG")]
    pub(crate) plate_kg: Option<f64>,
    /// Folder for run.csv and checklist.html; it is made where it is missing
    #[arg(short, long, value_name = "DIR")]
    pub(crate) output: Option<PathBuf>,
    /// Write the checklist to this file (HTML that prints)
    #[arg(long, value_name = "FILE")]
    pub(crate) report: Option<PathBuf>,
    /// Print where to press for a touch check
    #[arg(long, conflicts_with_all = ["masses", "lifts", "plate_kg", "output", "report", "touched"])]
    pub(crate) touch: bool,
    /// Judge the recording of a touch check, recording.csv; - reads standard input
    #[arg(long, value_name = "FILE", conflicts_with_all = ["masses", "lifts", "plate_kg", "output", "report"])]
    pub(crate) touched: Option<PathBuf>,
    /// Print one JSON document instead of tables
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
    /// An earlier calibration of the deck: tells what drifted since, and by when to calibrate again
    #[arg(long, value_name = "FILE")]
    pub(crate) earlier: Option<PathBuf>,
    /// A cell replaced since the earlier calibration, once for each: the run need then load its plate alone
    #[arg(long, value_name = "CELL", requires = "earlier")]
    pub(crate) replaced: Vec<String>,
    /// Write a certificate to this file: one HTML document that prints
    #[arg(long, value_name = "FILE")]
    pub(crate) certificate: Option<PathBuf>,
    /// What the certificate says of masses, place and instrument (certificate.toml)
    #[arg(long, value_name = "FILE", requires = "certificate")]
    pub(crate) details: Option<PathBuf>,
    /// Write the calibration to this file (calibration.json)
    #[arg(short, long, value_name = "FILE")]
    pub(crate) output: Option<PathBuf>,
    /// Print one JSON document instead of tables
    #[arg(long)]
    pub(crate) json: bool,
}

/// Control charts of a body that is weighed on the deck again and again between calibrations: is the deck still what it was?
///
/// Reads checks.csv. The first checks of a body say what is usual; a check far off, a step, or a small shift that stays is a
/// signal (charts of single readings, of the moving range and of the exponentially weighted moving average). With --deck it
/// also says by when to calibrate again, and why. Exits 1 when there is a signal.
///
/// JSON: {"charts": [{"standard", "mass_kg", "from_kg", "baseline", "centre_g", "sd_g", "limits_g", "range_limit_g", "points":
/// [{"line", "time", "shown_kg", "value_g", "range_g", "average_g", "average_limits_g", "is_baseline"}], "signals": [{"kind":
/// beyond-limits, jump or drifted, "line", "last_line", "time", "text"}], "trend", "due": {"on", "why"}, "notes"}], "in_control"}
#[derive(Debug, Args)]
pub(crate) struct ChecksArgs {
    /// The checks, checks.csv
    pub(crate) checks: PathBuf,
    /// The deck, deck.toml: its class says how far a drift may go before the next calibration
    #[arg(long, value_name = "FILE")]
    pub(crate) deck: Option<PathBuf>,
    /// Checks of each body that say what is usual, the first ones
    #[arg(long, value_name = "N", default_value_t = calibrate::checks::CheckOptions::default().baseline)]
    pub(crate) baseline: usize,
    /// Weight of the newest check in the moving average, above 0 to 1
    #[arg(long, value_name = "W", default_value_t = calibrate::checks::CheckOptions::default().weight)]
    pub(crate) weight: f64,
    /// Half width of the limits, standard deviations
    #[arg(long, value_name = "K", default_value_t = calibrate::checks::CheckOptions::default().reach)]
    pub(crate) reach: f64,
    /// Write a report to this file, one HTML document to print: both charts of each body, every check
    #[arg(long, value_name = "FILE")]
    pub(crate) report: Option<PathBuf>,
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
    /// Write the evidence report to this file, one HTML document to print: every test, its rows, its chart, its verdict
    #[arg(long, value_name = "FILE")]
    pub(crate) report: Option<PathBuf>,
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
/// Reads pairs.csv; with `repeat` and `operator` also what repeats and operators do; with `u_reference` and `u_method` in every
/// row a line with errors in both that weighs the pairs by them. Difference = method − reference;
/// intervals at 95 %. Always exits 0: what agreement is good enough is for those to say who use the weights.
#[derive(Debug, Args)]
pub(crate) struct AgreeArgs {
    /// The pairs, pairs.csv
    pub(crate) pairs: PathBuf,
    /// Variance of the method's error over that of the reference's, for the line with errors in both
    #[arg(long, default_value_t = 1.0)]
    pub(crate) ratio: f64,
    /// Draw that line also with errors in proportion to what is measured (weighted)
    #[arg(long)]
    pub(crate) proportional: bool,
    /// Say how many pairs bring the 95 % interval of a limit of agreement to this width, in the unit of the pairs
    #[arg(long, value_name = "W")]
    pub(crate) width: Option<f64>,
    /// Write a report to this file, one HTML document to print: both charts and every result
    #[arg(long, value_name = "FILE")]
    pub(crate) report: Option<PathBuf>,
    /// Print one JSON document instead of tables
    #[arg(long)]
    pub(crate) json: bool,
}

/// What a recording of a deck at rest says of its noise, and the smallest change that this lets through.
///
/// Reads deck.toml and recording.csv, and judges the longest stretch without a gap (up to 2^19 rows): noise density, steps of
/// the converter, mains hum and where it hides, overlapping Allan deviation of every cell and of the weight, the best
/// averaging time, drift. The deck must lie still, empty or under a load that does not move.
///
/// JSON: {"rows", "rate_hz", "cells": [{"name", "sd_g", "density_g", "quantization", "lines", "allan": [{"tau_s", "allan_g",
/// "ci_g", "resolvable_g"}], "drift"}], "sum", "hum", "best_averaging_s", "resolvable_g", "criterion", "notes"}
#[derive(Debug, Args)]
pub(crate) struct NoiseArgs {
    /// The deck, deck.toml
    pub(crate) deck: PathBuf,
    /// The recording, recording.csv; - reads standard input
    pub(crate) recording: PathBuf,
    /// Its calibration, calibration.json [default: grams by the data sheet of the cells]
    #[arg(long, value_name = "FILE")]
    pub(crate) calibration: Option<PathBuf>,
    /// Leave out what comes before this time of the recording, s
    #[arg(long, value_name = "S", allow_negative_numbers = true)]
    pub(crate) from: Option<f64>,
    /// Leave out what comes after this time, s
    #[arg(long, value_name = "S", allow_negative_numbers = true)]
    pub(crate) to: Option<f64>,
    /// Print one JSON document instead of tables
    #[arg(long)]
    pub(crate) json: bool,
}

/// Fluid balance from weights and chart: what was gained or lost, what the chart missed, what comes next.
///
/// Reads patient.toml, weights.csv and chart.csv. Prints every window charted, weighed and fused; percent overload by each
/// definition; what neither chart nor expected loss explains; the forecast under the plan and under others; what asks for a
/// look, with its evidence. Nothing in the files is overwritten: a chart entry whose column `corrects` names a line takes that
/// entry's place, and an alert named in answers.csv is not raised again. Not for treatment decisions on its own.
/// Always exits 0 when a balance could be made: what an alert asks for is for those to say who care for the patient.
///
/// JSON: {"rows": [{"time", "mass_kg", "u_kg", "weighed_mL", "charted_mL", "unexplained_mL", "u_unexplained_mL"}],
/// "overload_pct", "insensible_mL_h", "forecast": [{"time", "ahead_h", "mass_kg", "low_kg", "high_kg"}],
/// "resolvable_mL_24h", "alerts": [{"time", "kind", "text"}], "answered", "windows": [{"from", "to", "hours",
/// "charted_mL", "weighed_mL", "fused_mL", "u_fused_mL", "unexplained_mL"}], "answers": [{"question", "value", "u", "unit",
/// "text", "basis"}], "ledgers", "alternatives": [{"name", "forecast"}], "diagnostics", "noise", "notes", "caution"}
#[derive(Debug, Args)]
pub(crate) struct BalanceArgs {
    /// The patient, patient.toml
    pub(crate) patient: PathBuf,
    /// The weights, weights.csv
    pub(crate) weights: PathBuf,
    /// The chart, chart.csv
    pub(crate) chart: PathBuf,
    #[command(flatten)]
    pub(crate) more: BalanceMore,
    /// Print one JSON document instead of tables
    #[arg(long)]
    pub(crate) json: bool,
}

/// What a balance may be told besides its three files.
#[derive(Debug, Default, Args)]
pub(crate) struct BalanceMore {
    /// Plans to be set against the patient file's own, plans.toml
    #[arg(long, value_name = "FILE")]
    pub(crate) plan: Option<PathBuf>,
    /// When pads or linen left the deck, removals.csv
    #[arg(long, value_name = "FILE")]
    pub(crate) removals: Option<PathBuf>,
    /// What `weigh --json` printed: items that came and left, and the fluid that went with them
    #[arg(long, value_name = "FILE")]
    pub(crate) events: Option<PathBuf>,
    /// What was said to earlier alerts, answers.csv
    #[arg(long, value_name = "FILE")]
    pub(crate) answers: Option<PathBuf>,
    /// The deck, deck.toml: its drift is taken from its own budget [default: from how u_kg grows between zeros]
    #[arg(long, value_name = "FILE")]
    pub(crate) deck: Option<PathBuf>,
    /// Wall time of t_s = 0, RFC 3339, for weights without a column `time`
    #[arg(long, value_name = "TIME")]
    pub(crate) start: Option<jiff::Timestamp>,
    /// The time now, RFC 3339: chart entries after it lie in the future [default: a day after the last weight]
    #[arg(long, value_name = "TIME")]
    pub(crate) now: Option<jiff::Timestamp>,
    /// A window for a net balance, once for each: hours up to the end of the record, or FROM/TO [default: 6, 12, 24 and 48 h]
    #[arg(long, value_name = "H|FROM/TO", allow_negative_numbers = true)]
    pub(crate) window: Vec<String>,
    /// Mass of a millilitre: `published`, or kinds of fluid as in iv=1.005,blood=1.05,urine=1.02,enteral=1.05,other=1
    /// [default: 1 g, and how far fluids lie from it widens the intervals]
    #[arg(long, value_name = "HOW")]
    pub(crate) densities: Option<String>,
    /// False alerts of unexplained loss or gain to be borne, per patient-day; 0.0001 to 1 [default: 0.1]
    #[arg(long, value_name = "RATE", allow_negative_numbers = true)]
    pub(crate) false_alerts: Option<f64>,
    /// How far to forecast, h; 1 to 240 [default: 48]
    #[arg(long, value_name = "H", value_parser = clap::value_parser!(u32).range(1..=240))]
    pub(crate) ahead: Option<u32>,
}

/// Weight-dependent quantities, side by side for the measured weight and for each estimate of it.
///
/// Reads patient.toml. Body surface area, predicted, ideal and adjusted weight, body water, maintenance fluid, blood
/// volume, kidney function, weight for age: each with formula, source and range; estimates of weight from limbs, girths
/// and age; and what the difference between two weights does to whatever is reckoned by kg or by m². A formula refuses,
/// by name, a patient outside its range or without what it asks for. It names no drug and no dose.
///
/// JSON: {"label", "reference", "weights": [{"name", "kind", "kg", "difference_pct", "facts"}], "heights", "quantities":
/// [{"unit", "facts": {"name", "formula", "source", "status", "range", "caution"}, "values": [{"weight", "value",
/// "difference_pct"}]}], "effects": [{"weight", "per_kg_pct", "per_m2_pct"}], "refused": [{"name", "weight", "reason"}],
/// "cautions"}
#[derive(Debug, Args)]
pub(crate) struct DoseArgs {
    /// The patient, patient.toml
    pub(crate) patient: PathBuf,
    /// Weight by the deck, kg
    #[arg(long, value_name = "KG", allow_negative_numbers = true)]
    pub(crate) measured: Option<f64>,
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
    Fluids(FluidsArgs),
    Ward(TwinWardArgs),
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

/// Many invented patients with known truth: the report card of the balance stage.
///
/// Six courses in turn (steady, resuscitation, dialysis, continuous replacement, burns, child), each charted as people
/// chart and weighed as a deck weighs for 48 h; every other round of them loses half a litre unseen over 12 h (a child as
/// much by its surface). Prints coverage of the stated intervals, losses found and how soon, false alerts, and errors of
/// balance and forecast against chart alone, weight alone and the last day once more. The same seed gives the same card.
/// Exits 1 when something asked for is not met.
///
/// JSON: {"seed", "hours", "limits": [{"name", "text", "value", "met"}], "groups": [{"group", "n", "coverage": [mass,
/// uncharted, a day ahead], "hidden", "found", "delay_h": [median, 95 %], "false_alerts_a_day", "day_error_mL": [chart,
/// weight, fused], "day_error_ratio", "ahead_error_g": [chart, weight, persistence, fused]}]}; the last group is `all`.
#[derive(Debug, Args)]
pub(crate) struct FluidsArgs {
    /// Number of patients
    #[arg(long, value_name = "N", default_value = "120")]
    pub(crate) patients: NonZeroU64,
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

/// Many invented beds in real time over real links: what a ward service is tried with.
///
/// Writes into the folder a ward.toml with its deck.toml and calibration.json; `serve` takes it as it stands. Then every bed
/// gives its samples, a bed after the other within each sampling interval, until Ctrl-C: over TCP, each bed on a port of its
/// own, or to a broker. The scenario says how often a deck samples; every bed has a night of its own, all on decks of one
/// build. Says on standard error every ten seconds how many beds are listened to and how late the samples are.
#[derive(Debug, Args)]
pub(crate) struct TwinWardArgs {
    /// The deck, deck.toml
    pub(crate) deck: PathBuf,
    /// Folder to write into; it is made where it is missing
    #[arg(short, long, value_name = "DIR")]
    pub(crate) output: PathBuf,
    /// What happens in each bed, scenario.toml [default: the three days of the demo]
    #[arg(long, value_name = "FILE")]
    pub(crate) scenario: Option<PathBuf>,
    /// Number of beds
    #[arg(long, value_name = "N", default_value_t = 8, value_parser = clap::value_parser!(u16).range(1..=10_000))]
    pub(crate) beds: u16,
    /// First port on this machine, one more for each bed; 0 takes free ones
    #[arg(long, default_value_t = 7001, conflicts_with = "broker")]
    pub(crate) port: u16,
    /// Publish to this broker instead (MQTT 5, in clear)
    #[arg(long, value_name = "HOST:PORT")]
    pub(crate) broker: Option<String>,
    /// Seed of noise and events
    #[arg(long, default_value_t = 1)]
    pub(crate) seed: u64,
}

/// The engineer's pages for one deck, on this machine, until Ctrl-C: a workbench, and a guided calibration.
///
/// The workbench shows deck.toml as a drawing that answers while a cell is moved or a layer changed; download what you want to
/// keep. With --masses and a link it also guides through a calibration: touch check, where to put what, when the counts
/// have settled, residuals and findings as they come. Every step is kept in the folder before the page goes on: started
/// again with the same folder, the run goes on where it stood. At the end the folder holds run.csv, calibration.json and
/// certificate.html.
#[derive(Debug, Args)]
#[command(group(clap::ArgGroup::new("link").args(["tcp", "serial", "twin"])))]
pub(crate) struct BenchArgs {
    /// The deck, deck.toml
    pub(crate) deck: PathBuf,
    /// The bodies at hand, masses.csv (name,mass_kg,u_g,count and, where the mass is not known, about_kg)
    #[arg(long, value_name = "FILE.csv", requires = "link")]
    pub(crate) masses: Option<PathBuf>,
    /// Folder of the run [default: this one]
    #[arg(short = 'o', long, value_name = "DIR", requires = "masses")]
    pub(crate) folder: Option<PathBuf>,
    /// The deck's controller listens here
    #[arg(long, value_name = "HOST:PORT", requires = "masses")]
    pub(crate) tcp: Option<String>,
    /// The deck's controller is on this serial line
    #[arg(long, value_name = "DEVICE", requires = "masses")]
    pub(crate) serial: Option<String>,
    /// Bits a second of the serial line [default: 115200]
    #[arg(long, requires = "serial")]
    pub(crate) baud: Option<u32>,
    /// No deck is there: a virtual one whose cells are drawn from this number, and invented hands
    #[arg(long, value_name = "SEED", requires = "masses")]
    pub(crate) twin: Option<u64>,
    /// How many times as fast as ours the virtual deck's clock runs
    #[arg(long, requires = "twin", default_value_t = 1, value_parser = clap::value_parser!(u8).range(1..=50))]
    pub(crate) speed: u8,
    /// Port of the pages on 127.0.0.1; 0 takes a free one
    #[arg(long, default_value_t = 4781)]
    pub(crate) port: u16,
}

/// The ward service: beds, records and pages of one ward, until Ctrl-C.
///
/// Reads ward.toml: beds with their decks, calibrations and links, where the memory is, where to listen. The first start
/// makes an administrator and prints its password once. Off loopback it needs TLS. The log goes to standard error; the
/// environment variable BEDPLATE_LOG chooses how much (error, warn, info, debug).
#[derive(Debug, Args)]
pub(crate) struct ServeArgs {
    /// The ward, ward.toml
    pub(crate) ward: PathBuf,
    /// Live through so many hours before now first, in beds that the virtual twin lives in and that have no record yet
    #[arg(long, value_name = "HOURS", default_value_t = 0, value_parser = clap::value_parser!(u16).range(0..=720))]
    pub(crate) past_hours: u16,
}

/// The ward's memory: prove it, copy it, bring it back, bring it forward, find what is wrong.
#[derive(Debug, Args)]
pub(crate) struct WardArgs {
    #[command(subcommand)]
    pub(crate) task: WardTask,
}

#[derive(Debug, Subcommand)]
pub(crate) enum WardTask {
    /// Walk the audit trail; exits 1 when an entry was changed, removed or inserted
    ///
    /// Prints the end of each chain. With --noted FILE it also holds the chains against ends that were written down
    /// earlier with --note FILE, so that a whole record that was swapped shows too.
    VerifyAudit(AuditArgs),
    /// Copy the whole memory into one file, while the ward runs
    ///
    /// The copy is a memory of its own: `ward verify-audit` and `ward restore` read it. It is whole or is not there.
    Backup(BackupArgs),
    /// Fill an empty memory from a copy
    Restore(RestoreArgs),
    /// Bring the memory's tables to the form of this version
    Migrate(WardFileArgs),
    /// Look for what is wrong with a ward and say how to mend it; exits 1 when something is
    Doctor(WardFileArgs),
}

#[derive(Debug, Args)]
pub(crate) struct WardFileArgs {
    /// The ward, ward.toml
    pub(crate) ward: PathBuf,
    /// Print one JSON document instead of text
    #[arg(long)]
    pub(crate) json: bool,
}

#[derive(Debug, Args)]
pub(crate) struct AuditArgs {
    /// The ward, ward.toml, or a copy that `ward backup` made
    pub(crate) ward: PathBuf,
    /// Write the ends of all chains into this file, to be kept elsewhere
    #[arg(long, value_name = "FILE")]
    pub(crate) note: Option<PathBuf>,
    /// Hold the chains against ends that were noted earlier
    #[arg(long, value_name = "FILE")]
    pub(crate) noted: Option<PathBuf>,
    /// Print one JSON document instead of text
    #[arg(long)]
    pub(crate) json: bool,
}

#[derive(Debug, Args)]
pub(crate) struct BackupArgs {
    /// The ward, ward.toml
    pub(crate) ward: PathBuf,
    /// The copy
    #[arg(short, long, value_name = "FILE")]
    pub(crate) output: PathBuf,
}

#[derive(Debug, Args)]
pub(crate) struct RestoreArgs {
    /// The ward, ward.toml, whose memory is empty or not there
    pub(crate) ward: PathBuf,
    /// The copy
    pub(crate) copy: PathBuf,
}
