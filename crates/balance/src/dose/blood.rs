//! Blood volume, mL, from height in cm and weight in kg.

use formats::deck::Sex;

use super::formula::{Formula, Status};
use super::{DoseError, Within};

/// Facts of Linderkamp 1977.
pub const LINDERKAMP: Formula = Formula {
    name: "blood volume (Linderkamp 1977)",
    formula: "log BV: <2 y 0.7891·log W + 0.004132·H + 1.8117; boys 2–14, girls 2–6 0.6459·log W + 0.002743·H + 2.0324; \
              girls 7–14 0.6412·log W + 0.001270·H + 2.2169",
    source: "Linderkamp, Eur J Pediatr 1977;125:227",
    status: Status::Read,
    range: "birth to 14 years",
    caution: "error 10.1, 4.8 and 7.5 %",
};
/// Facts of Nadler 1962.
pub const NADLER: Formula = Formula {
    name: "blood volume (Nadler 1962)",
    formula: "L, H in m: men 0.3669·H³ + 0.03219·W + 0.6041; women 0.3561·H³ + 0.03308·W + 0.1833",
    source: "Nadler, Surgery 1962;51:224",
    status: Status::Memory,
    range: "adults",
    caution: "coefficients from memory",
};

/// Linderkamp 1977, mL.
///
/// # Errors
/// Age outside 0–14.99 years, height outside 40–190 cm, weight outside 1–90 kg.
pub fn linderkamp_ml(sex: Sex, age_y: f64, height_cm: f64, weight_kg: f64) -> Result<f64, DoseError> {
    Within::new(LINDERKAMP.name).of("age_y", age_y, 0.0, 14.99)?.of("height_cm", height_cm, 40.0, 190.0)?.of(
        "weight_kg",
        weight_kg,
        1.0,
        90.0,
    )?;
    let (slope, per_cm, constant) = if age_y < 2.0 {
        (0.7891, 0.004_132, 1.8117)
    } else if sex == Sex::Female && age_y >= 7.0 {
        (0.6412, 0.001_270, 2.2169)
    } else {
        (0.6459, 0.002_743, 2.0324)
    };
    Ok(10f64.powf(slope * weight_kg.log10() + per_cm * height_cm + constant))
}

/// Nadler 1962, mL.
///
/// # Errors
/// Age below 18, height outside 130–220 cm, weight outside 30–250 kg.
pub fn nadler_ml(sex: Sex, age_y: f64, height_cm: f64, weight_kg: f64) -> Result<f64, DoseError> {
    Within::new(NADLER.name).of("age_y", age_y, 18.0, 110.0)?.of("height_cm", height_cm, 130.0, 220.0)?.of(
        "weight_kg",
        weight_kg,
        30.0,
        250.0,
    )?;
    let cube = (height_cm / 100.0).powi(3);
    Ok(1000.0
        * match sex {
            Sex::Male => 0.3669 * cube + 0.032_19 * weight_kg + 0.6041,
            Sex::Female => 0.3561 * cube + 0.033_08 * weight_kg + 0.1833,
        })
}

/// Facts of the table per kg.
pub const PER_KG: Formula = Formula {
    name: "blood volume (table per kg, middle)",
    formula: "mL/kg: preterm 90–100, term newborn 80–90, infant 70–80, child 70–75, adult 65–70",
    source: "a university's table for the largest allowable blood loss",
    status: Status::Read,
    range: "every age; obese children 60–65",
    caution: "a range, not a value",
};

/// The table's range, mL, low and high. Preterm is below 2.5 kg in the first four weeks.
///
/// # Errors
/// Age outside 0–120 years, weight outside 0.4–300 kg.
pub fn per_kg_ml(age_y: f64, weight_kg: f64) -> Result<(f64, f64), DoseError> {
    Within::new(PER_KG.name).of("age_y", age_y, 0.0, 120.0)?.of("weight_kg", weight_kg, 0.4, 300.0)?;
    let newborn = age_y < super::NEWBORN_Y;
    let (low, high) = match age_y {
        _ if newborn && weight_kg < 2.5 => (90.0, 100.0),
        _ if newborn => (80.0, 90.0),
        y if y < 1.0 => (70.0, 80.0),
        y if y < 18.0 => (70.0, 75.0),
        _ => (65.0, 70.0),
    };
    Ok((low * weight_kg, high * weight_kg))
}
