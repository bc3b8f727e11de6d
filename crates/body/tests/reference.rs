//! Published and independently computed figures of a body on a bed.

mod common;

use body::anthropometry::{hip_height_m, segments};
use body::{Bed, Part, Person, Place, Sex, lay};
use common::center_of_mass_above_hip_m;
use published::within;

fn adult(sex: Sex) -> Person {
    let stature_m = match sex {
        Sex::Male => 1.741,
        Sex::Female => 1.735,
    };
    Person { mass_kg: 100.0, stature_m, sex }
}

/// Source: mass and centre-of-mass fractions of de Leva 1996; computed by an independent script (four sections: back,
/// seat 220 mm, thigh 370 mm, foot the rest; hinge of back and seat 100, 50 or 0 mm above the hip joint; no spread).
#[test]
fn shares_of_the_sections_supine() {
    let table = [
        (Sex::Male, 0.100, [0.4767, 0.2227, 0.2018, 0.0988]),
        (Sex::Male, 0.050, [0.5326, 0.2094, 0.1703, 0.0877]),
        (Sex::Male, 0.000, [0.5885, 0.1945, 0.1405, 0.0764]),
        (Sex::Female, 0.100, [0.4911, 0.2245, 0.1930, 0.0913]),
        (Sex::Female, 0.050, [0.5317, 0.2394, 0.1501, 0.0788]),
        (Sex::Female, 0.000, [0.5703, 0.2563, 0.1071, 0.0662]),
    ];
    let bed = Bed { section_lengths_m: vec![0.9, 0.22, 0.37, 0.7], width_m: 0.9 };
    for (sex, hip_below_m, shares) in table {
        let place = Place { hip_x_m: 0.9 + hip_below_m, center_y_m: 0.45, spread_m: 0.0 };
        let laid = lay(&adult(sex), &bed, &place).unwrap();
        for (section, share) in shares.into_iter().enumerate() {
            let kg: f64 = laid.pieces.iter().filter(|p| p.section == section).map(|p| p.mass_kg).sum();
            // 4e-4: the parts of the trunk, rounded to 1 mm, add up to 1 mm more than the trunk; we scale them, the script did not.
            within(kg / 100.0, share, 4e-4);
        }
    }
}

/// Source: the same script: centre of mass 68.7 mm (M) and 87.0 mm (F) above the hip joint, 0.570 and 0.551 of the stature
/// above the soles (measured values of the literature 0.55 to 0.57).
#[test]
fn center_of_mass_of_an_adult() {
    for (sex, above_mm, share) in [(Sex::Male, 68.7, 0.570), (Sex::Female, 87.0, 0.551)] {
        let person = adult(sex);
        let above_m = center_of_mass_above_hip_m(&person);
        // 0.5 mm: where along the bed the foot of 1.4 % each is put moves it by as much.
        within(above_m * 1000.0, above_mm, 0.5);
        let from_sole = (hip_height_m(&person).unwrap() + above_m) / person.stature_m;
        within(from_sole, share, 6e-4);
    }
}

/// Source: de Leva 1996, sums over whole segments: head, upper and middle trunk and arms M 0.4911, F 0.4576; thighs 0.2832, 0.2956;
/// shanks and feet 0.1140, 0.1220 (before renormalising; F sums to 0.9999).
#[test]
fn whole_segment_sums() {
    for (sex, upper, thighs, legs) in [(Sex::Male, 0.4911, 0.2832, 0.1140), (Sex::Female, 0.4576, 0.2956, 0.1220)] {
        let parts = segments(&adult(sex)).unwrap();
        let sum = |wanted: &[Part]| -> f64 {
            parts
                .iter()
                .filter(|s| wanted.contains(&s.part))
                .map(|s| s.mass_kg / 100.0 * if s.part.is_paired() { 2.0 } else { 1.0 })
                .sum()
        };
        let upper_parts = [Part::Head, Part::UpperTrunk, Part::MiddleTrunk, Part::UpperArm, Part::Forearm, Part::Hand];
        // 1e-4: renormalising moves each by up to 5e-5.
        within(sum(&upper_parts), upper, 1e-4);
        within(sum(&[Part::Thigh]), thighs, 1e-4);
        within(sum(&[Part::Shank, Part::Foot]), legs, 1e-4);
    }
}

/// Source: Jensen 1986: head share of boys 0.2376 − 0.0114 · age, at birth, 4 and 8 years.
#[test]
fn a_child_has_the_head_of_its_age() {
    for (stature_m, age) in [(0.50, 0.0), (1.03, 4.0), (1.28, 8.0)] {
        let child = Person { mass_kg: 10.0, stature_m, sex: Sex::Male };
        let head = segments(&child).unwrap()[0].mass_kg / 10.0;
        within(head, 0.2376 - 0.0114 * age, 1e-12);
    }
}
