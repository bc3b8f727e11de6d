//! `patient.toml`: a patient and the plan.
//!
//! Keys of one's own begin with `x_` or are named `note`, as in the deck file.

use std::fmt::{self, Write as _};

use crate::deck::Sex;
use crate::deck::read::SEXES;
use crate::limits::Limits;
use crate::toml_document::Document;
use crate::toml_reader::Table;
use crate::toml_writer::{number, text as quoted_text};
use crate::{Problems, words};

/// A patient file.
#[derive(Debug, Clone, PartialEq)]
pub struct PatientFile {
    /// The patient.
    pub patient: Patient,
    /// Rates to come.
    pub plan: Option<Plan>,
}

/// What is known of a patient. Missing is `None`, never a guess.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Patient {
    /// A local label, never a name.
    pub label: String,
    /// Sex.
    pub sex: Option<Sex>,
    /// Age, years.
    pub age_y: Option<f64>,
    /// Age, months, under two years.
    pub age_mo: Option<f64>,
    /// Height, mm.
    pub height_mm: Option<f64>,
    /// Knee height, mm.
    pub knee_height_mm: Option<f64>,
    /// Ulna length, mm.
    pub ulna_mm: Option<f64>,
    /// Demispan, mm.
    pub demispan_mm: Option<f64>,
    /// Mid upper arm circumference, mm.
    pub arm_circumference_mm: Option<f64>,
    /// Calf circumference, mm.
    pub calf_circumference_mm: Option<f64>,
    /// Waist circumference at the narrowest place, mm.
    pub waist_mm: Option<f64>,
    /// Abdominal circumference at the navel, mm.
    pub abdomen_mm: Option<f64>,
    /// Mid thigh circumference, mm.
    pub thigh_mm: Option<f64>,
    /// Hip circumference, mm.
    pub hip_mm: Option<f64>,
    /// Subscapular skinfold, mm.
    pub subscapular_mm: Option<f64>,
    /// Length of the arm, mm.
    pub arm_length_mm: Option<f64>,
    /// Half of the arm span, to the tip of the middle finger, mm.
    pub half_span_mm: Option<f64>,
    /// Weight at birth, kg.
    pub birth_kg: Option<f64>,
    /// Gestation at birth, completed weeks and parts.
    pub gestation_weeks: Option<f64>,
    /// Weight that the patient or a relative states, kg.
    pub stated_kg: Option<f64>,
    /// Weight at admission, kg.
    pub admission_kg: Option<f64>,
    /// Dry weight, kg.
    pub dry_kg: Option<f64>,
    /// How breathed.
    pub ventilated: Option<Ventilation>,
    /// Body temperature, °C.
    pub temperature_c: Option<f64>,
    /// Serum creatinine, µmol/L.
    pub creatinine_umol_l: Option<f64>,
    /// Serum creatinine before the illness, µmol/L.
    pub baseline_creatinine_umol_l: Option<f64>,
    /// Burned share of the body's surface, %.
    pub burned_pct: Option<f64>,
    /// Minute volume of breathing, L/min.
    pub minute_volume_l_min: Option<f64>,
    /// Oxygen uptake, mL/min.
    pub oxygen_uptake_ml_min: Option<f64>,
    /// Respiratory quotient.
    pub respiratory_quotient: Option<f64>,
}

/// Breathing gas.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ventilation {
    /// Ventilated with humidified gas.
    Humidified,
    /// Ventilated with dry gas.
    Dry,
    /// Breathing room air.
    No,
}

/// Rates to come.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Plan {
    /// All intake, mL/h.
    pub intake_ml_h: f64,
    /// All charted output but ultrafiltrate, mL/h.
    pub output_ml_h: f64,
    /// Ultrafiltrate, mL/h.
    pub ultrafiltration_ml_h: f64,
}

const VENTILATION: &words::Words<Ventilation> =
    &[("humidified", Ventilation::Humidified), ("dry", Ventilation::Dry), ("no", Ventilation::No)];

/// Body weights from the smallest preterm infant to beyond the heaviest patient known, kg.
const BODY_KG: Limits = Limits::between(0.2, 700.0);
/// Lengths and girths of a body; a metre or centimetre value falls out of them for all but the smallest parts.
const HEIGHT_MM: Limits = Limits::between(200.0, 2800.0).because("in millimetres");
const PART_MM: Limits = Limits::between(30.0, 1500.0).because("in millimetres");
const GIRTH_MM: Limits = Limits::between(30.0, 3000.0).because("in millimetres");
const SKINFOLD_MM: Limits = Limits::between(1.0, 100.0).because("in millimetres");

/// A key of `[patient]`, what it takes, and the field it stands for.
type NumberKey = (&'static str, Limits, fn(&mut Patient) -> &mut Option<f64>);

/// All numbers of `[patient]`, in the order in which they are written.
const NUMBERS: &[NumberKey] = &[
    ("age_y", Limits::between(0.0, 125.0), |p| &mut p.age_y),
    ("age_mo", Limits::between(0.0, 24.0).because("from two years on give `age_y`"), |p| &mut p.age_mo),
    ("height_mm", HEIGHT_MM, |p| &mut p.height_mm),
    ("knee_height_mm", PART_MM, |p| &mut p.knee_height_mm),
    ("ulna_mm", PART_MM, |p| &mut p.ulna_mm),
    ("demispan_mm", PART_MM, |p| &mut p.demispan_mm),
    ("arm_circumference_mm", GIRTH_MM, |p| &mut p.arm_circumference_mm),
    ("calf_circumference_mm", GIRTH_MM, |p| &mut p.calf_circumference_mm),
    ("waist_mm", GIRTH_MM, |p| &mut p.waist_mm),
    ("abdomen_mm", GIRTH_MM, |p| &mut p.abdomen_mm),
    ("thigh_mm", GIRTH_MM, |p| &mut p.thigh_mm),
    ("hip_mm", GIRTH_MM, |p| &mut p.hip_mm),
    ("subscapular_mm", SKINFOLD_MM, |p| &mut p.subscapular_mm),
    ("arm_length_mm", PART_MM, |p| &mut p.arm_length_mm),
    ("half_span_mm", PART_MM, |p| &mut p.half_span_mm),
    ("birth_kg", BODY_KG, |p| &mut p.birth_kg),
    ("gestation_weeks", Limits::between(20.0, 45.0), |p| &mut p.gestation_weeks),
    ("stated_kg", BODY_KG, |p| &mut p.stated_kg),
    ("admission_kg", BODY_KG, |p| &mut p.admission_kg),
    ("dry_kg", BODY_KG, |p| &mut p.dry_kg),
    ("temperature_C", Limits::between(20.0, 45.0).because("of the body, in °C"), |p| &mut p.temperature_c),
    ("creatinine_umol_L", Limits::POSITIVE, |p| &mut p.creatinine_umol_l),
    ("baseline_creatinine_umol_L", Limits::POSITIVE, |p| &mut p.baseline_creatinine_umol_l),
    ("burned_pct", Limits::between(0.0, 100.0), |p| &mut p.burned_pct),
    ("minute_volume_L_min", Limits::between(0.05, 100.0), |p| &mut p.minute_volume_l_min),
    ("oxygen_uptake_mL_min", Limits::between(1.0, 5000.0), |p| &mut p.oxygen_uptake_ml_min),
    ("respiratory_quotient", Limits::between(0.5, 1.5), |p| &mut p.respiratory_quotient),
];

/// The least and the greatest value of a number of `[patient]`, in the unit of its key; `None` where there is no such number.
#[must_use]
pub fn range(key: &str) -> Option<[f64; 2]> {
    NUMBERS.iter().find(|(name, ..)| *name == key).map(|(_, limits, _)| limits.ends())
}

/// Reads a patient file.
///
/// # Errors
/// All problems of the file at once: text that is not TOML, keys unknown, missing or of a wrong kind, numbers out of
/// range.
pub fn read(file: &str, text: &str) -> Result<PatientFile, Problems> {
    let (doc, tree) = Document::parse(file, text)?;
    let root = Table::root(&doc, &tree);
    let patient = root.table("patient").map(read_patient).unwrap_or_default();
    let plan = root.table_opt("plan").map(read_plan);
    root.finish();
    doc.finish(PatientFile { patient, plan }).map(|(patient, _)| patient)
}

fn read_patient(t: Table<'_>) -> Patient {
    let mut patient = Patient {
        label: t.text("label"),
        sex: t.word_opt("sex", SEXES),
        ventilated: t.word_opt("ventilated", VENTILATION),
        ..Patient::default()
    };
    for (key, limits, field) in NUMBERS {
        *field(&mut patient) = t.number_opt(key, *limits);
    }
    if patient.age_y.is_some() && patient.age_mo.is_some() {
        t.problem("age_mo", "a second age", "one of `age_y` and `age_mo`");
    }
    t.finish();
    patient
}

/// The rates of a plan; all of its keys must have been asked for before.
pub(crate) fn read_plan(t: Table<'_>) -> Plan {
    let rate = |key| t.number_opt(key, Limits::NOT_NEGATIVE).unwrap_or(0.0);
    let plan = Plan {
        intake_ml_h: rate("intake_mL_h"),
        output_ml_h: rate("output_mL_h"),
        ultrafiltration_ml_h: rate("ultrafiltration_mL_h"),
    };
    t.finish();
    plan
}

/// The patient file as text; [`read`] gives an equal one back.
#[must_use]
pub fn write(file: &PatientFile) -> String {
    let mut out = String::new();
    // Writing to a `String` cannot fail.
    let _ = write_file(&mut out, file);
    out
}

fn write_file(out: &mut String, file: &PatientFile) -> fmt::Result {
    let mut patient = file.patient.clone();
    writeln!(out, "[patient]\nlabel = {}", quoted_text(&patient.label))?;
    if let Some(sex) = patient.sex {
        writeln!(out, "sex = {}", quoted_text(words::word(SEXES, &sex)))?;
    }
    if let Some(ventilated) = patient.ventilated {
        writeln!(out, "ventilated = {}", quoted_text(words::word(VENTILATION, &ventilated)))?;
    }
    for (key, _, field) in NUMBERS {
        if let Some(value) = *field(&mut patient) {
            writeln!(out, "{key} = {}", number(value))?;
        }
    }
    let Some(plan) = &file.plan else { return Ok(()) };
    writeln!(out, "\n[plan]\nintake_mL_h = {}", number(plan.intake_ml_h))?;
    writeln!(out, "output_mL_h = {}", number(plan.output_ml_h))?;
    writeln!(out, "ultrafiltration_mL_h = {}", number(plan.ultrafiltration_ml_h))
}
