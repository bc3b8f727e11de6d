use bedplate_balance::dose::{height, limb_weight as limb};
use formats::deck::Sex::{Female, Male};

use published::printed;

/// Computed apart from the coefficients of Lorenz 2007, Buckley 2011, Chumlea 1988 and the knee-height table (from memory), and of
/// Rabito 2006 and Cattermole 2010, 2017 (read).
#[test]
fn weight_from_limbs() {
    printed(limb::lorenz_kg(Male, 60.0, 175.0, 95.0, 102.0).unwrap(), 82.188, 3);
    printed(limb::lorenz_kg(Male, 60.0, 180.0, 120.0, 118.0).unwrap(), 111.087, 3);
    printed(limb::lorenz_kg(Female, 60.0, 163.0, 82.0, 100.0).unwrap(), 65.390, 3);
    printed(limb::rabito_kg(Male, 60.0, 30.0, 95.0, 36.0).unwrap(), 74.310, 3);
    printed(limb::rabito_kg(Female, 60.0, 27.0, 85.0, 34.0).unwrap(), 59.960, 3);
    for (arm, kg) in [(24.0, 46.0), (30.0, 70.0), (36.0, 94.0)] {
        printed(limb::cattermole_adult_kg(40.0, arm).unwrap(), kg, 9);
    }
    for (arm, kg) in [(15.0, 15.0), (17.0, 21.0), (20.0, 30.0)] {
        printed(limb::cattermole_child_kg(6.0, arm).unwrap(), kg, 9);
    }
    printed(limb::buckley_kg(Male, 50.0, 95.0, 52.0).unwrap(), 81.42, 2);
    printed(limb::buckley_kg(Female, 50.0, 90.0, 54.0).unwrap(), 72.30, 2);
    // By hand from the same coefficients: −47.8 + 0.78·100 + 1.06·55; −40.2 + 0.47·110 + 1.30·60.
    printed(limb::buckley_kg(Male, 50.0, 100.0, 55.0).unwrap(), 88.50, 2);
    printed(limb::buckley_kg(Female, 50.0, 110.0, 60.0).unwrap(), 89.50, 2);
    // −32.9241 + 0.5759·35 + 0.5263·110 + 1.2452·40 − 4.8689.
    printed(limb::rabito_kg(Male, 60.0, 35.0, 110.0, 40.0).unwrap(), 90.064_5, 4);
    let chumlea = |sex, arm_cm, calf_cm, subscapular_mm, knee_height_cm| {
        let input = limb::ChumleaInput { arm_cm, calf_cm, subscapular_mm, knee_height_cm };
        limb::chumlea_kg(sex, 70.0, input).unwrap()
    };
    printed(chumlea(Female, 26.0, 31.0, 15.0, 46.0), 48.52, 2);
    printed(chumlea(Male, 29.0, 34.0, 16.0, 51.0), 66.88, 2);
    // 0.98·30 + 1.27·36 + 0.40·20 + 0.87·48 − 62.35.
    printed(chumlea(Female, 30.0, 36.0, 20.0, 48.0), 62.53, 2);
    printed(limb::knee_and_arm_kg(Male, 40.0, 52.0, 31.0).unwrap(), 74.57, 2);
    printed(limb::knee_and_arm_kg(Female, 40.0, 48.0, 28.0).unwrap(), 61.12, 2);
    printed(limb::knee_and_arm_kg(Female, 70.0, 46.0, 27.0).unwrap(), 56.99, 2);
    printed(limb::knee_and_arm_kg(Male, 70.0, 52.0, 29.0).unwrap(), 70.42, 2);
}

/// Cattermole's adult rule is poor under 11 years, the child's rule ends there.
#[test]
fn arm_rules_refuse_the_other_age() {
    assert!(limb::cattermole_adult_kg(8.0, 20.0).is_err());
    assert!(limb::cattermole_child_kg(14.0, 24.0).is_err());
    assert!(
        limb::chumlea_kg(
            Male,
            50.0,
            limb::ChumleaInput { arm_cm: 29.0, calf_cm: 34.0, subscapular_mm: 16.0, knee_height_cm: 51.0 }
        )
        .is_err()
    );
}

/// Computed apart from the printed regressions of Chumlea (secondary pages), Bassey 1986 and Rabito 2006 and a screening tool's
/// table. Trap: a page agrees with the first ulna row only; its other
/// rows differ and are not used.
#[test]
fn height_from_segments() {
    printed(height::knee_cm(Male, 72.0, 52.0).unwrap(), 166.35, 2);
    printed(height::knee_cm(Female, 80.0, 46.0).unwrap(), 149.86, 2);
    printed(height::knee_cm(Male, 45.0, 52.0).unwrap(), 169.61, 2);
    assert!(height::knee_cm(Female, 45.0, 46.0).is_err());
    printed(height::ulna_cm(Male, 50.0, 27.0).unwrap(), 176.4, 1);
    printed(height::ulna_cm(Female, 50.0, 24.0).unwrap(), 162.08, 2);
    printed(height::ulna_cm(Male, 70.0, 27.0).unwrap(), 171.35, 2);
    printed(height::ulna_cm(Female, 70.0, 24.0).unwrap(), 158.4, 1);
    printed(height::demispan_cm(Male, 50.0, 80.0).unwrap(), 169.8, 1);
    printed(height::demispan_cm(Female, 50.0, 74.0).unwrap(), 160.0, 1);
    printed(height::demispan_cm(Female, 80.0, 70.0).unwrap(), 154.6, 1);
    // Rabito 2006, computed by hand: 58.694 − 2.974 − 0.0736·50 + 0.4958·70 + 1.132·85, and so on.
    printed(height::rabito_cm(Male, 50.0, 70.0, 85.0).unwrap(), 182.966, 3);
    printed(height::rabito_cm(Female, 50.0, 60.0, 80.0).unwrap(), 169.374, 3);
    printed(height::rabito_cm(Female, 70.0, 58.0, 75.0).unwrap(), 161.250_4, 4);
}
