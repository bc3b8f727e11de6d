//! An invented ward for the tests of this crate.

use formats::deck::Deck;
use jiff::{SignedDuration, Timestamp};
use serde_json::json;
use store::entry::{Kind, NewEntry};
use store::journal::{self, Query};
use store::writer::Job;
use twin::BuiltDeck;
use twin::bench::run::{BenchOptions, bench_run_of};

use crate::bed::Setup;
use crate::memory::Memory;
use crate::records::{self, ChartBody, patient_chain};
use crate::service::Ward;

/// A ward, and the folder that it lies in.
pub(crate) struct Invented {
    ward: std::sync::Arc<Ward>,
    setups: Vec<Setup>,
    place: String,
    _folder: tempfile::TempDir,
}

impl std::ops::Deref for Invented {
    type Target = std::sync::Arc<Ward>;

    fn deref(&self) -> &Self::Target {
        &self.ward
    }
}

/// The deck of a bed and its calibration.
pub(crate) fn setup(bed: &str) -> Setup {
    let deck: Deck = formats::deck::read("deck.toml", twin::demo::DECK_TOML).unwrap();
    let spread = twin::demo::scenario().unwrap().cell_spread();
    let built = BuiltDeck::build(&deck, &spread, 1).unwrap();
    let options = BenchOptions { spread, ..BenchOptions::default() };
    let run = bench_run_of(&deck, &built, 1, &options).unwrap().run;
    let calibration = calibrate::calibrate(&deck, &run, &calibrate::Options::new("2031-01-01")).unwrap();
    Setup { bed: bed.to_owned(), signs_as: format!("deck of {bed}"), deck, calibration }
}

/// A ward of these beds, with nobody in them.
pub(crate) fn ward(beds: &[&str]) -> Invented {
    let first = setup(beds[0]);
    let of = |bed: &&str| Setup { bed: (*bed).to_owned(), signs_as: format!("deck of {bed}"), ..first.clone() };
    ward_of(beds.iter().map(of).collect())
}

/// The same of beds that are set up already.
pub(crate) fn ward_of(setups: Vec<Setup>) -> Invented {
    let folder = tempfile::tempdir().unwrap();
    let place = folder.path().join("ward.db").to_str().unwrap().to_owned();
    let ward = std::sync::Arc::new(open(&place, &setups));
    Invented { ward, setups, place, _folder: folder }
}

fn open(place: &str, setups: &[Setup]) -> Ward {
    let now_us = crate::clock::now_us;
    let memory = Memory::open(place, Box::new(now_us)).unwrap();
    Ward::open("invented", memory, jiff::tz::TimeZone::UTC, 1, setups.to_vec(), now_us()).unwrap()
}

impl Invented {
    /// The ward as another start of the service finds it.
    pub(crate) fn again(&self) -> Ward {
        open(&self.place, &self.setups)
    }

    /// Changes its tables as somebody may from outside.
    pub(crate) fn change(&self, statement: &str) {
        let mut database = store::sql::open(&self.place).unwrap();
        let mut transaction = database.begin().unwrap();
        assert!(transaction.run(statement, &[]).unwrap() > 0, "{statement} changed nothing");
        transaction.commit().unwrap();
    }
}

/// Keeps the ward's memory from keeping anything, as another process does that writes and does not end, until what this gives is dropped.
pub(crate) fn lock(ward: &Invented) -> std::sync::mpsc::Sender<()> {
    let place = ward.place.clone();
    let ((hold, held), (tell, told)) = (std::sync::mpsc::channel(), std::sync::mpsc::channel());
    std::thread::spawn(move || {
        let mut database = store::sql::open(&place).unwrap();
        let transaction = database.begin().unwrap();
        tell.send(()).unwrap();
        // Nobody sends: it ends as the other end is dropped.
        let _: Result<(), _> = held.recv();
        drop(transaction);
    });
    told.recv().unwrap();
    hold
}

/// A patient in a bed, who has been weighed every ten minutes of the last four full hours; gives the second of them.
pub(crate) fn weighed_since_hours(bed: &str, patient: &str, ward: &Ward) -> Timestamp {
    ward.put_patient(&format!("[patient]\nlabel = \"{patient}\"\nadmission_kg = 70.0\n"), "test").unwrap();
    let hour_s = Timestamp::now().as_second() / 3600 * 3600 - 4 * 3600;
    let begin = Timestamp::from_second(hour_s).unwrap();
    ward.admit_at(bed, patient, "test", begin.as_microsecond()).unwrap();
    let body = json!({ "patient_kg": 70.0, "u_kg": 0.02, "state": "settled" }).to_string();
    let weights = (0..24).map(|n| NewEntry {
        chain: bed.to_owned(),
        at_us: (begin + SignedDuration::from_mins(10 * n)).as_microsecond(),
        kind: Kind::Weight,
        subject: String::new(),
        author: "deck".to_owned(),
        corrects: None,
        once: None,
        body: body.clone(),
    });
    ward.memory.keep(Job { entries: weights.collect(), ..Job::default() }).unwrap();
    begin + SignedDuration::from_hours(1)
}

/// Charts a volume of urine.
pub(crate) fn chart(patient: &str, time: Timestamp, volume_ml: f64, ward: &Ward) {
    let body = ChartBody {
        time,
        direction: "output".to_owned(),
        route: "urine".to_owned(),
        volume_ml,
        leaves_deck: true,
        note: String::new(),
    };
    ward.chart(patient, "test", None, None, &body).unwrap();
}

/// The alerts on record of a patient.
pub(crate) fn alerts(patient: &str, ward: &Ward) -> Vec<serde_json::Value> {
    let query = Query { chain: Some(patient_chain(patient)), kind: Some(Kind::Alert), ..Query::default() };
    let entries = ward.memory.look(|tx| journal::entries(tx, &query)).unwrap();
    entries.iter().map(|entry| serde_json::from_str(&entry.new.body).unwrap()).collect()
}

/// Spoils a patient's chart as a later version might, whose form this one does not know.
pub(crate) fn spoil_chart(patient: &str, ward: &Ward) {
    let body = json!({ "form": "of a later version" }).to_string();
    let now_us = crate::clock::now_us();
    let entry = NewEntry {
        chain: records::patient_chain(patient),
        at_us: now_us,
        kind: Kind::Chart,
        subject: patient.to_owned(),
        author: "test".to_owned(),
        corrects: None,
        once: None,
        body,
    };
    ward.memory.keep(Job { entries: vec![entry], ..Job::default() }).unwrap();
}
