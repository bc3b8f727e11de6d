//! The demonstration, and what a shell and `man` are given.

use std::path::PathBuf;

use clap::Args;

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
