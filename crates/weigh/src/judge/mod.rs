//! What each change of the load was, by the actions, its size and what came before and after.
//!
//! The signal path calls a change when the load rests again; here it goes to the patient (arriving or leaving), to the items (an
//! action explains it, or it came about in care), to nobody (it is within its uncertainty, or it undoes an open question) or to the open
//! questions. An open question keeps the weight from being settled, whatever its size.
//!
//! `actions` takes what people did, `changes` what the load did, `entered` which of it was entered, `undone` which takes back what was before, `bared` what is found on a bare deck and leaves later, `care` what happened between hold and release, `questions` what
//! answers an open one, `pace` what fluid does meanwhile, `shunt` whether load passes the cells by, `moved` whether the whole bed was moved, `failed` what a cell that fails and comes back leaves behind, `fresh` whether the load comes to rest at what it was after all, `jam` what is jammed when the patient leaves, `sure` what the deck says of an
//! open question once nothing is in doubt any more, `state` what outlives a power cut.

mod actions;
mod bared;
mod care;
mod changes;
mod entered;
mod failed;
mod fresh;
mod jam;
mod log;
mod moved;
mod pace;
mod questions;
mod shunt;
mod state;
mod sure;
mod tell;
mod undone;

use serde::{Deserialize, Serialize};
use signal::{Doubt, Mass, Motion, Reading};

use crate::report::{Event, NamedItem};
use crate::setup::Accounts;
use crate::setup::{CELLS, PLATES, Path, PathConfig, Rest, SECTIONS, Sheet, Step};
use bared::{Cleared, Found};
use care::Care;
use failed::Whole;
use formats::weights::State;
use fresh::Fresh;
use jam::Jam;
use log::Log;
use pace::{Pace, usual_kg_s};
pub(crate) use state::JudgeState;
use sure::Sure;

/// Times and sizes of judgement. Choices of this project: no published source names them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Rules {
    /// A change below this is none, kg, however sharp it is seen.
    pub least_kg: f64,
    /// A rise of an empty deck from this on is someone, kg.
    pub someone_kg: f64,
    /// The least that may be the patient who was said to come, kg.
    pub told_kg: f64,
    /// Beyond this a net load is more than the deck may bear, kg.
    pub most_kg: f64,
    /// Rate at which an adult's mass may change unseen while the load moves, kg/s; see `pace`.
    pub fluid_kg_s: f64,
    /// A plateau is believed after this, s.
    pub believe_s: f64,
    /// The first plateau of a patient is believed after this, s: who sits on the edge first lies down.
    pub believe_first_s: f64,
    /// A change belongs to an action that was entered up to this long before it, s.
    pub early_s: f64,
    /// An action entered without its mass belongs to a change up to this long before it, s.
    pub late_s: f64,
    /// A later change may still mend an arrival, a measured item or a care, s.
    pub mend_s: f64,
    /// No more than this is put down to care, kg.
    pub care_kg: f64,
    /// A disturbance that pushes by more than this on average is a contact, kg.
    pub contact_kg: f64,
    /// What comes, stays still and goes again within this time was a hand, not a thing, s.
    pub contact_s: f64,
    /// A tare that was asked for is taken at a rest within this time, s: later nobody remembers it, and somebody may lie there.
    pub tare_s: f64,
    /// A fall that is larger than all that may have been taken off the deck by this is none of things taken off, kg.
    pub loose_kg: f64,
    /// A centre of load that moves farther is a turn, mm.
    pub turn_mm: f64,
    /// All sections that swing together by more are those of a bed that is moved, degrees: a push of 0.2 m/s² is 1.2° to an angle sensor.
    pub swung_deg: f64,
    /// With a stand-in for a failed cell that is more uncertain, the deck is at fault, kg.
    pub stand_in_kg: f64,
    /// Standard uncertainty of a stated mass, kg and as a part of it: people round.
    pub stated_kg: f64,
    /// See `stated_kg`.
    pub stated_rel: f64,
}

/// No patient is lighter, kg: less is what accounts that do not fit leave.
const LEAST_PATIENT_KG: f64 = 0.2;

impl Rules {
    pub(crate) fn new(max_kg: f64, e_g: f64) -> Self {
        let e_kg = e_g / 1e3;
        Self {
            least_kg: (0.5 * e_kg).clamp(0.03, 0.06),
            someone_kg: 0.05 * max_kg,
            // OIML R 76-1:2006, table 3: the minimum capacity of class III is 20 e.
            told_kg: (20.0 * e_kg).min(0.05 * max_kg),
            most_kg: deck::oiml::r76::indication_limit_kg(max_kg, e_g),
            // 0.72 kg/h as a standard uncertainty: machines that take 1 L/h and boluses of 1 to 2 L/h are not rare. See `pace`.
            fluid_kg_s: 2e-4,
            believe_s: 2.0,
            believe_first_s: 8.0,
            early_s: 180.0,
            late_s: 600.0,
            mend_s: 60.0,
            care_kg: 10.0,
            contact_kg: 0.3,
            contact_s: 90.0,
            tare_s: 120.0,
            loose_kg: 2.5,
            turn_mm: 30.0,
            swung_deg: 0.7,
            stand_in_kg: 0.5,
            stated_kg: 0.02,
            stated_rel: 0.05,
        }
    }
}

/// Whether a patient lies on the deck.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(crate) enum Presence {
    /// Nobody.
    Empty,
    /// Said to come, not yet seen.
    Arriving,
    /// Someone came and nobody said so.
    Presumed,
    /// The patient.
    On,
    /// Said to leave, still seen.
    Leaving,
}

/// An item that was entered and not yet seen: +1 for `add`, −1 for `remove`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct Expected {
    t_s: f64,
    sign: f64,
    kg: Option<f64>,
    note: String,
}

/// Care between hold and release.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Hold {
    /// The deck before the first change in care.
    before: Option<Rest>,
    /// When it was released; the verdict waits for rest.
    released_s: Option<f64>,
    /// When it began.
    t_s: f64,
}

/// What the last judged change was given to, while a later one may mend it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(crate) struct Mendable {
    what: Mend,
    until_s: f64,
    kg: f64,
    event: usize,
    item: u16,
}

/// The last change that was put down to an arrival: an action that names it may come a little later.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(crate) struct Mended {
    t_s: f64,
    kg: f64,
    u_kg: f64,
    place_mm: Option<[f64; 2]>,
}

/// The last change that was taken to undo an open question: an action that names it otherwise may come a little later.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(crate) struct Undone {
    t_s: f64,
    kg: f64,
    u_kg: f64,
    place_mm: Option<[f64; 2]>,
    of: Question,
}

/// A question that was undone, to be asked again.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(crate) struct Question {
    t_s: f64,
    kg: f64,
    u_kg: f64,
    place_mm: Option<[f64; 2]>,
}

impl From<signal::Open> for Question {
    fn from(open: signal::Open) -> Self {
        Self { t_s: open.t_s, kg: open.mass.kg, u_kg: open.mass.u_kg, place_mm: open.place_mm }
    }
}

/// An open question and the event that asked it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct Asked {
    t_s: f64,
    event: usize,
    /// Whether the load changed: else it was only entered.
    seen: bool,
    /// Whether it may be none: asked while a section was raised, a cell failed or load passed the cells by.
    unsure: bool,
    /// What was entered that it asks about; empty without a note.
    note: String,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) enum Mend {
    Arrival,
    Item,
    Care,
}

/// A weight with its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(crate) struct Weighed {
    pub kg: f64,
    pub u_kg: f64,
}

/// State of judgement.
#[derive(Debug, Clone)]
pub(crate) struct Judge {
    rules: Rules,
    config: PathConfig,
    /// The plates, in the order of the path's.
    sheets: Vec<Sheet>,
    ledger: Accounts,
    presence: Presence,
    /// When a tare was asked for that waits for rest.
    tare_wanted_s: Option<f64>,
    hold: Option<Hold>,
    expected: Vec<Expected>,
    mendable: Option<Mendable>,
    mended: Option<Mended>,
    undone: Option<Undone>,
    /// Events of the open questions: a hand that lets go puts its question right.
    asked: Vec<Asked>,
    /// When the present plateau was found.
    found_s: f64,
    /// When the patient's first plateau was found; `None` before.
    first_s: Option<f64>,
    last_settled: Option<Weighed>,
    pace: Pace,
    /// The last care, while the pace after it is still being learned.
    care: Option<Care>,
    /// When something was last found on the bare deck.
    bared_s: Option<f64>,
    /// Since when the patient is said to be there and nothing came. Not kept: after a power cut the wait begins anew.
    awaited_s: Option<f64>,
    /// What was found on the bare deck and still lies there.
    found: Vec<Found>,
    /// What was found there and left last.
    cleared: Option<Cleared>,
    /// The accounts before a cell failed, until all give again.
    whole: Option<Whole>,
    /// What was entered without its mass since then, and not seen by the cells that gave.
    never_seen: Vec<Expected>,
    /// The accounts when nothing was in doubt.
    sure: Option<Sure>,
    /// A jam that may still be there, after the patient left.
    jam: Option<Jam>,
    /// The newest question, while the load may still come to rest at what it was.
    fresh: Option<Fresh>,
    /// Whether the change that is judged may be none, see [`Asked`].
    unsure: bool,
    log: Log,
    /// Names of items; the ledger knows them by their place here.
    names: Vec<String>,
    /// How often anything changed that must outlive a power cut.
    happened: u64,
}

impl Judge {
    pub(crate) fn new(rules: Rules, config: PathConfig, sheets: Vec<Sheet>) -> Self {
        Self {
            rules,
            config,
            sheets,
            ledger: Accounts::new(),
            presence: Presence::Empty,
            tare_wanted_s: None,
            hold: None,
            expected: Vec::new(),
            mendable: None,
            mended: None,
            undone: None,
            asked: Vec::new(),
            found_s: 0.0,
            first_s: None,
            last_settled: None,
            pace: Pace::default(),
            care: None,
            bared_s: None,
            awaited_s: None,
            found: Vec::new(),
            cleared: None,
            whole: None,
            never_seen: Vec::new(),
            sure: None,
            jam: None,
            fresh: None,
            unsure: false,
            log: Log::default(),
            happened: 0,
            names: vec![String::new()],
        }
    }

    /// Whether a tare is taken at the next rest.
    pub(crate) fn awaits_tare(&self) -> bool {
        self.tare_wanted_s.is_some()
    }

    pub(crate) fn ledger(&self) -> &Accounts {
        &self.ledger
    }

    pub(crate) fn events(&self) -> Vec<Event> {
        self.log.events().cloned().collect()
    }

    /// Hands on events that are new or were put right, by their numbers.
    pub(crate) fn take_events(&mut self) -> Vec<(usize, Event)> {
        self.log.take(&self.kept(self.mendable))
    }

    /// Whether an event may still be put right, once news were handed on.
    pub(crate) fn may_put_right(&self, event: usize) -> bool {
        self.log.get(event).is_some()
    }

    /// Numbers of the events that may still be put right.
    fn kept(&self, mendable: Option<Mendable>) -> Vec<usize> {
        let open = |asked: &&Asked| self.ledger.open().iter().any(|open| open.t_s.total_cmp(&asked.t_s).is_eq());
        let asked = self.asked.iter().filter(open).map(|asked| asked.event);
        mendable.map(|mendable| mendable.event).into_iter().chain(asked).collect()
    }

    /// Counts up with everything that must outlive a power cut.
    pub(crate) fn happened(&self) -> u64 {
        self.happened
    }

    /// State and weight at a sample; remembers a settled one.
    pub(crate) fn row(&mut self, path: &Path, temperature_c: Option<f64>) -> (State, Option<Weighed>) {
        let reading = path.reading();
        let failed = reading.channels.iter().take(path.config().cells().count()).any(|c| c.is_bad());
        // What a stand-in left open in the accounts counts as what it leaves open now.
        let stand_in_kg = reading.stand_in_u_kg.max(self.ledger.lean().u_kg);
        if failed && (!reading.whole || stand_in_kg > self.rules.stand_in_kg) {
            return (State::Fault, None);
        }
        let now = path.now(temperature_c);
        let weighed = self.weigh(&now);
        if self.overloaded(reading, &now) {
            return (State::Overload, weighed);
        }
        if let Some(Mass { kg, u_kg }) = self.ledger.held() {
            return (State::Held, Some(Weighed { kg, u_kg }));
        }
        if matches!(self.presence, Presence::Empty | Presence::Leaving) {
            return (State::Empty, None);
        }
        // What is left of the load must be somebody, whatever was entered.
        if self.is_settled(reading) && weighed.is_some_and(|weighed| weighed.kg >= LEAST_PATIENT_KG) {
            self.last_settled = weighed;
            return (State::Settled, weighed);
        }
        (State::Moving, weighed)
    }

    fn weigh(&self, now: &Rest) -> Option<Weighed> {
        let kg = self.ledger.remainder_kg(now.level.kg)?;
        let u_kg = self.ledger.u_kg(&self.config, now)?;
        Some(Weighed { kg, u_kg })
    }

    /// The uncertainty of the weight by its parts; `None` without a tare.
    pub(crate) fn doubt(&self, path: &Path, temperature_c: Option<f64>) -> Option<Doubt> {
        self.ledger.doubt(&self.config, &path.now(temperature_c))
    }

    fn overloaded(&self, reading: &Reading<CELLS, PLATES, SECTIONS>, now: &Rest) -> bool {
        let net = self.ledger.tare().map_or(0.0, |tare| now.level.kg - tare.level.kg);
        reading.whole && (net > self.rules.most_kg || reading.overloaded.contains(&true))
    }

    fn is_settled(&self, reading: &Reading<CELLS, PLATES, SECTIONS>) -> bool {
        let old_enough = |since: Option<f64>, s: f64| since.is_some_and(|since| reading.t_s - since >= s);
        reading.motion == Motion::Settled
            && self.presence == Presence::On
            && self.hold.is_none()
            && self.ledger.open().is_empty()
            && old_enough(Some(self.found_s), self.rules.believe_s)
            && old_enough(self.first_s, self.rules.believe_first_s)
    }

    /// Items that lie on the deck, or are missing from the tare.
    pub(crate) fn items(&self) -> Vec<NamedItem> {
        let name = |id: u16| self.names.get(usize::from(id)).cloned().unwrap_or_default();
        let named = |item: &signal::Item| NamedItem { name: name(item.id), kg: item.mass.kg, u_kg: item.mass.u_kg };
        self.ledger.items().iter().map(named).collect()
    }

    /// The ledger's number of a name; 0 is the unnamed, and whatever comes after the last number.
    fn id_of(&mut self, name: &str) -> u16 {
        let at = self.names.iter().position(|known| known == name).unwrap_or_else(|| self.new_name(name));
        u16::try_from(at).unwrap_or(0)
    }

    /// A place for a name: one that no item bears any more is given anew, so that a year of names takes no more room than a day of them.
    fn new_name(&mut self, name: &str) -> usize {
        let borne = |at: usize| {
            let bears = |id: u16| usize::from(id) == at;
            self.ledger.items().iter().any(|item| bears(item.id)) || self.mendable.is_some_and(|last| bears(last.item))
        };
        let free = (1..self.names.len()).find(|at| !borne(*at));
        match free.and_then(|at| Some((at, self.names.get_mut(at)?))) {
            Some((at, place)) => {
                name.clone_into(place);
                at
            }
            None => {
                self.names.push(name.to_owned());
                self.names.len() - 1
            }
        }
    }

    /// Puts an amount on an item.
    fn give(&mut self, name: &str, mass: Mass) -> u16 {
        let id = self.id_of(name);
        self.ledger.add_item(id, mass);
        id
    }

    /// Uncertainty of a difference over `apart_s` up to now in which the patient may have gained or lost.
    fn u_step(&self, u_kg: f64, apart_s: f64) -> f64 {
        u_kg.hypot(self.fluid(self.found_s, apart_s).u_kg)
    }

    /// What the patient gains over `apart_s` up to `t_s`.
    fn fluid(&self, t_s: f64, apart_s: f64) -> Mass {
        let apart_s = apart_s.max(0.0);
        let unseen = self.pace.over(t_s - apart_s, apart_s, self.usual_pace());
        Mass { kg: unseen.kg, u_kg: unseen.var.sqrt() }
    }

    /// Of a patient of this weight; of an adult's where nobody was weighed.
    fn usual_pace(&self) -> f64 {
        self.last_settled.map_or(self.rules.fluid_kg_s, |last| usual_kg_s(self.rules.fluid_kg_s, last.kg))
    }

    /// Learns the pace from the plateau that a step has ended, and begins with the next.
    fn learn_pace(&mut self, step: &Step) {
        // The plateau before a care is the patient's alone; those in it are not.
        let in_care = self.hold.as_ref().is_some_and(|hold| hold.before.is_some());
        let alone = self.presence == Presence::On && !in_care && !step.rewired;
        if let Some((before, first_s)) = step.before.zip(self.first_s).filter(|_| alone) {
            let creep_kg = self.config.limits().doubt.creep_rel * before.level.kg;
            if self.pace.learn(&before.level, self.usual_pace(), creep_kg, first_s) {
                self.judge_care_again(before.level.t_s);
            }
        } else {
            self.pace.forget_plateau();
        }
        self.pace.begin(&step.after.level);
    }

    /// Learns the pace from a plateau that lasts; called with every sample.
    pub(crate) fn follow(&mut self, path: &Path) {
        let reading = path.reading();
        let Some(first_s) = self.first_s.filter(|_| reading.motion == Motion::Settled && self.presence == Presence::On)
        else {
            return;
        };
        if self.hold.as_ref().is_some_and(|hold| hold.before.is_some()) {
            return;
        }
        let creep_kg = self.config.limits().doubt.creep_rel * reading.level.kg;
        if self.pace.follow(&reading.level, self.usual_pace(), creep_kg, first_s) {
            self.judge_care_again(reading.t_s);
        }
    }

    /// Smallest difference that counts as one.
    fn least(&self, u_kg: f64) -> f64 {
        self.rules.least_kg.max(3.0 * u_kg)
    }

    fn u_stated(&self, kg: f64) -> f64 {
        self.rules.stated_kg.hypot(self.rules.stated_rel * kg)
    }

    /// A net load that is nobody, next to the patient who lay there.
    fn is_nobody(&self, net_kg: f64) -> bool {
        let patient = self.last_settled.map_or(self.rules.someone_kg, |last| last.kg);
        net_kg < (0.05 * patient).max((0.2 * self.rules.someone_kg).min(0.5 * patient))
    }
}
