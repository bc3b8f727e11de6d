//! How many threads compute, for every verb that does many alike.

use std::thread;

use clap::Args;

/// More is refused: no machine gains by it, and a system may not give them.
const MOST: i64 = 256;

#[derive(Debug, Args)]
pub(crate) struct Threads {
    /// Threads that compute, 256 at most [default: as many as the machine has]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=MOST))]
    threads: Option<u16>,
}

impl Threads {
    pub(crate) fn count(&self) -> usize {
        self.threads.map_or_else(|| thread::available_parallelism().map_or(1, usize::from), usize::from)
    }
}
