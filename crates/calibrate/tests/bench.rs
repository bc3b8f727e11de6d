//! An invented bench run with known truth: four plates of four cells, a 20 kg mass and a water can. The file has a
//! byte-order mark, CRLF, and its columns in another order.

use calibrate::{Options, calibrate};
use formats::calibration::{Calibration, CellStatus};

fn bench() -> (Calibration, serde_json::Value) {
    let deck = formats::deck::read("deck.toml", include_str!("data/bench_deck.toml")).unwrap();
    let run = formats::run::read("run.csv", include_str!("data/bench_run.csv"), &deck).unwrap();
    let truth = serde_json::from_str(include_str!("data/bench_truth.json")).unwrap();
    (calibrate(&deck, &run, &Options::new("2030-01-01T00:00:00Z")).unwrap(), truth)
}

#[test]
fn gains_zeros_and_the_can_agree_with_the_truth() {
    let (result, truth) = bench();
    assert_eq!(result.cells.len(), 16);
    for (cell, true_cell) in result.cells.iter().zip(truth["cells"].as_array().unwrap()) {
        assert_eq!(cell.name, true_cell["name"].as_str().unwrap());
        let (k, u) = (cell.kg_per_count.unwrap(), cell.u_kg_per_count.unwrap());
        let k_true = true_cell["kg_per_count"].as_f64().unwrap();
        // 32 intervals of a normal law: 4 u is passed once in 500 sound runs, and 0.3 % is what issue and deck ask for.
        assert!((k - k_true).abs() < 4.0 * u, "{}: {k} ± {u} against {k_true}", cell.name);
        assert!(u < 3e-3 * k_true, "{}: u {u}", cell.name);
        let (z, u_z) = (cell.zero_counts.unwrap(), cell.u_zero_counts.unwrap());
        assert!((z - true_cell["zero_counts"].as_f64().unwrap()).abs() < 4.0 * u_z);
        // A mean of some 35 readings of 12 counts.
        assert!((1.0..4.0).contains(&u_z), "{u_z}");
        assert_eq!(cell.status, CellStatus::Good);
    }
    let can = &result.loads[0];
    assert_eq!(can.label, "can");
    assert!((can.kg - truth["can_kg"].as_f64().unwrap()).abs() < (4.0 * can.u_kg).min(0.02));
}

#[test]
fn a_clean_run_has_no_finding_and_says_how_well_it_fits() {
    let (result, _) = bench();
    assert!(result.findings.is_empty(), "{:?}", result.findings);
    assert!((result.gravity_m_s2 - 9.80).abs() < 1e-12, "the calibration site's, not the ward's");
    // Four cells of 12 counts and 2.3e-5 kg a count make 0.56 g, the mass's scatter 0.5 g in each row 0.5 g more.
    assert!((0.4..1.2).contains(&result.residual_sd_g), "{}", result.residual_sd_g);
    assert!(result.max_residual_g < 5.0);
    // 36 loaded rows of three equations, 8 zero rows of 16 cells, 36 times 12 cells beside the load, one stated mass;
    // 32 unknowns of cells, the can and the mass.
    assert_eq!(result.degrees_of_freedom, 3 * 36 + 8 * 16 + 36 * 12 + 1 - 32 - 2);
    assert_eq!(result.residuals.len(), 44);
}

#[test]
fn covariance_is_symmetric_positive_and_carries_the_stated_uncertainties() {
    let (result, _) = bench();
    let names = &result.covariance.parameters;
    let m = &result.covariance.matrix;
    assert_eq!(names.len(), 33);
    let at = |name: &str| names.iter().position(|n| n == name).unwrap();
    for cell in &result.cells {
        let i = at(&format!("gain:{}", cell.name));
        assert!((m[i][i].sqrt() / cell.u_kg_per_count.unwrap() - 1.0).abs() < 1e-12);
        let i = at(&format!("zero:{}", cell.name));
        assert!((m[i][i].sqrt() / cell.u_zero_counts.unwrap() - 1.0).abs() < 1e-12);
    }
    let n = names.len();
    let scaled = nalgebra::DMatrix::from_fn(n, n, |i, j| m[i][j] / (m[i][i] * m[j][j]).sqrt());
    assert!((&scaled - scaled.transpose()).amax() < 1e-9);
    assert!(scaled.symmetric_eigenvalues().min() > 0.0);
    // The one mass is common to all gains, so they are correlated beyond chance.
    let (i, j) = (at("gain:back-1"), at("gain:leg-left-3"));
    assert!(m[i][j] > 0.0);
}
