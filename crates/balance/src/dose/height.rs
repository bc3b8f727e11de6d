//! Height of a person who cannot stand, cm.

use formats::deck::Sex;

use super::formula::{Formula, Status};
use super::limb_weight::rabito_sex;
use super::{DoseError, Within};

/// Facts of height from knee height.
pub const KNEE: Formula = Formula {
    name: "height from knee height (Chumlea)",
    formula: "60–90 y: men 64.19 − 0.04·age + 2.02·knee, women 84.88 − 0.24·age + 1.83·knee; younger men 71.85 + 1.88·knee",
    source: "secondary pages quoting Chumlea, white groups",
    status: Status::ReadSecondary,
    range: "60 to 90 years; men from 18",
    caution: "SD of error about 5.5 cm",
};
/// Facts of height from the ulna.
pub const ULNA: Formula = Formula {
    name: "height from ulna length",
    formula: "men <65 79.2 + 3.60·ulna, ≥65 86.3 + 3.15·ulna; women <65 95.6 + 2.77·ulna, ≥65 80.4 + 3.25·ulna",
    source: "a nutrition screening tool of 2003",
    status: Status::Memory,
    range: "adults",
    caution: "6 cm too high at the median of 200 South African adults, limits −19.8 to +5.7 cm; three of the rows from memory",
};
/// Facts of height from demispan.
pub const DEMISPAN: Formula = Formula {
    name: "height from demispan (Bassey)",
    formula: "men 57.8 + 1.40·demispan; women 60.1 + 1.35·demispan",
    source: "Bassey, Ann Hum Biol 1986;13:499",
    status: Status::Memory,
    range: "adults",
    caution: "coefficients from memory",
};
/// Facts of Rabito's height.
pub const RABITO_HEIGHT: Formula = Formula {
    name: "height (Rabito 2006)",
    formula: "58.6940 − 2.9740·S − 0.0736·age + 0.4958·arm length + 1.1320·half span, S 1 man, 2 woman",
    source: "Rabito, Rev Nutr 2006;19:655",
    status: Status::Read,
    range: "adults",
    caution: "mean error 2.1 %",
};

/// Height from knee height, cm.
///
/// # Errors
/// Knee height outside 35–70; age outside 60–90, for men outside 18–90.
pub fn knee_cm(sex: Sex, age_y: f64, knee_height_cm: f64) -> Result<f64, DoseError> {
    let youngest = if sex == Sex::Male { 18.0 } else { 60.0 };
    Within::new(KNEE.name).of("age_y", age_y, youngest, 90.99)?.of("knee_height_cm", knee_height_cm, 35.0, 70.0)?;
    Ok(match sex {
        Sex::Male if age_y < 60.0 => 71.85 + 1.88 * knee_height_cm,
        Sex::Male => 64.19 - 0.04 * age_y + 2.02 * knee_height_cm,
        Sex::Female => 84.88 - 0.24 * age_y + 1.83 * knee_height_cm,
    })
}

/// Height from the ulna, cm.
///
/// # Errors
/// Age below 18, ulna outside 18–35.
pub fn ulna_cm(sex: Sex, age_y: f64, ulna_cm: f64) -> Result<f64, DoseError> {
    Within::new(ULNA.name).of("age_y", age_y, 18.0, 110.0)?.of("ulna_cm", ulna_cm, 18.0, 35.0)?;
    Ok(match (sex, age_y < 65.0) {
        (Sex::Male, true) => 79.2 + 3.60 * ulna_cm,
        (Sex::Male, false) => 86.3 + 3.15 * ulna_cm,
        (Sex::Female, true) => 95.6 + 2.77 * ulna_cm,
        (Sex::Female, false) => 80.4 + 3.25 * ulna_cm,
    })
}

/// Height from demispan, cm.
///
/// # Errors
/// Age below 18, demispan outside 60–110.
pub fn demispan_cm(sex: Sex, age_y: f64, demispan_cm: f64) -> Result<f64, DoseError> {
    Within::new(DEMISPAN.name).of("age_y", age_y, 18.0, 110.0)?.of("demispan_cm", demispan_cm, 60.0, 110.0)?;
    Ok(match sex {
        Sex::Male => 57.8 + 1.40 * demispan_cm,
        Sex::Female => 60.1 + 1.35 * demispan_cm,
    })
}

/// Rabito's height, cm.
///
/// # Errors
/// Age below 18, arm length outside 40–100, half span outside 50–120.
pub fn rabito_cm(sex: Sex, age_y: f64, arm_length_cm: f64, half_span_cm: f64) -> Result<f64, DoseError> {
    Within::new(RABITO_HEIGHT.name)
        .of("age_y", age_y, 18.0, 110.0)?
        .of("arm_length_cm", arm_length_cm, 40.0, 100.0)?
        .of("half_span_cm", half_span_cm, 50.0, 120.0)?;
    Ok(58.6940 - 2.9740 * rabito_sex(sex) - 0.0736 * age_y + 0.4958 * arm_length_cm + 1.1320 * half_span_cm)
}
