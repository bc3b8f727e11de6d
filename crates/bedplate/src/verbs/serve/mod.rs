//! `serve`: one process for a ward.

mod invented;
mod links;

use std::io::IsTerminal as _;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use formats::ward::WardFile;
use jiff::tz::TimeZone;
use store::aside::Aside;
use tokio::task::{JoinError, JoinHandle};
use ward::access::Access;
use ward::clock::now_us;
use ward::memory::Memory;
use ward::service::{Ward, upkeep};

use crate::cli::ServeArgs;
use crate::failure::Failure;
use crate::files;
use crate::output::{self, Outcome};

use links::Links;
pub(crate) use links::beds;

/// The worker threads of the links and pages; the memory has a thread of its own.
const WORKERS: usize = 2;
const HOUR_US: i64 = 3_600_000_000;

pub(crate) fn run(args: &ServeArgs) -> Result<Outcome, Failure> {
    let file = read(&args.ward)?;
    log();
    let place = place(&args.ward, &file.memory);
    let _alone = alone(&args.ward, &file, &place)?;
    let zone = zone(&file);
    // Before the memory is made: a first start shows a password once, and must not end here.
    let tls = tls(&args.ward, &file)?;
    let listener = listen(&file, tls.is_some())?;
    let memory = Memory::open(&place, Box::new(now_us)).map_err(|e| Failure::stage(&args.ward, &e))?;
    let (setups, links) = beds(&args.ward, &file)?;
    let aside = aside(&args.ward, &file)?;
    if aside.torn_bytes() > 0 {
        tracing::warn!(
            bytes = aside.torn_bytes(),
            "of what was set aside these cannot be read: what was being written when this service was killed, or a file that was damaged since; they stay, with .torn at the name of their file"
        );
    }
    // Before anything else is asked of the memory: what beds remember may lie there.
    let (aside, caught) = memory.catch_up(aside).map_err(|e| Failure::stage(&args.ward, &e))?;
    if caught > 0 {
        tracing::info!(jobs = caught, "what was set aside while the memory was away is on record now");
    }
    let begin_us = now_us() - i64::from(args.past_hours) * HOUR_US;
    let ward = Ward::open(&file.name, memory, zone, file.keep_counts_days, setups, begin_us)
        .map_err(|e| Failure::stage(&args.ward, &e))?;
    first_start(&ward, &args.ward)?;
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(WORKERS)
        .enable_all()
        .build()
        .map_err(|e| Failure::Stage(format!("could not start: {e}")))?;
    runtime.block_on(serve(Arc::new(ward), &file, Starting { links, aside, tls, listener, begin_us }))?;
    Ok(Outcome::Met)
}

/// Takes a ward's memory for this process alone, as long as what it gives lives: two would keep from each other what beds bring, and
/// weigh each bed twice. Of a memory in a file the lock lies beside it, under whatever name it was reached; of one in a database server
/// beside what waits for it.
fn alone(ward: &Path, file: &WardFile, place: &str) -> Result<std::fs::File, Failure> {
    let is_file = !file.memory.contains("://");
    let lock = if is_file {
        std::fs::canonicalize(place).unwrap_or_else(|_| PathBuf::from(place))
    } else {
        aside_place(ward, file)
    };
    let mut name = lock.into_os_string();
    name.push(".lock");
    let taken = match files::take_alone(Path::new(&name)) {
        // A service may not write where its ward file lies: then that one is locked, though an editor may replace it.
        Err(_) if !is_file => files::locked(std::fs::File::open(ward).map_err(|e| Failure::read(ward, e))?),
        taken => taken?,
    };
    taken.ok_or_else(|| {
        Failure::Stage(format!("{}: this ward's memory is served already by another process", ward.display()))
    })
}

/// Binds the address that the pages are served on.
fn listen(file: &WardFile, is_encrypted: bool) -> Result<std::net::TcpListener, Failure> {
    let cannot = |e: &dyn std::fmt::Display| Failure::Stage(format!("could not serve on {}: {e}", file.listen));
    let listener = std::net::TcpListener::bind(&file.listen).map_err(|e| cannot(&e))?;
    let bound = listener.local_addr().map_err(|e| cannot(&e))?;
    web::ward::may_serve(bound, is_encrypted).map_err(|e| cannot(&e))?;
    Ok(listener)
}

/// Reads a ward file.
pub(crate) fn read(path: &Path) -> Result<WardFile, Failure> {
    Ok(formats::ward::read(&files::name(path), &files::read_text(path)?)?)
}

/// A file that a ward file names, beside it.
pub(crate) fn beside(ward: &Path, name: &str) -> PathBuf {
    ward.parent().unwrap_or(Path::new("")).join(name)
}

/// Where the memory is: a URL as it stands, or a file beside the ward file.
pub(crate) fn place(ward: &Path, memory: &str) -> String {
    if memory.contains("://") { memory.to_owned() } else { beside(ward, memory).to_string_lossy().into_owned() }
}

/// Where what cannot be kept waits: beside the memory where that is a file, otherwise beside the ward file.
pub(crate) fn aside_place(ward: &Path, file: &WardFile) -> PathBuf {
    match &file.aside {
        Some(aside) => beside(ward, aside),
        None if file.memory.contains("://") => beside(ward, "ward.aside"),
        None => beside(ward, &(file.memory.clone() + ".aside")),
    }
}

/// What lies aside.
pub(crate) fn aside(ward: &Path, file: &WardFile) -> Result<Aside, Failure> {
    let most_bytes = u64::from(file.aside_most_mb) * 1_000_000;
    Aside::open(&aside_place(ward, file), most_bytes).map_err(|e| Failure::stage(ward, &e))
}

fn zone(file: &WardFile) -> TimeZone {
    // A name that does not exist was refused where the file was read.
    file.time_zone.as_deref().and_then(|name| TimeZone::get(name).ok()).unwrap_or(TimeZone::UTC)
}

fn log() {
    let filter = tracing_subscriber::EnvFilter::try_from_env("BEDPLATE_LOG")
        .unwrap_or_else(|_| tracing_subscriber::EnvFilter::new("info,rumqttc=warn"));
    // Colours are for a person before a terminal; in a file or a journal they are rubbish between the words.
    let subscriber = tracing_subscriber::fmt().with_env_filter(filter).with_writer(std::io::stderr);
    // Set once for the process.
    drop(subscriber.with_ansi(std::io::stderr().is_terminal()).try_init());
}

/// Makes the first administrator and prints the secret, once.
fn first_start(ward: &Ward, path: &Path) -> Result<(), Failure> {
    let made = Access::new(&ward.memory, &ward.failures, now_us()).first_start();
    if let Some((name, password)) = made.map_err(|e| Failure::stage(path, &e))? {
        output::text(&format!(
            "First start. An administrator was made; this password is shown once and must be changed at the first sign-in:\n\n  \
             account   {name}\n  password  {password}\n\n"
        ))?;
    }
    Ok(())
}

fn tls(ward: &Path, file: &WardFile) -> Result<Option<web::ward::Tls>, Failure> {
    let Some(tls) = &file.tls else { return Ok(None) };
    let read = |name: &str| {
        let path = beside(ward, name);
        std::fs::read(&path).map_err(|e| Failure::read(&path, e))
    };
    Ok(Some(web::ward::Tls { certificate: read(&tls.certificate)?, key: read(&tls.key)? }))
}

/// What a start hands over to the runtime.
struct Starting {
    links: Links,
    aside: Aside,
    tls: Option<web::ward::Tls>,
    listener: std::net::TcpListener,
    begin_us: i64,
}

async fn serve(ward: Arc<Ward>, file: &WardFile, starting: Starting) -> Result<(), Failure> {
    let Starting { links, aside, tls, listener, begin_us } = starting;
    let cannot = |e: &dyn std::fmt::Display| Failure::Stage(format!("could not serve on {}: {e}", file.listen));
    let bound = listener.local_addr().map_err(|e| cannot(&e))?;
    let way = if tls.is_some() { "https" } else { "http" };
    let keeping = links.start(&ward, aside, begin_us)?;
    tokio::spawn(upkeep(Arc::clone(&ward)));
    let beds = if file.beds.len() == 1 { "bed" } else { "beds" };
    output::text(&format!("{}: {} {beds}, {way}://{bound}/ (Ctrl-C ends)\n", ward.name, file.beds.len()))?;
    let off = web::ward::Off::default();
    let switch = off.clone();
    tokio::spawn(async move {
        asked_to_end().await;
        switch.now();
    });
    let served = web::ward::serve(ward, listener, tls, off);
    until_over(async { served.await.map_err(|e| cannot(&e)) }, keeping).await
}

/// Serves until somebody ends it, or until nothing that beds bring is kept any more.
async fn until_over(served: impl Future<Output = Result<(), Failure>>, keeping: JoinHandle<()>) -> Result<(), Failure> {
    tokio::select! {
        served = served => served,
        error = fault(keeping) => Err(Failure::Stage(format!("nothing that beds bring is kept any more: {error}"))),
    }
}

/// Waits for a task to panic. Without the one that keeps for all beds none of them is weighed: then the process ends, so that whoever
/// started it starts it anew.
async fn fault(task: JoinHandle<()>) -> JoinError {
    match task.await {
        Err(error) => error,
        // It has nothing more to do: each bed says by itself that it has stopped.
        Ok(()) => std::future::pending().await,
    }
}

/// Waits until the process is asked to end.
async fn asked_to_end() {
    let Ok(mut terminate) = tokio::signal::unix::signal(tokio::signal::unix::SignalKind::terminate()) else {
        return std::future::pending().await;
    };
    tokio::select! {
        _ = terminate.recv() => {}
        // Without a handler the process is ended some other way.
        asked = tokio::signal::ctrl_c() => if asked.is_err() { std::future::pending::<()>().await },
    }
}

#[cfg(test)]
mod tests {
    use std::process::ExitCode;

    use super::*;

    #[tokio::test]
    async fn where_nothing_is_kept_any_more_the_process_ends_with_status_2() {
        let keeping = tokio::spawn(async { panic!("on purpose") });
        let failure = until_over(std::future::pending(), keeping).await.unwrap_err();
        assert!(failure.to_string().contains("nothing that beds bring is kept any more"), "{failure}");
        assert_eq!(failure.exit_code(), ExitCode::from(2));
    }

    #[tokio::test]
    async fn pages_are_served_on_where_the_keeping_task_has_nothing_more_to_do() {
        let keeping = tokio::spawn(async {});
        while !keeping.is_finished() {
            tokio::task::yield_now().await;
        }
        let pages = async {
            tokio::time::sleep(std::time::Duration::from_millis(50)).await;
            Ok(())
        };
        assert!(until_over(pages, keeping).await.is_ok());
    }
}
