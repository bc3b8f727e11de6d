//! Which loads to put where so that the tests of OIML R 76-1 are made with the bodies at hand.
//!
//! What is planned is zero, weighing up and down, eccentricity, repeatability, discrimination, tare, half an hour under load with the
//! return of zero, each section that moves at its angles, and the range of temperature. What the bodies do not suffice for, and what the
//! deck does not have, is listed as left to do by hand. Who has no chamber leaves a kind of test out: that is the session's, not the plan's.
//!
//! | module  | what it does |
//! |---------|--------------|
//! | `loads` | makes a load of pieces, and lays it on the plates |
//! | `tests` | the steps of each kind of test that masses alone can make |
//! | `surroundings` | the steps at an angle, and warm and cold |
//!
//! Loads of the whole deck are laid on the middles of the plates, the heaviest pieces first, each where the load by area is least.
//! Not here: what the deck shows ([`crate::indication`]), limits, pages.

mod loads;
mod surroundings;
mod tests;

use formats::deck::Deck;
use formats::masses::Mass;
use formats::tests::TestKind;
use serde::Serialize;

use loads::Pieces;
pub use surroundings::{TEMPERATURE_OPEN, TILT_OPEN};

/// Side of a body's foot, mm: how far its middle stays from an edge.
const FOOT_MM: f64 = 150.0;

/// A body on its mark.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Placed {
    /// Name of the body, as in masses.csv.
    pub body: String,
    /// Conventional mass, kg.
    pub mass_kg: f64,
    /// Plate that it stands on.
    pub plate: String,
    /// Its middle on the plate, mm from the head end and from the patient's right.
    pub at_mm: [f64; 2],
}

/// What is done at a step.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Act {
    /// The indication becomes zero; no row of tests.csv.
    SetZero,
    /// The net indication becomes zero; no row of tests.csv.
    SetTare,
    /// A reading: one row of tests.csv.
    Read,
}

/// One step.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Step {
    /// Which test it belongs to, by the word of tests.csv.
    #[serde(serialize_with = "word")]
    pub kind: TestKind,
    /// What goes into the column `step`.
    pub step: String,
    /// What is done once the load stands there.
    pub act: Act,
    /// What stands on the deck, and nothing else.
    pub bodies: Vec<Placed>,
    /// The load of the row, kg: their sum, without what was tared.
    pub load_kg: f64,
    /// When to read, minutes after the first reading under this load; `None`: once it has settled.
    pub minutes: Option<f64>,
    /// How bed and room stand; `None`: every section flat, the room as it is.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub setting: Option<Setting>,
}

/// How bed and room stand at a step.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Setting {
    /// One section stands at an angle, every other one lies flat.
    Tilt {
        /// Name of the section.
        section: String,
        /// Plate of the row, also where nothing stands on it.
        plate: String,
        /// The angle asked for, °; 0: flat.
        deg: f64,
    },
    /// The deck is as warm as the room or chamber.
    Temperature {
        /// The temperature asked for, °C.
        celsius: f64,
    },
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "the shape that serde asks for")]
fn word<S: serde::Serializer>(kind: &TestKind, out: S) -> Result<S::Ok, S::Error> {
    out.serialize_str(kind.word())
}

/// A planned verification.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TestPlan {
    /// Name of the deck.
    pub deck: String,
    /// The steps, in their order.
    pub steps: Vec<Step>,
    /// What the recommendation asks and these bodies, or a bench, cannot test.
    pub open: Vec<String>,
}

/// Why there is no plan.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum PlanError {
    /// Nothing to test with.
    #[error("no body of known mass is at hand, expected at least one with mass_kg in masses.csv")]
    NoMass,
    /// The deck cannot be computed.
    #[error(transparent)]
    Deck(#[from] deck::DeckError),
}

/// Plans the tests that the bodies at hand allow.
///
/// # Errors
/// No body of known mass; a deck that cannot be computed.
pub fn plan(deck: &Deck, masses: &[Mass]) -> Result<TestPlan, PlanError> {
    let pieces = Pieces::new(deck, masses)?;
    let mut planned = tests::Planned::new(deck, &pieces);
    planned.zero();
    planned.weighing();
    planned.eccentricity();
    planned.repeatability();
    planned.discrimination();
    planned.tare();
    planned.creep();
    planned.tilt();
    planned.temperature();
    let (steps, mut open) = planned.finish();
    open.extend(pieces.doubts(deck, &steps));
    Ok(TestPlan { deck: deck.name.clone(), steps, open })
}

#[cfg(test)]
mod checks {
    use super::*;
    use deck::oiml::r76;

    fn deck() -> Deck {
        formats::deck::read("deck.toml", include_str!("../../tests/data/deck.toml")).unwrap()
    }

    fn mass(name: &str, kg: Option<f64>, count: u32) -> Mass {
        Mass { line: 2, name: name.into(), mass_kg: kg, u_g: 0.5, count, about_kg: None }
    }

    /// Bodies of a workshop that can reach Max of 200 kg. Invented.
    fn many() -> Vec<Mass> {
        vec![
            mass("F20", Some(20.0), 9),
            mass("F10", Some(10.0), 1),
            mass("F5", Some(5.0), 1),
            mass("F2", Some(2.0), 2),
            mass("F1", Some(1.0), 1),
            mass("S100", Some(0.1), 1),
            mass("S20", Some(0.02), 2),
        ]
    }

    fn of(plan: &TestPlan, kind: TestKind) -> Vec<&Step> {
        plan.steps.iter().filter(|s| s.kind == kind && s.act == Act::Read).collect()
    }

    /// A.4.4 (read-2nd): at least five loads with Min, Max and the steps of Table 6, up and down again.
    #[test]
    fn weighing_goes_up_and_down_with_min_max_and_the_steps_of_the_permissible_error() {
        let deck = deck();
        let plan = plan(&deck, &many()).unwrap();
        let loads: Vec<f64> = of(&plan, TestKind::Weighing).iter().map(|s| s.load_kg).collect();
        let top = loads.iter().position(|kg| (*kg - deck.max_kg).abs() < 1e-9).expect("Max");
        assert!(loads[..=top].is_sorted() && loads[top..].is_sorted_by(|a, b| a >= b), "{loads:?}");
        assert!(loads.len() >= 11 && loads[0] == 0.0 && loads.last() == Some(&0.0), "{loads:?}");
        let min_kg = r76::class_limits(deck.class, deck.e_g).unwrap().min_capacity_e * deck.e_g / 1e3;
        for wanted in r76::mpe_steps_kg(deck.class, deck.e_g, deck.max_kg).into_iter().chain([min_kg]) {
            assert!(loads.iter().any(|kg| (kg - wanted).abs() < 1e-9), "{wanted} kg in {loads:?}");
        }
    }

    #[test]
    fn every_support_is_loaded_with_its_part_of_max_and_the_body_stands_on_its_plate() {
        let deck = deck();
        let plan = plan(&deck, &many()).unwrap();
        let loaded: Vec<&Step> = of(&plan, TestKind::Eccentricity).into_iter().filter(|s| s.load_kg > 0.0).collect();
        let n = deck.cells().count();
        assert_eq!(loaded.len(), n);
        let wanted = r76::eccentricity_load_kg(deck.max_kg, n);
        for step in loaded {
            assert!((step.load_kg - wanted).abs() <= 0.2 * wanted, "{step:?}");
            for placed in &step.bodies {
                let plate = deck.plate(&placed.plate).unwrap();
                for axis in [0, 1] {
                    let half = (FOOT_MM / 2.0).min(plate.size_mm[axis] / 2.0);
                    assert!((half..=plate.size_mm[axis] - half).contains(&placed.at_mm[axis]), "{placed:?}");
                }
            }
        }
    }

    /// No piece is used twice at once, and a step's load is what stands there less what was tared.
    #[test]
    fn a_step_uses_no_piece_twice_and_its_load_is_the_sum_of_its_bodies() {
        let deck = deck();
        let plan = plan(&deck, &many()).unwrap();
        let mut tare_kg = 0.0;
        for step in &plan.steps {
            for mass in many() {
                let used = step.bodies.iter().filter(|b| b.body == mass.name).count();
                assert!(used <= mass.count as usize, "{} of {} in {step:?}", used, mass.name);
            }
            let stands: f64 = step.bodies.iter().map(|b| b.mass_kg).sum();
            if step.act == Act::SetTare {
                tare_kg = stands;
            }
            let expected = if step.kind == TestKind::Tare { stands - tare_kg } else { stands };
            assert!(step.load_kg.is_sign_positive(), "no load is 0, not −0: {step:?}");
            assert!((step.load_kg - expected).abs() < 1e-9, "{step:?}");
            assert!(stands <= deck.max_kg + 1e-9, "{step:?}");
        }
    }

    /// 3.8.2.2 (read-2nd): 1.4 d more must show.
    #[test]
    fn discrimination_adds_at_least_one_and_four_tenths_of_e() {
        let plan = plan(&deck(), &many()).unwrap();
        let rows = of(&plan, TestKind::Discrimination);
        let loads: Vec<f64> = rows.iter().step_by(2).map(|s| s.load_kg).collect();
        let near = |i: usize, kg: f64| (loads[i] - kg).abs() < 1e-9;
        assert!(loads.len() == 3 && near(0, 2.0) && near(1, 100.0) && loads[2] > 190.0, "{loads:?}");
        for pair in rows.chunks(2) {
            assert_eq!(pair[0].step, pair[1].step);
            let added_g = 1e3 * (pair[1].load_kg - pair[0].load_kg);
            assert!((140.0 - 1e-6..=200.0).contains(&added_g), "{added_g} g");
        }
    }

    #[test]
    fn what_two_bodies_cannot_test_is_said_and_a_body_of_unknown_mass_tests_nothing() {
        let deck = deck();
        let few = plan(&deck, &[mass("F1", Some(20.0), 1), mass("F2", Some(10.0), 1), mass("can", None, 4)]).unwrap();
        let open = few.open.join("\n");
        for said in ["Max", "Min", "discrimination", "tilt: these masses make 30.0 kg on a plate, near 50.0 kg"] {
            assert!(open.contains(said), "{said} in {open}");
        }
        assert!(few.steps.iter().all(|s| s.load_kg <= 30.0 && s.bodies.iter().all(|b| b.body != "can")));
        assert_eq!(plan(&deck, &[mass("can", None, 4)]), Err(PlanError::NoMass));
    }

    fn tilts(plan: &TestPlan) -> Vec<(&str, &str, f64, f64)> {
        let told = |s: &'_ Step| matches!(s.setting, Some(Setting::Tilt { .. }));
        plan.steps
            .iter()
            .filter(|s| told(s))
            .map(|s| match &s.setting {
                Some(Setting::Tilt { section, plate, deg }) => (section.as_str(), plate.as_str(), *deg, s.load_kg),
                _ => unreachable!("kept above"),
            })
            .collect()
    }

    /// 3.9.1.1 (read-2nd): no load and loaded at each tilt; every plate of a section that moves, at the ends of the range in deck.toml.
    #[test]
    fn every_plate_of_a_moving_section_is_read_empty_and_loaded_flat_and_at_both_ends_of_its_range() {
        let deck = deck();
        let plan = plan(&deck, &many()).unwrap();
        let found = tilts(&plan);
        for section in &deck.sections {
            let [low, high] = section.angle_deg;
            for plate in deck.plates.iter().filter(|p| p.section == section.name) {
                let here: Vec<_> = found.iter().filter(|t| t.1 == plate.name).collect();
                // Flat, and each end that is not flat; empty and loaded.
                let ends = [low, high].iter().filter(|deg| **deg != 0.0).count();
                let expected = if high > low { 2 * (1 + ends) } else { 0 };
                assert_eq!(here.len(), expected, "{here:?}");
                for pair in here.chunks(2) {
                    // The empty reading comes first: it is what the loaded one is zeroed by at its angle.
                    assert!((pair[0].2 - pair[1].2).abs() < 1e-9 && pair[0].3 == 0.0 && pair[1].3 > 0.0, "{pair:?}");
                }
            }
        }
        assert!(!found.is_empty());
        // The lowest load at which the permissible error of class III steps up is 500 e = 50 kg.
        assert!(found.iter().all(|t| t.3 == 0.0 || (t.3 - 50.0).abs() < 1e-9), "{found:?}");
        // The bodies of a row stand on its plate, where it is held to be.
        for step in &plan.steps {
            if let Some(Setting::Tilt { plate, .. }) = &step.setting {
                assert!(step.bodies.iter().all(|b| b.plate == *plate), "{step:?}");
            }
        }
    }

    #[test]
    fn a_section_is_raised_once_for_all_its_plates() {
        let plan = plan(&deck(), &many()).unwrap();
        let mut raised: Vec<(&str, f64)> = tilts(&plan).into_iter().map(|t| (t.0, t.2)).collect();
        raised.dedup();
        let mut once = raised.clone();
        once.sort_by(|a, b| a.partial_cmp(b).unwrap());
        once.dedup();
        assert_eq!(raised.len(), once.len(), "{raised:?}");
    }

    /// 3.9.2 (read-2nd): over the range of use; the zero comes first at each temperature.
    #[test]
    fn zero_and_loads_are_read_at_both_ends_of_the_range_of_temperature_and_between() {
        let deck = deck();
        let plan = plan(&deck, &many()).unwrap();
        let mut by: Vec<(f64, Vec<f64>)> = Vec::new();
        for step in of(&plan, TestKind::Temperature) {
            let Some(Setting::Temperature { celsius }) = step.setting else { panic!("{step:?}") };
            match by.last_mut() {
                Some((same, loads)) if (*same - celsius).abs() < 1e-9 => loads.push(step.load_kg),
                _ => by.push((celsius, vec![step.load_kg])),
            }
        }
        let [low, high] = deck.ambient_c;
        assert_eq!(by.iter().map(|(c, _)| *c).collect::<Vec<_>>(), [low, f64::midpoint(low, high), high]);
        for (_, loads) in by {
            assert!(
                loads[0] == 0.0 && loads.len() >= 3 && (loads[loads.len() - 1] - deck.max_kg).abs() < 1e-9,
                "{loads:?}"
            );
        }
    }

    #[test]
    fn what_has_no_moving_section_and_no_range_of_temperature_is_said_to_have_none() {
        let mut still = deck();
        still.sections.iter_mut().for_each(|s| s.angle_deg = [0.0, 0.0]);
        still.ambient_c = [21.0, 21.2];
        let plan = plan(&still, &many()).unwrap();
        assert!(plan.steps.iter().all(|s| s.setting.is_none()));
        let open = plan.open.join("\n");
        assert!(open.contains("no section of this deck moves") && open.contains("there is no range to test"), "{open}");
    }

    /// 3.7.1 (read-2nd): the errors of the masses at a load within a third of the permissible error there.
    #[test]
    fn masses_too_uncertain_for_the_limits_are_named() {
        let mut coarse = many();
        coarse[0].u_g = 10.0;
        let open = plan(&deck(), &coarse).unwrap().open.join("\n");
        assert!(open.contains("third of the permissible error"), "{open}");
        assert!(!plan(&deck(), &many()).unwrap().open.join("\n").contains("third of the permissible"));
    }
}
