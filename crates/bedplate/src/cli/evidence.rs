//! From masses to evidence: `plan`, `calibrate`, `checks`, `verify`, `agree`, `noise`.

use std::path::PathBuf;

use clap::{ArgGroup, Args};

use super::DocumentLanguage;

/// Which mass to put where, in what order, to calibrate with the masses at hand; and a touch check before.
///
/// Reads deck.toml and masses.csv: `name,mass_kg,u_g,count[,about_kg]`, a row a kind; an empty mass_kg is a body of
/// unknown mass (a water can, say), about_kg what it weighs roughly (20 kg where it does not say). Prints the placements
/// that determine every cell best with the fewest lifts, and what every gain and the summed weight will be known to.
/// With -o it writes run.csv, to be filled in for `calibrate`, and checklist.html, to be printed. An existing run.csv is
/// never overwritten. Exits 1 when cells stay open, or the placements do not bring all within --u-pct.
///
/// Touch check: --touch prints where to press by hand, one place after the other; --touched judges the recording of it
/// (recording.csv, two seconds at rest first) and names cells that are swapped, reversed or dead; exits 1 when there are.
///
/// JSON: {"deck", "criterion", "lifts": [{"step", "load", "mass_kg", "about_kg", "u_mass_g", "pieces", "plate", "x_mm",
/// "y_mm", "lifts_off", "cells_kg"}], "pieces", "cells": [{"name", "u_pct", "determined", "even_pct"}], "weights": [{"kg",
/// "centres_u_g", "even_u_g", "uneven_u_g"}], "open", "closing", "least_lifts", "enough_lifts", "centres", "quality",
/// "notes"}; --touched: {"deck", "places", "findings": [{"kind", "cell", "text"}]}
#[derive(Debug, Args)]
#[command(group(ArgGroup::new("document").args(["output", "report"]).multiple(true)))]
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
    /// Language of the checklist; tables and JSON stay English
    #[arg(long, value_name = "LANGUAGE", value_enum, default_value = "en", requires = "document")]
    pub(crate) language: DocumentLanguage,
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
    /// Language of the certificate; tables and JSON stay English
    #[arg(long, value_name = "LANGUAGE", value_enum, default_value = "en", requires = "certificate")]
    pub(crate) language: DocumentLanguage,
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
    /// Language of the report; tables and JSON stay English
    #[arg(long, value_name = "LANGUAGE", value_enum, default_value = "en", requires = "report")]
    pub(crate) language: DocumentLanguage,
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
    /// Language of the report; tables and JSON stay English
    #[arg(long, value_name = "LANGUAGE", value_enum, default_value = "en", requires = "report")]
    pub(crate) language: DocumentLanguage,
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
    #[arg(long, default_value_t = 1.0, value_parser = super::numbers::positive)]
    pub(crate) ratio: f64,
    /// Draw that line also with errors in proportion to what is measured (weighted)
    #[arg(long)]
    pub(crate) proportional: bool,
    /// Say how many pairs bring the 95 % interval of a limit of agreement to this width, in the unit of the pairs
    #[arg(long, value_name = "W", value_parser = super::numbers::positive)]
    pub(crate) width: Option<f64>,
    /// Write a report to this file, one HTML document to print: both charts and every result
    #[arg(long, value_name = "FILE")]
    pub(crate) report: Option<PathBuf>,
    /// Language of the report; tables and JSON stay English
    #[arg(long, value_name = "LANGUAGE", value_enum, default_value = "en", requires = "report")]
    pub(crate) language: DocumentLanguage,
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
    #[arg(long, value_name = "S")]
    pub(crate) from: Option<f64>,
    /// Leave out what comes after this time, s
    #[arg(long, value_name = "S")]
    pub(crate) to: Option<f64>,
    /// Print one JSON document instead of tables
    #[arg(long)]
    pub(crate) json: bool,
}
