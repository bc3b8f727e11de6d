//! Raw counts out of a ward's memory, as a recording and as minutes.

mod common;
#[path = "common/invented_ward.rs"]
mod invented_ward;

use std::fs;
use std::path::Path;

use common::{Ran, bedplate};
use formats::recording::{Reader, Sample};
use invented_ward::WARD;
use jiff::Timestamp;
use store::entry::{Kind, NewEntry};
use store::readings::{self, Counts, LOST_COUNT};

const START: &str = "2031-03-04T05:00:00Z";
const STEP_US: i64 = 100_000;
/// Two hours and some: more than is read at once.
const N_BLOCKS: i64 = 7_300;

fn start_us() -> i64 {
    START.parse::<Timestamp>().unwrap().as_microsecond()
}

/// What cell number `cell` gave in row number `row`.
fn count(row: i64, cell: i32) -> i32 {
    if row == 12 && cell == 1 { LOST_COUNT } else { 1_000 * cell - i32::try_from(row).unwrap() }
}

/// A ward whose bed told a block of ten rows each second.
fn memory(path: &Path, n_cells: i32) {
    fs::write(path.join("deck.toml"), twin::demo::DECK_TOML).unwrap();
    fs::write(path.join("ward.toml"), WARD).unwrap();
    let mut database = store::sql::open(&path.join("ward.db").to_string_lossy()).unwrap();
    store::schema::migrate(database.as_mut(), 0).unwrap();
    let block = |second: i64| {
        let rows: Vec<i64> = (10 * second..10 * second + 10).collect();
        let counts = rows.iter().flat_map(|&row| (0..n_cells).map(move |cell| count(row, cell))).collect();
        Counts { bed: "A1".into(), at_us: rows.iter().map(|row| start_us() + row * STEP_US).collect(), counts }
    };
    let mut blocks: Vec<Counts> = (0..N_BLOCKS).map(block).collect();
    // The clock was set back by half a second: five rows stand where others stood.
    let mut late = block(N_BLOCKS);
    late.at_us.iter_mut().for_each(|at_us| *at_us -= 5 * STEP_US);
    blocks.push(late);
    let mut transaction = database.begin().unwrap();
    readings::keep_counts(transaction.as_mut(), &blocks).unwrap();
    transaction.commit().unwrap();
}

fn counts(path: &Path, more: &[&str]) -> Ran {
    bedplate(path, &[&["ward", "counts", "ward.toml", "A1", "-o", "out.csv"], more].concat())
}

fn n_cells() -> i32 {
    let deck = formats::deck::read("deck.toml", twin::demo::DECK_TOML).unwrap();
    i32::try_from(deck.cells().count()).unwrap()
}

#[test]
fn counts_come_out_as_the_recording_that_they_were() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    memory(path, n_cells());
    let ran = counts(path, &[]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    let rows = 10 * N_BLOCKS;
    assert!(ran.out.contains(&format!("{rows} rows of {} cells, {START} to", n_cells())), "{}", ran.out);
    assert!(ran.out.contains("10 rows were left out: the clock had been set back"), "{}", ran.out);
    let deck = formats::deck::read("deck.toml", twin::demo::DECK_TOML).unwrap();
    let text = fs::read(path.join("out.csv")).unwrap();
    let mut reader = Reader::new("out.csv", text.as_slice(), &deck).unwrap();
    let mut sample = Sample::default();
    for row in 0..rows {
        assert!(reader.next_sample(&mut sample).unwrap(), "{row}");
        assert!((sample.t_s - 0.1 * row as f64).abs() < 1e-9, "{row}: {}", sample.t_s);
        for (cell, found) in (0..).zip(&sample.counts) {
            let expected = count(row, cell);
            assert_eq!(*found, (expected != LOST_COUNT).then_some(f64::from(expected)), "row {row}, cell {cell}");
        }
    }
    assert!(!reader.next_sample(&mut sample).unwrap());
    // A part, its end left out; it begins and ends within blocks.
    let part = counts(path, &["--from", "2031-03-04T05:00:10.3Z", "--to", "2031-03-04T05:00:12.5Z"]);
    assert!(
        part.out.contains("22 rows of") && part.out.contains("05:00:10.3Z to 2031-03-04T05:00:12.4Z"),
        "{}",
        part.out
    );
    let part = counts(path, &["--from", "2031-03-04T05:00:10Z", "--to", "2031-03-04T05:00:12Z"]);
    assert!(
        part.out.contains("20 rows of") && part.out.contains("05:00:10Z to 2031-03-04T05:00:11.9Z"),
        "{}",
        part.out
    );
}

/// An hour that the clock showed twice, as it is kept: the second pass begins 0.43 s later in the second.
#[test]
fn of_two_passes_of_one_time_a_recording_holds_one() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    memory(path, n_cells());
    let begin_us = start_us() + 10 * 3_600_000_000;
    let block = |second: i64, off_us: i64, count: i32| Counts {
        bed: "A1".into(),
        at_us: (0..10).map(|row| begin_us + off_us + (10 * second + row) * STEP_US).collect(),
        counts: vec![count; 10 * usize::try_from(n_cells()).unwrap()],
    };
    // The second pass goes on for three seconds after the first has ended.
    let first = (0..20).map(|second| block(second, 0, 1_000));
    let second = (0..23).map(|second| block(second, 430_001, 2_000));
    let mut database = store::sql::open(&path.join("ward.db").to_string_lossy()).unwrap();
    let mut transaction = database.begin().unwrap();
    readings::keep_counts(transaction.as_mut(), &first.chain(second).collect::<Vec<_>>()).unwrap();
    transaction.commit().unwrap();
    let ran = counts(path, &["--from", "2031-03-04T15:00:00Z"]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    assert!(ran.out.contains("230 rows") && ran.out.contains("200 rows were left out"), "{}", ran.out);
    let text = fs::read_to_string(path.join("out.csv")).unwrap();
    let cells: Vec<&str> = text.lines().skip(1).map(|line| line.split(',').nth(1).unwrap()).collect();
    let changes = cells.windows(2).filter(|pair| pair[0] != pair[1]).count();
    assert_eq!((cells.len(), changes), (230, 1), "the passes alternate");
}

#[test]
fn counts_of_a_deck_with_other_names_of_cells_are_not_told_under_the_names_of_now() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    memory(path, n_cells());
    let deck = formats::deck::read("deck.toml", twin::demo::DECK_TOML).unwrap();
    let mut other = deck.clone();
    let names = |deck: &formats::deck::Deck| deck.cells().map(|(_, cell)| cell.name.clone()).collect::<Vec<_>>();
    other.plates[0].cells.swap(0, 1);
    assert_ne!(names(&deck), names(&other));
    // For ten seconds another deck lay there.
    let entry = |deck: &formats::deck::Deck, second: i64| NewEntry {
        chain: "A1".into(),
        at_us: start_us() + second * 1_000_000,
        kind: Kind::Deck,
        subject: deck.name.clone(),
        author: "ward file".into(),
        corrects: None,
        once: None,
        body: serde_json::json!({ "file": formats::deck::write(deck) }).to_string(),
    };
    let entries = [entry(&other, -3_600), entry(&deck, 10)];
    let mut database = store::sql::open(&path.join("ward.db").to_string_lossy()).unwrap();
    let mut transaction = database.begin().unwrap();
    store::journal::append(transaction.as_mut(), 0, &entries).unwrap();
    transaction.commit().unwrap();
    let ran = counts(path, &[]);
    let words = "up to 2031-03-04T05:00:10Z the deck of bed A1 had cells of other names";
    assert!(ran.status == 2 && ran.err.contains(words), "{} {}", ran.out, ran.err);
    let ran = counts(path, &["--from", "2031-03-04T05:00:10Z"]);
    assert_eq!(ran.status, 0, "{}", ran.err);
}

#[test]
fn what_is_old_comes_out_as_minutes() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    memory(path, n_cells());
    let none = counts(path, &["--minutes"]);
    assert!(
        none.status == 2
            && none.err.contains("of bed A1 no minutes are kept: its counts are kept raw for 7 days first"),
        "{}",
        none.err
    );
    assert!(!path.join("out.csv").exists());
    let mut database = store::sql::open(&path.join("ward.db").to_string_lossy()).unwrap();
    let mut transaction = database.begin().unwrap();
    readings::reduce(transaction.as_mut(), "A1", start_us() + 2 * readings::MINUTE_US).unwrap();
    transaction.commit().unwrap();
    let ran = counts(path, &["--minutes"]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    let text = fs::read_to_string(path.join("out.csv")).unwrap();
    let mut lines = text.lines();
    assert_eq!(lines.next(), Some("time,cell,samples,least,mean,greatest"));
    let deck = formats::deck::read("deck.toml", twin::demo::DECK_TOML).unwrap();
    let names: Vec<&str> = deck.cells().map(|(_, cell)| cell.name.as_str()).collect();
    // Rows 0 to 599 of cell 0 are 0, −1, … −599.
    assert_eq!(lines.next(), Some(format!("{START},{},600,-599,-299.5,0", names[0]).as_str()));
    // Of cell 1 the count 988 of row 12 was lost: the mean of the others is (600 · 700.5 − 988)/599.
    assert_eq!(lines.next(), Some(format!("{START},{},599,401,700.0,1000", names[1]).as_str()));
    assert_eq!(text.lines().count(), 1 + 2 * names.len());
    // The raw counts begin where the minutes end.
    let rest = counts(path, &[]);
    assert!(rest.out.contains("2031-03-04T05:02:00Z to"), "{}", rest.out);
}

#[test]
fn what_cannot_be_taken_out_is_said_and_nothing_is_left_behind() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    memory(path, n_cells() - 1);
    let said = |ran: Ran, words: &str| {
        assert!(ran.status == 2 && ran.err.contains(words), "{words}: {} {}", ran.out, ran.err);
    };
    said(counts(path, &[]), "another deck then; ask --from a later time");
    said(
        counts(path, &["--from", "2031-03-05T00:00:00Z"]),
        "nothing is kept in that time; kept is 2031-03-04T05:00:00Z to",
    );
    said(counts(path, &["--from", START, "--to", START]), "is not before --to");
    said(counts(path, &["--from", "yesterday"]), "--from");
    store::sql::open(&path.join("other.db").to_string_lossy())
        .map(|mut d| store::schema::migrate(d.as_mut(), 0))
        .unwrap()
        .unwrap();
    fs::write(path.join("other.toml"), WARD.replace("ward.db", "other.db")).unwrap();
    said(
        bedplate(path, &["ward", "counts", "other.toml", "A1", "-o", "out.csv"]),
        "no raw counts are kept; what is older than 7 days",
    );
    said(bedplate(path, &["ward", "counts", "ward.toml", "B7", "-o", "out.csv"]), "no bed `B7`; expected one of A1");
    let left: Vec<_> = fs::read_dir(path).unwrap().map(|e| e.unwrap().file_name()).collect();
    assert!(!left.iter().any(|name| name.to_string_lossy().contains("out.csv")), "{left:?}");
}
