//! What survives a kill, a torn write and a full disk. The seed of every choice is fixed.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{BufRead as _, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Duration;

use bedplate_store::aside::Aside;
use bedplate_store::audit::audit;
use bedplate_store::journal::{self, Query};
use bedplate_store::readings;

use super::place::Place;

/// Kills in this test; the environment variable takes more, for a long run by hand.
const KILLS: &str = "BEDPLATE_KILLS";

/// A sequence of chance, by the multiplier of Knuth's MMIX generator.
struct Chance(u64);

impl Chance {
    fn below(&mut self, most: u64) -> u64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % most
    }
}

/// The example program, which Cargo builds beside the tests.
fn hammer() -> PathBuf {
    let tests = std::env::current_exe().unwrap();
    tests.parent().and_then(Path::parent).unwrap().join("examples/hammer")
}

/// Numbers acknowledged: the first entry of a job and the second, by chain.
type Acknowledged = BTreeMap<(String, i64), i64>;

fn acknowledged(lines: impl Iterator<Item = String>, into: &mut Acknowledged) {
    for line in lines {
        let words: Vec<&str> = line.rsplitn(3, ' ').collect();
        // The last line may have been cut by the kill.
        let [second, first, chain] = words[..] else { continue };
        if let (Ok(first), Ok(second)) = (first.parse(), second.parse()) {
            into.insert((chain.to_owned(), first), second);
        }
    }
}

/// No acknowledged job lost, none half-kept, every chain whole.
fn is_whole(place: &Place, acknowledged: &Acknowledged) {
    let mut database = place.open();
    let mut transaction = database.look().unwrap();
    let found = audit(transaction.as_mut(), &[]).unwrap();
    assert!(found.breaks.is_empty(), "{:?}", found.breaks);
    let entries = journal::entries(transaction.as_mut(), &Query::default()).unwrap();
    let mut halves: BTreeMap<(&str, &str), usize> = BTreeMap::new();
    for entry in &entries {
        *halves.entry((&entry.new.chain, &entry.new.subject)).or_default() += 1;
    }
    assert!(halves.values().all(|n| *n == 2), "a job was half kept");
    let numbers: BTreeMap<(String, i64), &str> =
        entries.iter().map(|e| ((e.new.chain.clone(), e.number), e.new.subject.as_str())).collect();
    for ((chain, first), second) in acknowledged {
        let subject = numbers.get(&(chain.clone(), *first));
        assert!(subject.is_some(), "acknowledged entry {first} of {chain} is gone");
        assert_eq!(subject, numbers.get(&(chain.clone(), *second)));
    }
    let beds: Vec<String> = found.ends.iter().map(|e| e.chain.clone()).collect();
    let weights: usize =
        beds.iter().map(|bed| readings::readings(transaction.as_mut(), bed, i64::MIN, i64::MAX).unwrap().len()).sum();
    assert_eq!(weights * 2, entries.len(), "weights and entries of a job were not kept together");
}

#[test]
fn killed_at_any_instant_nothing_acknowledged_is_lost() {
    let kills = std::env::var(KILLS).ok().and_then(|n| n.parse().ok()).unwrap_or(25_u32);
    let place = Place::sqlite();
    let mut chance = Chance(20_261_126);
    let mut told = Acknowledged::new();
    for round in 0..kills {
        let mut child =
            Command::new(hammer()).args([&place.url, &round.to_string()]).stdout(Stdio::piped()).spawn().unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines().map_while(Result::ok);
        // From the first acknowledgement on, so that writing is under way; then at a random instant.
        acknowledged(lines.by_ref().take(1), &mut told);
        std::thread::sleep(Duration::from_micros(chance.below(30_000)));
        child.kill().unwrap();
        acknowledged(lines, &mut told);
        child.wait().unwrap();
        is_whole(&place, &told);
    }
    assert!(told.len() > kills as usize, "too little was written to prove anything: {}", told.len());
}

/// A limit on the size of a file cuts a write short at that byte. Then the system's signal kills the program, as a power
/// cut would; or, with the signal ignored, the write fails, as on a full disk.
fn cut_short(on_limit: &str, blocks: u64) -> (Place, Acknowledged) {
    let place = Place::sqlite();
    drop(place.open());
    let script = format!("{on_limit} ulimit -f {blocks}; exec \"$0\" \"$1\" 0");
    let out = Command::new("sh").arg("-c").arg(script).arg(hammer()).arg(&place.url).output().unwrap();
    let mut told = Acknowledged::new();
    acknowledged(String::from_utf8_lossy(&out.stdout).lines().map(str::to_owned), &mut told);
    (place, told)
}

#[test]
fn a_write_cut_short_by_a_kill_loses_nothing_acknowledged() {
    for blocks in (1_200..1_300).step_by(17) {
        let (place, told) = cut_short("", blocks);
        assert!(told.len() > 10, "{} before the cut", told.len());
        is_whole(&place, &told);
    }
}

#[test]
fn on_a_full_disk_jobs_are_refused_and_what_was_kept_stays() {
    for blocks in (1_200..1_300).step_by(23) {
        let (place, told) = cut_short("trap '' XFSZ;", blocks);
        assert!(told.len() > 10, "{} before the disk was full", told.len());
        is_whole(&place, &told);
    }
}

#[test]
fn a_log_torn_at_any_byte_leaves_a_whole_beginning() {
    let place = Place::sqlite();
    let mut child = Command::new(hammer()).args([&place.url, "0"]).stdout(Stdio::piped()).spawn().unwrap();
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines().map_while(Result::ok);
    let _ = lines.by_ref().take(200).count();
    child.kill().unwrap();
    drop(lines);
    child.wait().unwrap();
    let log = std::fs::read(format!("{}-wal", place.url)).unwrap();
    let mut chance = Chance(7);
    for _ in 0..20 {
        let torn = Place::sqlite();
        std::fs::copy(&place.url, &torn.url).unwrap();
        let cut = usize::try_from(chance.below(log.len() as u64)).unwrap();
        let mut text = log[..cut].to_vec();
        // What the disk had not yet written may hold anything.
        text.extend((0..chance.below(9_000)).map(|_| u8::try_from(chance.0 >> 40 & 0xff).unwrap()));
        std::fs::write(format!("{}-wal", torn.url), text).unwrap();
        is_whole(&torn, &Acknowledged::new());
    }
}

/// Hammers for a while on a disk that fails now and then, which `bad_disk.c` makes of the one that is there; what was acknowledged,
/// and how often something was refused.
fn on_a_bad_disk(place: &str, round: usize, manner: &str, faults: [(&str, &str); 1]) -> (Acknowledged, usize) {
    let folder = tempfile::tempdir().unwrap();
    let made = folder.path().join("bad_disk.so");
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/ward/bad_disk.c");
    let done = Command::new("cc").args(["-shared", "-fPIC", "-O1", "-o"]).arg(&made).arg(source).arg("-ldl").status();
    assert!(done.unwrap().success(), "cc makes the bad disk; Rust itself links by it");
    let (mut told, mut refused) = (Acknowledged::new(), 0);
    // By acknowledgements and not by time: a busy machine tries as much. Reads are few where pages stay in the cache, so that it goes
    // on until one was met.
    let goes_on = |told: &Acknowledged, refused| told.len() < 120 || (refused == 0 && told.len() < 3_000);
    while goes_on(&told, refused) {
        let mut child = Command::new(hammer())
            .args([place, &round.to_string(), manner])
            .env("LD_PRELOAD", &made)
            .envs(faults)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines().map_while(Result::ok);
        while goes_on(&told, refused)
            && let Some(line) = lines.next()
        {
            refused += usize::from(line == "refused");
            acknowledged(std::iter::once(line), &mut told);
        }
        child.kill().unwrap();
        acknowledged(lines, &mut told);
        // One that could not even start is started again, as a service is.
        refused += usize::from(child.wait().unwrap().code().is_some());
    }
    (told, refused)
}

/// Rounds on a disk of which every so manieth flush or read fails; each round goes on from what the one before left.
fn loses_nothing_acknowledged(fault: &str, parts: [&str; 3]) {
    let place = Place::sqlite();
    drop(place.open());
    let (mut told, mut refused) = (Acknowledged::new(), 0);
    for (round, every) in parts.into_iter().enumerate() {
        let (more, times) = on_a_bad_disk(&place.url, round, "patient", [(fault, every)]);
        told.extend(more);
        refused += times;
        is_whole(&place, &told);
    }
    assert!(refused > 0, "the disk did not fail");
}

#[test]
fn a_flush_that_fails_and_drops_what_it_should_have_flushed_loses_nothing_acknowledged() {
    // Of the log's flushes and of the file's own; primes, so that every place in a checkpoint is met.
    loses_nothing_acknowledged("BAD_FLUSH", ["23", "11", "5"]);
}

#[test]
fn a_read_that_fails_is_told_and_loses_nothing_acknowledged() {
    loses_nothing_acknowledged("BAD_READ", ["499", "101", "31"]);
}

/// A flush that failed must not be believed the second time: the job goes into another file.
#[test]
fn what_is_set_aside_on_a_disk_whose_flushes_fail_is_there_afterwards() {
    // A new file takes one flush and its first job another: of every two, the job's would always fail.
    for every in ["3", "5", "17"] {
        let folder = tempfile::tempdir().unwrap();
        let place = folder.path().join("ward.aside");
        let (told, refused) = on_a_bad_disk(place.to_str().unwrap(), 0, "aside", [("BAD_FLUSH", every)]);
        assert!(refused > 0, "the disk did not fail");
        let mut aside = Aside::open(&place, 1 << 30).unwrap();
        let mut found = BTreeSet::new();
        while !aside.is_empty() {
            let jobs = aside.oldest(100).unwrap();
            found.extend(jobs.iter().map(|job| job.entries[0].at_us));
            aside.forget(jobs.len()).unwrap();
        }
        for (chain, act) in told.keys() {
            assert!(found.contains(act), "{chain}: {act} was acknowledged and is gone");
        }
    }
}
