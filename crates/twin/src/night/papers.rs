//! What a night is drawn from and what is written of it: the patient's body and regimen, the truth, the patient as the ward
//! knows him.

use formats::patient::{Patient, PatientFile, Plan, Ventilation};

use super::programme::Programme;
use super::truth::NightTruth;
use crate::chance::Chance;
use crate::fluid::charting::Charted;
use crate::fluid::course::Course;
use crate::fluid::metabolism::Physique;
use crate::fluid::regimen::{Kidney, Loss, Way};
use crate::fluid::{Regimen, tell};
use crate::scenario::{Gas, Scenario, Sex};

pub(crate) fn physique(scenario: &Scenario) -> Physique {
    Physique {
        mass_kg: scenario.patient.mass_kg,
        height_mm: scenario.patient.height_mm,
        temperature_c: scenario.patient.temperature_c,
        ventilated: ventilation(scenario.patient.ventilated),
        burned_share: 0.0,
    }
}

fn ventilation(gas: Gas) -> Ventilation {
    match gas {
        Gas::Humidified => Ventilation::Humidified,
        Gas::Dry => Ventilation::Dry,
        Gas::No => Ventilation::No,
    }
}

pub(crate) fn regimen(scenario: &Scenario, physique: &Physique, seed: u64) -> Regimen {
    let mut chance = Chance::stream(seed, "story");
    let mut regimen = match (&scenario.fluid.regimen, scenario.fluid.story) {
        (Some(regimen), _) => regimen.clone(),
        (None, Some(story)) => tell(story, physique, scenario.hours, &mut chance),
        (None, None) => Regimen {
            infusions: Vec::new(),
            doses: Vec::new(),
            losses: Vec::new(),
            spills: Vec::new(),
            kidney: Kidney { base_ml_kg_h: 0.8, function: Vec::new(), catheter: true },
            diuretics: Vec::new(),
            burned_share: 0.0,
            surplus_ml: 0.0,
        },
    };
    for hidden in &scenario.fluid.hidden {
        regimen.losses.push(Loss {
            way: Way::Other,
            from_s: hidden.from_h * 3600.0,
            to_s: hidden.to_h * 3600.0,
            ml_h: hidden.ml / (hidden.to_h - hidden.from_h).max(1e-3),
            halves_in_s: None,
            leaves_deck: hidden.leaves_deck,
            charted: false,
        });
    }
    regimen
}

pub(crate) fn truth(
    scenario: &Scenario,
    programme: &Programme,
    course: &Course,
    charted: &Charted,
    tare_kg: f64,
    seed: u64,
) -> NightTruth {
    let end_s = scenario.hours * 3600.0;
    NightTruth {
        seed,
        scenario: scenario.name.clone(),
        tare_kg,
        first_patient_kg: course.patient_kg_at(programme.patient_on_s),
        last_patient_kg: course.patient_kg_at(end_s),
        last_pad_kg: course.pad_kg_at(end_s),
        insensible_g_h: course.insensible_g_h,
        hidden_ml: scenario.fluid.hidden.iter().map(|h| h.ml).sum(),
        events: programme.events.clone(),
        disturbed: programme.disturbed.clone(),
        shunts: Vec::new(),
        faults: scenario.fault.clone(),
        slips: charted.slips.clone(),
    }
}

/// The patient as the ward knows him, and a plan that goes on as the last hours went.
pub(crate) fn patient_file(scenario: &Scenario, regimen: &Regimen) -> PatientFile {
    let patient = &scenario.patient;
    let end_s = scenario.hours * 3600.0;
    let running: f64 = regimen.infusions.iter().filter(|i| i.from_s < end_s && i.to_s >= end_s).map(|i| i.ml_h).sum();
    let removing = regimen.losses.iter().filter(|l| l.way == Way::Ultrafiltrate && l.from_s < end_s && l.to_s >= end_s);
    PatientFile {
        patient: Patient {
            label: patient.label.clone(),
            sex: Some(match patient.sex {
                Sex::Female => formats::deck::Sex::Female,
                Sex::Male => formats::deck::Sex::Male,
            }),
            age_y: Some(patient.age_y),
            height_mm: Some(patient.height_mm),
            // As a ward believes it: to half a kilogram.
            admission_kg: Some(patient.admission_kg.unwrap_or((2.0 * patient.mass_kg).round() / 2.0)),
            ventilated: Some(ventilation(patient.ventilated)),
            temperature_c: Some(patient.temperature_c),
            ..Patient::default()
        },
        plan: Some(Plan {
            intake_ml_h: running.round(),
            output_ml_h: (regimen.kidney.base_ml_kg_h * patient.mass_kg * regimen.kidney.function_at(end_s)).round(),
            ultrafiltration_ml_h: // From 0: the sum of nothing would be −0.
            removing.fold(0.0, |sum, l| sum + l.ml_h),
        }),
    }
}
