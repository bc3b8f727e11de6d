//! Which loads to put where so that the tests of OIML R 76-1 are made with the bodies at hand.
//!
//! What is planned is what masses can test on a bench: zero, weighing up and down, eccentricity, repeatability,
//! discrimination, tare, and half an hour under load with the return of zero. Temperature and tilt need a chamber and a bed
//! that moves: they are listed as left to do by hand. So is everything for which the bodies do not suffice.
//!
//! | module  | what it does |
//! |---------|--------------|
//! | `loads` | makes a load of pieces, and lays it on the plates |
//! | `tests` | the steps of each kind of test |
//!
//! Loads of the whole deck are laid on the middles of the plates, the heaviest pieces first, each where the load by area is least.
//! Not here: what the deck shows ([`crate::indication`]), limits, pages.

mod loads;
mod tests;

use formats::deck::Deck;
use formats::masses::Mass;
use formats::tests::TestKind;
use serde::Serialize;

use loads::Pieces;

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
    let (steps, mut open) = planned.finish();
    open.extend(pieces.doubts(deck, &steps));
    open.push("tilt: each moving section at its angles, loaded and not, by rows added to tests.csv (3.9.1.1)".into());
    open.push("temperature: over the range of use, in a chamber, by rows added to tests.csv (3.9.2)".into());
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
        for said in ["Max", "Min", "discrimination", "tilt", "temperature"] {
            assert!(open.contains(said), "{said} in {open}");
        }
        assert!(few.steps.iter().all(|s| s.load_kg <= 30.0 && s.bodies.iter().all(|b| b.body != "can")));
        assert_eq!(plan(&deck, &[mass("can", None, 4)]), Err(PlanError::NoMass));
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
