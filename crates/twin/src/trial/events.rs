//! What an engine named, held against what happened.
//!
//! A finding belongs to a true event of its kind when it stands between five seconds before its beginning and a minute after
//! its end; a thing must also be named with its size, to a quarter of it or 60 g. A finding is false when nothing of the kind
//! happened near it. Under care things come and go that no one weighs, so that none named there is false; hands and moves that
//! are named while anything goes on are not false either.

use serde::Serialize;

use super::card::Card;
use crate::night::{Disturbance, NightTruth, TrueEvent, TrueKind};

/// Something that an engine found.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    /// When, s.
    pub t_s: f64,
    /// What.
    pub kind: Kind,
    /// Size, kg.
    pub kg: f64,
    /// Where, mm in bed coordinates.
    pub at_mm: Option<[f64; 2]>,
}

/// Kinds of events, as far as the card asks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// Something of 100 g and more came or went: added, removed, or a step that is asked about.
    Thing,
    /// The patient came.
    PatientOn,
    /// The patient left.
    PatientOff,
    /// The patient was turned, without hold.
    Turned,
    /// Hands, a visitor.
    Contact,
    /// Load passed the cells by.
    Shunt,
    /// The whole bed was moved.
    BedMoved,
}

impl Kind {
    /// In words.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Thing => "thing of 100 g or more came or went",
            Self::PatientOn => "patient came",
            Self::PatientOff => "patient left",
            Self::Turned => "patient turned",
            Self::Contact => "someone leaned on the bed",
            Self::Shunt => "load passed the cells by",
            Self::BedMoved => "the whole bed was moved",
        }
    }

    /// The kind of a true event that the card asks for.
    fn of(event: &TrueEvent) -> Option<Self> {
        match event.kind {
            TrueKind::Added | TrueKind::Removed if event.kg.abs() >= THING_KG => Some(Self::Thing),
            TrueKind::PatientOn => Some(Self::PatientOn),
            TrueKind::PatientOff => Some(Self::PatientOff),
            TrueKind::Turned if !event.told => Some(Self::Turned),
            TrueKind::Contact => Some(Self::Contact),
            TrueKind::Shunt => Some(Self::Shunt),
            TrueKind::BedMoved => Some(Self::BedMoved),
            _ => None,
        }
    }
}

/// An event is found within this time, s.
const FIND_S: f64 = 60.0;
/// And not earlier than this before it begins, s: an engine dates a change by its own middle.
const EARLY_S: f64 = 5.0;
/// Smallest thing that must be found, kg.
const THING_KG: f64 = 0.1;
/// A contact is mistaken when a thing is named from its beginning to so long after its end, s.
const MISTAKEN_S: f64 = 10.0;

/// Holds what was found against what happened.
pub(super) fn hold(card: &mut Card, truth: &NightTruth, found: &[Found]) {
    let mut taken_up = vec![false; found.len()];
    for event in &truth.events {
        let Some(kind) = Kind::of(event) else { continue };
        // A thing is found by a finding of its own, the nearest in time; of hands that come one after another one finding may tell.
        let fits = |f: &Found| f.kind == kind && near(f, event, FIND_S) && same_size(f, event, kind);
        let free = (0..found.len()).filter(|&i| fits(&found[i]) && !(kind == Kind::Thing && taken_up[i]));
        let apart_s = |i: usize| (found[i].t_s - event.t_s).abs();
        let hit = free.min_by(|&a, &b| apart_s(a).total_cmp(&apart_s(b)));
        let counts = card.event(kind);
        counts.happened += 1;
        counts.found += usize::from(hit.is_some());
        if let Some(i) = hit {
            taken_up[i] = true;
        }
        if kind == Kind::Thing
            && let Some((f, b)) = hit.map(|i| &found[i]).zip(event.at_mm)
        {
            match f.at_mm {
                Some(a) => card.placed_mm.push((a[0] - b[0]).hypot(a[1] - b[1])),
                None => card.unplaced += 1,
            }
        }
        let taken = |f: &Found| f.kind == Kind::Thing && near(f, event, MISTAKEN_S) && !stands_behind(truth, f);
        if kind == Kind::Contact && found.iter().any(taken) {
            card.contacts_mistaken += 1;
        }
    }
    for f in found {
        if !stands_behind(truth, f) {
            card.event(f.kind).false_alarms += 1;
        }
    }
}

fn near(found: &Found, event: &TrueEvent, late_s: f64) -> bool {
    found.t_s >= event.t_s - EARLY_S && found.t_s <= event.until_s + late_s
}

fn same_size(found: &Found, event: &TrueEvent, kind: Kind) -> bool {
    kind != Kind::Thing || (found.kg - event.kg).abs() <= (0.25 * event.kg.abs()).max(0.06)
}

/// Whether anything true stands behind a finding.
fn stands_behind(truth: &NightTruth, found: &Found) -> bool {
    let of_kind = |e: &TrueEvent| match found.kind {
        // A pad or pillow that is changed under care, whatever it weighs.
        Kind::Thing => matches!(e.kind, TrueKind::Added | TrueKind::Removed | TrueKind::Care),
        kind => Kind::of(e) == Some(kind),
    };
    let during = |d: &Disturbance| found.t_s >= d.from_s - EARLY_S && found.t_s <= d.to_s + FIND_S;
    truth.events.iter().any(|e| of_kind(e) && near(found, e, FIND_S))
        || (matches!(found.kind, Kind::Contact | Kind::Turned) && truth.disturbed.iter().any(during))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn event(kind: TrueKind, t_s: f64, kg: f64) -> TrueEvent {
        TrueEvent { t_s, until_s: t_s + 2.0, kind, kg, at_mm: Some([900.0, 400.0]), told: false, text: String::new() }
    }

    fn truth(events: Vec<TrueEvent>) -> NightTruth {
        let disturbed = events.iter().map(|e| Disturbance { from_s: e.t_s, to_s: e.until_s, why: e.kind }).collect();
        NightTruth {
            seed: 1,
            scenario: String::new(),
            tare_kg: 14.0,
            first_patient_kg: 80.0,
            last_patient_kg: 80.0,
            last_pad_kg: 0.0,
            insensible_g_h: 30.0,
            hidden_ml: 0.0,
            events,
            disturbed,
            shunts: Vec::new(),
            faults: Vec::new(),
            slips: Vec::new(),
        }
    }

    fn thing(t_s: f64, kg: f64) -> Found {
        Found { t_s, kind: Kind::Thing, kg, at_mm: Some([930.0, 440.0]) }
    }

    #[test]
    fn a_thing_is_found_by_time_and_size_and_placed() {
        let truth = truth(vec![event(TrueKind::Added, 1000.0, 0.8), event(TrueKind::Removed, 5000.0, -0.8)]);
        let mut card = Card::default();
        hold(&mut card, &truth, &[thing(1004.0, 0.83), thing(5003.0, 0.8), thing(9000.0, 0.4)]);
        // The second has the wrong sign, the third stands where nothing was.
        assert_eq!(card.events[&Kind::Thing], super::super::EventCounts { happened: 2, found: 1, false_alarms: 1 });
        assert!((card.placed_mm[0] - 50.0).abs() < 1e-9);
    }

    #[test]
    fn one_finding_is_one_thing_and_one_without_its_place_is_not_placed() {
        let truth = truth(vec![event(TrueKind::Added, 1000.0, 0.8), event(TrueKind::Added, 1030.0, 0.8)]);
        let mut card = Card::default();
        hold(&mut card, &truth, &[Found { at_mm: None, ..thing(1031.0, 0.8) }]);
        assert_eq!(card.events[&Kind::Thing], super::super::EventCounts { happened: 2, found: 1, false_alarms: 0 });
        assert!(card.placed_mm.is_empty() && card.unplaced == 1);
    }

    #[test]
    fn a_thing_named_for_a_hand_is_a_mistake_and_false() {
        let truth = truth(vec![event(TrueKind::Contact, 1000.0, 5.0), event(TrueKind::Care, 3000.0, 0.0)]);
        let mut card = Card::default();
        let hand = Found { t_s: 3001.0, kind: Kind::Contact, kg: 3.0, at_mm: None };
        hold(&mut card, &truth, &[thing(1003.0, 5.0), thing(3010.0, -0.3), hand]);
        assert_eq!(card.contacts_mistaken, 1);
        // What changes under care is not false, nor are hands there.
        assert_eq!(card.events[&Kind::Thing].false_alarms, 1);
        assert_eq!(card.events[&Kind::Contact], super::super::EventCounts { happened: 1, found: 0, false_alarms: 0 });
    }

    #[test]
    fn what_is_smaller_than_100_g_need_not_be_found_and_is_not_false() {
        let truth = truth(vec![event(TrueKind::Added, 1000.0, 0.07)]);
        let mut card = Card::default();
        hold(&mut card, &truth, &[thing(1002.0, 0.07)]);
        assert_eq!(card.events.get(&Kind::Thing), None);
    }
}
