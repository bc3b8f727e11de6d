//! `weigh`.

use std::path::PathBuf;

use clap::Args;

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
    #[arg(long, value_name = "S", default_value_t = 1.0, value_parser = super::numbers::positive)]
    pub(crate) every: f64,
    /// Write the weights to this file (weights.csv)
    #[arg(short, long, value_name = "FILE")]
    pub(crate) output: Option<PathBuf>,
    /// Print one JSON document instead of tables
    #[arg(long)]
    pub(crate) json: bool,
}
