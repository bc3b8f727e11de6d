//! Side by side: every weight-dependent quantity for the measured weight and for each other weight that
//! the patient's data allow, and what the difference would do.

use formats::patient::{Patient, PatientFile};
use serde::Serialize;

use super::estimates::{Asked, Kind, KnownHeight, KnownWeight, Refusal, heights, weights};
use super::formula::{Formula, Status};
use super::{
    BodyWater, Bsa, DoseError, NEWBORN_Y, Predicted, Within, adjusted_kg, blood, bmi_kg_m2, bsa, growth, kidney,
    livingston_lee_m2, maintenance, maintenance_4_2_1_ml_h, maintenance_ml_day, oncology_kg,
};
use crate::report::CAUTION;

/// Weight-dependent quantities of one patient.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DoseReport {
    /// Local label of the patient.
    pub label: String,
    /// The weight that differences refer to: the measured one, else the admission weight.
    pub reference: Option<&'static str>,
    /// Weights.
    pub weights: Vec<KnownWeight>,
    /// Heights, the one used first.
    pub heights: Vec<KnownHeight>,
    /// Quantities, each for every weight that it accepts.
    pub quantities: Vec<Quantity>,
    /// What another weight than the reference would do to any quantity reckoned by kg or by m².
    pub effects: Vec<Effect>,
    /// Formulas that give no value, and why.
    pub refused: Vec<Refusal>,
    /// What to beware of.
    pub cautions: Vec<String>,
}

/// One quantity.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Quantity {
    /// Unit.
    pub unit: &'static str,
    /// Name, formula, source, range and caution.
    pub facts: Formula,
    /// One a weight; a single one without weight where the quantity does not depend on it.
    pub values: Vec<Value>,
}

/// A quantity's value for one weight.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Value {
    /// Name of the weight.
    pub weight: Option<&'static str>,
    /// Value in the quantity's unit.
    pub value: f64,
    /// Difference from the value for the reference weight, %.
    pub difference_pct: Option<f64>,
}

/// What another weight does to what is reckoned by it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Effect {
    /// Name of the weight.
    pub weight: &'static str,
    /// Change of anything reckoned per kg, %.
    pub per_kg_pct: f64,
    /// Change of anything reckoned per m², %, by Mosteller's formula; `None` without a height.
    pub per_m2_pct: Option<f64>,
}

/// Every weight-dependent quantity that the patient's data allow.
///
/// # Errors
/// A stated weight outside 0.3–400 kg; a patient for whom no weight at all can be had.
pub fn dose(file: &PatientFile, measured_kg: Option<f64>) -> Result<DoseReport, DoseError> {
    let patient = &file.patient;
    let mut refused = Vec::new();
    let heights = heights(patient, &mut refused);
    let height_cm = heights.first().map(|height| height.cm);
    let mut weights = weights(patient, measured_kg, height_cm, &mut refused)?;
    if weights.is_empty() {
        let quantity = "a weight (measured or admission_kg), or what one can be estimated from,";
        return Err(DoseError::Missing { formula: "weight-dependent quantities", quantity });
    }
    let reference = weights.iter().find(|weight| matches!(weight.kind, Kind::Measured | Kind::Stated)).cloned();
    if let Some(reference) = &reference {
        for weight in &mut weights {
            weight.difference_pct = Some(100.0 * (weight.kg / reference.kg - 1.0));
        }
    }
    let table = Table { asked: Asked::new(patient), patient, height_cm };
    let quantities = table.quantities(&weights, reference.as_ref(), &mut refused);
    let effects = effects(&weights, reference.as_ref(), height_cm);
    let cautions = cautions(patient, &weights, &heights);
    Ok(DoseReport {
        label: patient.label.clone(),
        reference: reference.map(|weight| weight.name),
        weights,
        heights,
        quantities,
        effects,
        refused,
        cautions,
    })
}

fn effects(weights: &[KnownWeight], reference: Option<&KnownWeight>, height_cm: Option<f64>) -> Vec<Effect> {
    let Some(reference) = reference else { return Vec::new() };
    let area = |kg| height_cm.and_then(|cm| Bsa::Mosteller.m2(cm, kg).ok());
    weights
        .iter()
        .filter(|weight| weight.name != reference.name)
        .map(|weight| Effect {
            weight: weight.name,
            per_kg_pct: 100.0 * (weight.kg / reference.kg - 1.0),
            per_m2_pct: area(weight.kg).zip(area(reference.kg)).map(|(other, own)| 100.0 * (other / own - 1.0)),
        })
        .collect()
}

fn cautions(patient: &Patient, weights: &[KnownWeight], heights: &[KnownHeight]) -> Vec<String> {
    let mut out =
        vec![CAUTION.to_owned(), "kilograms only: pounds taken for kilograms are 2.2 times too much".to_owned()];
    if !weights.iter().any(|weight| weight.kind == Kind::Measured) {
        out.push("no measured weight: every value here rests on a stated, estimated or predicted one".to_owned());
    }
    if weights.iter().any(|weight| weight.kind == Kind::Birth) {
        out.push("newborn: usual rule to reckon by the birth weight until it is regained (from memory)".to_owned());
    }
    if patient.height_mm.is_none() {
        out.extend(heights.first().map(|height| format!("height is an estimate: {}", height.name)));
    }
    if patient.creatinine_umol_l.is_some() {
        out.push("creatinine formulas are void while creatinine changes".to_owned());
    }
    out
}

/// The patient, asked formula by formula.
struct Table<'a> {
    asked: Asked<'a>,
    patient: &'a Patient,
    height_cm: Option<f64>,
}

impl Table<'_> {
    fn height(&self, formula: &'static str) -> Result<f64, DoseError> {
        self.height_cm.ok_or(DoseError::Missing { formula, quantity: "height_mm" })
    }

    fn creatinine_mg_dl(&self, formula: &'static str) -> Result<f64, DoseError> {
        let umol_l = self.patient.creatinine_umol_l;
        umol_l
            .map(|c| c / kidney::UMOL_L_PER_MG_DL)
            .ok_or(DoseError::Missing { formula, quantity: "creatinine_umol_L" })
    }

    fn ideal_kg(&self, formula: &'static str) -> Result<f64, DoseError> {
        Predicted::Devine.kg(self.asked.sex(formula)?, self.height(formula)?, Some(self.asked.age(formula)?))
    }

    fn quantities(
        &self,
        weights: &[KnownWeight],
        reference: Option<&KnownWeight>,
        refused: &mut Vec<Refusal>,
    ) -> Vec<Quantity> {
        let mut rows = Rows { weights, reference, refused, out: Vec::new() };
        self.sizes(&mut rows);
        self.fluids(&mut rows);
        self.kidneys(&mut rows);
        self.growth(&mut rows);
        rows.out
    }

    fn sizes(&self, rows: &mut Rows<'_>) {
        for formula in Bsa::ALL {
            let facts = formula.facts();
            rows.each(facts, "m²", |kg| formula.m2(self.height(facts.name)?, kg));
        }
        rows.each(bsa::LIVINGSTON_LEE, "m²", livingston_lee_m2);
        rows.each(BMI, "kg/m²", |kg| bmi_kg_m2(self.height(BMI.name)?, kg));
        rows.each(ADJUSTED, "kg", |kg| adjusted_kg(self.ideal_kg(ADJUSTED.name)?, kg));
        rows.each(ONCOLOGY, "kg", |kg| oncology_kg(self.ideal_kg(ONCOLOGY.name)?, kg));
        let tidal = |name| {
            let kg = Predicted::ArdsNet.kg(self.asked.sex(name)?, self.height(name)?, Some(self.asked.age(name)?))?;
            Ok(6.0 * kg)
        };
        rows.once(TIDAL, "mL", tidal(TIDAL.name));
    }

    fn fluids(&self, rows: &mut Rows<'_>) {
        for formula in BodyWater::ALL {
            let facts = formula.facts();
            rows.each(facts, "L", |kg| {
                let name = facts.name;
                formula.litres(self.asked.sex(name)?, self.asked.age(name)?, self.height(name)?, kg)
            });
        }
        rows.each(maintenance::DAILY, "mL/day", |kg| maintenance_ml_day(self.asked.age_y(), kg));
        rows.each(maintenance::HOURLY, "mL/h", |kg| maintenance_4_2_1_ml_h(self.asked.age_y(), kg));
        let name = blood::LINDERKAMP.name;
        rows.each(blood::LINDERKAMP, "mL", |kg| {
            blood::linderkamp_ml(self.asked.sex(name)?, self.asked.age(name)?, self.height(name)?, kg)
        });
        let name = blood::NADLER.name;
        rows.each(blood::NADLER, "mL", |kg| {
            blood::nadler_ml(self.asked.sex(name)?, self.asked.age(name)?, self.height(name)?, kg)
        });
        let middle = |kg| {
            let (low, high) = blood::per_kg_ml(self.asked.age(blood::PER_KG.name)?, kg)?;
            Ok(0.5 * (low + high))
        };
        rows.each(blood::PER_KG, "mL", middle);
    }

    fn kidneys(&self, rows: &mut Rows<'_>) {
        let name = kidney::COCKCROFT_GAULT.name;
        rows.each(kidney::COCKCROFT_GAULT, "mL/min", |kg| {
            let creatinine = self.creatinine_mg_dl(name)?;
            kidney::cockcroft_gault_ml_min(self.asked.sex(name)?, self.asked.age(name)?, kg, creatinine)
        });
        let name = kidney::COCKCROFT_GAULT_UMOL.name;
        rows.each(kidney::COCKCROFT_GAULT_UMOL, "mL/min", |kg| {
            let creatinine = self.creatinine_mg_dl(name)? * kidney::UMOL_L_PER_MG_DL;
            kidney::cockcroft_gault_umol_ml_min(self.asked.sex(name)?, self.asked.age(name)?, kg, creatinine)
        });
        let schwartz =
            |name| kidney::schwartz_bedside(self.asked.age(name)?, self.height(name)?, self.creatinine_mg_dl(name)?);
        rows.once(kidney::SCHWARTZ_BEDSIDE, "mL/min/1.73 m²", schwartz(kidney::SCHWARTZ_BEDSIDE.name));
        let original = |name| {
            let (sex, age_y) = (self.asked.sex(name)?, self.asked.age(name)?);
            let group = kidney::SchwartzGroup::of(sex, age_y, self.patient.gestation_weeks)?;
            kidney::schwartz_original(group, self.height(name)?, self.creatinine_mg_dl(name)?)
        };
        rows.once(kidney::SCHWARTZ_ORIGINAL, "mL/min/1.73 m²", original(kidney::SCHWARTZ_ORIGINAL.name));
    }
}

impl Table<'_> {
    fn growth(&self, rows: &mut Rows<'_>) {
        let z = |name, kg| {
            growth::cdc_weight_for_age(self.asked.sex(name)?, self.asked.table_age_mo(name)?)
                .and_then(|row| row.z(kg))
                .map_err(|error| error.of_formula(name))
        };
        let facts = growth::WEIGHT_FOR_AGE_Z;
        rows.scores(facts, "SD", |kg| z(facts.name, kg));
        let facts = growth::WEIGHT_FOR_AGE_PERCENTILE;
        rows.scores(facts, "%", |kg| Ok(100.0 * stats::distribution::normal_cdf(z(facts.name, kg)?)));
        rows.scores(SINCE_BIRTH, "%", |kg| {
            let name = SINCE_BIRTH.name;
            Within::new(name).of("age_y", self.asked.age(name)?, 0.0, NEWBORN_Y)?;
            let missing = DoseError::Missing { formula: name, quantity: "birth_kg" };
            let birth_kg = self.patient.birth_kg.ok_or(missing)?;
            Ok(100.0 * (birth_kg - kg) / birth_kg)
        });
    }
}

/// The table under way.
struct Rows<'a> {
    weights: &'a [KnownWeight],
    reference: Option<&'a KnownWeight>,
    refused: &'a mut Vec<Refusal>,
    out: Vec<Quantity>,
}

impl Rows<'_> {
    /// A quantity for each weight. A reason that holds for every weight is told once.
    fn each(&mut self, facts: Formula, unit: &'static str, of: impl Fn(f64) -> Result<f64, DoseError>) {
        let own = self.reference.and_then(|weight| of(weight.kg).ok());
        let mut values = Vec::new();
        for weight in self.weights {
            match of(weight.kg) {
                Ok(value) => values.push(Value {
                    weight: Some(weight.name),
                    value,
                    difference_pct: own.map(|own| 100.0 * (value / own - 1.0)),
                }),
                Err(error @ DoseError::OutOfRange { quantity: "weight_kg" | "actual_kg", .. }) => {
                    self.refused.push(Refusal { weight: Some(weight.name), ..Refusal::new(facts.name, &error) });
                }
                Err(error) => {
                    self.refused.push(Refusal::new(facts.name, &error));
                    break;
                }
            }
        }
        if !values.is_empty() {
            self.out.push(Quantity { unit, facts, values });
        }
    }

    /// As [`Self::each`] for what passes through nothing: a difference in percent would say nothing of it.
    fn scores(&mut self, facts: Formula, unit: &'static str, of: impl Fn(f64) -> Result<f64, DoseError>) {
        let n_before = self.out.len();
        self.each(facts, unit, of);
        for value in self.out[n_before..].iter_mut().flat_map(|quantity| &mut quantity.values) {
            value.difference_pct = None;
        }
    }

    /// A quantity that does not depend on the weight.
    fn once(&mut self, facts: Formula, unit: &'static str, value: Result<f64, DoseError>) {
        match value {
            Ok(value) => {
                let values = vec![Value { weight: None, value, difference_pct: None }];
                self.out.push(Quantity { unit, facts, values });
            }
            Err(error) => self.refused.push(Refusal::new(facts.name, &error)),
        }
    }
}

const SINCE_BIRTH: Formula = Formula {
    name: "loss since birth",
    formula: "(birth weight − W)/birth weight",
    source: "a definition; 7–10 % in preterm infants on early nutrition, lowest about day 2 to 3, read on a secondary page",
    status: Status::ReadSecondary,
    range: "the first 28 days",
    caution: "older texts: 15–20 % in the most immature; mostly water outside the cells",
};
const BMI: Formula = Formula {
    name: "body mass index",
    formula: "W/(H_m)²",
    source: "a definition",
    status: Status::Definition,
    range: "adults; in children only against a growth table",
    caution: "",
};
const ADJUSTED: Formula = Formula {
    name: "adjusted body weight",
    formula: "ideal + 0.4·(actual − ideal) where actual > ideal, else actual; ideal by Devine",
    source: "common practice, read on secondary pages",
    status: Status::ReadSecondary,
    range: "adults",
    caution: "",
};
const ONCOLOGY: Formula = Formula {
    name: "oncology weight variant",
    formula: "middle of actual and ideal where actual > 130 % of ideal, else actual; ideal by Devine",
    source: "one regional handbook",
    status: Status::Read,
    range: "adults",
    caution: "local practice",
};
const TIDAL: Formula = Formula {
    name: "6 mL per kg of predicted weight",
    formula: "6·(predicted body weight, ARDSNet)",
    source: "ARDS Network, N Engl J Med 2000;342:1301",
    status: Status::ReadSecondary,
    range: "adults; 4 to 8 mL/kg",
    caution: "by predicted, not by actual weight",
};
#[cfg(test)]
mod tests {
    use formats::deck::Sex;

    use super::*;

    fn adult() -> PatientFile {
        let patient = Patient {
            label: "invented".to_owned(),
            sex: Some(Sex::Female),
            age_y: Some(61.0),
            height_mm: Some(1640.0),
            admission_kg: Some(68.0),
            arm_circumference_mm: Some(290.0),
            waist_mm: Some(860.0),
            abdomen_mm: Some(940.0),
            stated_kg: Some(70.0),
            hip_mm: Some(1010.0),
            calf_circumference_mm: Some(350.0),
            creatinine_umol_l: Some(97.0),
            ..Patient::default()
        };
        PatientFile { patient, plan: None }
    }

    fn quantity<'a>(report: &'a DoseReport, name: &str) -> &'a Quantity {
        report.quantities.iter().find(|quantity| quantity.facts.name == name).unwrap()
    }

    #[test]
    fn each_weight_stands_beside_the_measured_one() {
        let report = dose(&adult(), Some(74.2)).unwrap();
        assert_eq!(report.reference, Some("measured weight"));
        let names: Vec<&str> = report.weights.iter().map(|weight| weight.name).collect();
        for name in
            ["measured weight", "admission weight", "stated weight", "Lorenz 2007", "Rabito 2006", "Cattermole 2017"]
        {
            assert!(names.contains(&name), "{name} in {names:?}");
        }
        // 0.5759·29 + 0.5263·94 + 1.2452·35 − 4.8689·2 − 32.9241: the navel's girth, not the waist's.
        let rabito = report.weights.iter().find(|weight| weight.name == "Rabito 2006").unwrap();
        assert!((rabito.kg - 67.093_4).abs() < 1e-3, "{}", rabito.kg);
        let area = quantity(&report, "Mosteller 1987");
        assert_eq!(area.values.len(), report.weights.len());
        let stated = area.values.iter().find(|value| value.weight == Some("admission weight")).unwrap();
        // √(68/74.2) − 1 = −4.27 %.
        assert!((stated.difference_pct.unwrap() + 4.27).abs() < 0.01);
    }

    #[test]
    fn what_a_wrong_weight_does_is_told_by_kg_and_by_area() {
        let report = dose(&adult(), Some(74.2)).unwrap();
        let effect = report.effects.iter().find(|effect| effect.weight == "admission weight").unwrap();
        assert!((effect.per_kg_pct + 8.36).abs() < 0.01);
        assert!((effect.per_m2_pct.unwrap() + 4.27).abs() < 0.01);
    }

    #[test]
    fn what_is_missing_is_refused_by_name() {
        let mut file = adult();
        file.patient.sex = None;
        file.patient.hip_mm = None;
        let report = dose(&file, Some(74.2)).unwrap();
        let reason = |name: &str| &report.refused.iter().find(|refusal| refusal.name == name).unwrap().reason;
        assert_eq!(reason("Lorenz 2007"), "Lorenz 2007: hip_mm is not given");
        assert_eq!(reason("predicted body weight (ARDSNet)"), "predicted body weight (ARDSNet): sex is not given");
    }

    #[test]
    fn a_newborn_gets_no_maintenance_fluid() {
        let patient = |age_mo| Patient { age_mo: Some(age_mo), ..Patient::default() };
        for (age_mo, given) in [(0.5, false), (2.0, true)] {
            let report = dose(&PatientFile { patient: patient(age_mo), plan: None }, Some(3.5)).unwrap();
            let named = |name: &str| name.starts_with("maintenance fluid");
            assert_eq!(report.quantities.iter().filter(|q| named(q.facts.name)).count(), if given { 2 } else { 0 });
            assert_eq!(report.refused.iter().filter(|r| named(r.name)).count(), if given { 0 } else { 2 });
        }
    }

    #[test]
    fn nothing_known_is_an_error() {
        let file = PatientFile { patient: Patient::default(), plan: None };
        assert!(matches!(dose(&file, None), Err(DoseError::Missing { .. })));
    }

    #[test]
    fn a_child_gets_no_adult_formula() {
        let patient = Patient { age_y: Some(4.0), height_mm: Some(1030.0), sex: Some(Sex::Male), ..Patient::default() };
        let report = dose(&PatientFile { patient, plan: None }, Some(16.5)).unwrap();
        assert!(report.weights.iter().all(|weight| weight.kind != Kind::Predicted));
        assert!(!report.quantities.iter().any(|quantity| quantity.facts.name.contains("Watson")));
        assert!(report.quantities.iter().any(|quantity| quantity.facts.name.contains("Linderkamp")));
        assert!(report.cautions.iter().any(|caution| caution == CAUTION));
    }
}
