//! Laws that hold for every deck that can be checked.

use deck::gravity_m_s2;
use design::{CheckReport, check};
use formats::deck::{Deck, LoadCase, Patch};
use proptest::prelude::*;

fn rowan() -> Deck {
    formats::deck::read("rowan.toml", include_str!("data/rowan.toml")).unwrap()
}

/// Reactions of a plate and the load it shunts add up to the load on it, and to the kilograms of the case.
fn is_in_balance(deck: &Deck, report: &CheckReport) -> Result<(), String> {
    for plate in &report.plates {
        for case in &plate.cases {
            let cells: f64 = case.cells.iter().map(|c| c.reaction_newton).sum();
            let shunted = case.shunted_pct / 100.0 * case.load_newton;
            let weight = case.load_kg * gravity_m_s2(&deck.site) * case.angle_deg.to_radians().cos();
            // 1e-6 of the load: round-off of the solver grows with the mesh, and stays under 1e-7 here.
            let room = 1e-6 * case.load_newton + 1e-9;
            if (cells + shunted - case.load_newton).abs() > room || (case.load_newton - weight).abs() > room {
                return Err(format!("{} {}: {cells} + {shunted}, {}", plate.name, case.case, case.load_newton));
            }
        }
    }
    Ok(())
}

#[test]
fn every_case_of_the_trial_deck_is_in_balance() {
    let deck = rowan();
    is_in_balance(&deck, &check(&deck).unwrap()).unwrap();
}

fn patch_case() -> impl Strategy<Value = LoadCase> {
    (0_usize..5, 0.0..0.7_f64, 0.0..0.7_f64, 0.05..0.3_f64, 0.05..0.3_f64, 1.0..60.0_f64).prop_map(
        |(plate, x, y, length, width, kg)| {
            let deck = rowan();
            let [lx, ly] = deck.plates[plate].size_mm;
            LoadCase {
                name: "patch".into(),
                even_kg: None,
                patient: None,
                patches: vec![Patch {
                    plate: deck.plates[plate].name.clone(),
                    x_mm: x * lx,
                    y_mm: y * ly,
                    length_mm: length * lx,
                    width_mm: width * ly,
                    kg,
                }],
            }
        },
    )
}

/// Makes room below the plates, so that no contact bends the law.
fn with_room(case: LoadCase) -> Deck {
    let mut deck = rowan();
    for plate in &mut deck.plates {
        plate.clearance_mm = 500.0;
    }
    deck.load_cases = vec![case];
    deck
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 12, failure_persistence: None, rng_seed: proptest::test_runner::RngSeed::Fixed(13), ..ProptestConfig::default() })]

    #[test]
    fn any_patch_is_carried(case in patch_case()) {
        let deck = with_room(case);
        prop_assert_eq!(is_in_balance(&deck, &check(&deck).unwrap()), Ok(()));
    }

    /// Where no cell is let go, half the load bends half as far.
    #[test]
    fn deflection_scales_with_the_load(case in patch_case()) {
        let full = check(&with_room(case.clone())).unwrap();
        let mut half_case = case;
        half_case.patches[0].kg /= 2.0;
        let half = check(&with_room(half_case)).unwrap();
        for (a, b) in full.plates.iter().zip(&half.plates) {
            let (a, b) = (&a.cases[0], &b.cases[0]);
            prop_assume!(a.cells.iter().all(|c| !c.lifts));
            prop_assert!((a.max_deflection_mm - 2.0 * b.max_deflection_mm).abs() <= 1e-6 * a.max_deflection_mm);
        }
    }

    /// A thicker board gives way less under an even load, on the whole (Σ q w is the work of the load), and weighs more.
    #[test]
    fn thickness_stiffens(kg in 10.0..200.0_f64, more_mm in 0.5..6.0_f64) {
        let even = LoadCase { name: "even".into(), even_kg: Some(kg), patches: vec![], patient: None };
        let thin = with_room(even);
        let mut thick = thin.clone();
        for plate in &mut thick.plates {
            plate.layers[1].thickness_mm += more_mm;
        }
        let (thin, thick) = (check(&thin).unwrap(), check(&thick).unwrap());
        prop_assert!(thick.mass_kg > thin.mass_kg);
        let sum = |map: &[Vec<f64>]| -> f64 { map.iter().flatten().sum() };
        for (a, b) in thin.plates.iter().zip(&thick.plates) {
            prop_assert!(sum(&b.cases[0].deflection_mm) < sum(&a.cases[0].deflection_mm));
        }
    }
}

proptest! {
    // Few cases: contact over a narrow gap is solved on fine meshes.
    #![proptest_config(ProptestConfig { cases: 4, failure_persistence: None, rng_seed: proptest::test_runner::RngSeed::Fixed(14), ..ProptestConfig::default() })]

    /// Over a narrow gap too, where base and cells share the load, and nothing pulls or sinks in.
    #[test]
    fn contact_keeps_the_balance(case in patch_case(), clearance_mm in 0.3..3.0_f64) {
        let mut deck = rowan();
        for plate in &mut deck.plates {
            plate.clearance_mm = clearance_mm;
        }
        deck.load_cases = vec![case];
        let report = check(&deck).unwrap();
        prop_assert_eq!(is_in_balance(&deck, &report), Ok(()));
        for case in report.plates.iter().flat_map(|p| &p.cases) {
            prop_assert!(case.cells.iter().all(|c| c.reaction_newton >= -1e-6), "{case:?}");
            prop_assert!((0.0..=100.0).contains(&case.shunted_pct));
            prop_assert!(case.touches == (case.shunted_pct > 0.0));
            // The base is a grid of points; between them the plate may sink by a share of the gap.
            prop_assert!(case.max_deflection_mm <= clearance_mm * 1.01, "{}", case.max_deflection_mm);
        }
    }
}
