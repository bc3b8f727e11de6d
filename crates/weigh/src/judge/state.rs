//! What of the judgement outlives a power cut, in plain data. The ledger is kept apart, see `signal::keep`.

use serde::{Deserialize, Serialize};
use signal::{Level, Mass};

use super::{
    Asked, Expected, Hold, Judge, Mendable, Mended, Presence, Undone, Weighed,
    care::Care,
    failed::Whole,
    log::Log,
    pace::{Flowed, Pace},
};
use crate::report::Event;
use crate::setup::{Accounts, CELLS, Rest, SECTIONS};

/// The judgement but for its ledger.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct JudgeState {
    presence: Presence,
    tare_wanted: bool,
    hold: Option<(f64, Option<f64>, Option<PlainRest>)>,
    expected: Vec<Expected>,
    mendable: Option<Mendable>,
    mended: Option<Mended>,
    undone: Option<Undone>,
    asked: Vec<Asked>,
    kept_events: Vec<(usize, Event)>,
    found_s: f64,
    first_s: Option<f64>,
    last_settled: Option<Weighed>,
    bared_s: Option<f64>,
    pace: Pace,
    care: Option<Care>,
    whole: Option<(PlainRest, f64, [f64; 3], bool, Flowed)>,
    names: Vec<String>,
    n_events: usize,
}

/// A deck at rest without fixed room.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct PlainRest {
    level: [f64; 5],
    cells_kg: Vec<f64>,
    tilt_deg: Vec<f64>,
    temperature_c: Option<f64>,
    stand_in_u_kg: f64,
}

impl PlainRest {
    fn of(rest: &Rest) -> Self {
        let Level { t_s, kg, slope_kg_s, u_kg, u_slope_kg_s } = rest.level;
        Self {
            level: [t_s, kg, slope_kg_s, u_kg, u_slope_kg_s],
            cells_kg: rest.cells_kg.to_vec(),
            tilt_deg: rest.tilt_deg.to_vec(),
            temperature_c: rest.temperature_c,
            stand_in_u_kg: rest.stand_in_u_kg,
        }
    }

    fn rest(&self) -> Option<Rest> {
        let [t_s, kg, slope_kg_s, u_kg, u_slope_kg_s] = self.level;
        Some(Rest {
            level: Level { t_s, kg, slope_kg_s, u_kg, u_slope_kg_s },
            cells_kg: <[f64; CELLS]>::try_from(self.cells_kg.as_slice()).ok()?,
            tilt_deg: <[f64; SECTIONS]>::try_from(self.tilt_deg.as_slice()).ok()?,
            temperature_c: self.temperature_c,
            stand_in_u_kg: self.stand_in_u_kg,
        })
    }
}

impl Judge {
    /// What must outlive a power cut, but for the ledger.
    pub(crate) fn state(&self) -> JudgeState {
        JudgeState {
            presence: self.presence,
            tare_wanted: self.tare_wanted,
            hold: self.hold.as_ref().map(|h| (h.t_s, h.released_s, h.before.as_ref().map(PlainRest::of))),
            expected: self.expected.clone(),
            mendable: self.mendable,
            mended: self.mended,
            undone: self.undone,
            asked: self.asked.clone(),
            kept_events: self.log.kept(&self.kept()),
            found_s: self.found_s,
            first_s: self.first_s,
            last_settled: self.last_settled,
            bared_s: self.bared_s,
            pace: self.pace,
            care: self.care,
            whole: self.whole.as_ref().map(|whole| {
                let Whole { rest, remainder_kg, lean, items_u2, in_care, flowed } = whole;
                (PlainRest::of(rest), *remainder_kg, [lean.kg, lean.u_kg, *items_u2], *in_care, *flowed)
            }),
            names: self.names.clone(),
            n_events: self.log.count(),
        }
    }

    /// Goes on from a state and its ledger.
    pub(crate) fn resume(&mut self, state: JudgeState, ledger: Accounts) {
        self.ledger = ledger;
        self.presence = state.presence;
        self.tare_wanted = state.tare_wanted;
        self.hold = state.hold.map(|(t_s, released_s, before)| Hold {
            before: before.and_then(|before| before.rest()),
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
        self.whole = state.whole.and_then(|(rest, remainder_kg, [kg, u_kg, items_u2], in_care, flowed)| {
            Some(Whole { rest: rest.rest()?, remainder_kg, lean: Mass { kg, u_kg }, items_u2, in_care, flowed })
        });
        if !state.names.is_empty() {
            self.names = state.names;
        }
    }
}
