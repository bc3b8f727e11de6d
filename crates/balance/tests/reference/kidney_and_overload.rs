use bedplate_balance::dose::kidney::{
    SchwartzGroup, UMOL_L_PER_MG_DL, cockcroft_gault_ml_min, cockcroft_gault_umol_ml_min, schwartz_bedside,
    schwartz_original,
};
use formats::deck::Sex::{Female, Male};

use crate::printed;

/// Source: clinical reference 1.9, computed. Trap: a calculator page prints 20 for the woman of 78; it does
/// not follow from its own inputs.
#[test]
fn cockcroft_gault() {
    printed(cockcroft_gault_ml_min(Male, 60.0, 70.0, 1.0).unwrap(), 77.78, 2);
    printed(cockcroft_gault_ml_min(Male, 40.0, 90.0, 2.5).unwrap(), 50.00, 2);
    printed(cockcroft_gault_ml_min(Female, 78.0, 47.6, 1.56).unwrap(), 22.33, 2);
    // The form for µmol/L has k rounded to three digits: 88.4/72 = 1.2278, printed as 1.23.
    let both = [
        cockcroft_gault_ml_min(Male, 60.0, 70.0, 1.0).unwrap(),
        cockcroft_gault_umol_ml_min(Male, 60.0, 70.0, UMOL_L_PER_MG_DL).unwrap(),
    ];
    assert!((both[0] / both[1] - 1.0).abs() < 0.002);
    assert!(cockcroft_gault_ml_min(Male, 12.0, 40.0, 0.6).is_err());
}

/// Source: clinical reference 1.9, computed.
#[test]
fn schwartz() {
    printed(schwartz_bedside(5.0, 110.0, 0.5).unwrap(), 90.86, 2);
    printed(schwartz_bedside(1.0, 75.0, 0.3).unwrap(), 103.25, 2);
    printed(schwartz_bedside(14.0, 150.0, 1.8).unwrap(), 34.42, 2);
    assert!(schwartz_bedside(0.5, 65.0, 0.3).is_err());
    // The original reads high: 0.55 against 0.413, 33 % at any height.
    let original = schwartz_original(SchwartzGroup::Child, 110.0, 0.5).unwrap();
    printed(original, 121.0, 1);
    printed(schwartz_original(SchwartzGroup::Preterm, 40.0, 0.8).unwrap(), 16.5, 1);
    printed(schwartz_original(SchwartzGroup::Term, 60.0, 0.4).unwrap(), 67.5, 1);
    printed(schwartz_original(SchwartzGroup::AdolescentBoy, 170.0, 0.9).unwrap(), 132.2, 1);
}
