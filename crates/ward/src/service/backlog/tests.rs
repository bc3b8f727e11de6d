use store::aside::Aside;
use store::entry::{Kind, NewEntry};
use store::journal::{self, Query};
use store::readings::{self, Reading};
use tokio::time::sleep;

use super::*;
use crate::testing;

/// What a bed brings each second: an event by its number, and a weight.
fn brought(bed: &Arc<Bed>, number: i64) -> Brought {
    let label = bed.setup.bed.clone();
    let entry = NewEntry {
        chain: label.clone(),
        at_us: number * 1_000_000,
        kind: Kind::Event,
        subject: String::new(),
        author: "deck".to_owned(),
        corrects: None,
        once: Some(format!("{number}")),
        body: number.to_string(),
    };
    let kg = Some(70.0);
    let reading = Reading { bed: label, at_us: number * 1_000_000, kg, u_kg: Some(0.02), state: "settled".to_owned() };
    let job = Job { entries: vec![entry], readings: vec![reading], ..Job::default() };
    Brought { bed: Arc::clone(bed), job, receipts: Vec::new() }
}

/// The numbers of a bed's events in the order in which they were kept, and how many weights there are.
fn kept(ward: &Ward, bed: &str) -> (Vec<i64>, usize) {
    let query = Query { chain: Some(bed.to_owned()), kind: Some(Kind::Event), history: true, ..Query::default() };
    let mut entries = ward.memory.look(|tx| journal::entries(tx, &query)).unwrap();
    entries.sort_by_key(|entry| entry.number);
    let numbers = entries.iter().map(|entry| entry.new.body.parse().unwrap()).collect();
    (numbers, ward.memory.look(|tx| readings::readings(tx, bed, 0, i64::MAX)).unwrap().len())
}

async fn until(what: &str, is_so: impl Fn() -> bool) {
    let begun = Instant::now();
    while !is_so() {
        assert!(begun.elapsed() < Duration::from_secs(120), "{what}: not within two minutes");
        sleep(Duration::from_millis(20)).await;
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_waited_is_kept_in_its_order_and_once_when_the_memory_is_back() {
    let ward = testing::ward(&["A1", "A2"]);
    let beds: Vec<Arc<Bed>> = ward.beds().map(Arc::clone).collect();
    let folder = tempfile::tempdir().unwrap();
    let place = folder.path().join("ward.aside");
    let (keep, from) = door();
    let task = tokio::spawn(run(Arc::clone(&ward), Aside::open(&place, 1 << 30).unwrap(), from));
    let bring = async |numbers: std::ops::Range<i64>| {
        for number in numbers {
            for bed in &beds {
                keep.send(brought(bed, number)).await.unwrap_or_else(|_| panic!("the task has ended"));
            }
        }
    };
    bring(0..50).await;
    until("kept", || kept(&ward, "A1").0.len() == 50).await;
    // Another process writes and does not end: no commit of ours goes through.
    let lock = testing::lock(&ward);
    bring(50..8_000).await;
    until("the beds say so", || beds.iter().all(|bed| bed.trouble().memory.is_some())).await;
    until("set aside", || Aside::open(&place, 1 << 30).unwrap().bytes() > 1_000_000).await;
    let aside = kept(&ward, "A1").0.len();
    assert!(aside < 8_000, "the scene proves nothing");
    drop(lock);
    // While it catches up more comes, which is behind what waited.
    let (mut many, begun) = (8_000, Instant::now());
    while beds.iter().any(|bed| bed.trouble().memory.is_some()) {
        assert!(begun.elapsed() < Duration::from_secs(120), "it does not catch up");
        bring(many..many + 5).await;
        many += 5;
        sleep(Duration::from_millis(1)).await;
    }
    bring(many..many + 50).await;
    many += 50;
    drop(keep);
    task.await.unwrap();
    for bed in ["A1", "A2"] {
        let (numbers, weights) = kept(&ward, bed);
        assert_eq!(numbers, (0..many).collect::<Vec<_>>(), "{bed}");
        assert_eq!(weights, numbers.len(), "{bed}");
    }
    assert!(Aside::open(&place, 1 << 30).unwrap().is_empty(), "files are left");
}
