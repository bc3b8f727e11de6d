//! A running ward: its beds, each weighed by its own engine, and everything that people enter.
//!
//! | module     | what it does |
//! |------------|--------------|
//! | `beds`     | a bed: its engine, and what is live |
//! | [`run`]    | from what a link hears to what is to be kept |
//! | [`backlog`] | on into the memory, however long that is away |
//! | [`source`] | links that are no wire: a recording, the twin |
//! | `past`     | lives through a past at once, for an invented ward |
//! | `care`     | what people enter, checked and kept |
//! | `balance`  | a patient's balance, from what is on record |
//! | `alerts`   | what the balances ask to look at, put on record |
//! | `upkeep`   | reduces old counts and raises alerts, by the clock |

mod alerts;
pub mod backlog;
mod balance;
mod beds;
mod care;
mod moving;
mod past;
pub mod run;
pub mod source;
mod upkeep;

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};

use jiff::tz::TimeZone;
use store::StoreError;
use store::entry::{Kind, NewEntry};
use store::journal;
use store::writer::Job;

use crate::access::Seen;
use crate::access::limits::{Failures, Rate};
use crate::bed::Setup;
use crate::clock::now_us;
use crate::memory::Memory;
use crate::records::RecordError;
use beds::readable;
use moving::Moving;

pub use balance::{ANSWER_MOST, Balanced, Forward};
pub use beds::{Bed, Trouble};
pub use care::{NoTare, ONCE_MOST, Outcome, UNDO_US, Undone};
pub use past::Past;
pub use upkeep::upkeep;

/// Requests that one caller may make at once, and a second.
const AT_ONCE: f64 = 200.0;
const A_SECOND: f64 = 40.0;
/// Attempts to sign in that one caller may make at once, and a second.
const SIGN_INS_AT_ONCE: f64 = 10.0;
const SIGN_INS_A_SECOND: f64 = 0.2;

/// A running ward.
pub struct Ward {
    /// Its name.
    pub name: String,
    /// Its memory.
    pub memory: Memory,
    /// Time zone of its pages.
    pub zone: TimeZone,
    /// Days for which raw counts are kept.
    pub keep_counts_days: u32,
    /// Failed attempts to sign in.
    pub failures: Mutex<Failures>,
    /// Sessions, for the time in which the memory is away.
    pub seen: Mutex<Seen>,
    /// How often a caller may ask.
    pub rate: Mutex<Rate<std::net::IpAddr>>,
    /// How often a caller may try to sign in.
    pub sign_ins: Mutex<Rate<std::net::IpAddr>>,
    /// Who comes or goes just now.
    moving: Moving,
    /// When it was opened, µs of UTC.
    pub opened_us: i64,
    beds: BTreeMap<String, Arc<Bed>>,
}

impl Ward {
    /// Opens a ward: its memory, and each bed where its last state stands. Decks and calibrations that are not the ones on
    /// record come into force now. A bed without a state begins at `begin_us`, µs of UTC: now, unless a past is to be lived
    /// through first.
    ///
    /// # Errors
    /// The memory refuses, or a deck and its calibration do not fit.
    pub fn open(
        name: &str,
        memory: Memory,
        zone: TimeZone,
        keep_counts_days: u32,
        setups: Vec<Setup>,
        begin_us: i64,
    ) -> Result<Self, WardError> {
        let mut beds = BTreeMap::new();
        for setup in setups {
            put_in_force(&memory, &setup)?;
            let label = setup.bed.clone();
            let bed = Bed::open(&memory, setup, begin_us)?;
            beds.insert(label, Arc::new(bed));
        }
        Ok(Self {
            name: name.to_owned(),
            memory,
            zone,
            keep_counts_days,
            failures: Mutex::new(Failures::default()),
            seen: Mutex::new(Seen::default()),
            rate: Mutex::new(Rate::new(AT_ONCE, A_SECOND)),
            sign_ins: Mutex::new(Rate::new(SIGN_INS_AT_ONCE, SIGN_INS_A_SECOND)),
            moving: Moving::default(),
            opened_us: now_us(),
            beds,
        })
    }

    /// A bed by its label.
    #[must_use]
    pub fn bed(&self, label: &str) -> Option<&Arc<Bed>> {
        self.beds.get(label)
    }

    /// All beds, in the order of their labels.
    pub fn beds(&self) -> impl Iterator<Item = &Arc<Bed>> {
        self.beds.values()
    }
}

/// Why a ward does not open.
#[derive(Debug, thiserror::Error)]
pub enum WardError {
    /// Its memory.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// A bed.
    #[error(transparent)]
    Bed(#[from] crate::bed::BedError),
}

/// Enters deck and calibration where they are not the ones in force: the history of both stays.
fn put_in_force(memory: &Memory, setup: &Setup) -> Result<(), WardError> {
    let calibration = formats::calibration::write(&setup.calibration);
    let now = [
        (Kind::Deck, setup.deck.name.clone(), serde_json::json!({ "file": formats::deck::write(&setup.deck) })),
        (Kind::Calibration, setup.deck.name.clone(), serde_json::json!({ "file": calibration })),
    ];
    let mut entries = Vec::new();
    for (kind, subject, body) in now {
        let body = body.to_string();
        // One that cannot be read is entered anew.
        let before = readable(memory.look(|tx| journal::newest(tx, &setup.bed, kind)).map_err(RecordError::from))?;
        if before.is_ok_and(|entry| entry.is_some_and(|e| e.new.body == body)) {
            continue;
        }
        entries.push(NewEntry {
            chain: setup.bed.clone(),
            at_us: now_us(),
            kind,
            subject,
            author: "ward file".to_owned(),
            corrects: None,
            once: None,
            body,
        });
    }
    if entries.is_empty() {
        return Ok(());
    }
    let kept = memory.keep(Job { entries, ..Job::default() }).map_err(RecordError::from);
    if let Err(error) = readable(kept)? {
        // The end of the bed's chain was damaged: nothing of it can be kept, which it says as soon as it weighs.
        tracing::error!(%error, bed = setup.bed, "deck and calibration cannot be entered");
    }
    Ok(())
}
