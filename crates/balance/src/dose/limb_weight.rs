//! Weight from limbs and girths, for people who cannot stand. Lengths and girths in cm, weight in kg.

use formats::deck::Sex;

use super::formula::{Formula, Status};
use super::{DoseError, Within};

/// Facts of Lorenz 2007.
pub const LORENZ: Formula = Formula {
    name: "Lorenz 2007",
    formula: "men −137.432 + 0.60035·H + 0.785·waist + 0.392·hip; women −110.924 + 0.4053·H + 0.325·waist + 0.836·hip",
    source: "Lorenz, J Neurol Neurosurg Psychiatry 2007;78:1331",
    status: Status::Memory,
    range: "adults",
    caution: "mean absolute error 3.1 kg; over 10 % off in 6 of 100; coefficients from memory, behave as published on open data",
};
/// Facts of Rabito 2006.
pub const RABITO: Formula = Formula {
    name: "Rabito 2006",
    formula: "0.5759·arm + 0.5263·abdomen + 1.2452·calf − 4.8689·S − 32.9241, S 1 man, 2 woman",
    source: "Rabito, Rev Nutr 2006;19:655",
    status: Status::Read,
    range: "adults",
    caution: "mean error 6.0 %",
};
/// Facts of Cattermole 2017.
pub const CATTERMOLE_ADULT: Formula = Formula {
    name: "Cattermole 2017",
    formula: "4·arm − 50",
    source: "Cattermole, Emerg Med J 2017;34:231",
    status: Status::Read,
    range: "from 11 years",
    caution: "over 60 of 100 within 10 %; poor in the old: limits of agreement about ±20 kg from 70 years",
};
/// Facts of Cattermole 2010.
pub const CATTERMOLE_CHILD: Formula = Formula {
    name: "Cattermole 2010",
    formula: "3·(arm − 10)",
    source: "Cattermole, Resuscitation 2010;81:1105",
    status: Status::Memory,
    range: "1 to 11 years",
    caution: "formula from memory",
};
/// Facts of Buckley 2011.
pub const BUCKLEY: Formula = Formula {
    name: "Buckley 2011",
    formula: "men −47.8 + 0.78·abdomen + 1.06·thigh; women −40.2 + 0.47·abdomen + 1.30·thigh",
    source: "Buckley, J Emerg Med 2011",
    status: Status::Memory,
    range: "adults",
    caution: "coefficients from memory; the thigh site matters: 13 kg too high for women at the gluteal fold",
};
/// Facts of Chumlea 1988.
pub const CHUMLEA: Formula = Formula {
    name: "Chumlea 1988",
    formula: "women 0.98·arm + 1.27·calf + 0.40·subscapular_mm + 0.87·knee − 62.35; men 1.73·arm + 0.98·calf + 0.37·subscapular_mm + 1.16·knee − 81.69",
    source: "Chumlea, J Am Diet Assoc 1988;88:564",
    status: Status::Memory,
    range: "from 60 years",
    caution: "standard error about 4 kg; coefficients from memory",
};
/// Facts of the knee-height and arm table.
pub const KNEE_AND_ARM: Formula = Formula {
    name: "knee height and arm (handbook table)",
    formula: "women 19–59 1.01·knee + 2.81·arm − 66.04, 60–80 1.09·knee + 2.68·arm − 65.51; men 19–59 1.19·knee + 3.21·arm − 86.82, 60–80 1.10·knee + 3.07·arm − 75.81",
    source: "handbook table of the 1980s and 1990s, white groups",
    status: Status::Memory,
    range: "19 to 80 years",
    caution: "±10.6 to 11.5 kg (95 %); coefficients from memory",
};

/// Lorenz 2007, kg.
///
/// # Errors
/// Age below 18, height outside 130–220, waist or hip outside 50–200.
pub fn lorenz_kg(sex: Sex, age_y: f64, height_cm: f64, waist_cm: f64, hip_cm: f64) -> Result<f64, DoseError> {
    Within::new(LORENZ.name)
        .of("age_y", age_y, 18.0, 110.0)?
        .of("height_cm", height_cm, 130.0, 220.0)?
        .of("waist_cm", waist_cm, 50.0, 200.0)?
        .of("hip_cm", hip_cm, 50.0, 200.0)?;
    Ok(match sex {
        Sex::Male => -137.432 + 0.600_35 * height_cm + 0.785 * waist_cm + 0.392 * hip_cm,
        Sex::Female => -110.924 + 0.4053 * height_cm + 0.325 * waist_cm + 0.836 * hip_cm,
    })
}

/// Rabito 2006, kg.
///
/// # Errors
/// Age below 18, arm outside 15–60, abdomen outside 50–200, calf outside 18–70.
pub fn rabito_kg(sex: Sex, age_y: f64, arm_cm: f64, abdomen_cm: f64, calf_cm: f64) -> Result<f64, DoseError> {
    Within::new(RABITO.name)
        .of("age_y", age_y, 18.0, 110.0)?
        .of("arm_circumference_cm", arm_cm, 15.0, 60.0)?
        .of("abdomen_cm", abdomen_cm, 50.0, 200.0)?
        .of("calf_circumference_cm", calf_cm, 18.0, 70.0)?;
    Ok(0.5759 * arm_cm + 0.5263 * abdomen_cm + 1.2452 * calf_cm - 4.8689 * rabito_sex(sex) - 32.9241)
}

/// The sex code of Rabito's formulas.
pub(super) fn rabito_sex(sex: Sex) -> f64 {
    match sex {
        Sex::Male => 1.0,
        Sex::Female => 2.0,
    }
}

/// Cattermole 2017, kg.
///
/// # Errors
/// Age below 11, arm outside 17–60.
pub fn cattermole_adult_kg(age_y: f64, arm_cm: f64) -> Result<f64, DoseError> {
    Within::new(CATTERMOLE_ADULT.name).of("age_y", age_y, 11.0, 110.0)?.of(
        "arm_circumference_cm",
        arm_cm,
        17.0,
        60.0,
    )?;
    Ok(4.0 * arm_cm - 50.0)
}

/// Cattermole 2010, kg.
///
/// # Errors
/// Age outside 1–11, arm outside 12–40.
pub fn cattermole_child_kg(age_y: f64, arm_cm: f64) -> Result<f64, DoseError> {
    Within::new(CATTERMOLE_CHILD.name).of("age_y", age_y, 1.0, 11.99)?.of(
        "arm_circumference_cm",
        arm_cm,
        12.0,
        40.0,
    )?;
    Ok(3.0 * (arm_cm - 10.0))
}

/// Buckley 2011, kg.
///
/// # Errors
/// Age below 18, abdomen outside 50–200, thigh outside 25–100.
pub fn buckley_kg(sex: Sex, age_y: f64, abdomen_cm: f64, thigh_cm: f64) -> Result<f64, DoseError> {
    Within::new(BUCKLEY.name)
        .of("age_y", age_y, 18.0, 110.0)?
        .of("abdomen_cm", abdomen_cm, 50.0, 200.0)?
        .of("thigh_cm", thigh_cm, 25.0, 100.0)?;
    Ok(match sex {
        Sex::Male => -47.8 + 0.78 * abdomen_cm + 1.06 * thigh_cm,
        Sex::Female => -40.2 + 0.47 * abdomen_cm + 1.30 * thigh_cm,
    })
}

/// What Chumlea's formula takes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChumleaInput {
    /// Mid upper arm circumference, cm.
    pub arm_cm: f64,
    /// Calf circumference, cm.
    pub calf_cm: f64,
    /// Subscapular skinfold, mm.
    pub subscapular_mm: f64,
    /// Knee height, cm.
    pub knee_height_cm: f64,
}

/// Chumlea 1988, kg.
///
/// # Errors
/// Age below 60, or a measure outside 15–60, 18–70 cm, 2–60 mm, 35–70 cm.
pub fn chumlea_kg(sex: Sex, age_y: f64, input: ChumleaInput) -> Result<f64, DoseError> {
    let ChumleaInput { arm_cm, calf_cm, subscapular_mm, knee_height_cm } = input;
    Within::new(CHUMLEA.name)
        .of("age_y", age_y, 60.0, 110.0)?
        .of("arm_circumference_cm", arm_cm, 15.0, 60.0)?
        .of("calf_circumference_cm", calf_cm, 18.0, 70.0)?
        .of("subscapular_mm", subscapular_mm, 2.0, 60.0)?
        .of("knee_height_cm", knee_height_cm, 35.0, 70.0)?;
    Ok(match sex {
        Sex::Female => 0.98 * arm_cm + 1.27 * calf_cm + 0.40 * subscapular_mm + 0.87 * knee_height_cm - 62.35,
        Sex::Male => 1.73 * arm_cm + 0.98 * calf_cm + 0.37 * subscapular_mm + 1.16 * knee_height_cm - 81.69,
    })
}

/// Knee height and arm, kg.
///
/// # Errors
/// Age outside 19–80, knee height outside 35–70, arm outside 15–60.
pub fn knee_and_arm_kg(sex: Sex, age_y: f64, knee_height_cm: f64, arm_cm: f64) -> Result<f64, DoseError> {
    Within::new(KNEE_AND_ARM.name)
        .of("age_y", age_y, 19.0, 80.99)?
        .of("knee_height_cm", knee_height_cm, 35.0, 70.0)?
        .of("arm_circumference_cm", arm_cm, 15.0, 60.0)?;
    let (knee, arm, constant) = match (sex, age_y < 60.0) {
        (Sex::Female, true) => (1.01, 2.81, 66.04),
        (Sex::Female, false) => (1.09, 2.68, 65.51),
        (Sex::Male, true) => (1.19, 3.21, 86.82),
        (Sex::Male, false) => (1.10, 3.07, 75.81),
    };
    Ok(knee * knee_height_cm + arm * arm_cm - constant)
}
