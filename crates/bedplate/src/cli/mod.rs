//! What may be written on the command line. A verb's `--help` says what it reads, what it prints and when it exits 1.

mod balance;
mod design;
mod evidence;
mod language;
mod numbers;
mod shell;
mod threads;
mod twin;
mod ward;
mod weigh;

use clap::{CommandFactory as _, FromArgMatches as _, Parser, Subcommand};

pub(crate) use balance::{BalanceArgs, BalanceMore, DoseArgs};
pub(crate) use design::{CheckArgs, DrawArgs, ExploreArgs};
pub(crate) use evidence::{AgreeArgs, CalibrateArgs, ChecksArgs, NoiseArgs, PlanArgs, VerifyArgs};
pub(crate) use language::DocumentLanguage;
pub(crate) use shell::{CompletionsArgs, DemoArgs, ManArgs};
pub(crate) use twin::{FluidsArgs, TrialArgs, TwinArgs, TwinFilesArgs, TwinVerb, TwinWardArgs};
pub(crate) use ward::{
    AuditArgs, BackupArgs, BenchArgs, CountsArgs, RestoreArgs, ServeArgs, WardArgs, WardFileArgs, WardTask,
};
pub(crate) use weigh::WeighArgs;

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

/// What was asked for on the command line.
///
/// # Errors
/// What cannot be read, or a page of help.
pub(crate) fn parse() -> Result<Cli, clap::Error> {
    Cli::from_arg_matches(&with_negative_numbers(Cli::command()).try_get_matches()?)
}

/// A negative number behind an option is its value, and its range is told, instead of an option that nobody knows.
fn with_negative_numbers(command: clap::Command) -> clap::Command {
    let taught = command.mut_args(|arg| {
        let is_option = !arg.is_positional() && arg.get_action().takes_values();
        if is_option { arg.allow_negative_numbers(true) } else { arg }
    });
    taught.mut_subcommands(with_negative_numbers)
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
