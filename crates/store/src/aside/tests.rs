use super::form::{SUM_BYTES, sum_of};
use super::*;
use crate::entry::{Kind, NewEntry};
use crate::readings::{Counts, Reading};
use crate::states::State;
use proptest::prelude::*;

const MOST: u64 = 64 << 20;

proptest! {
    #![proptest_config(ProptestConfig { rng_seed: proptest::test_runner::RngSeed::Fixed(29), ..ProptestConfig::default() })]

    /// Rubbish in a file, and rubbish with a right sum: nothing is taken for a job that is none, nothing stops the start, and
    /// what cannot be read can be passed over.
    #[test]
    fn any_bytes_are_jobs_or_are_passed_over(rubbish in proptest::collection::vec(any::<u8>(), 0..300), has_sum in any::<bool>()) {
        let folder = tempfile::tempdir().unwrap();
        let mut text = HEAD.to_vec();
        if has_sum {
            let length = u32::try_from(rubbish.len()).unwrap();
            text.extend(length.to_le_bytes());
            text.extend(sum_of(length, &rubbish));
        }
        text.extend(&rubbish);
        std::fs::write(folder.path().join("ward.aside.000001"), text).unwrap();
        let mut aside = aside(&folder);
        while !aside.is_empty() {
            match aside.oldest(10) {
                Ok(jobs) => aside.forget(jobs.len()).unwrap(),
                Err(_) => drop(aside.pass_over().unwrap()),
            }
        }
        aside.add([&job(1)]).unwrap();
        prop_assert_eq!(drained(aside), [job(1)]);
    }
}

fn job(number: i64) -> Job {
    let entry = NewEntry {
        chain: "A1".into(),
        at_us: number,
        kind: Kind::Event,
        subject: String::new(),
        author: "deck".into(),
        corrects: None,
        once: Some(format!("deck {number}")),
        body: "{}".into(),
    };
    Job {
        entries: vec![entry],
        readings: vec![Reading {
            bed: "A1".into(),
            at_us: number,
            kg: Some(70.25),
            u_kg: None,
            state: "settled".into(),
        }],
        counts: vec![Counts {
            bed: "A1".into(),
            at_us: vec![number, number + 3],
            counts: vec![5, i32::MIN, i32::MAX, -7],
        }],
        states: vec![State { bed: "A1".into(), slot: 1, start_us: 4, record: vec![0, 255, 3] }],
        replaces: vec![(0, format!("deck {}", number - 1))],
    }
}

fn aside(folder: &tempfile::TempDir) -> Aside {
    Aside::open(&folder.path().join("ward.aside"), MOST).unwrap()
}

/// All that waits, taken in small pieces; at the end nothing is left of the files.
fn drained(mut aside: Aside) -> Vec<Job> {
    let mut all = Vec::new();
    while !aside.is_empty() {
        let jobs = aside.oldest(10).unwrap();
        aside.forget(jobs.len()).unwrap();
        all.extend(jobs);
    }
    all
}

fn files(folder: &tempfile::TempDir) -> Vec<String> {
    let mut names: Vec<String> =
        folder.path().read_dir().unwrap().map(|f| f.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

#[test]
fn jobs_come_back_in_their_order_through_a_restart_and_leave_nothing_behind() {
    let folder = tempfile::tempdir().unwrap();
    let jobs: Vec<Job> = (0..20).map(job).collect();
    let mut first = aside(&folder);
    first.add(&jobs[..7]).unwrap();
    first.add(&jobs[7..12]).unwrap();
    drop(first);
    let mut second = aside(&folder);
    assert_eq!(second.torn_bytes(), 0);
    second.add(&jobs[12..]).unwrap();
    assert_eq!(files(&folder), ["ward.aside.000001", "ward.aside.000002"]);
    assert_eq!(drained(second), jobs);
    assert!(files(&folder).is_empty());
}

#[test]
fn what_was_forgotten_does_not_come_again_but_may_after_a_kill() {
    let folder = tempfile::tempdir().unwrap();
    let jobs: Vec<Job> = (0..5).map(job).collect();
    let mut first = aside(&folder);
    first.add(&jobs).unwrap();
    first.forget(2).unwrap();
    assert_eq!(first.oldest(usize::MAX).unwrap(), jobs[2..]);
    drop(first);
    assert_eq!(drained(aside(&folder)), jobs);
}

#[test]
fn a_file_torn_at_any_byte_gives_the_whole_jobs_before_it() {
    let folder = tempfile::tempdir().unwrap();
    let jobs: Vec<Job> = (0..3).map(job).collect();
    let mut ends = vec![HEAD.len()];
    let mut first = aside(&folder);
    for one in &jobs {
        first.add([one]).unwrap();
        ends.push(usize::try_from(first.bytes()).unwrap());
    }
    drop(first);
    let path = folder.path().join("ward.aside.000001");
    let whole = std::fs::read(&path).unwrap();
    // Around every end of a job, and throughout; each cut costs some flushes of a real disk.
    let near_an_end = |cut: &usize| ends.iter().any(|end| cut.abs_diff(*end) <= LENGTH_BYTES + SUM_BYTES);
    for cut in (0..=whole.len()).filter(|cut| cut % 7 == 0 || near_an_end(cut)) {
        // Behind the cut nothing, or what the disk held before.
        for rubbish in [0, 40] {
            let torn = tempfile::tempdir().unwrap();
            let text = [&whole[..cut], &vec![0xa5; rubbish]].concat();
            std::fs::write(torn.path().join("ward.aside.000001"), text).unwrap();
            let expected = ends.iter().filter(|end| **end <= cut).count().saturating_sub(1);
            assert_eq!(drained(aside(&torn)), jobs[..expected], "cut at {cut}");
        }
    }
}

#[test]
fn a_changed_byte_is_never_taken_for_a_job() {
    let folder = tempfile::tempdir().unwrap();
    let mut first = aside(&folder);
    first.add(&[job(0), job(1)]).unwrap();
    drop(first);
    let path = folder.path().join("ward.aside.000001");
    let whole = std::fs::read(&path).unwrap();
    for at in (0..whole.len()).step_by(3) {
        let mut changed = whole.clone();
        changed[at] ^= 1 << (at % 8);
        let other = tempfile::tempdir().unwrap();
        std::fs::write(other.path().join("ward.aside.000001"), changed).unwrap();
        let found = drained(aside(&other));
        assert!(found.len() < 2 && found.iter().all(|j| *j == job(0)), "byte {at}");
        // And the file stays for whoever looks into it.
        assert_eq!(files(&other), ["ward.aside.000001.torn"]);
    }
}

#[test]
fn what_is_whole_before_a_damaged_job_is_given_before_the_rest_is_passed_over() {
    let folder = tempfile::tempdir().unwrap();
    let jobs: Vec<Job> = (0..5).map(job).collect();
    let mut aside = aside(&folder);
    aside.add(&jobs[..3]).unwrap();
    let fourth = usize::try_from(aside.bytes()).unwrap();
    aside.add(&jobs[3..]).unwrap();
    let path = folder.path().join("ward.aside.000001");
    let mut text = std::fs::read(&path).unwrap();
    text[fourth + LENGTH_BYTES + SUM_BYTES] ^= 1;
    std::fs::write(&path, text).unwrap();
    assert_eq!(aside.oldest(1_000).unwrap(), jobs[..3]);
    aside.forget(3).unwrap();
    assert!(aside.oldest(1_000).is_err());
    assert!(aside.pass_over().unwrap() > 0 && aside.is_empty());
    assert_eq!(files(&folder), ["ward.aside.000001.torn"]);
}

#[test]
fn a_file_that_was_passed_over_is_never_written_over_by_a_later_one() {
    let folder = tempfile::tempdir().unwrap();
    for number in 1..=3 {
        let mut aside = aside(&folder);
        aside.add([&job(number)]).unwrap();
        assert!(aside.pass_over().unwrap() > 0);
    }
    assert_eq!(files(&folder), ["ward.aside.000001.torn", "ward.aside.000002.torn", "ward.aside.000003.torn"]);
}

#[test]
fn files_end_and_go_one_by_one_and_no_more_lies_aside_than_may() {
    let folder = tempfile::tempdir().unwrap();
    let mut large = job(1);
    large.states[0].record = vec![9; 3 << 20];
    let mut aside = Aside::open(&folder.path().join("ward.aside"), 20 << 20).unwrap();
    let mut added = 0;
    let refused = loop {
        match aside.add([&large]) {
            Ok(()) => added += 1,
            Err(error) => break error,
        }
    };
    assert!(matches!(refused, AsideError::Full { most: 20_971_520, .. }), "{refused}");
    assert_eq!((added, files(&folder).len()), (7, 3));
    aside.forget(3).unwrap();
    assert_eq!(files(&folder).len(), 2);
    aside.add([&job(2)]).unwrap();
    assert_eq!(drained(aside).last(), Some(&job(2)));
}

#[test]
fn what_cannot_be_set_aside_is_refused_by_name_and_harms_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let mut nowhere = Aside::open(&folder.path().join("missing/ward.aside"), MOST).unwrap();
    let refused = nowhere.add([&job(1)]).unwrap_err().to_string();
    assert!(refused.contains("missing"), "{refused}");
    assert!(nowhere.is_empty() && nowhere.oldest(9).unwrap().is_empty());
    std::fs::create_dir(folder.path().join("missing")).unwrap();
    nowhere.add([&job(1)]).unwrap();
    assert_eq!(drained(nowhere), [job(1)]);
}

#[test]
fn to_look_at_what_waits_changes_nothing_of_it() {
    let folder = tempfile::tempdir().unwrap();
    // A file that was begun and holds no job yet, as a running service has it open; and one whose job is being written.
    std::fs::write(folder.path().join("ward.aside.000001"), HEAD).unwrap();
    std::fs::write(folder.path().join("ward.aside.000002"), [&HEAD[..], &[9; 5]].concat()).unwrap();
    let looked = aside(&folder);
    assert!(!looked.has_jobs());
    assert_eq!(files(&folder), ["ward.aside.000001", "ward.aside.000002"]);
    // Who catches up clears them away.
    assert_eq!(drained(looked), []);
    assert_eq!(files(&folder), ["ward.aside.000002.torn"]);
}

#[test]
fn a_file_that_cannot_be_removed_holds_nothing_up_once_it_can() {
    let folder = tempfile::tempdir().unwrap();
    let mut aside = aside(&folder);
    aside.add([&job(0)]).unwrap();
    let path = folder.path().join("ward.aside.000001");
    // Where a folder stands in its place it is no file to be removed. The bytes at hand are read from before.
    let mut first = aside.oldest(10).unwrap();
    assert_eq!(first.pop(), Some(job(0)));
    std::fs::remove_file(&path).unwrap();
    std::fs::create_dir(&path).unwrap();
    assert!(aside.forget(1).is_err());
    std::fs::remove_dir(&path).unwrap();
    // Gone by somebody else's hand is as good as removed: nothing is in the way of what comes next.
    assert!(aside.pass_over().is_ok());
    assert!(aside.oldest(10).unwrap().is_empty() && aside.is_empty());
    aside.add([&job(1)]).unwrap();
    assert_eq!(drained(aside), [job(1)]);
}
