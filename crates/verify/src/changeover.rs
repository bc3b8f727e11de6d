//! The error of an indication, freed of its rounding.
//!
//! P = I + e/2 − ΔL, E = P − L, E_c = E − E0 (R 76-1, A.4.4.3; read in secondary texts). ΔL is the small load at which
//! the indication changed over; without it E = I − L carries the rounding of the display.

use formats::tests::Test;

/// E, g.
pub(crate) fn error_g(test: &Test, e_g: f64) -> f64 {
    let rounded_g = (test.indication_kg - test.load_kg) * 1000.0;
    match test.added_g {
        Some(added_g) => rounded_g + 0.5 * e_g - added_g,
        None => rounded_g,
    }
}

/// Whether the row can give E0: at zero or near it (10 e), by its changeover point. A rounded zero is not taken off,
/// for its rounding would pass into every other error.
pub(crate) fn gives_zero_error(test: &Test, e_g: f64) -> bool {
    test.added_g.is_some() && test.load_kg.abs() * 1000.0 <= 10.0 * e_g * (1.0 + 1e-9)
}

#[cfg(test)]
mod tests {
    use super::*;
    use formats::tests::TestKind;

    fn test(load_kg: f64, indication_kg: f64, added_g: Option<f64>) -> Test {
        Test {
            line: 2,
            kind: TestKind::Weighing,
            step: String::new(),
            plate: None,
            at_mm: None,
            load_kg,
            indication_kg,
            added_g,
            minutes: None,
            temperature_c: None,
            tilt_deg: None,
        }
    }

    /// The recommendation's own illustration (from memory): e = 5 g, L = 1 kg, I = 1000 g, ΔL = 1.5 g give P = 1001 g,
    /// E = +1 g; and one made for this deck: e = 100 g, L = I = 100 kg, ΔL = 30 g give +20 g.
    #[test]
    fn changeover_point_frees_the_error_of_rounding() {
        assert!((error_g(&test(1.0, 1.0, Some(1.5)), 5.0) - 1.0).abs() < 1e-9);
        assert!((error_g(&test(100.0, 100.0, Some(30.0)), 100.0) - 20.0).abs() < 1e-9);
        assert!((error_g(&test(100.0, 100.1, None), 100.0) - 100.0).abs() < 1e-9);
    }

    #[test]
    fn zero_error_needs_a_changeover_point_near_zero() {
        assert!(gives_zero_error(&test(0.0, 0.0, Some(40.0)), 100.0));
        assert!(gives_zero_error(&test(1.0, 1.0, Some(40.0)), 100.0));
        assert!(!gives_zero_error(&test(1.1, 1.1, Some(40.0)), 100.0));
        assert!(!gives_zero_error(&test(0.0, 0.1, None), 100.0));
    }
}
