//! Many invented beds over real links, served by the built binary, and the ward killed while they give.

#![allow(clippy::print_stdout, reason = "the kills and the slowest restart are part of what the test tells")]

mod common;
#[path = "common/served.rs"]
mod served;

use std::collections::BTreeMap;
use std::fs;
use std::io::{BufRead as _, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};

use common::{bedplate, json};
use serde_json::{Value, json};
use served::Served;

const BEDS: usize = 6;
const NIGHT: &str = "name = \"a short night\"\nhours = 12.0\nrate_hz = 10.0\nstart = \"2031-03-04T18:00:00Z\"\n";
/// Kills in a run of the tests; the environment variable takes more, for a long run by hand.
const KILLS: &str = "BEDPLATE_KILLS";

/// Beds that give their samples; ended when dropped.
struct Beds(Child);

impl Drop for Beds {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

impl Beds {
    /// Starts them in `folder`, on free ports, and serves them from a free port.
    fn start(folder: &Path) -> Self {
        fs::write(folder.join("twin-deck.toml"), twin::demo::DECK_TOML).unwrap();
        fs::write(folder.join("scenario.toml"), NIGHT).unwrap();
        let mut child = Command::new(env!("CARGO_BIN_EXE_bedplate"))
            .current_dir(folder)
            .args(["twin", "ward", "twin-deck.toml", "--scenario", "scenario.toml", "--output", ".", "--port", "0"])
            .args(["--beds", &BEDS.to_string(), "--seed", "5"])
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        assert!(line.starts_with("6 invented beds give 10 samples a second each"), "{line}");
        let text = fs::read_to_string(folder.join("ward.toml")).unwrap();
        fs::write(folder.join("ward.toml"), text.replace("127.0.0.1:8080", "127.0.0.1:0")).unwrap();
        Self(child)
    }
}

/// Waits until every bed says what is wanted.
fn wait(served: &Served, token: &str, what: &str, is: impl Fn(&Value) -> bool) -> Vec<Value> {
    let from = Instant::now();
    loop {
        let now = served.ask("GET", "/api/beds", Some(token), None).json();
        let beds = now.as_array().unwrap();
        if beds.len() == BEDS && beds.iter().all(&is) {
            return beds.clone();
        }
        assert!(from.elapsed() < Duration::from_secs(60), "no {what} in a minute: {now}");
        sleep(Duration::from_millis(200));
    }
}

#[test]
fn every_bed_is_heard_over_its_own_wire() {
    let folder = tempfile::tempdir().unwrap();
    let _beds = Beds::start(folder.path());
    let served = Served::start(folder.path(), &[]);
    let (_, nurse) = served.accounts();
    let beds = wait(&served, &nurse, "samples", |bed| bed["link_up"] == true && bed["state"].is_string());
    let decks: Vec<&str> = beds.iter().map(|bed| bed["deck"].as_str().unwrap()).collect();
    assert_eq!(decks.len(), BEDS, "{decks:?}");
    let label = |number: usize| format!("L{number}");
    let labels: Vec<&str> = beds.iter().map(|bed| bed["bed"].as_str().unwrap()).collect();
    assert_eq!(labels, (1..=BEDS).map(label).collect::<Vec<_>>());
}

/// A sequence of chance, by the multiplier of Knuth's MMIX generator.
struct Chance(u64);

impl Chance {
    fn below(&mut self, most: u64) -> u64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % most
    }
}

#[test]
fn a_ward_killed_under_load_keeps_what_it_acknowledged() {
    let kills: u32 = std::env::var(KILLS).ok().and_then(|n| n.parse().ok()).unwrap_or(8);
    let folder = tempfile::tempdir().unwrap();
    let _beds = Beds::start(folder.path());
    let mut served = Served::start(folder.path(), &[]);
    let (_, nurse) = served.accounts();
    let patient = json!({ "patient": { "label": "p-1", "sex": "female", "age_y": 50 } });
    assert_eq!(served.ask("POST", "/api/patients", Some(&nurse), Some(&patient)).status, 201);
    // A tare that must outlive every kill.
    wait(&served, &nurse, "samples", |bed| bed["link_up"] == true && bed["state"] == "empty");
    let tare = json!({ "action": "tare", "once": "tared" });
    assert_eq!(served.ask("POST", "/api/beds/L1/actions", Some(&nurse), Some(&tare)).status, 201);
    let tared = wait(&served, &nurse, "tare", |bed| bed["bed"] != "L1" || bed["tare_kg"].is_number());
    let tare_kg = tared[0]["tare_kg"].as_f64().unwrap();
    assert!(tare_kg > 5.0, "{}", tared[0]);
    let mut chance = Chance(20_261_128);
    let mut told: BTreeMap<i64, f64> = BTreeMap::new();
    let mut restarts = Vec::new();
    for round in 0..kills {
        let until = Instant::now() + Duration::from_micros(chance.below(400_000));
        let mut volume_ml = f64::from(round) + 0.25;
        while Instant::now() < until {
            volume_ml += 1.0;
            let body = json!({ "time": "2026-01-01T10:00:00Z", "direction": "output", "route": "urine", "volume_mL": volume_ml });
            let answer = served.ask("POST", "/api/patients/p-1/chart", Some(&nurse), Some(&body));
            assert!(answer.status == 201 || answer.status == 429, "{}", answer.body);
            if answer.status == 201 {
                told.insert(answer.json()["number"].as_i64().unwrap(), volume_ml);
            }
        }
        served.child.kill().unwrap();
        served.child.wait().unwrap();
        let from = Instant::now();
        served = Served::start(folder.path(), &[]);
        restarts.push(from.elapsed());
    }
    restarts.sort();
    let [median, nearly_all, slowest] = [50, 99, 100].map(|part| restarts[(restarts.len() * part).div_ceil(100) - 1]);
    let told_in = format!("median {median:.2?}, 99 % {nearly_all:.2?}, slowest {slowest:.2?}");
    println!("{kills} kills, {} acknowledged; restart {told_in}", told.len());
    assert!(told.len() >= kills as usize / 2, "too little was written to prove anything: {}", told.len());
    let chart = served.ask("GET", "/api/patients/p-1/chart", Some(&nurse), None).json();
    let kept: BTreeMap<i64, f64> = chart
        .as_array()
        .unwrap()
        .iter()
        .map(|entry| (entry["number"].as_i64().unwrap(), entry["volume_mL"].as_f64().unwrap()))
        .collect();
    for (number, volume_ml) in &told {
        assert_eq!(kept.get(number), Some(volume_ml), "acknowledged entry {number}");
    }
    let beds = wait(&served, &nurse, "state", |bed| bed["state"].is_string());
    assert!((beds[0]["tare_kg"].as_f64().unwrap() - tare_kg).abs() < 1e-6, "{} after {tare_kg}", beds[0]);
    let whole = bedplate(folder.path(), &["ward", "verify-audit", "ward.toml", "--json"]);
    assert_eq!((whole.status, json(&whole)["breaks"].as_array().unwrap().len()), (0, 0), "{}", whole.err);
}

/// Seconds for which the memory is away; the environment variable takes more, for a long run by hand.
const AWAY_S: &str = "BEDPLATE_AWAY_S";

fn away_s() -> u64 {
    std::env::var(AWAY_S).ok().and_then(|s| s.parse().ok()).unwrap_or(12)
}

/// Times of the rows of a bed's weights on record, ms.
fn rows_ms(served: &Served, token: &str, number: usize) -> Vec<i64> {
    let now = served.ask("GET", &format!("/api/beds/L{number}/readings"), Some(token), None).json();
    let seconds = now["seconds"].as_array().unwrap().iter();
    seconds.map(|r| r["at"].as_str().unwrap().parse::<jiff::Timestamp>().unwrap().as_millisecond()).collect()
}

fn now_ms() -> i64 {
    jiff::Timestamp::now().as_millisecond()
}

/// Somebody else holds the memory in `folder` for `away_s`: beds are weighed meanwhile, and every second's weight is on record
/// afterwards.
fn loses_nothing_while_held(folder: &Path, served: &Served, away_s: u64) {
    let mut other = store::sql::open(folder.join("ward.db").to_str().unwrap()).unwrap();
    // A transaction that writes keeps all other writers out until it is dropped.
    loses_nothing_meanwhile(served, away_s, || other.begin().unwrap());
}

/// The memory is away as long as what `take_away` gives lives.
fn loses_nothing_meanwhile<T>(served: &Served, away_s: u64, take_away: impl FnOnce() -> T) {
    let (_, nurse) = served.accounts();
    wait(served, &nurse, "samples", |bed| bed["link_up"] == true && bed["state"].is_string());
    let held = take_away();
    sleep(Duration::from_secs(away_s));
    let troubled = served.ask("GET", "/api/beds", Some(&nurse), None).json();
    for bed in troubled.as_array().unwrap() {
        assert!(bed["trouble"].as_array().is_some_and(|t| !t.is_empty()), "the bed says that it is not kept: {bed}");
        let late_ms = now_ms() - bed["at"].as_str().unwrap().parse::<jiff::Timestamp>().unwrap().as_millisecond();
        assert!(late_ms < 4_000, "the bed is not weighed meanwhile: {late_ms} ms");
    }
    drop(held);
    let after = Instant::now();
    // Caught up: the newest weight is of just now.
    loop {
        let late_ms = now_ms() - rows_ms(served, &nurse, 1).last().unwrap();
        if late_ms < 4_000 {
            break;
        }
        assert!(after.elapsed() < Duration::from_secs(60 + away_s), "{late_ms} ms behind after {:?}", after.elapsed());
        sleep(Duration::from_millis(500));
    }
    println!("{away_s} s away, caught up {:.1?} after", after.elapsed());
    for number in 1..=BEDS {
        let at_ms = rows_ms(served, &nurse, number);
        assert!(at_ms.len() as u64 > away_s, "{}", at_ms.len());
        let widest = at_ms.windows(2).map(|pair| pair[1] - pair[0]).max().unwrap();
        assert!(widest < 2_000, "bed L{number}: a gap of {widest} ms between weights");
    }
    for bed in wait(served, &nurse, "end of the trouble", |bed| bed["trouble"].as_array().is_some_and(Vec::is_empty)) {
        assert_eq!(bed["samples_lost"], 0, "{bed}");
    }
}

/// Files in which a ward sets aside what it cannot keep.
fn aside_files(folder: &Path) -> usize {
    let names = folder.read_dir().unwrap().map(|f| f.unwrap().file_name().into_string().unwrap());
    names.filter(|name| name.contains(".aside.")).count()
}

#[test]
fn a_memory_that_is_away_for_a_while_costs_no_weight() {
    let folder = tempfile::tempdir().unwrap();
    let _beds = Beds::start(folder.path());
    let served = Served::start(folder.path(), &[]);
    loses_nothing_while_held(folder.path(), &served, away_s());
    assert_eq!(aside_files(folder.path()), 0, "what was caught up with is cleared away");
}

#[test]
fn where_nothing_can_be_set_aside_either_it_waits_in_the_process() {
    let folder = tempfile::tempdir().unwrap();
    let _beds = Beds::start(folder.path());
    let text = fs::read_to_string(folder.path().join("ward.toml")).unwrap();
    let text = text.replacen("memory =", "aside = \"nowhere/ward.aside\"\nmemory =", 1);
    fs::write(folder.path().join("ward.toml"), text).unwrap();
    let served = Served::start(folder.path(), &[]);
    loses_nothing_while_held(folder.path(), &served, away_s().min(20));
}

/// A file whose presence is felt until it is dropped.
struct Standing(std::path::PathBuf);

impl Standing {
    fn at(path: std::path::PathBuf) -> Self {
        fs::write(&path, "").unwrap();
        Self(path)
    }
}

impl Drop for Standing {
    fn drop(&mut self) {
        fs::remove_file(&self.0).unwrap();
    }
}

/// One disk for all, and it hangs: no flush returns, neither the memory's nor of what is set aside.
#[test]
fn a_disk_that_hangs_costs_no_weight() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    let _beds = Beds::start(path);
    let made = path.join("bad_disk.so");
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("../store/tests/ward/bad_disk.c");
    let done = Command::new("cc").args(["-shared", "-fPIC", "-O1", "-o"]).arg(&made).arg(source).arg("-ldl").status();
    assert!(done.unwrap().success(), "cc makes the bad disk; Rust itself links by it");
    let mut command = Command::new(env!("CARGO_BIN_EXE_bedplate"));
    command.current_dir(path).args(["serve", "ward.toml"]).env("LD_PRELOAD", &made).env("HANG", path.join("hang"));
    let served = Served::by(command);
    loses_nothing_meanwhile(&served, away_s().min(60), || Standing::at(path.join("hang")));
    assert_eq!(aside_files(path), 0, "what was caught up with is cleared away");
}

/// What `doctor` says of what waits for the memory: whether all is well, what it found, how to mend it.
fn what_waits(folder: &Path) -> (bool, String, String) {
    let looked = json(&bedplate(folder, &["ward", "doctor", "ward.toml", "--json"]));
    let looks = looked["looks"].as_array().unwrap();
    let look = looks.iter().find(|look| look["what"] == "what waits for the memory").unwrap();
    let text = |key: &str| look[key].as_str().unwrap().to_owned();
    (look["ok"] == true, text("found"), text("mend"))
}

/// Killed while the memory is away: what was set aside is on record after the next start, once, and the chains are whole.
#[test]
fn a_ward_killed_while_its_memory_is_away_keeps_what_it_set_aside() {
    let folder = tempfile::tempdir().unwrap();
    let _beds = Beds::start(folder.path());
    let mut served = Served::start(folder.path(), &[]);
    let (_, nurse) = served.accounts();
    wait(&served, &nurse, "samples", |bed| bed["link_up"] == true && bed["state"] == "empty");
    // The tare is acknowledged, and taken in what is set aside: it must not be forgotten by the start either.
    let tare = json!({ "action": "tare", "once": "tared" });
    assert_eq!(served.ask("POST", "/api/beds/L1/actions", Some(&nurse), Some(&tare)).status, 201);
    let began_ms = now_ms();
    let mut other = store::sql::open(folder.path().join("ward.db").to_str().unwrap()).unwrap();
    let held = other.begin().unwrap();
    sleep(Duration::from_secs(15));
    served.child.kill().unwrap();
    served.child.wait().unwrap();
    let killed_ms = now_ms();
    assert!(aside_files(folder.path()) > 0, "nothing was set aside");
    drop(held);
    let (is_well, found, mend) = what_waits(folder.path());
    let bytes: u64 = found.split(' ').next().unwrap().parse().unwrap();
    assert!(!is_well && bytes > 1_000 && found.contains("ward.db.aside"), "{found}");
    assert!(mend.contains("at its start"), "{mend}");
    served = Served::start(folder.path(), &[]);
    assert_eq!(aside_files(folder.path()), 0, "what was caught up with is cleared away");
    let (is_well, found, _) = what_waits(folder.path());
    assert!(is_well && found.starts_with("nothing"), "{found}");
    for number in 1..=BEDS {
        let at_ms: Vec<i64> = rows_ms(&served, &nurse, number);
        let before: Vec<i64> = at_ms.iter().copied().filter(|at| *at > began_ms - 3_000 && *at < killed_ms).collect();
        // What had come within the last moments was acknowledged to nobody: a commit is waited for 2 s.
        assert!(killed_ms - before.last().unwrap() < 4_000, "{} ms lost", killed_ms - before.last().unwrap());
        let widest = before.windows(2).map(|pair| pair[1] - pair[0]).max().unwrap();
        assert!(widest < 2_000, "bed L{number}: a gap of {widest} ms between weights");
    }
    let tared = wait(&served, &nurse, "tare", |bed| bed["bed"] != "L1" || bed["tare_kg"].is_number());
    assert!(tared[0]["tare_kg"].as_f64().unwrap() > 5.0, "{}", tared[0]);
    let whole = bedplate(folder.path(), &["ward", "verify-audit", "ward.toml", "--json"]);
    assert_eq!((whole.status, json(&whole)["breaks"].as_array().unwrap().len()), (0, 0), "{}", whole.err);
}

#[test]
fn what_cannot_be_given_is_said() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("deck.toml"), twin::demo::DECK_TOML).unwrap();
    let taken = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let port = taken.local_addr().unwrap().port().to_string();
    for (options, words) in [
        (vec!["--port", &port], vec![port.as_str(), "--port 0"]),
        (vec!["--port", "65535", "--beds", "2"], vec!["65535", "bed 2"]),
        (vec!["--broker", "nowhere"], vec!["nowhere", "HOST:PORT"]),
        (vec!["--beds", "0"], vec!["--beds"]),
    ] {
        let mut args = vec!["twin", "ward", "deck.toml", "--output", "out"];
        args.extend(options);
        let ran = bedplate(folder.path(), &args);
        assert_eq!(ran.status, 2, "{}", ran.out);
        for word in words {
            assert!(ran.err.contains(word), "no {word:?} in {}", ran.err);
        }
    }
    assert!(!folder.path().join("out").exists(), "a refused start writes nothing");
}
