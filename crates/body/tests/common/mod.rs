//! What the tests work out of the segments by themselves.

use body::{Person, segments};

/// Centre of mass of a person lying straight with the arms at the sides, m above the hip joint towards the head.
pub(crate) fn center_of_mass_above_hip_m(person: &Person) -> f64 {
    let moment = |s: &body::anthropometry::Segment| {
        let count = if s.part.is_paired() { 2.0 } else { 1.0 };
        count * s.mass_kg * s.center_above_hip_m()
    };
    segments(person).unwrap().iter().map(moment).sum::<f64>() / person.mass_kg
}
