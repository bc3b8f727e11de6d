//! From a scenario to a programme: every happening of the night with its time, its place and what was told of it.
//!
//! Stated happenings come first; the routine of the ward is drawn around them, and whatever would fall into a busy time is
//! put off until it is over. All draws come from streams of their own, so that a changed rate moves nothing else.

use formats::actions::{Action, ActionKind};

use super::lying::Pose;
use super::truth::{Disturbance, Told, TrueEvent, TrueKind};
use crate::built::{BuiltDeck, Patch};
use crate::error::TwinError;
use crate::scenario::Scenario;

/// Something that begins at a time.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Happening {
    pub(crate) t_s: f64,
    pub(crate) what: What,
}

/// What begins.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum What {
    /// A thing comes or goes.
    Item { item: usize, on: bool, over_s: f64 },
    /// The patient comes or goes.
    Patient { on: bool, over_s: f64 },
    /// The patient is laid otherwise.
    Lie { pose: Pose, over_s: f64 },
    /// The patient moves a little from where he lies.
    Shift { by: Pose, over_s: f64 },
    /// A section (or the whole bed) goes to an angle.
    Tilt { section: Option<usize>, deg: f64, over_s: f64 },
    /// Hands or a body press on a place, with an unsteady part.
    Press { kg: f64, unsteady: f64, at_mm: [f64; 2], size_mm: [f64; 2], for_s: f64 },
    /// The patient moves: the centre of mass sways (mm), the weight heaves (share of it).
    Stir { sway_mm: f64, heave: f64, for_s: f64 },
    /// A rhythm: seizure, compressions.
    Rhythm { kg: f64, hz: f64, at_mm: [f64; 2], for_s: f64 },
    /// The bed is rolled to a place with this slope; the number is that of its draws.
    Roll { seed: u64, slope_deg: f64, for_s: f64 },
}

/// A thing that may lie on the bed.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Item {
    pub(crate) kg: f64,
    pub(crate) patch: Patch,
    pub(crate) told: bool,
}

/// The whole programme.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Programme {
    pub(crate) happenings: Vec<Happening>,
    pub(crate) items: Vec<Item>,
    pub(crate) actions: Vec<Action>,
    pub(crate) pad_changes_s: Vec<f64>,
    pub(crate) events: Vec<TrueEvent>,
    pub(crate) disturbed: Vec<Disturbance>,
    /// When the patient is first aboard, s.
    pub(crate) patient_on_s: f64,
}

/// When the deck is tared, s.
pub(crate) const TARE_S: f64 = 60.0;
/// When the patient begins to come, s.
pub(crate) const COMES_S: f64 = 120.0;
/// Time that a transfer takes, s.
const TRANSFER_S: f64 = 10.0;
/// Stirring goes on for so long after a transfer, a turn or care, s.
const AFTERMATH_S: f64 = 8.0;
/// Pause kept around busy times, s.
const PAUSE_S: f64 = 90.0;

/// Times after the end that still count as taken, s: what begins before the end may last into them.
const BEHIND_S: f64 = 86_400.0;

/// Collects happenings, with what is true and what is told of them.
pub(crate) struct Planner<'a> {
    pub(crate) scenario: &'a Scenario,
    pub(crate) built: &'a BuiltDeck,
    pub(crate) end_s: f64,
    /// From and to, s, by their start.
    busy: Vec<[f64; 2]>,
    /// Length of the longest of these, s.
    longest_s: f64,
    told: Vec<Told>,
    out: Programme,
}

impl<'a> Planner<'a> {
    pub(crate) fn new(scenario: &'a Scenario, built: &'a BuiltDeck) -> Self {
        let end_s = scenario.hours * 3600.0;
        let mut planner = Self {
            scenario,
            built,
            end_s,
            busy: Vec::new(),
            longest_s: 0.0,
            told: Vec::new(),
            out: Programme::default(),
        };
        planner.take(0.0, 300.0);
        planner.tell(TARE_S, ActionKind::Tare, None, "mattress and linen");
        planner.patient_comes(COMES_S);
        planner.out.patient_on_s = COMES_S + TRANSFER_S;
        planner
    }

    /// The programme in the order of time.
    pub(crate) fn finish(mut self) -> Programme {
        self.out.happenings.retain(|h| h.t_s < self.end_s);
        self.out.happenings.sort_by(|a, b| a.t_s.total_cmp(&b.t_s));
        self.out.events.retain(|e| e.t_s < self.end_s);
        self.out.events.sort_by(|a, b| a.t_s.total_cmp(&b.t_s));
        self.out.disturbed.retain(|d| d.from_s < self.end_s);
        self.out.disturbed.sort_by(|a, b| a.from_s.total_cmp(&b.from_s));
        self.out.pad_changes_s.sort_by(f64::total_cmp);
        self.told.retain(|t| t.t_s < self.end_s);
        self.told.sort_by(|a, b| a.t_s.total_cmp(&b.t_s));
        let actions = self.told.into_iter().enumerate();
        self.out.actions = actions
            .map(|(i, t)| Action {
                line: i + 2,
                t_s: round_to(t.t_s, 10.0),
                kind: t.kind,
                kg: t.kg,
                note: t.note,
                asked_s: None,
            })
            .collect();
        self.out
    }

    /// The earliest time from `t_s` at which nothing else goes on for `for_s`; the time is then taken.
    pub(crate) fn free(&mut self, t_s: f64, for_s: f64) -> f64 {
        let mut at = t_s;
        let first = self.busy.partition_point(|[from_s, _]| from_s + self.longest_s + PAUSE_S <= at);
        for [from_s, to_s] in &self.busy[first..] {
            if *from_s >= at + for_s + PAUSE_S {
                break;
            }
            at = at.max(to_s + PAUSE_S);
        }
        // A ward that asks for more than fits would fill a queue of days behind the end.
        if at < self.end_s + BEHIND_S {
            self.take(at, for_s);
        }
        at
    }

    pub(crate) fn take(&mut self, t_s: f64, for_s: f64) {
        let place = self.busy.partition_point(|[from_s, _]| *from_s <= t_s);
        self.busy.insert(place, [t_s, t_s + for_s]);
        self.longest_s = self.longest_s.max(for_s);
    }

    fn push(&mut self, t_s: f64, what: What) {
        self.out.happenings.push(Happening { t_s, what });
    }

    pub(crate) fn tell(&mut self, t_s: f64, kind: ActionKind, kg: Option<f64>, note: &str) {
        self.told.push(Told { t_s, kind, kg, note: note.to_owned() });
    }

    fn event(
        &mut self,
        [t_s, until_s]: [f64; 2],
        kind: TrueKind,
        kg: f64,
        at_mm: Option<[f64; 2]>,
        told: bool,
        text: &str,
    ) {
        self.out.events.push(TrueEvent { t_s, until_s, kind, kg, at_mm, told, text: text.to_owned() });
    }

    fn disturb(&mut self, from_s: f64, to_s: f64, why: TrueKind) {
        self.out.disturbed.push(Disturbance { from_s, to_s, why });
    }

    fn stir(&mut self, t_s: f64, for_s: f64, sway_mm: f64, heave: f64) {
        self.push(t_s, What::Stir { sway_mm, heave, for_s });
    }

    pub(crate) fn patient_comes(&mut self, t_s: f64) {
        self.push(t_s, What::Patient { on: true, over_s: TRANSFER_S });
        self.stir(t_s, TRANSFER_S + AFTERMATH_S, 20.0, 0.02);
        self.disturb(t_s, t_s + TRANSFER_S + AFTERMATH_S, TrueKind::PatientOn);
        self.event(
            [t_s, t_s + TRANSFER_S],
            TrueKind::PatientOn,
            self.scenario.patient.mass_kg,
            None,
            true,
            "patient laid down",
        );
        self.tell(t_s + 2.0, ActionKind::PatientOn, None, "");
    }

    pub(crate) fn patient_goes(&mut self, t_s: f64) {
        self.push(t_s, What::Patient { on: false, over_s: TRANSFER_S });
        self.stir(t_s - 5.0, TRANSFER_S + 5.0, 20.0, 0.02);
        self.disturb(t_s - 5.0, t_s + TRANSFER_S, TrueKind::PatientOff);
        self.event(
            [t_s, t_s + TRANSFER_S],
            TrueKind::PatientOff,
            -self.scenario.patient.mass_kg,
            None,
            true,
            "patient lifted off",
        );
        self.tell(t_s + 2.0, ActionKind::PatientOff, None, "");
    }

    /// The patient is away; nothing else happens meanwhile.
    pub(crate) fn journey(&mut self, t_s: f64, for_s: f64) {
        self.patient_goes(t_s);
        self.patient_comes(t_s + for_s);
        self.disturb(t_s, t_s + for_s + TRANSFER_S, TrueKind::PatientOff);
    }

    /// Something is laid down, and taken off again.
    pub(crate) fn item(
        &mut self,
        name: &str,
        kg: f64,
        patch: Patch,
        from_s: f64,
        until_s: Option<f64>,
        told: Option<ItemTold>,
    ) {
        let item = self.out.items.len();
        self.out.items.push(Item { kg, patch, told: told.is_some() });
        let middle = [f64::midpoint(patch.x_mm[0], patch.x_mm[1]), f64::midpoint(patch.y_mm[0], patch.y_mm[1])];
        let ends = [(Some(from_s), true), (until_s, false)];
        for (at, on) in ends.into_iter().filter_map(|(at, on)| Some((at?, on))) {
            let over_s = 1.5;
            self.push(at, What::Item { item, on, over_s });
            let (kind, action, sign, word) = if on {
                (TrueKind::Added, ActionKind::Add, 1.0, "laid on the bed")
            } else {
                (TrueKind::Removed, ActionKind::Remove, -1.0, "taken off the bed")
            };
            self.event([at, at + over_s], kind, sign * kg, Some(middle), told.is_some(), &format!("{name} {word}"));
            self.disturb(at - 1.0, at + over_s + 1.0, kind);
            if let Some(told) = &told {
                let kg = told.weighed.then_some(round_to(kg, 100.0));
                self.tell(at + over_s + told.late_s, action, kg, name);
            }
        }
    }

    pub(crate) fn lean(&mut self, t_s: f64, for_s: f64, kg: f64, at_mm: [f64; 2]) {
        self.push(t_s, What::Press { kg, unsteady: 0.2, at_mm, size_mm: [120.0, 120.0], for_s });
        self.disturb(t_s, t_s + for_s, TrueKind::Contact);
        self.event([t_s, t_s + for_s], TrueKind::Contact, kg, Some(at_mm), false, "hands on the bed");
    }

    pub(crate) fn sit(&mut self, t_s: f64, for_s: f64, kg: f64, at_mm: [f64; 2]) {
        self.push(t_s, What::Press { kg, unsteady: 0.03, at_mm, size_mm: [350.0, 300.0], for_s });
        self.disturb(t_s, t_s + for_s, TrueKind::Contact);
        self.event([t_s, t_s + for_s], TrueKind::Contact, kg, Some(at_mm), false, "visitor sits on the bed");
    }

    /// A turn by one or two carers; `held`: between hold and release.
    pub(crate) fn turn(&mut self, t_s: f64, pose: Pose, held: bool) {
        let over_s = 14.0;
        self.push(t_s, What::Lie { pose, over_s });
        self.stir(t_s, over_s + AFTERMATH_S, 25.0, 0.025);
        let y = if pose.across_mm > 0.0 { 0.1 } else { 0.9 } * self.built.width_mm;
        let x = 0.45 * self.built.length_mm();
        self.push(t_s, What::Press { kg: 6.0, unsteady: 0.5, at_mm: [x, y], size_mm: [400.0, 150.0], for_s: over_s });
        self.disturb(t_s, t_s + over_s + AFTERMATH_S, TrueKind::Turned);
        self.event([t_s, t_s + over_s], TrueKind::Turned, 0.0, None, held, "patient turned");
        if held {
            self.tell(t_s - 8.0, ActionKind::Hold, None, "turning");
            self.tell(t_s + over_s + 12.0, ActionKind::Release, None, "");
            self.disturb(t_s - 8.0, t_s + over_s + 12.0, TrueKind::Care);
        }
    }

    /// Care under hold: the patient is moved to and fro, hands press here and there, wet pads go; `presses` are times and
    /// places within it.
    pub(crate) fn care(&mut self, t_s: f64, for_s: f64, presses: &[(f64, f64, f64, [f64; 2])], pose: Pose, text: &str) {
        self.tell(t_s - 6.0, ActionKind::Hold, None, text);
        self.tell(t_s + for_s + AFTERMATH_S + 6.0, ActionKind::Release, None, "");
        self.stir(t_s, for_s + AFTERMATH_S, 25.0, 0.02);
        for &(at, press_s, kg, at_mm) in presses {
            let what = What::Press { kg, unsteady: 0.4, at_mm, size_mm: [150.0, 150.0], for_s: press_s };
            self.push(t_s + at, what);
        }
        self.push(t_s + 0.6 * for_s, What::Lie { pose, over_s: 12.0 });
        self.out.pad_changes_s.push(t_s + 0.5 * for_s);
        self.disturb(t_s - 6.0, t_s + for_s + AFTERMATH_S + 6.0, TrueKind::Care);
        self.event([t_s, t_s + for_s], TrueKind::Care, 0.0, None, true, text);
    }

    pub(crate) fn restless(&mut self, t_s: f64, for_s: f64, by: Pose) {
        self.stir(t_s, for_s, 12.0, 0.012);
        self.push(t_s + 0.5 * for_s, What::Shift { by, over_s: 0.5 * for_s });
        self.disturb(t_s, t_s + for_s, TrueKind::Restless);
        self.event([t_s, t_s + for_s], TrueKind::Restless, 0.0, None, false, "patient moves");
    }

    pub(crate) fn rhythm(&mut self, t_s: f64, for_s: f64, kg: f64, hz: f64, at_mm: [f64; 2], text: &str) {
        self.push(t_s, What::Rhythm { kg, hz, at_mm, for_s });
        self.stir(t_s, for_s, 6.0, 0.01);
        self.disturb(t_s, t_s + for_s, TrueKind::Restless);
        self.event([t_s, t_s + for_s], TrueKind::Restless, kg, Some(at_mm), false, text);
    }

    pub(crate) fn bed_moved(&mut self, t_s: f64, for_s: f64, slope_deg: f64, seed: u64) {
        self.push(t_s, What::Roll { seed, slope_deg, for_s });
        self.disturb(t_s, t_s + for_s, TrueKind::BedMoved);
        self.event([t_s, t_s + for_s], TrueKind::BedMoved, 0.0, None, false, "bed moved");
    }

    /// # Errors
    /// A section that the deck does not have.
    pub(crate) fn tilt(&mut self, t_s: f64, section: Option<usize>, deg: f64, over_s: f64, name: &str) {
        self.push(t_s, What::Tilt { section, deg, over_s });
        self.disturb(t_s, t_s + over_s + 2.0, TrueKind::Tilted);
        self.event([t_s, t_s + over_s], TrueKind::Tilted, 0.0, None, false, &format!("{name} to {deg:.0}°"));
    }

    /// Number of a section.
    ///
    /// # Errors
    /// A section that the deck does not have.
    pub(crate) fn section(&self, sections: &[formats::deck::Section], name: &str) -> Result<usize, TwinError> {
        sections.iter().position(|s| s.name == name).ok_or_else(|| TwinError::Unknown {
            owner: "the scenario".into(),
            kind: "section",
            name: name.to_owned(),
        })
    }
}

/// What was told of an item.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct ItemTold {
    pub(crate) weighed: bool,
    pub(crate) late_s: f64,
}

pub(crate) fn round_to(x: f64, per_unit: f64) -> f64 {
    (x * per_unit).round() / per_unit
}
