//! The virtual deck, ward and patients: `twin`.

use std::num::{NonZeroU64, NonZeroUsize};
use std::path::PathBuf;

use clap::{Args, Subcommand};

use super::threads::Threads;

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
    /// Lay a cable or tube across a plate in half of the runs: it takes part of the load. All else stays what the seed
    /// draws without it
    #[arg(long, conflicts_with_all = ["scenarios", "deck"])]
    pub(crate) cables: bool,
    /// Number of runs
    #[arg(long, value_name = "N", default_value = "20")]
    pub(crate) runs: NonZeroUsize,
    /// Hours of each run [default: those of the scenario, or 24]
    #[arg(long, value_name = "H")]
    pub(crate) hours: Option<f64>,
    /// Seed of everything that is drawn
    #[arg(long, default_value_t = 1)]
    pub(crate) seed: u64,
    #[command(flatten)]
    pub(crate) threads: Threads,
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
/// uncharted, a day ahead], "hidden", "found", "told_anyway", "delay_h": [median, 95 %], "false_alerts_a_day", "day_error_mL": [chart,
/// weight, fused], "day_error_ratio", "ahead_error_g": [chart, weight, persistence, fused]}]}; the last group is `all`.
#[derive(Debug, Args)]
pub(crate) struct FluidsArgs {
    /// Number of patients
    #[arg(long, value_name = "N", default_value = "120")]
    pub(crate) patients: NonZeroU64,
    /// Seed of everything that is drawn
    #[arg(long, default_value_t = 1)]
    pub(crate) seed: u64,
    #[command(flatten)]
    pub(crate) threads: Threads,
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
