//! `bedplate`: the command line over the stages.
//!
//! This crate reads and writes files, shows progress and chooses exit statuses; it holds no formula.
//! Exit status: 0 done and every limit met, 1 done but a limit is not met, 2 could not be done.

#![cfg_attr(not(test), deny(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::todo))]

mod cli;
mod failure;
mod files;
#[cfg(test)]
mod manual;
mod output;
mod progress;
mod stop;
mod verbs;

use std::process::ExitCode;

use crate::cli::Verb;
use crate::output::Outcome;

fn main() -> ExitCode {
    let cli = match cli::parse() {
        Ok(cli) => cli,
        Err(error) => error.exit(),
    };
    let done = match &cli.verb {
        Verb::Demo(args) => verbs::demo::run(args),
        Verb::Check(args) => verbs::check::run(args),
        Verb::Explore(args) => verbs::explore::run(args),
        Verb::Draw(args) => verbs::draw::run(args),
        Verb::Plan(args) => verbs::plan::run(args),
        Verb::Calibrate(args) => verbs::calibrate::run(args),
        Verb::Checks(args) => verbs::checks::run(args),
        Verb::Verify(args) => verbs::verify::run(args),
        Verb::Weigh(args) => verbs::weigh::run(args),
        Verb::Agree(args) => verbs::agree::run(args),
        Verb::Noise(args) => verbs::noise::run(args),
        Verb::Balance(args) => verbs::balance::run(args),
        Verb::Dose(args) => verbs::dose::run(args),
        Verb::Bench(args) => verbs::bench::run(args),
        Verb::Twin(args) => verbs::twin::run(args),
        Verb::Serve(args) => verbs::serve::run(args),
        Verb::Ward(args) => verbs::ward::run(args),
        Verb::Completions(args) => verbs::shell::completions(args),
        Verb::Man(args) => verbs::shell::man(args),
    };
    match done {
        Ok(Outcome::Met) => ExitCode::SUCCESS,
        Ok(Outcome::NotMet) => ExitCode::from(1),
        Err(failure) => {
            failure.print();
            failure.exit_code()
        }
    }
}
