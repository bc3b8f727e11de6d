//! A regimen lived through, minute by minute, with two ledgers.
//!
//! Water moves between the blood and the tissues; the kidney answers to what the blood holds too much:
//!
//! ```text
//! dB/dt = iv + gut − urine − losses − evaporation + metabolic − (B − φ T) / τ      B surplus in the blood, mL
//! dT/dt = (B − φ T) / τ                                                            T surplus in the tissues, mL
//! urine = (base · kg · f(t) · e^n · clamp(1 + B / B₀, 0.2, 5) + diuretics · f(t))    n slow noise
//! ```
//!
//! φ = 0.3 and τ = 30 min: a litre of crystalloid leaves about a quarter in the blood (common practice, no source).
//! B₀ = 4 mL/kg doubles the urine: own choice. Signs: into the body positive.
//!
//! The mass ledger holds every gram: in, out, evaporated, gas. The water ledger holds water alone. What leaves the body
//! into pads lies on the deck until the pads are changed and is kept apart as `pad_kg`.

use serde::Serialize;

use super::flows::{Flows, Moved};
use super::metabolism::Physique;
use super::regimen::{Regimen, Way};
use crate::chance::Chance;

/// Length of a step, s.
pub const STEP_S: f64 = 60.0;
/// φ of the module's equations.
const TISSUE_BALANCE: f64 = 0.3;
/// τ of the module's equations, s.
const EXCHANGE_S: f64 = 1800.0;
/// Time in which the gut hands on what was swallowed, s.
const GUT_S: f64 = 1800.0;
/// Spread and time of the kidney's slow noise, and of evaporation's.
const URINE_NOISE: (f64, f64) = (0.25, 3.0 * 3600.0);
const EVAPORATION_NOISE: (f64, f64) = (0.15, 6.0 * 3600.0);

/// Where a stream comes from, which decides how it is charted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Source {
    /// A pump, read off.
    Pump,
    /// Urine in a measuring chamber, or in nappies.
    Kidney,
    /// A bag that is read now and then.
    Bag,
    /// A loss into the pads, guessed.
    Pad,
    /// A loss that nobody charts.
    Hidden,
}

/// One stream over time.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Stream {
    /// By which way.
    pub way: Way,
    /// Into the patient, or out.
    pub intake: bool,
    /// How it is measured.
    pub source: Source,
    /// Whether an output leaves the deck at once.
    pub leaves_deck: bool,
    /// What the pump says over what flows; 1 elsewhere.
    pub shown_over_true: f64,
    /// True running total at the end of each step, mL.
    pub total_ml: Vec<f64>,
}

/// A portion as it was given.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Given {
    /// By which way.
    pub way: Way,
    /// When it began, s.
    pub from_s: f64,
    /// When it was finished, s.
    pub done_s: f64,
    /// True volume, mL.
    pub ml: f64,
}

/// The truth of a patient's fluids. Index i stands for the time i · [`STEP_S`].
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Course {
    /// Mass of the patient, kg.
    pub patient_kg: Vec<f64>,
    /// Fluids lying in pads on the deck, kg.
    pub pad_kg: Vec<f64>,
    /// Change of body water since the start, mL.
    pub water_ml: Vec<f64>,
    /// Mean evaporation and gas, g/h: what the mass loses and nobody can chart.
    pub insensible_g_h: f64,
    /// Streams.
    pub streams: Vec<Stream>,
    /// Portions.
    pub given: Vec<Given>,
}

impl Course {
    /// Mass of the patient at a time, kg, straight between the steps.
    #[must_use]
    pub fn patient_kg_at(&self, t_s: f64) -> f64 {
        between(&self.patient_kg, t_s)
    }

    /// Fluid in the pads at a time, kg.
    #[must_use]
    pub fn pad_kg_at(&self, t_s: f64) -> f64 {
        let i = (t_s / STEP_S).max(0.0) as usize;
        match (self.pad_kg.get(i), self.pad_kg.get(i + 1)) {
            // What leaves the patient reaches the pad at the same moment; a change of pads empties them at a stroke.
            (Some(now), Some(next)) if next < now => *now,
            _ => between(&self.pad_kg, t_s),
        }
    }
}

fn between(series: &[f64], t_s: f64) -> f64 {
    let x = (t_s / STEP_S).max(0.0);
    let i = x as usize;
    match (series.get(i), series.get(i + 1)) {
        (Some(a), Some(b)) => a + (b - a) * (x - i as f64),
        (Some(a), None) => *a,
        _ => series.last().copied().unwrap_or(0.0),
    }
}

/// Slow noise with the given spread and memory.
struct Slow {
    value: f64,
    spread: f64,
    kept: f64,
}

impl Slow {
    fn new((spread, memory_s): (f64, f64), chance: &mut Chance) -> Self {
        Self { value: spread * chance.normal(), spread, kept: (-STEP_S / memory_s).exp() }
    }

    fn next(&mut self, chance: &mut Chance) -> f64 {
        self.value = self.kept * self.value + self.spread * (1.0 - self.kept * self.kept).sqrt() * chance.normal();
        self.value
    }
}

/// Water in the blood, the tissues and the gut, as surplus over what the body would have in balance, mL.
#[derive(Debug, Clone, Copy)]
struct Water {
    blood: f64,
    tissue: f64,
    gut: f64,
}

/// Lives through a regimen for `hours`. `pad_changes_s` are the times at which wet pads leave the deck.
#[must_use]
pub fn live(physique: &Physique, regimen: &Regimen, hours: f64, pad_changes_s: &[f64], chance: &mut Chance) -> Course {
    let n_steps = (hours * 3600.0 / STEP_S).ceil() as usize;
    let mut flows = Flows::new(regimen, n_steps, chance);
    let mut urine_noise = Slow::new(URINE_NOISE, chance);
    let mut evaporation_noise = Slow::new(EVAPORATION_NOISE, chance);
    // One person evaporates more than another: a factor of its own for the whole course.
    let own_evaporation = physique.evaporation_g_h() * chance.log_normal(1.0, 0.15);
    let (mut mass_g, mut pad_g, mut change_ml) = (physique.mass_kg * 1000.0, 0.0, 0.0);
    let mut water = Water {
        blood: regimen.surplus_ml * TISSUE_BALANCE / (1.0 + TISSUE_BALANCE),
        tissue: regimen.surplus_ml / (1.0 + TISSUE_BALANCE),
        gut: 0.0,
    };
    let mut course = Course {
        patient_kg: vec![physique.mass_kg],
        pad_kg: vec![0.0],
        water_ml: vec![0.0],
        insensible_g_h: 0.0,
        streams: Vec::new(),
        given: Vec::new(),
    };
    let hour = STEP_S / 3600.0;
    for step in 0..n_steps {
        let t_s = step as f64 * STEP_S;
        let moved = flows.step(regimen, physique, t_s, water.blood, urine_noise.next(chance));
        let evaporated = own_evaporation * evaporation_noise.next(chance).exp() * hour;
        let gas = physique.gas_g_h() * hour;
        let metabolic = physique.metabolic_water_g_h() * hour;
        mass_g += moved.mass_in_g - moved.mass_out_g - evaporated - gas;
        change_ml += moved.water_in_g - moved.water_out_g - evaporated + metabolic;
        course.insensible_g_h += evaporated + gas;
        pad_g += moved.into_pad_g;
        if pad_changes_s.iter().any(|at| (t_s..t_s + STEP_S).contains(at)) {
            pad_g = 0.0;
        }
        water.take(&moved, metabolic - evaporated);
        course.patient_kg.push(mass_g / 1000.0);
        course.pad_kg.push(pad_g / 1000.0);
        course.water_ml.push(change_ml);
    }
    course.insensible_g_h /= hours.max(STEP_S / 3600.0);
    course.given = flows.given;
    course.streams = flows.streams;
    course
}

impl Water {
    fn take(&mut self, moved: &Moved, unseen_ml: f64) {
        let from_gut = self.gut * -(-STEP_S / GUT_S).exp_m1();
        self.gut += moved.into_gut_ml - from_gut;
        self.blood += moved.into_vein_ml + from_gut - moved.water_out_g + unseen_ml;
        // Exact for the pair without inflow: the difference B − φT decays at (1 + φ)/τ.
        let gap = self.blood - TISSUE_BALANCE * self.tissue;
        let crossed = gap / (1.0 + TISSUE_BALANCE) * -(-(1.0 + TISSUE_BALANCE) * STEP_S / EXCHANGE_S).exp_m1();
        self.blood -= crossed;
        self.tissue += crossed;
    }
}

#[cfg(test)]
mod tests {
    use super::super::regimen::{Dose, Infusion, Kidney, Loss, Spill};
    use super::*;
    use formats::patient::Ventilation;

    fn physique() -> Physique {
        Physique {
            mass_kg: 80.0,
            height_mm: 1780.0,
            temperature_c: 37.5,
            ventilated: Ventilation::Humidified,
            burned_share: 0.0,
        }
    }

    fn quiet() -> Regimen {
        Regimen {
            infusions: Vec::new(),
            doses: Vec::new(),
            losses: Vec::new(),
            spills: Vec::new(),
            kidney: Kidney { base_ml_kg_h: 0.8, function: vec![(0.0, 1.0)], catheter: true },
            diuretics: Vec::new(),
            burned_share: 0.0,
            surplus_ml: 0.0,
        }
    }

    fn run(regimen: &Regimen, hours: f64, pads: &[f64]) -> Course {
        live(&physique(), regimen, hours, pads, &mut Chance::stream(4, "fluid"))
    }

    #[test]
    fn mass_is_what_went_in_less_what_went_out() {
        let mut regimen = quiet();
        regimen.infusions.push(Infusion { way: Way::Iv, from_s: 1000.0, to_s: 30_000.0, ml_h: 120.0 });
        regimen.doses.push(Dose { way: Way::Blood, at_s: 4000.0, over_s: 7200.0, ml: 287.0 });
        regimen.losses.push(Loss {
            way: Way::Drain,
            from_s: 0.0,
            to_s: 1e6,
            ml_h: 30.0,
            halves_in_s: Some(40_000.0),
            leaves_deck: true,
            charted: true,
        });
        regimen.spills.push(Spill { way: Way::Stool, at_s: 20_000.0, ml: 180.0 });
        let course = run(&regimen, 24.0, &[]);
        let streams: f64 = course
            .streams
            .iter()
            .map(|s| s.total_ml.last().unwrap() * s.way.density_g_ml() * if s.intake { 1.0 } else { -1.0 })
            .sum();
        let given: f64 = course.given.iter().map(|g| g.ml * g.way.density_g_ml()).sum();
        let change_g = 1000.0 * (course.patient_kg.last().unwrap() - 80.0);
        // Round-off of 1440 sums of grams.
        assert!((change_g - (streams + given - 24.0 * course.insensible_g_h)).abs() < 1e-6, "{change_g}");
        assert!((course.streams[0].total_ml.last().unwrap() - 120.0 * 29_000.0 / 3600.0).abs() < 1e-6);
    }

    /// The two ledgers part by what is not water in the streams, by gas, and by the water that is made.
    #[test]
    fn without_fluids_mass_and_water_part_by_gas_and_metabolic_water() {
        let mut regimen = quiet();
        regimen.kidney.base_ml_kg_h = 0.0;
        let course = run(&regimen, 24.0, &[]);
        let mass_g = 1000.0 * (course.patient_kg.last().unwrap() - 80.0);
        let water_g = course.water_ml.last().unwrap();
        let apart = 24.0 * (physique().gas_g_h() + physique().metabolic_water_g_h());
        assert!((water_g - mass_g - apart).abs() < 1e-6, "{water_g} {mass_g} {apart}");
        assert!(mass_g < 0.0);
    }

    #[test]
    fn what_goes_into_pads_lies_on_the_deck_until_they_are_changed() {
        let mut regimen = quiet();
        regimen.kidney.catheter = false;
        let course = run(&regimen, 6.0, &[10_800.0]);
        let urine_kg = |i: usize| course.streams[0].total_ml[i] * Way::Urine.density_g_ml() / 1000.0;
        assert!((course.pad_kg[170] - urine_kg(170)).abs() < 1e-9);
        assert!(course.pad_kg[181].abs() < 1e-12);
        assert!((course.pad_kg[360] - (urine_kg(360) - urine_kg(181))).abs() < 1e-9);
    }

    /// A stool moves mass from the patient into the pad: the deck must not feel it in between either.
    #[test]
    fn what_goes_into_pads_is_never_lost_on_the_way() {
        let mut regimen = quiet();
        regimen.spills.push(Spill { way: Way::Stool, at_s: 5000.0, ml: 200.0 });
        let course = run(&regimen, 2.0, &[]);
        let whole = |t: f64| course.patient_kg_at(t) + course.pad_kg_at(t);
        for t in 4900..5200 {
            // Urine and evaporation take well under a gram a second.
            let t = f64::from(t);
            assert!((whole(t + 1.0) - whole(t)).abs() < 1e-3, "{t}");
        }
    }

    #[test]
    fn a_litre_given_fast_leaves_about_a_quarter_in_the_blood_and_raises_urine() {
        let mut water = Water { blood: 1000.0, tissue: 0.0, gut: 0.0 };
        for _ in 0..180 {
            water.take(&Moved::default(), 0.0);
        }
        // φ/(1+φ) = 0.2308 after six time constants.
        assert!((water.blood / 1000.0 - 0.2308).abs() < 1e-3, "{}", water.blood);
        let mut loaded = quiet();
        loaded.doses.push(Dose { way: Way::Iv, at_s: 0.0, over_s: 1800.0, ml: 1500.0 });
        let urine = |r: &Regimen| *run(r, 6.0, &[]).streams[0].total_ml.last().unwrap();
        assert!(urine(&loaded) > 1.5 * urine(&quiet()));
    }

    /// From memory: resting urine of an adult 0.5–2 mL/kg/h (memory).
    #[test]
    fn urine_in_balance_is_in_the_published_range() {
        let mut regimen = quiet();
        regimen.infusions.push(Infusion { way: Way::Iv, from_s: 0.0, to_s: 1e6, ml_h: 85.0 });
        let course = run(&regimen, 48.0, &[]);
        let ml_kg_h = course.streams[1].total_ml.last().unwrap() / 80.0 / 48.0;
        assert!((0.5..2.0).contains(&ml_kg_h), "{ml_kg_h}");
    }
}
