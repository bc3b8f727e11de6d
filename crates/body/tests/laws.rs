//! Laws that hold for every body on every bed.

mod common;

use body::anthropometry::segments;
use body::{Bed, Person, Place, Sex, lay};
use common::center_of_mass_above_hip_m;
use proptest::prelude::*;

fn person() -> impl Strategy<Value = Person> {
    (2.0..300.0, 0.45..2.1, any::<bool>()).prop_map(|(mass_kg, stature_m, male)| Person {
        mass_kg,
        stature_m,
        sex: if male { Sex::Male } else { Sex::Female },
    })
}

fn bed() -> impl Strategy<Value = Bed> {
    (prop::collection::vec(0.15..0.9, 1..6), 0.6..1.2)
        .prop_map(|(section_lengths_m, width_m)| Bed { section_lengths_m, width_m })
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, rng_seed: proptest::test_runner::RngSeed::Fixed(11), ..ProptestConfig::default() })]

    #[test]
    fn segments_add_up_to_the_body(person in person()) {
        let parts = segments(&person).unwrap();
        let sum: f64 = parts.iter().map(|s| s.mass_kg * if s.part.is_paired() { 2.0 } else { 1.0 }).sum();
        prop_assert!((sum / person.mass_kg - 1.0).abs() < 1e-12);
        prop_assert!(parts.iter().all(|s| s.mass_kg > 0.0 && s.length_m > 0.0));
    }

    #[test]
    fn all_mass_lies_on_the_bed(person in person(), bed in bed(), spread in 0.0..0.12_f64) {
        let place = Place { spread_m: spread, ..Place::usual(&person, &bed).unwrap() };
        let laid = lay(&person, &bed, &place).unwrap();
        let sum: f64 = laid.pieces.iter().map(|p| p.mass_kg).sum();
        prop_assert!((sum / person.mass_kg - 1.0).abs() < 1e-12, "{sum}");
        let spans = bed.spans_m();
        for p in &laid.pieces {
            let [from, to] = spans[p.section];
            prop_assert!(p.x_m[0] >= from - 1e-12 && p.x_m[1] <= to + 1e-12 && p.x_m[0] < p.x_m[1]);
            prop_assert!(p.y_m[0] >= -1e-12 && p.y_m[1] <= bed.width_m + 1e-12 && p.y_m[0] < p.y_m[1]);
        }
    }

    /// On a bed wide and long enough, neither spread nor hinges move the centre of mass, along or across.
    #[test]
    fn the_center_of_mass_is_kept(
        person in person(),
        lengths in prop::collection::vec(0.2..0.9_f64, 1..5),
        spread in 0.0..0.12_f64,
    ) {
        let mut section_lengths_m = lengths;
        section_lengths_m.push(5.0);
        let bed = Bed { section_lengths_m, width_m: 4.0 };
        let place = Place { hip_x_m: 2.0, center_y_m: 2.0, spread_m: spread };
        let laid = lay(&person, &bed, &place).unwrap();
        let moment = |axis: fn(&body::Pressure) -> [f64; 2]| -> f64 {
            laid.pieces.iter().map(|p| p.mass_kg * (axis(p)[0] + axis(p)[1]) / 2.0).sum::<f64>() / person.mass_kg
        };
        let above = center_of_mass_above_hip_m(&person);
        prop_assert!((moment(|p| p.x_m) - (2.0 - above)).abs() < 1e-9);
        prop_assert!((moment(|p| p.y_m) - 2.0).abs() < 1e-9);
    }
}
