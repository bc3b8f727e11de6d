//! What a ward's memory must do, whatever keeps it.

use std::sync::Arc;

use bedplate_store::StoreError;
use bedplate_store::audit::{End, audit};
use bedplate_store::entry::{Kind, NewEntry, WITHDRAWN};
use bedplate_store::journal::{self, Query};
use bedplate_store::readings::{self, CellMinute, Counts, MINUTE_US, Minute, Reading};
use bedplate_store::schema;
use bedplate_store::sql::{Database, Value};
use bedplate_store::states::{self, State};
use bedplate_store::writer::Job;

use super::place::Place;

fn weight(chain: &str, at_us: i64, body: &str) -> NewEntry {
    NewEntry {
        chain: chain.to_owned(),
        at_us,
        kind: Kind::Weight,
        subject: "patient 1".to_owned(),
        author: "deck".to_owned(),
        corrects: None,
        once: None,
        body: body.to_owned(),
    }
}

fn keep(database: &mut dyn Database, new: &[NewEntry]) -> Result<Vec<i64>, StoreError> {
    let mut transaction = database.begin()?;
    let kept = journal::append(transaction.as_mut(), 9, new)?;
    transaction.commit()?;
    Ok(kept.iter().map(|k| k.number).collect())
}

fn bodies(database: &mut dyn Database, query: &Query) -> Vec<String> {
    let mut transaction = database.look().unwrap();
    journal::entries(transaction.as_mut(), query).unwrap().into_iter().map(|e| e.new.body).collect()
}

fn breaks(database: &mut dyn Database, noted: &[End]) -> Vec<(String, i64)> {
    let mut transaction = database.look().unwrap();
    audit(transaction.as_mut(), noted).unwrap().breaks.into_iter().map(|b| (b.chain, b.number)).collect()
}

fn ends(database: &mut dyn Database) -> Vec<End> {
    audit(database.look().unwrap().as_mut(), &[]).unwrap().ends
}

fn change(database: &mut dyn Database, statement: &str) {
    let mut transaction = database.begin().unwrap();
    assert!(transaction.run(statement, &[]).unwrap() > 0, "{statement} changed nothing");
    transaction.commit().unwrap();
}

pub(crate) fn what_was_kept_comes_back(place: &Place) {
    let new = [weight("bed 2", 30, "1"), weight("bed 1", 20, "2"), weight("bed 1", 10, "3")];
    assert_eq!(keep(place.open().as_mut(), &new).unwrap(), [1, 1, 2]);
    let mut database = place.open();
    assert_eq!(bodies(database.as_mut(), &Query::default()), ["3", "2", "1"]);
    let of_bed = Query { chain: Some("bed 1".into()), from_us: Some(10), to_us: Some(20), ..Query::default() };
    assert_eq!(bodies(database.as_mut(), &of_bed), ["3"]);
    let newest = Query { newest_first: true, most: Some(1), ..Query::default() };
    assert_eq!(bodies(database.as_mut(), &newest), ["1"]);
    let other = Query { kind: Some(Kind::Chart), ..Query::default() };
    assert!(bodies(database.as_mut(), &other).is_empty());
    let whole = journal::newest(database.look().unwrap().as_mut(), "bed 2", Kind::Weight).unwrap().unwrap();
    assert_eq!((whole.number, whole.kept_us, whole.new), (1, 9, new[0].clone()));
}

pub(crate) fn a_correction_hides_what_it_corrects_and_both_stay(place: &Place) {
    let mut database = place.open();
    keep(database.as_mut(), &[weight("bed 1", 10, "71")]).unwrap();
    let correction = NewEntry { corrects: Some(1), author: "nurse".into(), ..weight("bed 1", 10, "17") };
    assert_eq!(keep(database.as_mut(), &[correction]).unwrap(), [2]);
    assert_eq!(bodies(database.as_mut(), &Query::default()), ["17"]);
    assert_eq!(bodies(database.as_mut(), &Query { history: true, ..Query::default() }), ["71", "17"]);
}

pub(crate) fn a_withdrawal_hides_both(place: &Place) {
    let mut database = place.open();
    let withdrawal = NewEntry { corrects: Some(1), ..weight("bed 1", 10, WITHDRAWN) };
    keep(database.as_mut(), &[weight("bed 1", 10, "71"), weight("bed 1", 20, "72"), withdrawal]).unwrap();
    assert_eq!(bodies(database.as_mut(), &Query::default()), ["72"]);
    assert_eq!(bodies(database.as_mut(), &Query { history: true, ..Query::default() }).len(), 3);
}

pub(crate) fn a_correction_that_does_not_fit_is_refused(place: &Place) {
    let mut database = place.open();
    keep(database.as_mut(), &[weight("bed 1", 10, "71"), weight("bed 2", 10, "50")]).unwrap();
    let correction = |number| NewEntry { corrects: Some(number), ..weight("bed 1", 10, "17") };
    let missing = keep(database.as_mut(), &[weight("bed 1", 11, "3"), correction(7)]).unwrap_err();
    assert!(missing.to_string().contains("there is no such entry"), "{missing}");
    let other = NewEntry { kind: Kind::Chart, ..correction(1) };
    assert!(keep(database.as_mut(), &[other]).unwrap_err().to_string().contains("another kind"));
    let twice = keep(database.as_mut(), &[correction(1), correction(1)]).unwrap_err();
    assert!(twice.to_string().contains("corrected before"), "{twice}");
    assert_eq!(keep(database.as_mut(), &[correction(1)]).unwrap(), [2]);
    assert!(keep(database.as_mut(), &[correction(1)]).unwrap_err().to_string().contains("corrected before"));
    assert_eq!(bodies(database.as_mut(), &Query::default()), ["17", "50"], "a refused batch left something");
}

pub(crate) fn the_same_act_is_kept_once(place: &Place) {
    let mut database = place.open();
    let act = NewEntry { once: Some("deck 4/812".into()), ..weight("bed 1", 10, "71") };
    let elsewhere = NewEntry { chain: "bed 2".into(), ..act.clone() };
    assert_eq!(keep(database.as_mut(), &[act.clone(), elsewhere, act.clone()]).unwrap(), [1, 1, 1]);
    assert_eq!(keep(database.as_mut(), &[weight("bed 1", 12, "72"), act]).unwrap(), [2, 1]);
    assert_eq!(bodies(database.as_mut(), &Query::default()), ["71", "71", "72"]);
}

pub(crate) fn one_beds_refused_job_does_not_stop_anothers(place: &Place) {
    let writer = Arc::new(place.writer());
    let beds: Vec<_> = (0..8)
        .map(|bed| {
            let writer = Arc::clone(&writer);
            std::thread::spawn(move || {
                (0..20)
                    .filter(|i| {
                        let mut entry = weight(&format!("bed {bed}"), *i, "1");
                        entry.corrects = (bed % 2 == 1).then_some(1_000);
                        writer.keep(Job { entries: vec![entry], ..Job::default() }).is_ok()
                    })
                    .count()
            })
        })
        .collect();
    let kept: Vec<usize> = beds.into_iter().map(|bed| bed.join().unwrap()).collect();
    assert_eq!(kept, [20, 0, 20, 0, 20, 0, 20, 0]);
    drop(writer);
    assert_eq!(bodies(place.open().as_mut(), &Query::default()).len(), 80);
}

pub(crate) fn many_beds_share_commits_and_every_chain_is_whole(place: &Place) {
    let writer = Arc::new(place.writer());
    let beds: Vec<_> = (0..6)
        .map(|bed| {
            let writer = Arc::clone(&writer);
            std::thread::spawn(move || {
                for i in 0..50 {
                    let chain = format!("bed {}", bed % 3);
                    writer.keep(Job { entries: vec![weight(&chain, i, "1")], ..Job::default() }).unwrap();
                }
            })
        })
        .collect();
    for bed in beds {
        bed.join().unwrap();
    }
    drop(writer);
    let mut database = place.open();
    let found = audit(database.look().unwrap().as_mut(), &[]).unwrap();
    assert_eq!((found.entries, found.breaks.len()), (300, 0));
    assert_eq!(found.ends.iter().map(|e| e.number).collect::<Vec<_>>(), [100, 100, 100]);
}

pub(crate) fn an_edit_from_outside_shows(place: &Place) {
    let fields =
        ["at_us = 11", "kept_us = 1", "kind = 'event'", "subject = 'patient 2'", "author = 'nurse'", "body = '70'"];
    let mut database = place.open();
    for (bed, field) in fields.iter().enumerate() {
        let chain = format!("bed {bed}");
        keep(database.as_mut(), &[weight(&chain, 1, "1"), weight(&chain, 2, "71"), weight(&chain, 3, "3")]).unwrap();
        assert!(!breaks(database.as_mut(), &[]).contains(&(chain.clone(), 2)));
        change(database.as_mut(), &format!("update entry set {field} where chain = '{chain}' and number = 2"));
        assert!(breaks(database.as_mut(), &[]).contains(&(chain, 2)), "{field} went unseen");
    }
}

pub(crate) fn a_removed_tail_shows_against_a_noted_end(place: &Place) {
    let mut database = place.open();
    keep(database.as_mut(), &[weight("bed 1", 1, "1"), weight("bed 1", 2, "2"), weight("bed 2", 1, "1")]).unwrap();
    let noted = ends(database.as_mut());
    keep(database.as_mut(), &[weight("bed 1", 3, "3")]).unwrap();
    assert!(breaks(database.as_mut(), &noted).is_empty(), "a chain that grew is whole");
    change(database.as_mut(), "delete from entry where chain = 'bed 1' and number > 1");
    assert_eq!(breaks(database.as_mut(), &[]), [("bed 1".to_owned(), 2)]);
    // Who removes the tail may also move the chain's end back: then only what was noted elsewhere tells.
    let mut transaction = database.begin().unwrap();
    let first =
        journal::entries(transaction.as_mut(), &Query { chain: Some("bed 1".into()), ..Query::default() }).unwrap();
    let values = [Value::Bytes(first[0].hash.to_vec())];
    transaction.run("update chain set number = 1, hash = $1 where name = 'bed 1'", &values).unwrap();
    transaction.commit().unwrap();
    assert!(breaks(database.as_mut(), &[]).is_empty());
    assert_eq!(breaks(database.as_mut(), &noted), [("bed 1".to_owned(), 2)]);
}

pub(crate) fn every_other_change_shows(place: &Place) {
    let mut database = place.open();
    for chain in ["gap", "order", "gone", "rewritten"] {
        keep(database.as_mut(), &[weight(chain, 1, "1"), weight(chain, 2, "2"), weight(chain, 3, "3")]).unwrap();
    }
    let noted = ends(database.as_mut());
    change(database.as_mut(), "delete from entry where chain = 'gap' and number = 2");
    for (from, to) in [(1, 11), (2, 1), (11, 2)] {
        change(database.as_mut(), &format!("update entry set number = {to} where chain = 'order' and number = {from}"));
    }
    change(database.as_mut(), "delete from entry where chain = 'gone'");
    change(database.as_mut(), "delete from chain where name = 'gone'");
    change(database.as_mut(), "delete from entry where chain = 'rewritten'");
    change(database.as_mut(), "delete from chain where name = 'rewritten'");
    keep(database.as_mut(), &[weight("rewritten", 1, "1"), weight("rewritten", 2, "9"), weight("rewritten", 3, "3")])
        .unwrap();
    let found = breaks(database.as_mut(), &noted);
    let expected = [("gap", 3), ("order", 1), ("rewritten", 3), ("gone", 1)];
    assert_eq!(found, expected.map(|(chain, number)| (chain.to_owned(), number)));
    let put_in = "insert into entry (chain, number, at_us, kept_us, kind, subject, author, body, hash) \
                  select 'bed 9', number, at_us, kept_us, kind, subject, author, body, hash from entry where chain = 'gap'";
    change(database.as_mut(), put_in);
    assert!(breaks(database.as_mut(), &[]).contains(&("bed 9".to_owned(), 1)));
}

pub(crate) fn what_is_no_entry_any_more_is_a_break_of_its_chain_alone(place: &Place) {
    let mut database = place.open();
    for chain in ["bed 1", "bed 2", "bed 3"] {
        keep(database.as_mut(), &[weight(chain, 1, "1"), weight(chain, 2, "2"), weight(chain, 3, "3")]).unwrap();
    }
    let none = "substr(hash, 1, 1)";
    change(database.as_mut(), &format!("update entry set hash = {none} where chain = 'bed 1' and number = 2"));
    change(database.as_mut(), &format!("update chain set hash = {none} where name = 'bed 2'"));
    let found = audit(database.look().unwrap().as_mut(), &[]).unwrap();
    let breaks: Vec<_> = found.breaks.iter().map(|b| (b.chain.as_str(), b.number)).collect();
    assert_eq!(breaks, [("bed 1", 2), ("bed 2", 4)], "{:?}", found.breaks);
    assert!(found.breaks[0].what.contains("entry 2 of \"bed 1\" with 1 bytes for a hash of 32"), "{:?}", found.breaks);
    assert_eq!((found.ends.len(), found.entries), (3, 7));
}

pub(crate) fn readings_are_reduced_to_minutes(place: &Place) {
    let mut database = place.open();
    let reading = |at_us, kg: Option<f64>, state: &str| Reading {
        bed: "bed 1".to_owned(),
        at_us,
        kg,
        u_kg: kg.map(|_| 0.02),
        state: state.to_owned(),
    };
    let all = [
        reading(1_000_000, Some(70.0), "settled"),
        reading(2_000_000, Some(73.0), "moving"),
        reading(3_000_000, None, "fault"),
        reading(MINUTE_US, None, "empty"),
        reading(2 * MINUTE_US + 1, Some(71.0), "settled"),
    ];
    let mut transaction = database.begin().unwrap();
    readings::keep(transaction.as_mut(), &all).unwrap();
    readings::keep(transaction.as_mut(), &all[..2]).unwrap();
    transaction.commit().unwrap();
    let span = |database: &mut dyn Database| {
        readings::readings(database.look().unwrap().as_mut(), "bed 1", i64::MIN, i64::MAX).unwrap()
    };
    assert_eq!(span(database.as_mut()), all);
    for _ in 0..2 {
        let mut transaction = database.begin().unwrap();
        readings::reduce(transaction.as_mut(), "bed 1", 2 * MINUTE_US + 30_000_000).unwrap();
        transaction.commit().unwrap();
    }
    assert_eq!(span(database.as_mut()), all[4..], "a minute that has not ended was reduced, or a raw row stayed");
    let minutes = readings::minutes(database.look().unwrap().as_mut(), "bed 1", 0, i64::MAX).unwrap();
    let first = Minute { minute_us: 0, readings: 3, settled: 1, span_kg: Some([70.0, 71.5, 73.0]) };
    assert_eq!(minutes, [first, Minute { minute_us: MINUTE_US, readings: 1, settled: 0, span_kg: None }]);
}

/// A year that is due at once, after the time that readings are kept for was shortened, is no one transaction.
pub(crate) fn a_long_past_is_reduced_hour_by_hour(place: &Place) {
    let mut database = place.open();
    let hour_us = 60 * MINUTE_US;
    let reading = |at_us| Reading { bed: "bed 1".into(), at_us, kg: Some(70.0), u_kg: None, state: "settled".into() };
    // Ten minutes apart over four hours that begin within a minute, and a night without any after the second.
    let times = (0..24).map(|i| 30_000_000 + i * 10 * MINUTE_US + if i < 12 { 0 } else { 9 * hour_us });
    let all: Vec<Reading> = times.map(reading).collect();
    let block = Counts { bed: "bed 1".into(), at_us: vec![hour_us / 2, hour_us / 2 + 1], counts: vec![3, 5] };
    let mut transaction = database.begin().unwrap();
    readings::keep(transaction.as_mut(), &all).unwrap();
    readings::keep_counts(transaction.as_mut(), &[block]).unwrap();
    transaction.commit().unwrap();
    let mut steps = Vec::new();
    loop {
        let mut transaction = database.begin().unwrap();
        let reduced = readings::reduce(transaction.as_mut(), "bed 1", i64::MAX).unwrap();
        transaction.commit().unwrap();
        if reduced == readings::Reduced::default() {
            break;
        }
        steps.push((reduced.readings, reduced.blocks));
    }
    assert_eq!(steps, [(6, 1), (6, 0), (6, 0), (6, 0)]);
    let mut look = database.look().unwrap();
    let minutes = readings::minutes(look.as_mut(), "bed 1", 0, i64::MAX).unwrap();
    assert_eq!(minutes.iter().map(|m| m.readings).sum::<i64>(), 24);
    assert!(readings::readings(look.as_mut(), "bed 1", i64::MIN, i64::MAX).unwrap().is_empty());
}

pub(crate) fn counts_come_back_and_are_reduced(place: &Place) {
    let mut database = place.open();
    // The least number of 32 bits is no extreme of a converter: it stands for a count that was lost, and no figure may be
    // made of it. The third cell lost all of its counts.
    let lost = readings::LOST_COUNT;
    let extremes = vec![i32::MIN + 1, i32::MAX, lost, i32::MAX, lost, lost, 4, -5, lost];
    let block = Counts { bed: "bed 1".to_owned(), at_us: vec![1, 100_001, 200_003], counts: extremes };
    let ragged = Counts { counts: vec![1, 2], ..block.clone() };
    let mut transaction = database.begin().unwrap();
    assert!(readings::keep_counts(transaction.as_mut(), &[ragged]).is_err());
    drop(transaction);
    let mut transaction = database.begin().unwrap();
    readings::keep_counts(transaction.as_mut(), std::slice::from_ref(&block)).unwrap();
    transaction.commit().unwrap();
    let found = readings::counts(database.look().unwrap().as_mut(), "bed 1", 0, i64::MAX).unwrap();
    assert_eq!(found, [block]);
    let mut transaction = database.begin().unwrap();
    assert_eq!(readings::reduce(transaction.as_mut(), "bed 1", MINUTE_US).unwrap().blocks, 1);
    transaction.commit().unwrap();
    let minutes = readings::cell_minutes(database.look().unwrap().as_mut(), "bed 1", 0, i64::MAX).unwrap();
    let greatest = i64::from(i32::MAX);
    // (−2³¹ + 1 + 2³¹ − 1 + 4) / 3 and (2³¹ − 1 − 5) / 2.
    let first = CellMinute { minute_us: 0, cell: 0, samples: 3, least: 1 - (1 << 31), mean: 4.0 / 3.0, greatest };
    let second = CellMinute { minute_us: 0, cell: 1, samples: 2, least: -5, mean: 1_073_741_821.0, greatest };
    assert_eq!(minutes, [first, second]);
}

pub(crate) fn migration_is_taken_once_and_a_later_form_is_refused(place: &Place) {
    let mut database = bedplate_store::sql::open(&place.url).unwrap();
    assert_eq!(schema::form(database.as_mut()).unwrap(), 0);
    assert_eq!(schema::migrate(database.as_mut(), 1).unwrap(), usize::try_from(schema::NEWEST).unwrap());
    assert_eq!(schema::migrate(database.as_mut(), 2).unwrap(), 0);
    change(database.as_mut(), "insert into form (version, at_us) values (1000, 3)");
    let refused = schema::migrate(database.as_mut(), 4).unwrap_err();
    assert_eq!(refused, StoreError::Newer { found: 1000, known: schema::NEWEST });
}

pub(crate) fn hostile_text_is_kept_as_it_is(place: &Place) {
    let mut database = place.open();
    let hostile = "'; drop table entry; -- $1 ?1 \u{202e} \"\\ 💧\n\t";
    let entry = NewEntry {
        subject: hostile.into(),
        author: hostile.into(),
        once: Some(hostile.into()),
        ..weight(hostile, i64::MIN, hostile)
    };
    keep(database.as_mut(), std::slice::from_ref(&entry)).unwrap();
    let found = journal::entries(
        database.look().unwrap().as_mut(),
        &Query { subject: Some(hostile.into()), ..Query::default() },
    );
    assert_eq!(found.unwrap()[0].new, entry);
    assert!(breaks(database.as_mut(), &[]).is_empty());
}

pub(crate) fn a_beds_state_has_two_places_and_comes_with_what_it_belongs_to(place: &Place) {
    let state = |slot, byte| State { bed: "bed 1".into(), slot, start_us: 7, record: vec![byte; 3] };
    let writer = place.writer();
    for (slot, byte) in [(0, 1), (1, 2), (0, 3)] {
        writer.keep(Job { states: vec![state(slot, byte)], ..Job::default() }).unwrap();
    }
    let refused = NewEntry { corrects: Some(9), ..weight("bed 1", 1, "1") };
    assert!(writer.keep(Job { entries: vec![refused], states: vec![state(1, 4)], ..Job::default() }).is_err());
    let mut database = place.open();
    let found = states::find(database.look().unwrap().as_mut(), "bed 1").unwrap();
    assert_eq!(found, [state(0, 3), state(1, 2)], "a state was kept without what it belongs to");
}

/// An entry may name what it replaces by a word, before that has a number: in the same job, in another of the same commit, and in a
/// later one, also by the word of one that was replaced since; and all of it again, as after a kill between keeping and forgetting, changes nothing.
pub(crate) fn an_entry_replaces_another_that_has_no_number_yet(place: &Place) {
    let writer = place.writer();
    let told = |mark: &str, body: &str| NewEntry { once: Some(mark.to_owned()), ..weight("bed 1", 1, body) };
    let jobs = [
        Job {
            entries: vec![told("a", "1"), told("b", "2"), told("c", "3")],
            replaces: vec![(1, "a".to_owned())],
            ..Job::default()
        },
        Job { entries: vec![told("d", "4")], replaces: vec![(0, "b".to_owned())], ..Job::default() },
        // Nothing was ever kept under this word: the entry stands by itself.
        Job { entries: vec![told("e", "5")], replaces: vec![(0, "lost".to_owned())], ..Job::default() },
        // From a state of before "b" and "d": what stands in the place of "a" is "d".
        Job { entries: vec![told("f", "6")], replaces: vec![(0, "a".to_owned())], ..Job::default() },
    ];
    for _ in 0..2 {
        for job in &jobs {
            writer.keep(job.clone()).unwrap();
        }
    }
    drop(writer);
    let mut database = place.open();
    let mut transaction = database.look().unwrap();
    let all = journal::entries(transaction.as_mut(), &Query { history: true, ..Query::default() }).unwrap();
    let replaced: Vec<Option<i64>> = all.iter().map(|e| e.new.corrects).collect();
    assert_eq!(replaced, [None, Some(1), None, Some(2), None, Some(4)]);
    let now: Vec<String> =
        journal::entries(transaction.as_mut(), &Query::default()).unwrap().into_iter().map(|e| e.new.body).collect();
    assert_eq!(now, ["3", "5", "6"]);
    assert!(audit(transaction.as_mut(), &[]).unwrap().breaks.is_empty());
}
