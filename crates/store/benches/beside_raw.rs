//! What the ward's writer costs beside the raw database doing the same inserts in the same batches, one durable commit each.
//!
//! `cargo bench -p bedplate-store`. Prints beds a second of both, their ratio, and what one flush to this disk takes, which bounds
//! both from below. Processor time is told beside the time of the clock: other work on the machine moves it less.

#![allow(clippy::print_stdout, reason = "a measurement tells what it measured")]

use std::error::Error;
use std::fs::File;
use std::io::Write as _;
use std::sync::mpsc::channel;
use std::time::{Duration, Instant};

use bedplate_store::entry::{Kind, NewEntry};
use bedplate_store::readings::{Counts, Reading};
use bedplate_store::writer::{Job, Writer};
use bedplate_store::{schema, sql};
use rusqlite::{Connection, params};

const BEDS: i64 = 200;
const SECONDS: i64 = 60;
const CELLS: i32 = 24;
const SAMPLES: i64 = 10;
/// An entry of the journal every so many readings of a bed.
const ENTRY_EVERY: i64 = 60;
/// Bytes of a packed block of such counts, as found in a ward of the twin.
const BLOCK_BYTES: usize = 420;
/// Runs; the fastest of each side counts.
const RUNS: usize = 3;

fn main() -> Result<(), Box<dyn Error>> {
    let fastest = |run: fn(&str) -> Result<Took, Box<dyn Error>>| -> Result<Took, Box<dyn Error>> {
        let mut best = Took { clock: Duration::MAX, processor: Duration::MAX };
        for _ in 0..RUNS {
            let folder = tempfile::tempdir()?;
            let took = run(folder.path().join("ward.db").to_str().ok_or("a path")?)?;
            best = Took { clock: best.clock.min(took.clock), processor: best.processor.min(took.processor) };
        }
        Ok(best)
    };
    let (ours, raw, flush) = (fastest(by_writer)?, fastest(by_hand)?, fastest(flushes)?);
    let jobs = (BEDS * SECONDS) as f64;
    println!("{BEDS} beds, {SECONDS} s, one commit a second for all beds; the least of {RUNS} runs");
    for (name, took) in [("the writer", &ours), ("the raw database", &raw), ("one flush", &flush)] {
        let (clock, processor) = (ms(took.clock), ms(took.processor));
        println!("  {name:<18} {clock:>6.2} ms a commit by the clock, {processor:>6.2} ms of processors");
    }
    println!("  the writer         {:>6.0} beds a second", jobs / ours.clock.as_secs_f64());
    let ratio = |of: fn(&Took) -> Duration| of(&ours).as_secs_f64() / of(&raw).as_secs_f64();
    println!(
        "  ratio              {:>6.2} by the clock, {:.2} by processors",
        ratio(|t| t.clock),
        ratio(|t| t.processor)
    );
    Ok(())
}

/// What a run took.
struct Took {
    clock: Duration,
    /// Of all threads that are still there, user and system.
    processor: Duration,
}

/// Begins to measure; the answer says what was taken until it is asked.
fn measure() -> impl Fn() -> Result<Took, Box<dyn Error>> {
    let (from, before) = (Instant::now(), processor());
    move || {
        Ok(Took {
            clock: from.elapsed(),
            processor: processor()?.saturating_sub(*before.as_ref().map_err(ToString::to_string)?),
        })
    }
}

/// Processor time of this process's threads so far (proc(5): the first figure of schedstat, ns).
fn processor() -> Result<Duration, Box<dyn Error>> {
    let mut all = Duration::ZERO;
    for task in std::fs::read_dir("/proc/self/task")? {
        let text = std::fs::read_to_string(task?.path().join("schedstat"))?;
        all += Duration::from_nanos(text.split(' ').next().ok_or("a figure")?.parse()?);
    }
    Ok(all)
}

fn ms(whole: Duration) -> f64 {
    whole.as_secs_f64() * 1e3 / SECONDS as f64
}

fn at_us(second: i64) -> i64 {
    1_900_000_000_000_000 + second * 1_000_000
}

fn job(bed: i64, second: i64) -> Job {
    let name = format!("L{bed}");
    let reading = Reading {
        bed: name.clone(),
        at_us: at_us(second),
        kg: Some(71.5),
        u_kg: Some(0.02),
        state: "settled".to_owned(),
    };
    // Noise of a few hundred counts, which packs as a deck's does.
    let noise = |i: i32| (i.wrapping_mul(1_103_515_245).wrapping_add(12_345) >> 16) % 300;
    let counts = Counts {
        bed: name.clone(),
        at_us: (0..SAMPLES).map(|i| at_us(second) + i * 100_000).collect(),
        counts: (0..SAMPLES as i32 * CELLS).map(|i| 500_000 + noise(i + second as i32)).collect(),
    };
    let entries = if (second + bed) % ENTRY_EVERY == 0 { vec![entry(name, second)] } else { Vec::new() };
    Job { entries, readings: vec![reading], counts: vec![counts], ..Job::default() }
}

fn entry(bed: String, second: i64) -> NewEntry {
    NewEntry {
        chain: bed,
        at_us: at_us(second),
        kind: Kind::Weight,
        subject: String::new(),
        author: "deck".to_owned(),
        corrects: None,
        once: None,
        body: "{\"patient_kg\":71.5,\"u_kg\":0.02,\"state\":\"settled\"}".to_owned(),
    }
}

fn by_writer(path: &str) -> Result<Took, Box<dyn Error>> {
    let mut database = sql::open(path)?;
    schema::migrate(database.as_mut(), 0)?;
    let writer = Writer::start(database, Box::new(|| 7))?;
    let took = measure();
    for second in 0..SECONDS {
        let (tell, told) = channel();
        for bed in 0..BEDS {
            let tell = tell.clone();
            writer.hand_in(job(bed, second), Box::new(move |kept| drop(tell.send(kept))))?;
        }
        drop(tell);
        for kept in told {
            kept?;
        }
    }
    took()
}

fn by_hand(path: &str) -> Result<Took, Box<dyn Error>> {
    schema::migrate(sql::open(path)?.as_mut(), 0)?;
    let mut database = Connection::open(path)?;
    database.pragma_update(None, "journal_mode", "WAL")?;
    database.pragma_update(None, "synchronous", "FULL")?;
    let (block, hash) = ([7_u8; BLOCK_BYTES], [7_u8; 32]);
    let took = measure();
    for second in 0..SECONDS {
        let transaction = database.transaction()?;
        for bed in 0..BEDS {
            let name = format!("L{bed}");
            transaction
                .prepare_cached("insert into reading (bed, at_us, kg, u_kg, state) values (?1, ?2, ?3, ?4, ?5)")?
                .execute(params![name, at_us(second), 71.5, 0.02, "settled"])?;
            transaction
                .prepare_cached("insert into counts (bed, at_us, block) values (?1, ?2, ?3)")?
                .execute(params![name, at_us(second), &block[..]])?;
            if (second + bed) % ENTRY_EVERY == 0 {
                let entry = entry(name, second);
                transaction
                    .prepare_cached(
                        "insert into entry (chain, number, at_us, kept_us, kind, subject, author, corrects, once, body, hash) \
                         values (?1, ?2, ?3, ?4, ?5, ?6, ?7, null, null, ?8, ?9)",
                    )?
                    .execute(params![
                        entry.chain, second, entry.at_us, 7, "weight", entry.subject, entry.author, entry.body, &hash[..]
                    ])?;
            }
        }
        transaction.commit()?;
    }
    took()
}

/// As many flushes of a small write as there are commits.
fn flushes(path: &str) -> Result<Took, Box<dyn Error>> {
    let mut file = File::create(path)?;
    let took = measure();
    for _ in 0..SECONDS {
        file.write_all(&[7; 4096])?;
        file.sync_data()?;
    }
    took()
}
