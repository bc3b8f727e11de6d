//! `explore`: searches the design space of a deck on all cores, until its end or Ctrl-C.

use std::io::Write;
use std::num::NonZeroUsize;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;
use std::time::Instant;

use design::explore::{ExploreError, Explorer, Prepared, Scored};
use indicatif::ProgressBar;

use crate::cli::ExploreArgs;
use crate::failure::Failure;
use crate::files::{self, Aside};
use crate::output::{self, Outcome};
use crate::progress;
use crate::stop::Stop;

pub(crate) fn run(args: &ExploreArgs) -> Result<Outcome, Failure> {
    let deck = files::read_deck(&args.deck)?;
    let mut explorer = design::explore::explore(&deck).map_err(|e| Failure::stage(&args.deck, &e))?;
    // The file is begun before the search: a folder that cannot be written is told at once.
    let file = args.output.as_deref().map(Aside::create).transpose()?;
    let threads = args.threads.count();

    let stop = Stop::on_ctrl_c();
    let began = Instant::now();
    search(&mut explorer, threads, &stop).map_err(|e| Failure::stage(&args.deck, &e))?;
    let report = explorer.report();
    // Whatever number was asked for: the list of a search of hours is told first.
    output::report(args.json, &report, |r| report::text::exploration(&deck, r))?;
    tell_speed(report.candidates, began.elapsed().as_secs_f64());
    let chosen = match (args.write, report.finished) {
        (Some(number), true) => Some(design(&explorer, number)?),
        _ => None,
    };

    if let (Some(number), false) = (args.write, report.finished) {
        return Err(Failure::Stage(format!(
            "design {number} was not written: its number is that of a finished search; let it run to its end, or set \
             rounds = {} under [explore] to have this list again",
            report.rounds
        )));
    }
    if let (Some(mut file), Some(chosen), Some(path)) = (file, chosen, &args.output) {
        file.write_all(formats::deck::write(&explorer.deck(&chosen.candidate)).as_bytes())
            .map_err(|e| Failure::write(path, e))?;
        file.finish()?;
    }
    Ok(Outcome::of(!report.designs.is_empty() || !report.finished))
}

fn design(explorer: &Explorer, number: NonZeroUsize) -> Result<Scored, Failure> {
    let mut front = explorer.front();
    let n = front.len();
    if number.get() > n {
        return Err(Failure::Stage(format!("--write {number}: the search found {n} designs, expected 1 to {n}")));
    }
    Ok(front.swap_remove(number.get() - 1))
}

/// Runs the search to its end, or until `stop`.
fn search(explorer: &mut Explorer, threads: usize, stop: &Stop) -> Result<(), ExploreError> {
    let units = explorer.unprepared();
    let solving = progress::bar(units.len() as u64, "solving plates");
    for prepared in prepare(explorer, &units, threads, stop, &solving)? {
        explorer.accept(prepared);
    }
    solving.finish_and_clear();
    let trying = progress::bar(explorer.table().rounds as u64, "trying designs");
    while !explorer.progress().is_done() && !stop.asked() {
        let candidates = explorer.candidates();
        let explorer_now = &*explorer;
        let share = candidates.len().div_ceil(threads).max(1);
        // Put together in the order of the candidates, whoever was first: the list does not depend on the threads.
        let scored: Vec<Scored> = thread::scope(|scope| {
            let workers: Vec<_> = candidates
                .chunks(share)
                .map(|chunk| {
                    scope.spawn(move || chunk.iter().filter_map(|c| explorer_now.evaluate(c)).collect::<Vec<_>>())
                })
                .collect();
            workers.into_iter().flat_map(joined).collect()
        });
        explorer.finish_round(scored);
        trying.inc(1);
        if trying.position() == 1 && !explorer.progress().is_done() {
            let tried = explorer.progress().n_candidates;
            let plates = units.len();
            trying.suspend(|| {
                tell(&format!("{plates} plates solved, {tried} designs tried so far; Ctrl-C prints what was found"));
            });
        }
    }
    trying.finish_and_clear();
    Ok(())
}

/// Solves the units, each thread taking the next that nobody has.
fn prepare(
    explorer: &Explorer,
    units: &[usize],
    threads: usize,
    stop: &Stop,
    bar: &ProgressBar,
) -> Result<Vec<Prepared>, ExploreError> {
    let next = AtomicUsize::new(0);
    let work = || {
        let mut done = Vec::new();
        while !stop.asked() {
            let Some(&unit) = units.get(next.fetch_add(1, Ordering::Relaxed)) else { break };
            done.push(explorer.prepare(unit)?);
            bar.inc(1);
        }
        Ok(done)
    };
    let parts: Vec<Result<Vec<Prepared>, ExploreError>> = thread::scope(|scope| {
        let workers: Vec<_> = (0..threads.min(units.len())).map(|_| scope.spawn(work)).collect();
        workers.into_iter().map(joined).collect()
    });
    Ok(parts.into_iter().collect::<Result<Vec<_>, _>>()?.into_iter().flatten().collect())
}

/// What a thread computed; its panic, a broken promise of ours, goes on in this one.
fn joined<T>(worker: thread::ScopedJoinHandle<'_, T>) -> T {
    worker.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))
}

fn tell_speed(candidates: usize, seconds: f64) {
    let rate = report::number::significant(candidates as f64 / seconds, 3);
    tell(&format!("{candidates} designs in {seconds:.1} s, {rate} a second"));
}

fn tell(line: &str) {
    // Standard error may be closed; then there is nobody to tell.
    let _ = writeln!(std::io::stderr(), "{line}");
}
