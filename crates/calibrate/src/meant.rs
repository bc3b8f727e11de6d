//! Whether what lies on the deck may be what a step of a run asks for, by the data sheet of the cells: a body that was never put
//! there, another one, one on another plate, one that still stands where the reading before was taken.
//!
//! | symbol | name       | meaning                                                                  | unit |
//! |--------|------------|--------------------------------------------------------------------------|------|
//! | mᵢ     | `moved_kg` | what cell i bears more than at the last reading without load             | kg   |
//! | eᵢ     | `asked_kg` | what the plan expects it to bear more                                    | kg   |
//! | D      | `apart`    | ½ Σ \|mᵢ/Σm − eᵢ/Σe\| over the cells of the plate: the part of the load that lies elsewhere | – |
//!
//! It is a question to a person, not a verdict: cells may be exchanged, reversed or dead, and their data sheets may be wrong, which
//! the run is there to find out. Bounds are engineering choices (no source): a data sheet is good to some per cent, a place to some
//! millimetres, so that they stand far off both.

use crate::plan::{Lift, Plan};
use formats::deck::Deck;

/// A known body weighs between so many times what is asked for.
const KNOWN: [f64; 2] = [0.75, 1.33];
/// One whose mass is only said roughly.
const ROUGH: [f64; 2] = [0.5, 2.0];
/// So much of a body on another plate is that body there.
const MOST: f64 = 0.5;
/// So much of a load may lie elsewhere on its plate than the plan expects.
const APART: f64 = 0.25;
/// Places of which the plan expects less to differ are not told apart.
const ALIKE: f64 = 0.05;
/// A change of all cells together from here on is one of the load, kg; less where the plan's bodies are lighter.
const MOVED_KG: f64 = 0.5;

/// What speaks against its being the load that is asked for.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum Doubt {
    /// A deck that is to be empty is not as it was when it was read without load.
    #[error("the deck bears {kg:+.2} kg against its last reading without load: is everything off?")]
    NotEmpty {
        /// By the data sheet, kg.
        kg: f64,
    },
    /// Nothing came, or another body.
    #[error(
        "{found_kg:.2} kg came onto plate {plate} by the data sheet, {asked_kg:.2} kg are asked for: look at what stands there"
    )]
    OtherMass {
        /// The plate that is asked for.
        plate: String,
        /// By the data sheet, kg.
        found_kg: f64,
        /// kg.
        asked_kg: f64,
    },
    /// It stands on another plate.
    #[error("{found_kg:.2} kg stand on plate {found}, and plate {asked} is asked for: look at where it stands")]
    OtherPlate {
        /// Where most of it stands.
        found: String,
        /// By the data sheet, kg.
        found_kg: f64,
        /// Where it is to stand.
        asked: String,
    },
    /// It stands elsewhere on its plate, or two cells are exchanged.
    #[error(
        "the cells of plate {plate} do not share the load as they should: look at its place, and whether cells are exchanged"
    )]
    OtherPlace {
        /// The plate.
        plate: String,
    },
}

/// What speaks against taking a reading of `asked` (`None`: the empty deck), where the cells bear `moved_kg` more than at the last
/// reading without load, kg in the order of the deck. `before` is the placement that was read last, if any.
#[must_use]
pub fn doubt(deck: &Deck, plan: &Plan, asked: Option<&Lift>, before: Option<&Lift>, moved_kg: &[f64]) -> Option<Doubt> {
    let Some(asked) = asked else {
        let kg: f64 = moved_kg.iter().sum();
        return (sum_of_sizes(moved_kg) >= least_kg(plan)).then_some(Doubt::NotEmpty { kg });
    };
    let on = |name: &str| -> Vec<f64> {
        let cells = deck.cells().zip(moved_kg);
        cells.filter(|((plate, _), _)| deck.plates[*plate].name == name).map(|(_, kg)| *kg).collect()
    };
    let sums = deck.plates.iter().map(|p| (&p.name, on(&p.name).iter().sum::<f64>()));
    let elsewhere = sums.filter(|(name, _)| **name != asked.plate).max_by(|a, b| a.1.total_cmp(&b.1));
    if let Some((found, found_kg)) = elsewhere.filter(|(_, kg)| *kg >= MOST * asked.about_kg) {
        return Some(Doubt::OtherPlate { found: found.clone(), found_kg, asked: asked.plate.clone() });
    }
    let here = on(&asked.plate);
    let found_kg: f64 = here.iter().sum();
    let [least, most] = if asked.mass_kg.is_some() { KNOWN } else { ROUGH };
    if !(least * asked.about_kg..=most * asked.about_kg).contains(&found_kg) {
        return Some(Doubt::OtherMass { plate: asked.plate.clone(), found_kg, asked_kg: asked.about_kg });
    }
    let off = apart(&here, &asked.cells_kg);
    let still = before.filter(|b| b.plate == asked.plate && apart(&b.cells_kg, &asked.cells_kg) > ALIKE);
    let is_still_there = still.is_some_and(|b| apart(&here, &b.cells_kg) < off);
    (off > APART || is_still_there).then(|| Doubt::OtherPlace { plate: asked.plate.clone() })
}

/// Whether the load changed by what the cells bear more or less than at another reading, kg.
#[must_use]
pub fn is_moved(plan: &Plan, moved_kg: &[f64]) -> bool {
    sum_of_sizes(moved_kg) >= least_kg(plan)
}

fn sum_of_sizes(kg: &[f64]) -> f64 {
    kg.iter().map(|kg| kg.abs()).sum()
}

fn least_kg(plan: &Plan) -> f64 {
    plan.lifts.iter().map(|l| l.about_kg / 2.0).fold(MOVED_KG, f64::min)
}

/// The part of one load that the other has on other cells.
fn apart(one: &[f64], other: &[f64]) -> f64 {
    let [a, b] = [one, other].map(|kg| kg.iter().sum::<f64>());
    if a.abs() < f64::EPSILON || b.abs() < f64::EPSILON {
        return 1.0;
    }
    one.iter().zip(other).map(|(x, y)| (x / a - y / b).abs()).sum::<f64>() / 2.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::{PlanOptions, plan};

    const MASSES: &str = "name,mass_kg,u_g,count,about_kg\nF1,20,0.6,1,\nF2,10,0.3,1,\ncan,,,1,15\n";

    fn planned() -> (Deck, Plan) {
        let deck = formats::deck::read("deck.toml", include_str!("../../formats/data/examples/deck.toml")).unwrap();
        let masses = formats::masses::read("masses.csv", MASSES).unwrap();
        let plan = plan(&deck, &masses, &PlanOptions::default()).unwrap();
        (deck, plan)
    }

    /// What the cells bear where a lift stands, times `factor`: by hand from the plan's own shares.
    fn borne(deck: &Deck, lift: &Lift, factor: f64) -> Vec<f64> {
        let mut shares = lift.cells_kg.iter();
        let of = |plate: usize, shares: &mut std::slice::Iter<'_, f64>| {
            if deck.plates[plate].name == lift.plate { factor * shares.next().copied().unwrap_or(0.0) } else { 0.0 }
        };
        deck.cells().map(|(plate, _)| of(plate, &mut shares)).collect()
    }

    #[test]
    fn what_is_asked_for_is_not_doubted_and_what_is_not_there_is() {
        let (deck, plan) = planned();
        for (i, lift) in plan.lifts.iter().enumerate() {
            let before = i.checked_sub(1).map(|b| &plan.lifts[b]);
            let right = borne(&deck, lift, 1.0);
            for factor in [0.95, 1.0, 1.05] {
                let found = doubt(&deck, &plan, Some(lift), before, &borne(&deck, lift, factor));
                assert_eq!(found, None, "{} at {factor}", lift.step);
            }
            let nothing = doubt(&deck, &plan, Some(lift), before, &vec![0.0; right.len()]);
            assert!(matches!(nothing, Some(Doubt::OtherMass { found_kg, .. }) if found_kg == 0.0), "{nothing:?}");
            let told = doubt(&deck, &plan, None, Some(lift), &right);
            assert!(matches!(told, Some(Doubt::NotEmpty { kg }) if kg > 9.0), "{told:?}");
            // The reading before, with nothing moved since.
            if let Some(before) = before {
                let still = doubt(&deck, &plan, Some(lift), Some(before), &borne(&deck, before, 1.0));
                let is_alike = before.plate == lift.plate && apart(&before.cells_kg, &lift.cells_kg) <= ALIKE;
                assert!(still.is_some() || is_alike, "step {} is taken of step {}'s load", lift.step, before.step);
            }
        }
        assert_eq!(doubt(&deck, &plan, None, None, &vec![0.005; deck.cells().count()]), None);
    }

    #[test]
    fn another_body_and_another_plate_are_named_in_kilograms() {
        let (deck, plan) = planned();
        let heavy = plan.lifts.iter().find(|l| l.mass_kg == Some(20.0)).unwrap();
        let half = doubt(&deck, &plan, Some(heavy), None, &borne(&deck, heavy, 0.5)).unwrap();
        assert!(half.to_string().starts_with("10.00 kg came onto plate "), "{half}");
        assert!(half.to_string().contains("20.00 kg are asked for"), "{half}");
        let other = plan.lifts.iter().find(|l| l.plate != heavy.plate && l.mass_kg == Some(20.0)).unwrap();
        let beside = doubt(&deck, &plan, Some(heavy), None, &borne(&deck, other, 1.0)).unwrap();
        assert!(matches!(&beside, Doubt::OtherPlate { found, .. } if *found == other.plate), "{beside:?}");
        assert!(beside.to_string().contains(&format!("20.00 kg stand on plate {}", other.plate)), "{beside}");
    }

    #[test]
    fn the_load_is_moved_by_half_a_kilogram_and_not_by_what_drifts() {
        let (deck, plan) = planned();
        let n = deck.cells().count();
        assert!(!is_moved(&plan, &vec![0.006; n]));
        let mut swapped = vec![0.0; n];
        (swapped[0], swapped[1]) = (2.0, -2.0);
        assert!(is_moved(&plan, &swapped), "a body pushed to another place is moved, though the sum stays");
    }
}
