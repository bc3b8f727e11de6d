//! The error of an indication, freed of its rounding.
//!
//! P = I + e/2 − ΔL, E = P − L, E_c = E − E0 (R 76-1, A.4.4.3; read in secondary texts). ΔL is the small load at which
//! the indication changed over; without it E = I − L carries the rounding of the display, unless that is e/5 or finer:
//! such an indication may be used to find the error as it is (A.4.1.6, memory).

use formats::tests::Test;

/// E, g.
pub(crate) fn error_g(test: &Test, e_g: f64) -> f64 {
    let rounded_g = (test.indication_kg - test.load_kg) * 1000.0;
    match test.added_g {
        Some(added_g) => rounded_g + 0.5 * e_g - added_g,
        None => rounded_g,
    }
}

/// Whether the row can give E0: at zero or near it (10 e), by its changeover point or a fine indication. A rounded zero is
/// not taken off, for its rounding would pass into every other error.
pub(crate) fn gives_zero_error(test: &Test, e_g: f64, is_fine: bool) -> bool {
    (is_fine || test.added_g.is_some()) && test.load_kg.abs() * 1000.0 <= 10.0 * e_g * (1.0 + 1e-9)
}

/// Whether the rows without a changeover point were read on an indication in steps of e/5 or finer.
///
/// A display of e, e/2 or e/4 shows multiples of e/4 alone; one that shows anything else half of the time has a step of e/5 or less, for
/// steps are 1, 2 or 5 times a power of ten. One odd row is a slip of whoever wrote it, and zero is a multiple on any display.
pub(crate) fn is_fine(tests: &[Test], e_g: f64) -> bool {
    let off_step = |t: &&Test| {
        let quarters = t.indication_kg * 4000.0 / e_g;
        (quarters - quarters.round()).abs() > 1e-6
    };
    let telling: Vec<&Test> = tests.iter().filter(|t| t.added_g.is_none() && t.indication_kg != 0.0).collect();
    let n_off = telling.iter().copied().filter(off_step).count();
    n_off > 0 && 2 * n_off >= telling.len()
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

    #[test]
    fn one_slip_does_not_make_an_indication_fine() {
        let mut rows: Vec<Test> = (1..6).map(|n| test(f64::from(n) * 10.0, f64::from(n) * 10.0, None)).collect();
        rows.push(test(50.0, 50.02, None));
        assert!(!is_fine(&rows, 100.0));
        rows.extend((1..8).map(|n| test(f64::from(n) * 10.0, f64::from(n) * 10.0 + 0.013, None)));
        rows.push(test(0.0, 0.0, None));
        assert!(is_fine(&rows, 100.0));
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
        assert!(gives_zero_error(&test(0.0, 0.0, Some(40.0)), 100.0, false));
        assert!(gives_zero_error(&test(1.0, 1.0, Some(40.0)), 100.0, false));
        assert!(!gives_zero_error(&test(1.1, 1.1, Some(40.0)), 100.0, false));
        assert!(!gives_zero_error(&test(0.0, 0.1, None), 100.0, false));
        assert!(gives_zero_error(&test(0.0, 0.0123, None), 100.0, true));
        assert!(!gives_zero_error(&test(1.1, 1.1, None), 100.0, true));
    }

    #[test]
    fn a_display_finer_than_a_fifth_of_e_is_known_by_what_it_shows() {
        let shown = |values: &[f64]| values.iter().map(|kg| test(10.0, *kg, None)).collect::<Vec<_>>();
        assert!(!is_fine(&shown(&[10.0, 10.1, 9.9]), 100.0), "steps of e");
        assert!(!is_fine(&shown(&[10.05, 9.975]), 100.0), "steps of e/4");
        assert!(is_fine(&shown(&[10.0, 10.02]), 100.0), "steps of e/5");
        assert!(is_fine(&shown(&[10.0131]), 100.0));
        // With a changeover point the display may be as coarse as it likes.
        assert!(!is_fine(&[test(10.0, 10.0131, Some(40.0))], 100.0));
        assert!(!is_fine(&[], 100.0));
    }
}
