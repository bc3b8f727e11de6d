use deck::oiml::r60::{CellClass, mpe_kg};
use deck::oiml::r76::{class_limits, eccentricity_load_kg, mpe_g, mpe_steps_kg, weights_limit_g};
use deck::oiml::r111::{WeightClass, mpe_mg};
use formats::deck::AccuracyClass::{I, II, III, IIII};
use published::within;

/// Source: OIML R 76-1:2006, 3.5.1 Table 6 and 3.5.2, worked for class III, e = 100 g (from restatements of the standard).
#[test]
fn permissible_error_steps_at_500_and_2000_intervals() {
    let table =
        [(2.0, 50.0), (50.0, 50.0), (50.1, 100.0), (100.0, 100.0), (200.0, 100.0), (200.1, 150.0), (300.0, 150.0)];
    for (load_kg, mpe) in table {
        within(mpe_g(III, 100.0, load_kg, false), mpe, 1e-12);
        within(mpe_g(III, 100.0, load_kg, true), 2.0 * mpe, 1e-12);
    }
    for (load_kg, mpe) in [(25.0, 25.0), (25.05, 50.0), (100.0, 50.0), (100.05, 75.0), (500.0, 75.0)] {
        within(mpe_g(III, 50.0, load_kg, false), mpe, 1e-12);
    }
}

/// Source: OIML R 76-1:2006, Table 6, the other classes.
#[test]
fn each_class_has_its_bands() {
    for (class, ends) in [(I, [50_000.0, 200_000.0]), (II, [5_000.0, 20_000.0]), (IIII, [50.0, 200.0])] {
        for (k, end) in ends.iter().enumerate() {
            let below = mpe_g(class, 1.0, end / 1000.0, false);
            let above = mpe_g(class, 1.0, (end + 1.0) / 1000.0, false);
            within(below, 0.5 * (k as f64 + 1.0), 1e-12);
            assert!((above - below - 0.5).abs() < 1e-12);
        }
    }
}

/// Source: OIML R 76-1:2006, 3.2 Table 3.
#[test]
fn class_iii_of_100_g_allows_500_to_10000_intervals() {
    let limits = class_limits(III, 100.0).unwrap();
    within(limits.n_min, 500.0, 1e-12);
    assert_eq!(limits.n_max, Some(10_000.0));
    within(limits.min_capacity_e, 20.0, 1e-12);
}

/// Source: OIML R 76-1:2006, 3.6.2 (A.4.7), Max 200 kg.
#[test]
fn eccentricity_load_falls_with_supports() {
    for (n, kg) in [(3, 66.67), (4, 66.67), (5, 50.0), (6, 40.0), (8, 28.57), (10, 22.22)] {
        within(eccentricity_load_kg(200.0, n), kg, 0.005);
    }
}

#[test]
fn steps_up_to_max_are_listed() {
    assert_eq!(mpe_steps_kg(III, 100.0, 250.0), vec![50.0, 200.0]);
    assert_eq!(mpe_steps_kg(III, 100.0, 150.0), vec![50.0]);
}

/// Source: OIML R 60-1:2021, 5.3.2, worked for class C3, E_max = 100 kg.
#[test]
fn a_c3_cell_of_100_kg() {
    let v = 100.0 / 3000.0;
    for (load, mpe_printed_g) in [(16.6, 11.7), (66.6, 23.3), (100.0, 35.0)] {
        let mpe = 1000.0 * mpe_kg(CellClass::C, v, load, 0.7);
        within(mpe, mpe_printed_g, 0.05);
    }
}

/// Source: OIML R 60-1:2021, 5.3.1 (the table of the four classes, from memory): half an interval up to 50 000, 5 000, 500 and 50 v, one up to four
/// times that, one and a half beyond, each times p_LC. Worked for v = 1 kg and p_LC = 1: ends belong to the lower step.
#[test]
fn each_class_of_cell_has_its_steps() {
    for (class, first) in
        [(CellClass::A, 50_000.0), (CellClass::B, 5_000.0), (CellClass::C, 500.0), (CellClass::D, 50.0)]
    {
        let steps =
            [(first, 0.5), (1.001 * first, 1.0), (4.0 * first, 1.0), (4.001 * first, 1.5), (-4.001 * first, 1.5)];
        for (load_kg, mpe) in steps {
            within(mpe_kg(class, 1.0, load_kg, 1.0), mpe, 1e-12);
        }
    }
}

/// Source: OIML R 111-1:2004 Table 1; 3.7.1 of R 76-1: at 50 kg (e = 100 g) the weights may err by 16.7 g in all,
/// so 2 × 20 kg + 10 kg of class M1 (2.5 g) and M2 (7.6 g) will do and M3 (25 g) will not.
#[test]
fn weights_of_50_kg_for_class_iii() {
    let limit = weights_limit_g(III, 100.0, 50.0);
    within(limit, 16.7, 0.05);
    for (class, sum_g) in [(WeightClass::M1, 2.5), (WeightClass::M2, 7.6), (WeightClass::M3, 25.0)] {
        let sum = (2.0 * mpe_mg(class, 20_000.0).unwrap() + mpe_mg(class, 10_000.0).unwrap()) / 1000.0;
        within(sum, sum_g, 1e-9);
        assert_eq!(sum <= limit, class != WeightClass::M3);
    }
}

#[test]
fn a_mass_that_is_no_nominal_one_within_its_error_has_no_limit() {
    assert!(mpe_mg(WeightClass::M1, 3_000.0).is_none());
    // 20 kg of class M1 may err by 1 g: 20 000.9 g is such a weight, 20 001.1 g is none.
    assert_eq!(mpe_mg(WeightClass::M1, 20_000.9), Some(1000.0));
    assert!(mpe_mg(WeightClass::M1, 20_001.1).is_none());
}

/// Source: OIML R 76-1:2006, 3.8.2.2 (1.4 d), 4.5.2 and 4.6.3 (0.25 e), 3.9.4.1 (0.5 e in 30 min, 0.2 e from 15 to 30 min), 3.9.4.2
/// (0.5 e), 3.9.1.1 (2 e unloaded), 3.9.2.3 (1 e for 5 °C, in class I for 1 °C) and 4.2.3 (Max + 9 e), at e = d = 100 g and
/// 50 g; from memory.
#[test]
fn limits_that_are_multiples_of_an_interval() {
    use deck::oiml::r76;
    for e_g in [100.0, 50.0] {
        let found = [
            r76::discrimination_load_g(e_g),
            r76::zero_setting_limit_g(e_g),
            r76::tare_setting_limit_g(e_g),
            r76::creep_limits_g(e_g)[0],
            r76::creep_limits_g(e_g)[1],
            r76::zero_return_limit_g(e_g),
            r76::tilt_zero_limit_g(e_g),
            r76::temperature_zero_limit_g(III, e_g, -10.0),
            r76::temperature_zero_limit_g(I, e_g, 2.0),
        ];
        for (found, e) in found.into_iter().zip([1.4, 0.25, 0.25, 0.5, 0.2, 0.5, 2.0, 2.0, 2.0]) {
            assert!((found / e_g - e).abs() < 1e-12, "{found} g is not {e} of {e_g} g");
        }
        assert!((r76::indication_limit_kg(200.0, e_g) - 200.0 - 0.009 * e_g).abs() < 1e-12);
    }
}
