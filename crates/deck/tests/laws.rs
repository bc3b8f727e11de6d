//! Laws that hold for every load on a deck.

use deck::gravity_m_s2;
use deck::loads::spread;
use formats::deck::{Deck, LoadCase, PatientLoad, Sex};
use proptest::prelude::*;

fn rowan() -> Deck {
    formats::deck::read("rowan.toml", include_str!("data/rowan.toml")).unwrap()
}

fn patient() -> impl Strategy<Value = PatientLoad> {
    (2.0..300.0_f64, 450.0..2050.0_f64, any::<bool>(), 0.0..70.0_f64, -20.0..35.0_f64, 0.0..20.0_f64).prop_map(
        |(mass_kg, height_mm, male, back, thigh, mattress_kg)| PatientLoad {
            mass_kg,
            height_mm,
            sex: if male { Sex::Male } else { Sex::Female },
            mattress_kg,
            angles_deg: vec![("back".into(), back), ("thigh".into(), thigh)],
        },
    )
}

fn case(patient: PatientLoad) -> LoadCase {
    LoadCase { name: "law".into(), even_kg: None, patches: vec![], patient: Some(patient) }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, rng_seed: proptest::test_runner::RngSeed::Fixed(12), ..ProptestConfig::default() })]

    /// Whatever the body and the posture, all mass lies on the plates, and vertical reactions Σ N / cos θ carry its weight.
    #[test]
    fn the_whole_patient_is_carried(patient in patient()) {
        let deck = rowan();
        let expected_kg = patient.mass_kg + patient.mattress_kg;
        let spread = spread(&deck, &case(patient)).unwrap();
        prop_assert!((spread.mass_kg() / expected_kg - 1.0).abs() < 1e-9, "{}", spread.mass_kg());
        prop_assert!(spread.beside_kg.abs() < 1e-12);
        let mut weight_newton = 0.0;
        for (on, plate) in spread.plates.iter().zip(&deck.plates) {
            let size_m = deck::units::m2(plate.size_mm);
            on.loads.check(0, size_m).unwrap();
            weight_newton += on.loads.force_newton(size_m) / on.angle_rad.cos();
        }
        prop_assert!((weight_newton / (expected_kg * gravity_m_s2(&deck.site)) - 1.0).abs() < 1e-9);
    }

    /// Without a plate on a section the deck misses what lies there, and says how much.
    #[test]
    fn what_lies_beside_the_deck_is_counted(patient in patient()) {
        let mut deck = rowan();
        deck.plates.retain(|p| p.section != "foot");
        let expected_kg = patient.mass_kg + patient.mattress_kg;
        let spread = spread(&deck, &case(patient)).unwrap();
        prop_assert!(((spread.mass_kg() + spread.beside_kg) / expected_kg - 1.0).abs() < 1e-9);
    }

    /// A plate narrower than what presses on it alone carries it over its whole width, wherever it lies and whatever rounding does.
    #[test]
    fn narrow_plates_carry_what_is_wider(patient in patient(), origin_mm in [0.0..300.0_f64, 0.0..300.0_f64], size_mm in [5.0..60.0_f64, 5.0..60.0_f64]) {
        let mut deck = rowan();
        let mut seen = std::collections::BTreeSet::new();
        deck.plates.retain(|p| seen.insert(p.section.clone()));
        for plate in &mut deck.plates {
            plate.origin_mm = [plate.origin_mm[0] + origin_mm[0], origin_mm[1]];
            plate.size_mm = size_mm;
        }
        let spread = spread(&deck, &case(patient)).unwrap();
        for (on, plate) in spread.plates.iter().zip(&deck.plates) {
            on.loads.check(0, deck::units::m2(plate.size_mm)).unwrap();
        }
    }
}

#[test]
fn even_load_goes_by_area() {
    let deck = rowan();
    let spread = spread(&deck, &deck.load_cases[0]).unwrap();
    let area: f64 = deck.plates.iter().map(deck::geometry::area_m2).sum();
    for (on, plate) in spread.plates.iter().zip(&deck.plates) {
        assert!((on.mass_kg / 150.0 - deck::geometry::area_m2(plate) / area).abs() < 1e-12);
    }
}

#[test]
fn a_case_without_load_or_with_a_wall_is_refused() {
    let deck = rowan();
    let mut empty = deck.load_cases[0].clone();
    empty.even_kg = None;
    assert!(matches!(spread(&deck, &empty), Err(deck::DeckError::EmptyCase { .. })));
    let mut steep = deck.load_cases[3].clone();
    steep.patient.as_mut().unwrap().angles_deg[0].1 = 90.0;
    assert!(matches!(spread(&deck, &steep), Err(deck::DeckError::TooSteep { .. })));
}
