//! The built-in runs of a trial: which deck, which patient, what kind of ward, what fails. All invented.
//!
//! | what     | drawn                                                                                          |
//! |----------|------------------------------------------------------------------------------------------------|
//! | plates   | 3 to 9, evenly                                                                                 |
//! | patient  | 10 % infants of 3–10 kg, 15 % children of 10–40 kg, 55 % adults of 45–110 kg, 20 % of 110–170 kg |
//! | ward     | a third each quiet, usual, busy: contacts 0.8, 1.7, 3.5 an hour (published counts have 1.5–3.6, from memory), turns every 3, 2.5, 2 h, moves of the whole bed 0, 0.3, 1 a day |
//! | bed      | the back raised for some hours in half of the runs, the whole bed tilted for an hour in one of six |
//! | faults   | none in 60 % of the runs, else one or two of those of [`Fault`], of minutes to hours            |
//! | fluids   | the courses of [`Story`], a loss that nobody charts in one run of three                         |
//! | cables   | none, but [`Setting::with_cables`] lays one across a plate in half of the runs: 0.1 to 2 N/mm, friction of 0.2 to 5 N, fixed up to 150 mm from the joint |
//!
//! Shares and ranges are own choices: they are there to meet everything often enough, not to be a ward's census.

use super::decks::PLATES;
use crate::chance::Chance;
use crate::fluid::Story;
use crate::scenario::{Angle, Fault, Gas, Hidden, Patient, Scenario, Sex, Ward};

/// What a run is counted under.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Label {
    /// What runs are grouped by.
    pub group: &'static str,
    /// Place of the value among those of its group.
    pub order: u8,
    /// The value in words.
    pub value: String,
}

/// One run of a trial.
#[derive(Debug, Clone, PartialEq)]
pub struct Setting {
    /// Number that its draws follow from.
    pub seed: u64,
    /// Plates of the deck.
    pub plates: usize,
    /// What happens.
    pub scenario: Scenario,
    /// What it is counted under.
    pub labels: Vec<Label>,
}

/// Number of a run's draws: far apart for runs that follow each other, so that trials of neighbouring seeds share none.
#[must_use]
fn run_seed(seed: u64, run: usize) -> u64 {
    let mut chance = Chance::stream(seed.wrapping_add((run as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15)), "run");
    chance.number()
}

impl Setting {
    /// Draws run `run` of the trial `seed`, `hours` long.
    #[must_use]
    pub fn draw(seed: u64, run: usize, hours: f64) -> Self {
        let seed = run_seed(seed, run);
        let mut chance = Chance::stream(seed, "setting");
        let plates = PLATES[chance.pick(PLATES.len())];
        let (patient, size) = patient(&mut chance);
        let (ward, business) = ward(&mut chance);
        let mut scenario = Scenario { name: format!("run {}", run + 1), hours, patient, ward, ..Scenario::default() };
        if business.order == 2 {
            scenario.patient.restless_per_h = 5.0;
        }
        let child = scenario.patient.mass_kg < 40.0;
        scenario.bed.slip = chance.between(0.0, 0.02);
        scenario.bed.angle = angles(hours, &mut chance);
        scenario.bed.linen_kg = chance.between(0.8, 2.5);
        scenario.bed.mattress_kg = chance.between(8.0, 18.0);
        scenario.room.temperature_c = chance.between(20.0, 25.0);
        scenario.room.swing_c = chance.between(0.2, 1.5);
        let stories = [Story::Steady, Story::Resuscitation, Story::Dialysis, Story::Replacement, Story::Burns];
        scenario.fluid.story = Some(if child { Story::Child } else { stories[chance.pick(stories.len())] });
        if chance.happens(1.0 / 3.0) {
            let from_h = chance.between(0.0, 0.5) * hours;
            let ml = chance.between(2.0, 8.0) * scenario.patient.mass_kg;
            scenario.fluid.hidden = vec![Hidden { from_h, to_h: from_h + 0.4 * hours, ml, leaves_deck: true }];
        }
        scenario.fault = faults(plates, hours, &mut chance);
        let broken = !scenario.fault.is_empty();
        let labels = vec![
            label("plates", plates_word(plates)),
            Label { group: "patient", ..size },
            Label { group: "ward", ..business },
            label("faults", (u8::from(broken), if broken { "some" } else { "none" })),
        ];
        Self { seed, plates, scenario, labels }
    }

    /// The same with a cable or tube across a plate in half of the runs, drawn from a stream of its own: all else stays what it was. Of a run on a built-in deck.
    #[must_use]
    pub fn with_cables(mut self) -> Self {
        let mut chance = Chance::stream(self.seed, "cables");
        // A number out of PLATES is known; another deck has plates of its own.
        let Ok(deck) = super::deck_of(self.plates) else { return self };
        let laid = chance.happens(0.5);
        if laid {
            let hours = self.scenario.hours;
            let plate = &deck.plates[chance.pick(deck.plates.len())];
            let from_h = chance.between(0.0, 0.6) * hours;
            self.scenario.fault.push(Fault::Cable {
                plate: plate.name.clone(),
                from_h,
                to_h: Some(from_h + chance.between(0.05, 0.4) * hours),
                at_mm: [0, 1].map(|axis| chance.between(0.1, 0.9) * plate.size_mm[axis]),
                stiffness_newton_mm: chance.between(0.1, 2.0),
                friction_newton: chance.between(0.2, 5.0),
                reach_mm: chance.between(0.0, 150.0),
            });
        }
        self.labels.push(label("cables", (u8::from(laid), if laid { "one" } else { "none" })));
        self
    }

    /// The same without what names a cell or plate of the built-in deck, on the deck `0` of the caller.
    #[must_use]
    pub fn on_another_deck(mut self) -> Self {
        self.plates = 0;
        self.scenario.fault.retain(|f| matches!(f, Fault::PowerCut { .. }));
        let sections_fit = |angle: &Angle| angle.section.is_none();
        self.scenario.bed.angle.retain(sections_fit);
        self.labels.retain(|l| !matches!(l.group, "plates" | "faults"));
        self
    }

    /// Run `run` of the trial `seed` in a scenario of one's own.
    #[must_use]
    pub fn of(scenario: &Scenario, place: usize, seed: u64, run: usize) -> Self {
        let order = u8::try_from(place).unwrap_or(u8::MAX);
        let labels = vec![Label { group: "scenario", order, value: scenario.name.clone() }];
        Self { seed: run_seed(seed, run), plates: 0, scenario: scenario.clone(), labels }
    }
}

fn label(group: &'static str, (order, value): (u8, &str)) -> Label {
    Label { group, order, value: value.to_owned() }
}

fn plates_word(plates: usize) -> (u8, &'static str) {
    match plates {
        ..=4 => (0, "3 or 4"),
        5 | 6 => (1, "5 or 6"),
        _ => (2, "7 to 9"),
    }
}

fn patient(chance: &mut Chance) -> (Patient, Label) {
    let sex = if chance.happens(0.5) { Sex::Female } else { Sex::Male };
    let draw = chance.between(0.0, 1.0);
    let (size, kg, age_y) = match draw {
        ..0.10 => ((0, "3 to 10 kg"), [3.0, 10.0], chance.between(0.05, 1.0)),
        ..0.25 => ((1, "10 to 40 kg"), [10.0, 40.0], chance.between(1.5, 11.0)),
        ..0.80 => ((2, "45 to 110 kg"), [45.0, 110.0], chance.between(18.0, 90.0)),
        _ => ((3, "110 to 170 kg"), [110.0, 170.0], chance.between(18.0, 75.0)),
    };
    let mass_kg = chance.between(kg[0], kg[1]);
    // Mass over height²: infants near 16, children near 17, adults 18–36, the heaviest 36–52 kg/m².
    let per_m2 = match size.0 {
        0 => chance.between(14.0, 18.0),
        1 => chance.between(15.0, 20.0),
        2 => chance.between(18.0, 36.0).clamp(mass_kg / 3.8, mass_kg / 2.1),
        _ => chance.between(36.0, 52.0),
    };
    let infant = size.0 == 0;
    let patient = Patient {
        sex,
        age_y,
        height_mm: 1000.0 * (mass_kg / per_m2).sqrt(),
        mass_kg,
        ventilated: [Gas::Humidified, Gas::Dry, Gas::No][chance.pick(3)],
        temperature_c: chance.between(36.2, 39.2),
        breaths_min: if infant { chance.between(30.0, 60.0) } else { chance.between(12.0, 26.0) },
        pulse_min: if infant { chance.between(110.0, 160.0) } else { chance.between(60.0, 120.0) },
        restless_per_h: chance.between(0.5, 3.0),
        coughs_per_h: chance.between(0.0, 4.0),
        ..Patient::default()
    };
    (patient, label("patient", size))
}

fn ward(chance: &mut Chance) -> (Ward, Label) {
    let usual = Ward::default();
    let (ward, word) = match chance.pick(3) {
        0 => {
            let ward =
                Ward { turn_every_h: 3.0, contacts_per_h: 0.8, items_per_day: 2.0, sitters_per_day: 0.0, ..usual };
            (ward, (0, "quiet"))
        }
        1 => (Ward { bed_moves_per_day: 0.3, ..usual }, (1, "usual")),
        _ => {
            let ward = Ward {
                turn_every_h: 2.0,
                contacts_per_h: 3.5,
                pads_every_h: 6.0,
                items_per_day: 8.0,
                items_told: 0.8,
                sitters_per_day: 1.0,
                journeys_per_day: 0.5,
                bed_moves_per_day: 1.0,
                action_late_s: 10.0,
                ..usual
            };
            (ward, (2, "busy"))
        }
    };
    (ward, label("ward", word))
}

fn angles(hours: f64, chance: &mut Chance) -> Vec<Angle> {
    let mut angles = Vec::new();
    if chance.happens(0.5) {
        let from_h = chance.between(0.15, 0.5) * hours;
        let to_h = from_h + chance.between(0.1, 0.4) * hours;
        let deg = chance.between(10.0, 45.0).round();
        for (at_h, deg) in [(from_h, deg), (to_h, 0.0)] {
            angles.push(Angle { at_h, section: Some("back".into()), deg, over_s: 20.0 });
        }
    }
    if chance.happens(1.0 / 6.0) {
        let from_h = chance.between(0.1, 0.9) * hours;
        let deg = chance.between(-12.0, 12.0).round();
        for (at_h, deg) in [(from_h, deg), (from_h + (0.05 * hours).min(1.0), 0.0)] {
            angles.push(Angle { at_h, section: None, deg, over_s: 25.0 });
        }
    }
    angles
}

fn faults(plates: usize, hours: f64, chance: &mut Chance) -> Vec<Fault> {
    let n = [0, 0, 0, 1, 2][chance.pick(5)];
    // A number out of PLATES is known.
    let Ok(deck) = super::deck_of(plates) else { return Vec::new() };
    let cells: Vec<&str> = deck.cells().map(|(_, c)| c.name.as_str()).collect();
    let mut faults = Vec::new();
    for _ in 0..n {
        let cell = cells[chance.pick(cells.len())].to_owned();
        let plate = &deck.plates[chance.pick(deck.plates.len())];
        let from_h = chance.between(0.1, 0.8) * hours;
        let to_h = Some(from_h + chance.between(0.01, 0.15) * hours);
        faults.push(match chance.pick(8) {
            0 => Fault::Stuck { cell, from_h, to_h },
            1 => Fault::Lost { cell, from_h, to_h, share: None },
            2 => Fault::Saturated { cell, from_h, to_h },
            3 => Fault::Drifting { cell, from_h, to_h, kg_h: chance.between(0.3, 3.0) },
            4 => Fault::Noisy { cell, from_h, to_h, times: chance.between(5.0, 50.0) },
            5 => Fault::Spikes { cell, from_h, to_h, per_h: chance.between(5.0, 60.0) },
            6 => Fault::Jam {
                plate: plate.name.clone(),
                from_h,
                to_h,
                gap_mm: Some(chance.between(0.0, 0.3)),
                share: None,
                at_mm: [0, 1].map(|axis| chance.between(0.2, 0.8) * plate.size_mm[axis]),
            },
            _ => Fault::PowerCut { from_h, for_s: chance.between(5.0, 900.0) },
        });
    }
    faults
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{BuiltDeck, Night};

    #[test]
    fn runs_repeat_from_their_number_and_differ_from_each_other() {
        assert_eq!(Setting::draw(3, 7, 24.0), Setting::draw(3, 7, 24.0));
        assert_ne!(Setting::draw(3, 7, 24.0).seed, Setting::draw(3, 8, 24.0).seed);
        assert_ne!(Setting::draw(3, 7, 24.0).seed, Setting::draw(4, 7, 24.0).seed);
    }

    #[test]
    fn cables_are_drawn_beside_what_is_drawn_already() {
        let mut laid = 0;
        for run in 0..200 {
            let bare = Setting::draw(9, run, 24.0);
            let mut with = bare.clone().with_cables();
            assert_eq!(with, bare.clone().with_cables());
            with.scenario.check().unwrap();
            let is_cable = |fault: &Fault| matches!(fault, Fault::Cable { .. });
            laid += with.scenario.fault.iter().filter(|fault| is_cable(fault)).count();
            // Without the cable and its label it is the run that it was.
            with.scenario.fault.retain(|fault| !is_cable(fault));
            with.labels.retain(|label| label.group != "cables");
            assert_eq!(with, bare);
        }
        // Half of 200, within three standard deviations of the binomial (√50 = 7).
        assert!((79..=121).contains(&laid), "{laid}");
    }

    #[test]
    fn three_hundred_runs_meet_every_deck_patient_ward_and_fault() {
        let runs: Vec<Setting> = (0..300).map(|run| Setting::draw(1, run, 24.0)).collect();
        let mut labels: Vec<&Label> = runs.iter().flat_map(|r| &r.labels).collect();
        labels.sort();
        labels.dedup();
        assert_eq!(labels.len(), 3 + 4 + 3 + 2, "{labels:?}");
        for n in PLATES {
            assert!(runs.iter().any(|r| r.plates == n));
        }
        let kinds: std::collections::HashSet<_> =
            runs.iter().flat_map(|r| &r.scenario.fault).map(std::mem::discriminant).collect();
        assert_eq!(kinds.len(), 8);
        for run in &runs {
            run.scenario.check().unwrap();
        }
    }

    /// Every layout once, with whatever patient and faults come with it.
    #[test]
    fn a_night_can_be_drawn_in_every_kind_of_run() {
        for n in PLATES {
            let run = (0..).map(|run| Setting::draw(2, run, 3.0)).find(|r| r.plates == n).unwrap();
            let deck = crate::trial::deck_of(n).unwrap();
            let built = BuiltDeck::build(&deck, &run.scenario.cell_spread(), run.seed).unwrap();
            let mut night = Night::new(&deck, &built, &run.scenario, run.seed).unwrap();
            let mut sample = formats::recording::Sample::default();
            for _ in 0..3000 {
                assert!(night.next_sample(&mut sample).unwrap());
            }
        }
    }
}
