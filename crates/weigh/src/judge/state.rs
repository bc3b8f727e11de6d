//! What of the judgement outlives a power cut, in plain data. The ledger is kept apart, see `signal::keep`.

use serde::{Deserialize, Serialize};
use signal::Mass;
use signal::keep::{pack, unpack};

use super::{
    Asked, Expected, Hold, Judge, Mendable, Mended, Presence, Undone, Weighed,
    care::Care,
    failed::Whole,
    jam::Jam,
    log::Log,
    pace::{Flowed, Pace},
};
use crate::report::Event;
use crate::setup::{Accounts, CELLS, PathConfig, Rest, SECTIONS};

/// The judgement but for its ledger.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct JudgeState {
    presence: Presence,
    #[serde(with = "crate::keep::millis_or_none")]
    tare_wanted_s: Option<f64>,
    hold: Option<(f64, Option<f64>, Option<PackedRest>)>,
    expected: Vec<Expected>,
    mendable: Option<Mendable>,
    mended: Option<Mended>,
    undone: Option<Undone>,
    asked: Vec<Asked>,
    kept_events: Vec<(usize, Event)>,
    #[serde(with = "crate::keep::millis")]
    found_s: f64,
    #[serde(with = "crate::keep::millis_or_none")]
    first_s: Option<f64>,
    last_settled: Option<Weighed>,
    #[serde(with = "crate::keep::millis_or_none")]
    bared_s: Option<f64>,
    pace: Pace,
    care: Option<Care>,
    whole: Option<(PackedRest, f64, [f64; 4], bool, Flowed)>,
    jam: Option<Jam>,
    names: Vec<String>,
    n_events: usize,
}

/// A deck at rest as `signal::keep` packs it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct PackedRest(Vec<u8>);

impl PackedRest {
    /// Room for the most cells and sections that there may be.
    const ROOM: usize = 40 + 2 * (CELLS + SECTIONS);

    fn of(rest: &Rest, config: &PathConfig) -> Self {
        let mut bytes = [0; Self::ROOM];
        let length = pack(rest, config.cells().count(), config.n_sections(), &mut bytes);
        Self(length.and_then(|length| bytes.get(..length)).unwrap_or(&[]).to_vec())
    }

    fn rest(&self, config: &PathConfig) -> Option<Rest> {
        unpack(&self.0, config.cells().count(), config.n_sections())
    }
}

impl Judge {
    /// What must outlive a power cut at `t_s`, but for the ledger.
    pub(crate) fn state(&self, t_s: f64) -> JudgeState {
        // What no later change or entry can mend any more is not kept, nor is its event.
        let mendable = self.mendable.filter(|last| t_s <= last.until_s);
        let late = |begun_s: f64| t_s - begun_s > self.rules.late_s;
        let kept = self.kept(mendable);
        JudgeState {
            presence: self.presence,
            tare_wanted_s: self.tare_wanted_s,
            hold: self
                .hold
                .as_ref()
                .map(|h| (h.t_s, h.released_s, h.before.as_ref().map(|b| PackedRest::of(b, &self.config)))),
            expected: self.expected.clone(),
            mendable,
            mended: self.mended.filter(|last| !late(last.t_s)),
            undone: self.undone.filter(|last| !late(last.t_s)),
            asked: self.asked.iter().filter(|asked| kept.contains(&asked.event)).cloned().collect(),
            kept_events: self.log.kept(&kept),
            found_s: self.found_s,
            first_s: self.first_s,
            last_settled: self.last_settled,
            bared_s: self.bared_s,
            pace: self.pace,
            care: self.care,
            whole: self.whole.as_ref().map(|whole| {
                let Whole { rest, remainder_kg, lean, items_u2, in_care, flowed, wander_kg_s } = whole;
                (
                    PackedRest::of(rest, &self.config),
                    *remainder_kg,
                    [lean.kg, lean.u_kg, *items_u2, *wander_kg_s],
                    *in_care,
                    *flowed,
                )
            }),
            jam: self.jam,
            names: self.names.clone(),
            n_events: self.log.count(),
        }
    }

    /// Goes on from a state and its ledger.
    pub(crate) fn resume(&mut self, state: JudgeState, ledger: Accounts) {
        self.ledger = ledger;
        self.presence = state.presence;
        self.tare_wanted_s = state.tare_wanted_s;
        self.hold = state.hold.map(|(t_s, released_s, before)| Hold {
            before: before.and_then(|before| before.rest(&self.config)),
            released_s,
            t_s,
        });
        self.expected = state.expected;
        self.mendable = state.mendable;
        self.mended = state.mended;
        self.undone = state.undone;
        self.asked = state.asked;
        self.log = Log::resume(state.n_events, state.kept_events);
        self.found_s = state.found_s;
        self.first_s = state.first_s;
        self.last_settled = state.last_settled;
        self.bared_s = state.bared_s;
        self.pace = state.pace;
        self.care = state.care;
        self.whole =
            state.whole.and_then(|(rest, remainder_kg, [kg, u_kg, items_u2, wander_kg_s], in_care, flowed)| {
                Some(Whole {
                    rest: rest.rest(&self.config)?,
                    remainder_kg,
                    lean: Mass { kg, u_kg },
                    items_u2,
                    in_care,
                    flowed,
                    wander_kg_s,
                })
            });
        self.jam = state.jam;
        if !state.names.is_empty() {
            self.names = state.names;
        }
    }
}
