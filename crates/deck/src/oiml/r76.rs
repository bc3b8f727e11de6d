//! OIML R 76-1:2006, non-automatic weighing instruments: classes, errors and the limits of each test.
//!
//! Loads are in kilograms, intervals and errors in grams. All functions take a positive, finite interval e.

use formats::deck::AccuracyClass;

/// Loads within this relative distance above a band's end still belong to the band: band ends are inclusive
/// (Table 6), and a load such as 500 × 0.1 kg carries rounding of some 1e-16.
const BAND_ROUNDING: f64 = 1e-9;

/// Limits of a class for a given interval (R 76-1, 3.2, Table 3).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClassLimits {
    /// Fewest verification scale intervals n = Max/e.
    pub n_min: f64,
    /// Most verification scale intervals; `None`: no limit.
    pub n_max: Option<f64>,
    /// Minimum capacity, in e.
    pub min_capacity_e: f64,
}

/// What the class allows for the interval (R 76-1, Table 3); `None` where the class has no such small interval.
pub fn class_limits(class: AccuracyClass, e_g: f64) -> Option<ClassLimits> {
    let limits = |n_min, n_max, min_capacity_e| Some(ClassLimits { n_min, n_max, min_capacity_e });
    match class {
        AccuracyClass::I if e_g >= 0.001 => limits(50_000.0, None, 100.0),
        AccuracyClass::II if e_g >= 0.1 => limits(5_000.0, Some(100_000.0), 50.0),
        AccuracyClass::II if e_g >= 0.001 => limits(100.0, Some(100_000.0), 20.0),
        AccuracyClass::III if e_g >= 5.0 => limits(500.0, Some(10_000.0), 20.0),
        AccuracyClass::III if e_g >= 0.1 => limits(100.0, Some(10_000.0), 20.0),
        AccuracyClass::IIII if e_g >= 5.0 => limits(100.0, Some(1_000.0), 10.0),
        _ => None,
    }
}

/// Whether the interval has the form 1, 2 or 5 × 10^k (R 76-1, 4.2.2.1 and 3.2).
pub fn is_valid_interval(e_g: f64) -> bool {
    if !(e_g.is_finite() && e_g > 0.0) {
        return false;
    }
    let mantissa = e_g / 10f64.powf((e_g.log10() + 1e-12).floor());
    [1.0, 2.0, 5.0].iter().any(|m| (mantissa / m - 1.0).abs() < 1e-9)
}

/// Maximum permissible error, ± g, at a load in kg (R 76-1, 3.5.1, Table 6; in service twice that, 3.5.2).
///
/// The sign of the load does not matter. Beyond the class's largest number of intervals the last band goes on.
pub fn mpe_g(class: AccuracyClass, e_g: f64, load_kg: f64, in_service: bool) -> f64 {
    let [half_e, one_e] = band_ends_e(class);
    let intervals = load_kg.abs() * 1000.0 / e_g / (1.0 + BAND_ROUNDING);
    let initial = if intervals <= half_e {
        0.5 * e_g
    } else if intervals <= one_e {
        e_g
    } else {
        1.5 * e_g
    };
    if in_service { 2.0 * initial } else { initial }
}

/// Loads in kg at which the permissible error steps up, below and up to max (Table 6): test loads must include them.
pub fn mpe_steps_kg(class: AccuracyClass, e_g: f64, max_kg: f64) -> Vec<f64> {
    band_ends_e(class).iter().map(|n| n * e_g / 1000.0).filter(|kg| *kg <= max_kg).collect()
}

/// Test load of the eccentricity test, kg (3.6.2, A.4.7): a third of Max (plus additive tare) up to four supports, else 1/(n − 1).
pub fn eccentricity_load_kg(max_plus_tare_kg: f64, n_supports: usize) -> f64 {
    if n_supports <= 4 { max_plus_tare_kg / 3.0 } else { max_plus_tare_kg / (n_supports as f64 - 1.0) }
}

/// Error of zero setting, ± g (4.5.2).
pub fn zero_setting_limit_g(e_g: f64) -> f64 {
    0.25 * e_g
}

/// Error of tare setting, ± g (4.6.3).
pub fn tare_setting_limit_g(e_g: f64) -> f64 {
    0.25 * e_g
}

/// Additional load of the discrimination test for a digital indication of step d, g (3.8.2.2).
pub fn discrimination_load_g(d_g: f64) -> f64 {
    1.4 * d_g
}

/// Creep limits, g: change over 30 min, and from 15 to 30 min (3.9.4.1; classes II to IIII).
pub fn creep_limits_g(e_g: f64) -> [f64; 2] {
    [0.5 * e_g, 0.2 * e_g]
}

/// Zero return after 30 min under load, ± g (3.9.4.2).
pub fn zero_return_limit_g(e_g: f64) -> f64 {
    0.5 * e_g
}

/// Error unloaded and tilted, ± g (3.9.1.1; not class II): 2 e. Loaded, the limit is [`mpe_g`].
pub fn tilt_zero_limit_g(e_g: f64) -> f64 {
    2.0 * e_g
}

/// Change of zero over a change of temperature, ± g (3.9.2.3): 1 e per 5 °C, class I per 1 °C.
pub fn temperature_zero_limit_g(class: AccuracyClass, e_g: f64, change_c: f64) -> f64 {
    let per_c = if class == AccuracyClass::I { 1.0 } else { 5.0 };
    e_g * change_c.abs() / per_c
}

/// Smallest span of the temperature limits that may be marked on an instrument, °C (3.9.2.2; from memory).
pub fn temperature_span_c(class: AccuracyClass) -> f64 {
    match class {
        AccuracyClass::I => 5.0,
        AccuracyClass::II => 15.0,
        AccuracyClass::III | AccuracyClass::IIII => 30.0,
    }
}

/// Load above which nothing may be indicated, kg (4.2.3): Max + 9 e.
pub fn indication_limit_kg(max_kg: f64, e_g: f64) -> f64 {
    max_kg + 9.0 * e_g / 1000.0
}

/// Largest sum of the weights' own errors at a load, g (3.7.1): a third of the permissible error.
pub fn weights_limit_g(class: AccuracyClass, e_g: f64, load_kg: f64) -> f64 {
    mpe_g(class, e_g, load_kg, false) / 3.0
}

/// Ends of the first two bands of Table 6, in e.
fn band_ends_e(class: AccuracyClass) -> [f64; 2] {
    match class {
        AccuracyClass::I => [50_000.0, 200_000.0],
        AccuracyClass::II => [5_000.0, 20_000.0],
        AccuracyClass::III => [500.0, 2_000.0],
        AccuracyClass::IIII => [50.0, 200.0],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn interval_form() {
        for e in [0.001, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 1000.0] {
            assert!(is_valid_interval(e), "{e}");
        }
        for e in [0.0, -1.0, 3.0, 25.0, 99.0, 150.0, f64::NAN, f64::INFINITY] {
            assert!(!is_valid_interval(e), "{e}");
        }
    }

    #[test]
    fn a_class_without_the_interval_is_none() {
        assert!(class_limits(AccuracyClass::III, 0.05).is_none());
        assert!(class_limits(AccuracyClass::IIII, 2.0).is_none());
    }
}
