//! Keeps jobs from several beds as fast as it can, and says after each that it was acknowledged: for the tests that kill
//! it. `hammer PLACE ROUND [patient|aside]`; every job is two entries and one weight, so that a half-kept job would show. A patient one
//! tries again what was refused and may be kept later, as a ward does; `aside` sets the jobs of one bed aside instead.

#![allow(clippy::print_stdout, reason = "what it was told is what it says")]

use std::io::Write as _;
use std::path::Path;
use std::sync::{Arc, Mutex};

use bedplate_store::aside::Aside;
use bedplate_store::entry::{Kind, NewEntry};
use bedplate_store::readings::Reading;
use bedplate_store::writer::{Job, Writer};
use bedplate_store::{schema, sql};

const BEDS: usize = 4;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut words = std::env::args().skip(1);
    let (place, round) = (words.next().ok_or("a place")?, words.next().ok_or("a round")?);
    let manner = words.next().unwrap_or_default();
    if manner == "aside" {
        return set_aside(&place, &round);
    }
    let is_patient = manner == "patient";
    let mut database = sql::open(&place)?;
    schema::migrate(database.as_mut(), 0)?;
    let writer = Arc::new(Writer::start(database, Box::new(|| 7))?);
    let out = Arc::new(Mutex::new(std::io::stdout()));
    let beds: Vec<_> = (0..BEDS)
        .map(|bed| {
            let (writer, out, round) = (Arc::clone(&writer), Arc::clone(&out), round.clone());
            std::thread::spawn(move || {
                for act in 0.. {
                    let kept = loop {
                        match writer.keep(job(bed, &round, act)) {
                            Ok(kept) => break kept,
                            Err(error) if is_patient && error.is_passing() => println!("refused"),
                            Err(_) => return,
                        }
                    };
                    let mut out = out.lock().unwrap();
                    if writeln!(out, "{} {} {}", kept[0].chain, kept[0].number, kept[1].number).is_err() {
                        return;
                    }
                    out.flush().unwrap();
                }
            })
        })
        .collect();
    for bed in beds {
        bed.join().map_err(|_| "a bed panicked")?;
    }
    Ok(())
}

fn set_aside(place: &str, round: &str) -> Result<(), Box<dyn std::error::Error>> {
    let mut aside = Aside::open(Path::new(place), 1 << 30)?;
    for act in 0.. {
        while aside.add([&job(0, round, act)]).is_err() {
            println!("refused");
        }
        println!("bed 0 {act} {act}");
    }
    Ok(())
}

fn job(bed: usize, round: &str, act: i64) -> Job {
    let chain = format!("bed {bed}");
    let entry = |kind, half: &str| NewEntry {
        chain: chain.clone(),
        at_us: act,
        kind,
        subject: format!("{round}/{act}"),
        author: "hammer".to_owned(),
        corrects: None,
        once: Some(format!("{round}/{act}/{half}")),
        body: format!("{{\"half\": \"{half}\", \"filling\": \"{}\"}}", "x".repeat(200)),
    };
    let round_us = round.parse::<i64>().unwrap_or(0) * 1_000_000_000;
    let reading = Reading {
        bed: chain.clone(),
        at_us: round_us + act,
        kg: Some(71.5),
        u_kg: Some(0.02),
        state: "settled".into(),
    };
    Job {
        entries: vec![entry(Kind::Weight, "first"), entry(Kind::Event, "second")],
        readings: vec![reading],
        ..Job::default()
    }
}
