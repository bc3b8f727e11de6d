//! OIML R 111-1:2004, weights: permissible errors, and what a class tells of a weight's uncertainty.

pub use formats::certificate::WeightClass;

/// Nominal mass in g and permissible errors ± mg for E1, E2, F1, F2, M1, M2, M3 (R 111-1, Table 1), 1 g to 50 kg.
const MPE_MG: [(f64, [f64; 7]); 15] = [
    (50_000.0, [25.0, 80.0, 250.0, 800.0, 2_500.0, 8_000.0, 25_000.0]),
    (20_000.0, [10.0, 30.0, 100.0, 300.0, 1_000.0, 3_000.0, 10_000.0]),
    (10_000.0, [5.0, 16.0, 50.0, 160.0, 500.0, 1_600.0, 5_000.0]),
    (5_000.0, [2.5, 8.0, 25.0, 80.0, 250.0, 800.0, 2_500.0]),
    (2_000.0, [1.0, 3.0, 10.0, 30.0, 100.0, 300.0, 1_000.0]),
    (1_000.0, [0.5, 1.6, 5.0, 16.0, 50.0, 160.0, 500.0]),
    (500.0, [0.25, 0.8, 2.5, 8.0, 25.0, 80.0, 250.0]),
    (200.0, [0.10, 0.3, 1.0, 3.0, 10.0, 30.0, 100.0]),
    (100.0, [0.05, 0.16, 0.5, 1.6, 5.0, 16.0, 50.0]),
    (50.0, [0.03, 0.10, 0.3, 1.0, 3.0, 10.0, 30.0]),
    (20.0, [0.025, 0.08, 0.25, 0.8, 2.5, 8.0, 25.0]),
    (10.0, [0.020, 0.06, 0.20, 0.6, 2.0, 6.0, 20.0]),
    (5.0, [0.016, 0.05, 0.16, 0.5, 1.6, 5.0, 16.0]),
    (2.0, [0.012, 0.04, 0.12, 0.4, 1.2, 4.0, 12.0]),
    (1.0, [0.010, 0.03, 0.10, 0.3, 1.0, 3.0, 10.0]),
];

/// Maximum permissible error of one weight, ± mg, by its mass as calibrated or by its nominal one; `None` where the table holds no nominal mass
/// within this error of it.
pub fn mpe_mg(class: WeightClass, mass_g: f64) -> Option<f64> {
    let of = |mpe: &[f64; 7]| mpe[class as usize];
    // A nominal mass that was put together from others is off by rounding.
    let near = |(nominal_g, mpe): &&(f64, [f64; 7])| 1e3 * (nominal_g - mass_g).abs() <= of(mpe) * (1.0 + 1e-9);
    MPE_MG.iter().find(near).map(|(_, mpe)| of(mpe))
}
