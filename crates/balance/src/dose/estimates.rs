//! Every weight and height that a patient's data allow, each with its formula or the reason why not.

use formats::deck::Sex;
use formats::patient::Patient;
use serde::Serialize;

use super::formula::{Formula, Status};
use super::{AgeRule, DoseError, NEWBORN_Y, Predicted, Within, growth, height, limb_weight as limb};

/// How a weight is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Kind {
    /// By the deck.
    Measured,
    /// At admission, or as patient or relative say, as the file states it.
    Stated,
    /// The weight without surplus fluid, as the file states it.
    Dry,
    /// At birth: the weight to reckon by until it is regained (usual rule, from memory).
    Birth,
    /// From limbs, girths or age.
    Estimated,
    /// What a person of this height and sex is taken to weigh; no estimate of this patient's weight.
    Predicted,
}

/// A weight.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct KnownWeight {
    /// Name.
    pub name: &'static str,
    /// How it is known.
    pub kind: Kind,
    /// Value, kg.
    pub kg: f64,
    /// Difference from the reference weight, %.
    pub difference_pct: Option<f64>,
    /// Where it comes from.
    pub facts: Formula,
}

/// A height.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct KnownHeight {
    /// Name.
    pub name: &'static str,
    /// Value, cm.
    pub cm: f64,
    /// Where it comes from.
    pub facts: Formula,
}

/// A formula that gives no value, and why.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Refusal {
    /// Name of the formula.
    pub name: &'static str,
    /// The weight it was asked for, where that matters.
    pub weight: Option<&'static str>,
    /// Why not.
    pub reason: String,
}

impl Refusal {
    pub(super) fn new(name: &'static str, error: &DoseError) -> Self {
        Self { name, weight: None, reason: error.to_string() }
    }
}

const fn given(name: &'static str, key: &'static str) -> Formula {
    Formula { name, formula: key, source: "patient file or deck", status: Status::Definition, range: "", caution: "" }
}

/// A patient as the formulas ask for one: years and centimetres.
pub(super) struct Asked<'a> {
    patient: &'a Patient,
}

impl<'a> Asked<'a> {
    pub(super) fn new(patient: &'a Patient) -> Self {
        Self { patient }
    }

    pub(super) fn sex(&self, formula: &'static str) -> Result<Sex, DoseError> {
        self.patient.sex.ok_or(DoseError::Missing { formula, quantity: "sex" })
    }

    pub(super) fn age_y(&self) -> Option<f64> {
        self.patient.age_y.or(self.patient.age_mo.map(|months| months / 12.0))
    }

    pub(super) fn age(&self, formula: &'static str) -> Result<f64, DoseError> {
        self.age_y().ok_or(DoseError::Missing { formula, quantity: "age_y" })
    }

    /// Age by which a child is set against a growth table, months.
    pub(super) fn table_age_mo(&self, formula: &'static str) -> Result<f64, DoseError> {
        Ok(growth::table_age_mo(12.0 * self.age(formula)?, self.patient.gestation_weeks))
    }

    fn cm(value_mm: Option<f64>, formula: &'static str, quantity: &'static str) -> Result<f64, DoseError> {
        value_mm.map(|mm| mm / 10.0).ok_or(DoseError::Missing { formula, quantity })
    }

    fn arm(&self, formula: &'static str) -> Result<f64, DoseError> {
        Self::cm(self.patient.arm_circumference_mm, formula, "arm_circumference_mm")
    }

    fn waist(&self, formula: &'static str) -> Result<f64, DoseError> {
        Self::cm(self.patient.waist_mm, formula, "waist_mm")
    }

    fn knee(&self, formula: &'static str) -> Result<f64, DoseError> {
        Self::cm(self.patient.knee_height_mm, formula, "knee_height_mm")
    }
}

/// Heights, the measured one first.
pub(super) fn heights(patient: &Patient, refused: &mut Vec<Refusal>) -> Vec<KnownHeight> {
    let asked = Asked::new(patient);
    let mut out = Vec::new();
    if let Some(mm) = patient.height_mm {
        out.push(KnownHeight { name: "measured height", cm: mm / 10.0, facts: given("measured height", "height_mm") });
    }
    let knee = |name| height::knee_cm(asked.sex(name)?, asked.age(name)?, asked.knee(name)?);
    let ulna = |name| {
        let ulna_cm = Asked::cm(patient.ulna_mm, name, "ulna_mm")?;
        height::ulna_cm(asked.sex(name)?, asked.age(name)?, ulna_cm)
    };
    let demispan = |name| {
        let span_cm = Asked::cm(patient.demispan_mm, name, "demispan_mm")?;
        height::demispan_cm(asked.sex(name)?, asked.age(name)?, span_cm)
    };
    let rabito = |name| {
        let arm_cm = Asked::cm(patient.arm_length_mm, name, "arm_length_mm")?;
        let half_span_cm = Asked::cm(patient.half_span_mm, name, "half_span_mm")?;
        height::rabito_cm(asked.sex(name)?, asked.age(name)?, arm_cm, half_span_cm)
    };
    let tries = [
        (height::KNEE, knee(height::KNEE.name)),
        (height::ULNA, ulna(height::ULNA.name)),
        (height::DEMISPAN, demispan(height::DEMISPAN.name)),
        (height::RABITO_HEIGHT, rabito(height::RABITO_HEIGHT.name)),
    ];
    for (facts, value) in tries {
        match value {
            Ok(cm) => out.push(KnownHeight { name: facts.name, cm, facts }),
            Err(error) => refused.push(Refusal::new(facts.name, &error)),
        }
    }
    out
}

/// Weights, the measured one first; differences are filled in by the caller.
pub(super) fn weights(
    patient: &Patient,
    measured_kg: Option<f64>,
    height_cm: Option<f64>,
    refused: &mut Vec<Refusal>,
) -> Result<Vec<KnownWeight>, DoseError> {
    let mut out = Vec::new();
    let stated = [
        ("measured weight", "--measured", Kind::Measured, measured_kg),
        ("admission weight", "admission_kg", Kind::Stated, patient.admission_kg),
        ("stated weight", "stated_kg", Kind::Stated, patient.stated_kg),
        ("dry weight", "dry_kg", Kind::Dry, patient.dry_kg),
    ];
    for (name, key, kind, kg) in stated {
        if let Some(kg) = kg {
            Within::new(name).of("kg", kg, 0.3, 400.0)?;
            out.push(KnownWeight { name, kind, kg, difference_pct: None, facts: given(name, key) });
        }
    }
    if let Some(kg) = patient.birth_kg {
        const BIRTH: Formula = given("birth weight", "birth_kg");
        let name = BIRTH.name;
        let newborn =
            Asked::new(patient).age(name).and_then(|age_y| Within::new(name).of("age_y", age_y, 0.0, NEWBORN_Y));
        match newborn {
            Ok(_) => out.push(KnownWeight { name, kind: Kind::Birth, kg, difference_pct: None, facts: BIRTH }),
            Err(error) => refused.push(Refusal::new(name, &error)),
        }
    }
    for (facts, kind, value) in estimated(patient, height_cm) {
        match value {
            Ok(kg) if kg > 0.0 => out.push(KnownWeight { name: facts.name, kind, kg, difference_pct: None, facts }),
            Ok(kg) => refused.push(Refusal {
                name: facts.name,
                weight: None,
                reason: format!("{}: gives {kg:.1} kg, expected a weight above 0", facts.name),
            }),
            Err(error) => refused.push(Refusal::new(facts.name, &error)),
        }
    }
    Ok(out)
}

type Tried = (Formula, Kind, Result<f64, DoseError>);

fn estimated(patient: &Patient, height_cm: Option<f64>) -> Vec<Tried> {
    let asked = Asked::new(patient);
    let tall = |formula| height_cm.ok_or(DoseError::Missing { formula, quantity: "height_mm" });
    let lorenz = |name| {
        let hip_cm = Asked::cm(patient.hip_mm, name, "hip_mm")?;
        limb::lorenz_kg(asked.sex(name)?, asked.age(name)?, tall(name)?, asked.waist(name)?, hip_cm)
    };
    let rabito = |name| {
        let calf_cm = Asked::cm(patient.calf_circumference_mm, name, "calf_circumference_mm")?;
        // At the navel, not at the narrowest place as Lorenz asks.
        let abdomen_cm = Asked::cm(patient.abdomen_mm, name, "abdomen_mm")?;
        limb::rabito_kg(asked.sex(name)?, asked.age(name)?, asked.arm(name)?, abdomen_cm, calf_cm)
    };
    let adult_arm = |name| limb::cattermole_adult_kg(asked.age(name)?, asked.arm(name)?);
    let child_arm = |name| limb::cattermole_child_kg(asked.age(name)?, asked.arm(name)?);
    let knee_arm =
        |name| limb::knee_and_arm_kg(asked.sex(name)?, asked.age(name)?, asked.knee(name)?, asked.arm(name)?);
    let buckley = |name| {
        let abdomen_cm = Asked::cm(patient.abdomen_mm, name, "abdomen_mm")?;
        let thigh_cm = Asked::cm(patient.thigh_mm, name, "thigh_mm")?;
        limb::buckley_kg(asked.sex(name)?, asked.age(name)?, abdomen_cm, thigh_cm)
    };
    let chumlea = |name| {
        let input = limb::ChumleaInput {
            arm_cm: asked.arm(name)?,
            calf_cm: Asked::cm(patient.calf_circumference_mm, name, "calf_circumference_mm")?,
            subscapular_mm: patient
                .subscapular_mm
                .ok_or(DoseError::Missing { formula: name, quantity: "subscapular_mm" })?,
            knee_height_cm: asked.knee(name)?,
        };
        limb::chumlea_kg(asked.sex(name)?, asked.age(name)?, input)
    };
    let median = |name| Ok(growth::cdc_weight_for_age(asked.sex(name)?, asked.table_age_mo(name)?)?.m);
    let mut out = vec![
        (limb::LORENZ, Kind::Estimated, lorenz(limb::LORENZ.name)),
        (limb::RABITO, Kind::Estimated, rabito(limb::RABITO.name)),
        (limb::CATTERMOLE_ADULT, Kind::Estimated, adult_arm(limb::CATTERMOLE_ADULT.name)),
        (limb::CATTERMOLE_CHILD, Kind::Estimated, child_arm(limb::CATTERMOLE_CHILD.name)),
        (limb::KNEE_AND_ARM, Kind::Estimated, knee_arm(limb::KNEE_AND_ARM.name)),
        (limb::BUCKLEY, Kind::Estimated, buckley(limb::BUCKLEY.name)),
        (limb::CHUMLEA, Kind::Estimated, chumlea(limb::CHUMLEA.name)),
        (growth::MEDIAN_FOR_AGE, Kind::Estimated, median(growth::MEDIAN_FOR_AGE.name)),
    ];
    for rule in AgeRule::ALL {
        let facts = rule.facts();
        out.push((facts, Kind::Estimated, asked.age(facts.name).and_then(|age| rule.kg(age))));
    }
    for formula in Predicted::ALL {
        let facts = formula.facts();
        let value =
            asked.sex(facts.name).and_then(|sex| formula.kg(sex, tall(facts.name)?, Some(asked.age(facts.name)?)));
        out.push((facts, Kind::Predicted, value));
    }
    out
}
