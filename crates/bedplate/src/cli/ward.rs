//! What serves pages: `bench`, `serve`, `ward`.

use std::path::PathBuf;

use clap::{Args, Subcommand};

/// The engineer's pages for one deck, on this machine, until Ctrl-C: a workbench, guided calibration and verification.
///
/// The workbench shows deck.toml as a drawing that answers while a cell is moved or a layer changed; download what you want to
/// keep. With --masses and a link it also guides through a calibration: touch check, where to put what, when the counts
/// have settled, residuals and findings as they come. Every step is kept in the folder before the page goes on: started
/// again with the same folder, the run goes on where it stood. At the end the folder holds run.csv, calibration.json and
/// certificate.html (certificate.de.html in German). Then, or at once with --calibration, it guides through the tests of OIML R 76-1 that the bodies at hand
/// allow, the sections that move at their angles and the range of temperature too, each inside its limits; at the end the
/// folder holds tests.csv and evidence.html (evidence.de.html).
#[derive(Debug, Args)]
#[command(group(clap::ArgGroup::new("link").args(["tcp", "serial", "twin"])))]
pub(crate) struct BenchArgs {
    /// The deck, deck.toml
    pub(crate) deck: PathBuf,
    /// The bodies at hand, masses.csv (name,mass_kg,u_g,count and, where the mass is not known, about_kg)
    #[arg(long, value_name = "FILE.csv", requires = "link")]
    pub(crate) masses: Option<PathBuf>,
    /// The calibration to verify, calibration.json; without one the guided calibration comes first
    #[arg(long, value_name = "FILE.json", requires = "masses")]
    pub(crate) calibration: Option<PathBuf>,
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

/// The ward's memory: prove it, copy it, bring it back, bring it forward, take counts out, find what is wrong.
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
    /// Take the raw counts of a bed's cells out of the memory, as a recording.csv, while the ward runs
    ///
    /// For who looks back after something went wrong: `weigh`, `noise` and whatever reads a table take the file. Raw counts are kept for
    /// keep_counts_days; of older ones the least, mean and greatest of each minute stay, which --minutes writes as
    /// time,cell,samples,least,mean,greatest. Angles of sections and temperature are not kept with the counts: what moves with the
    /// bed cannot be weighed again from them.
    Counts(CountsArgs),
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
pub(crate) struct CountsArgs {
    /// The ward, ward.toml
    pub(crate) ward: PathBuf,
    /// The bed, by its label
    pub(crate) bed: String,
    /// From this time on, as 2031-03-04T05:06:07Z [default: what is kept]
    #[arg(long, value_name = "TIME")]
    pub(crate) from: Option<jiff::Timestamp>,
    /// Before this time [default: what is kept]
    #[arg(long, value_name = "TIME")]
    pub(crate) to: Option<jiff::Timestamp>,
    /// The minutes that older counts were reduced to
    #[arg(long)]
    pub(crate) minutes: bool,
    /// The file to write
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
