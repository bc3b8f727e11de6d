//! A disk that fails below a running ward: full, or cutting a write short in the middle. Nothing is said to be kept that is not,
//! and once the disk gives way the ward goes on by itself.

#![allow(clippy::print_stdout, reason = "what was acknowledged before and after is part of what the test tells")]

mod common;
#[path = "common/invented_ward.rs"]
mod invented_ward;
#[path = "common/served.rs"]
mod served;

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::Command;
use std::thread::sleep;
use std::time::{Duration, Instant};

use common::{bedplate, json};
use invented_ward::ward;
use serde_json::{Value, json};
use served::Served;

/// Long enough for a busy machine: no test waits for it when all is well.
const PATIENCE: Duration = Duration::from_secs(90);
/// Refusals that are waited for while the disk fails.
const REFUSALS: u32 = 20;

/// A ward with a patient, and what it said that it kept.
struct Tried {
    served: Served,
    nurse: String,
    volume_ml: f64,
    /// Volumes acknowledged, by the number of their entry.
    told: BTreeMap<i64, f64>,
}

impl Tried {
    fn start(folder: &Path, command: Command) -> Self {
        let served = Served::by(command);
        let (_, nurse) = served.accounts();
        let patient = json!({ "patient": { "label": "p-1", "sex": "female", "age_y": 50 } });
        assert_eq!(served.ask("POST", "/api/patients", Some(&nurse), Some(&patient)).status, 201);
        let tried = Self { served, nurse, volume_ml: 0.0, told: BTreeMap::new() };
        let from = Instant::now();
        while tried.bed()["state"].is_null() {
            assert!(from.elapsed() < PATIENCE, "no sample in {}", folder.display());
            sleep(Duration::from_millis(100));
        }
        tried
    }

    fn bed(&self) -> Value {
        self.served.ask("GET", "/api/beds/A1", Some(&self.nurse), None).json()
    }

    /// Charts a volume of its own; whether it was acknowledged. Any answer but yes and "not kept" is a fault.
    fn chart(&mut self) -> bool {
        self.volume_ml += 1.0;
        let body = json!({ "time": "2026-01-01T10:00:00Z", "direction": "output", "route": "urine", "volume_mL": self.volume_ml });
        let answer = self.served.ask("POST", "/api/patients/p-1/chart", Some(&self.nurse), Some(&body));
        match answer.status {
            201 => {
                self.told.insert(answer.json()["number"].as_i64().unwrap(), self.volume_ml);
                true
            }
            503 => {
                assert!(answer.body.contains("nothing was entered"), "{}", answer.body);
                false
            }
            // More a second than one caller may ask.
            429 => {
                sleep(Duration::from_millis(500));
                self.chart()
            }
            other => panic!("{other}: {}", answer.body),
        }
    }

    /// Charts while there is room.
    fn chart_with_room(&mut self) {
        for _ in 0..25 {
            assert!(self.chart(), "there is room");
        }
    }

    /// Charts until the disk has refused so often.
    fn chart_until_refused(&mut self) {
        let from = Instant::now();
        let mut refused = 0;
        while refused < REFUSALS {
            refused += u32::from(!self.chart());
            assert!(from.elapsed() < PATIENCE, "refused {refused} times only");
        }
        // What is on record can be read all the while, and the bed says that it is not kept.
        self.is_kept();
        let from = Instant::now();
        while self.bed()["trouble"].as_array().unwrap().is_empty() {
            assert!(from.elapsed() < PATIENCE, "the bed says nothing: {}", self.bed());
            sleep(Duration::from_millis(100));
        }
    }

    /// Charts until it is kept again.
    fn chart_until_kept(&mut self) {
        let from = Instant::now();
        while !self.chart() {
            assert!(from.elapsed() < PATIENCE, "refused although there is room");
            sleep(Duration::from_millis(100));
        }
        while !self.bed()["trouble"].as_array().unwrap().is_empty() {
            assert!(from.elapsed() < PATIENCE, "the bed does not recover: {}", self.bed());
            sleep(Duration::from_millis(100));
        }
    }

    /// Everything acknowledged stands in the chart, and nothing that was refused.
    fn is_kept(&self) {
        let chart = self.served.ask("GET", "/api/patients/p-1/chart", Some(&self.nurse), None).json();
        let kept: BTreeMap<i64, f64> = chart
            .as_array()
            .unwrap()
            .iter()
            .map(|entry| (entry["number"].as_i64().unwrap(), entry["volume_mL"].as_f64().unwrap()))
            .collect();
        assert_eq!(kept, self.told);
    }

    /// Killed and started again on a sound disk: the same, and the audit trail is whole.
    fn ends_whole_after_a_kill(mut self, folder: &Path) {
        self.served.child.kill().unwrap();
        self.served.child.wait().unwrap();
        self.served = Served::start(folder, &[]);
        self.is_kept();
        let whole = bedplate(folder, &["ward", "verify-audit", "ward.toml", "--json"]);
        assert_eq!((whole.status, json(&whole)["breaks"].as_array().unwrap().len()), (0, 0), "{}", whole.err);
        println!("{} acknowledged, all there; {} refused", self.told.len(), self.volume_ml as usize - self.told.len());
    }
}

/// A ward whose process takes a failing write as an error, as a service must, where a limit on files would end it.
fn sturdy(folder: &Path) -> Command {
    let mut command = Command::new("sh");
    command
        .current_dir(folder)
        .args(["-c", "trap '' XFSZ; exec \"$0\" serve ward.toml"])
        .arg(env!("CARGO_BIN_EXE_bedplate"));
    command
}

/// From now on no file of a process grows beyond so many bytes (getrlimit(2), RLIMIT_FSIZE: a write that crosses the limit is
/// cut short there, the next one fails); `None` lifts the limit.
fn limit(tried: &Tried, bytes: Option<u64>) {
    let bytes = bytes.map_or_else(|| "unlimited".to_owned(), |b| b.to_string());
    let pid = tried.served.child.id().to_string();
    let done = Command::new("prlimit").args(["--pid", &pid, &format!("--fsize={bytes}:unlimited")]).status().unwrap();
    assert!(done.success());
}

/// Bytes of the log that the next commit is written to.
fn log_bytes(folder: &Path) -> u64 {
    fs::metadata(folder.join("ward.db-wal")).unwrap().len()
}

#[test]
fn writes_that_are_cut_short_below_the_service_lose_nothing_acknowledged() {
    let folder = ward();
    let path = folder.path();
    let mut tried = Tried::start(path, sturdy(path));
    // Not at a page's end: the write is torn in the middle. SQLite's log has a head of 32 bytes and frames of 24 + 4096.
    for torn_at in [30_001, 17_003] {
        tried.chart_with_room();
        limit(&tried, Some(log_bytes(path) + torn_at));
        tried.chart_until_refused();
        limit(&tried, None);
        tried.chart_until_kept();
        tried.is_kept();
    }
    // And killed while the disk still fails.
    limit(&tried, Some(log_bytes(path) + 9_001));
    tried.chart_until_refused();
    tried.ends_whole_after_a_kill(path);
}

/// A small disk of its own, made of memory; taken away when dropped. Only root may make one.
struct SmallDisk<'a>(&'a Path);

impl<'a> SmallDisk<'a> {
    fn at(path: &'a Path) -> Option<Self> {
        fs::create_dir(path).unwrap();
        let done = Command::new("mount").args(["-t", "tmpfs", "-o", "size=6m", "tmpfs"]).arg(path).output().ok()?;
        done.status.success().then_some(Self(path))
    }
}

impl Drop for SmallDisk<'_> {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg("--lazy").arg(self.0).status();
    }
}

#[test]
fn on_a_full_disk_the_service_says_so_and_goes_on_once_there_is_room() {
    let folder = ward();
    let path = folder.path();
    let place = path.join("small");
    let Some(_disk) = SmallDisk::at(&place) else {
        println!("skipped: a small disk can be made by root alone");
        return;
    };
    let text = fs::read_to_string(path.join("ward.toml")).unwrap();
    fs::write(path.join("ward.toml"), text.replace("ward.db", "small/ward.db")).unwrap();
    let mut tried = Tried::start(path, sturdy(path));
    for _ in 0..2 {
        tried.chart_with_room();
        // Somebody else's file takes what is left.
        let filler = place.join("filler");
        let filled = fs::write(&filler, vec![0; 8 << 20]).unwrap_err();
        assert_eq!(filled.kind(), std::io::ErrorKind::StorageFull);
        tried.chart_until_refused();
        fs::remove_file(&filler).unwrap();
        tried.chart_until_kept();
        tried.is_kept();
    }
    let filled = fs::write(place.join("filler"), vec![0; 8 << 20]);
    assert!(filled.is_err());
    tried.chart_until_refused();
    fs::remove_file(place.join("filler")).unwrap();
    tried.ends_whole_after_a_kill(path);
}
