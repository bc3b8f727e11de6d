//! What a certificate states: errors of indication at the loads of the run, and the uncertainty of a weight in use at loads
//! up to the largest, each with its budget, its coverage factor and its stated coverage.
//!
//! The errors are those that are left after the lines were fitted to the same loads (an instrument adjusted, then calibrated);
//! tests made apart from the run are `verify`'s. A mass stands on one plate at a time; loads of the whole deck are sums over
//! plates, with their uncertainty from the covariance of all lines.
//!
//! Not here: pages, and what only people know of masses and place, which comes in as [`Details`].

mod in_use;
pub mod model;

use crate::options::CalibrateError;
use deck::oiml::r111;
use formats::calibration::Calibration;
use formats::certificate::{Details, MassDetails};
use formats::deck::{Deck, Site};
use formats::run::{Load, Run};
use model::{Budget, Contribution, Indication, Reference};
use std::collections::BTreeMap;

pub use in_use::WeightInUse;
pub(crate) use in_use::lines_at_largest_g;

/// Coverage probability of every expanded uncertainty on a certificate: two standard deviations of a normal law.
pub const COVERAGE: f64 = 0.9545;
/// Relative humidity taken where none is stated, 0 to 1: it moves the density of air by 0.1 % for each 10 %.
const USUAL_HUMIDITY: f64 = 0.5;
/// Temperature taken where none is stated, °C.
const USUAL_C: f64 = 20.0;

/// What a certificate states.
#[derive(Debug, Clone, PartialEq)]
pub struct Certificate {
    /// At each known load of the run.
    pub errors: Vec<ErrorOfIndication>,
    /// At loads of the whole deck, from none to the largest.
    pub weights: Vec<WeightInUse>,
    /// The masses, in the order in which the run first bears them.
    pub masses: Vec<UsedMass>,
    /// Air during the run.
    pub air: Air,
    /// Lowest and highest temperature of the run, °C.
    pub temperature_c: Option<[f64; 2]>,
    /// Readings under load, and of these left out.
    pub n_loaded: usize,
    /// Readings that do not belong.
    pub n_left_out: usize,
}

/// Error of indication at one load.
#[derive(Debug, Clone, PartialEq)]
pub struct ErrorOfIndication {
    /// The body, as the run's `load` calls it.
    pub load: Option<String>,
    /// Its conventional mass, kg.
    pub mass_kg: f64,
    /// Readings under it, at as many places.
    pub n_readings: usize,
    /// Mean indication, kg.
    pub indication_kg: f64,
    /// Mean error, g.
    pub error_g: f64,
    /// Smallest and largest error at a place, g.
    pub range_g: [f64; 2],
    /// Its uncertainty.
    pub budget: Budget,
}

/// A mass of the run.
#[derive(Debug, Clone, PartialEq)]
pub struct UsedMass {
    /// As the run's `load` calls it.
    pub load: Option<String>,
    /// Conventional mass, kg.
    pub mass_kg: f64,
    /// Standard uncertainty by the run, g.
    pub u_mass_g: f64,
    /// Where its value comes from, where that was told.
    pub details: Option<MassDetails>,
    /// How the terms of buoyancy and drift were taken, in words.
    pub taken: String,
    mpe_g: f64,
    drift_g: f64,
}

/// Air at the bench.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Air {
    /// Density, kg/m³; `None` where neither pressure nor altitude is known.
    pub density_kg_m3: Option<f64>,
    /// Pressure, hPa.
    pub pressure_hpa: Option<f64>,
    /// Whether pressure was read there, not taken from the altitude.
    pub is_measured: bool,
    /// Temperature it was computed for, °C.
    pub temperature_c: f64,
    /// Humidity it was computed for, %.
    pub humidity_pct: f64,
}

/// What a certificate of this calibration states.
///
/// # Errors
/// A calibration without detail or without residuals of known loads (one of another maker, or one that the run left open).
pub fn certificate(
    deck: &Deck,
    run: &Run,
    calibration: &Calibration,
    details: &Details,
) -> Result<Certificate, CalibrateError> {
    let masses = masses(run, details);
    let errors = errors(run, calibration, &masses);
    if errors.is_empty() {
        return Err(CalibrateError::NothingToCertify);
    }
    let rows = calibration.detail.as_ref().map_or(&[][..], |d| &d.rows);
    let temperatures: Vec<f64> = run.rows.iter().filter_map(|r| r.temperature_c).collect();
    let temperature_c = match details.temperature_c {
        Some(t) => Some([t, t]),
        None if temperatures.is_empty() => None,
        None => Some(temperatures.iter().fold([f64::INFINITY, f64::NEG_INFINITY], |[l, h], t| [l.min(*t), h.max(*t)])),
    };
    Ok(Certificate {
        weights: in_use::weights(deck, calibration),
        air: air(deck, details, temperature_c),
        temperature_c,
        n_loaded: rows.len(),
        n_left_out: rows.iter().filter(|r| !r.used).count(),
        errors,
        masses,
    })
}

fn masses(run: &Run, details: &Details) -> Vec<UsedMass> {
    let mut found: Vec<UsedMass> = Vec::new();
    for row in &run.rows {
        let Load::Known { mass_kg, u_mass_g, label, .. } = &row.load else { continue };
        let is_same = |m: &UsedMass| m.load == *label && m.mass_kg.to_bits() == mass_kg.to_bits();
        if *mass_kg > 0.0 && !found.iter().any(is_same) {
            let own = details.masses.iter().find(|m| m.is_of(label.as_deref(), *mass_kg)).cloned();
            found.push(used_mass(label.clone(), *mass_kg, *u_mass_g, own));
        }
    }
    found
}

fn used_mass(load: Option<String>, mass_kg: f64, u_mass_g: f64, details: Option<MassDetails>) -> UsedMass {
    let class = details.as_ref().and_then(|d| d.class);
    let of_class = class.and_then(|c| r111::mpe_mg(c, 1e3 * mass_kg)).map(|mg| mg / 1e3);
    // Used at nominal with its class alone, u is MPE/√3; so is the error that this u allows where no class is stated.
    let mpe_g = of_class.unwrap_or(3f64.sqrt() * u_mass_g);
    let stated_drift = details.as_ref().and_then(|d| d.drift_g);
    let drift_g = stated_drift.unwrap_or(2.0 * u_mass_g);
    let taken = format!(
        "{}; {}",
        match of_class {
            Some(g) => format!("permissible error ± {g} g of its class bounds the buoyancy"),
            None if class.is_some() => "no nominal mass of its class within its permissible error: √3 u stands for that, which bounds the buoyancy".into(),
            None =>
                "no class of OIML R 111-1 stated: √3 u stands for the permissible error that bounds the buoyancy".into(),
        },
        match stated_drift {
            Some(g) => format!("drift ± {g} g as stated"),
            None => "no earlier calibration stated: a drift of ± 2 u taken".into(),
        }
    );
    UsedMass { load, mass_kg, u_mass_g, details, taken, mpe_g, drift_g }
}

fn errors(run: &Run, calibration: &Calibration, masses: &[UsedMass]) -> Vec<ErrorOfIndication> {
    let Some(detail) = &calibration.detail else { return Vec::new() };
    let used: BTreeMap<usize, bool> = detail.rows.iter().map(|r| (r.line, r.used)).collect();
    let by_line: BTreeMap<usize, &Load> = run.rows.iter().map(|r| (r.line, &r.load)).collect();
    let count_g = count_g(calibration);
    let mut found = Vec::new();
    for mass in masses {
        let errors_g: Vec<f64> = calibration
            .residuals
            .iter()
            .filter(|r| used.get(&r.line).copied().unwrap_or(false))
            .filter(|r| {
                matches!(by_line.get(&r.line), Some(Load::Known { mass_kg, label, .. })
                    if *label == mass.load && mass_kg.to_bits() == mass.mass_kg.to_bits())
            })
            // The fit may have moved the mass within its uncertainty: the error is against what is stated.
            .map(|r| r.residual_g + 1e3 * (r.load_kg - mass.mass_kg))
            .collect();
        if errors_g.is_empty() {
            continue;
        }
        let n = errors_g.len();
        let error_g = errors_g.iter().sum::<f64>() / n as f64;
        let range_g = errors_g.iter().fold([f64::INFINITY, f64::NEG_INFINITY], |[l, h], e| [l.min(*e), h.max(*e)]);
        let off_g = errors_g.iter().map(|e| (e - error_g).abs()).fold(0.0, f64::max);
        let indication_kg = mass.mass_kg + 1e-3 * error_g;
        let indication = Indication {
            kg: indication_kg,
            zero_step_g: count_g,
            step_g: count_g,
            repeatability_g: calibration.residual_sd_g,
            repeatability_dof: detail.load_degrees_of_freedom.max(1.0),
            n_readings: n,
            // Every reading stands at a place of its own: the largest distance from their mean.
            eccentricity: Some((off_g, mass.mass_kg)),
        };
        let reference = Reference {
            kg: mass.mass_kg,
            u_mass_g: mass.u_mass_g,
            mpe_g: mass.mpe_g,
            // The lines were fitted to these very readings.
            is_adjusted_here: true,
            drift_g: mass.drift_g,
        };
        let mut contributions = indication.contributions();
        contributions.push(zero_of_lines(calibration));
        contributions.extend(reference.contributions());
        let budget = Budget::of(contributions, COVERAGE);
        let load = mass.load.clone();
        found.push(ErrorOfIndication {
            load,
            mass_kg: mass.mass_kg,
            n_readings: n,
            indication_kg,
            error_g,
            range_g,
            budget,
        });
    }
    found
}

/// What the coarsest cell's count weighs, g: the step of the indication during the run.
fn count_g(calibration: &Calibration) -> f64 {
    calibration.cells.iter().filter_map(|c| c.kg_per_count).map(|k| 1e3 * k.abs()).fold(0.0, f64::max)
}

/// The zeros of the lines, all cells together.
fn zero_of_lines(calibration: &Calibration) -> Contribution {
    let square: f64 =
        calibration.cells.iter().filter_map(|c| Some((1e3 * c.kg_per_count? * c.u_zero_counts?).powi(2))).sum();
    Contribution::normal("zeros of the lines", square.sqrt(), calibration.degrees_of_freedom.max(1) as f64)
}

fn air(deck: &Deck, details: &Details, temperature_c: Option<[f64; 2]>) -> Air {
    let temperature = temperature_c.map_or(USUAL_C, |[low, high]| f64::midpoint(low, high));
    let humidity = details.humidity_pct.map_or(USUAL_HUMIDITY, |h| h / 100.0);
    let by_altitude = match deck.calibration_site.as_ref().unwrap_or(&deck.site) {
        Site::Place { altitude_m, .. } => Some(deck::air::pressure_at_pa(*altitude_m) / 100.0),
        Site::Gravity { .. } => None,
    };
    let pressure_hpa = details.pressure_hpa.or(by_altitude);
    Air {
        density_kg_m3: pressure_hpa.map(|hpa| deck::air::density_kg_m3(temperature, 100.0 * hpa, humidity)),
        pressure_hpa,
        is_measured: details.pressure_hpa.is_some(),
        temperature_c: temperature,
        humidity_pct: 100.0 * humidity,
    }
}
