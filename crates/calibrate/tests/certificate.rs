//! What a certificate of the invented bench run states.

use calibrate::certificate::{Certificate, certificate};
use calibrate::{Options, calibrate};
use formats::calibration::Calibration;
use formats::certificate::Details;
use formats::deck::Deck;
use formats::run::{Load, Run};

fn bench() -> (Deck, Run, Calibration) {
    let deck = formats::deck::read("deck.toml", include_str!("data/bench_deck.toml")).unwrap();
    let run = formats::run::read("run.csv", include_str!("data/bench_run.csv"), &deck).unwrap();
    let calibration = calibrate(&deck, &run, &Options::new("2030-01-01T00:00:00Z")).unwrap();
    (deck, run, calibration)
}

fn of(details: &str) -> Certificate {
    let (deck, run, calibration) = bench();
    let details = formats::certificate::read("certificate.toml", details).unwrap();
    certificate(&deck, &run, &calibration, &details).unwrap()
}

/// The mean indication and error by hand: every row of the mass, Σ k (r − z) over all cells.
#[test]
fn errors_are_those_of_the_lines() {
    let (_, run, calibration) = bench();
    let stated = of("");
    let [error] = &stated.errors[..] else { panic!("one mass: {:?}", stated.errors) };
    let plates = [0..4, 4..8, 8..12, 12..16];
    let mut shown = Vec::new();
    for row in &run.rows {
        let Load::Known { at, mass_kg, .. } = &row.load else { continue };
        if *mass_kg == 0.0 {
            continue;
        }
        let names: Vec<&str> =
            calibration.residuals.iter().filter(|r| r.line == row.line).map(|r| r.plate.as_str()).collect();
        assert_eq!(names, [at.plate.as_str()]);
        // The plate under the load is the one whose cells moved.
        let kg = |cells: &std::ops::Range<usize>| -> f64 {
            cells
                .clone()
                .map(|c| {
                    calibration.cells[c].kg_per_count.unwrap()
                        * (row.counts[c] - calibration.cells[c].zero_counts.unwrap())
                })
                .sum()
        };
        shown.push(plates.iter().map(kg).fold(0.0, f64::max));
    }
    assert_eq!(error.n_readings, shown.len());
    let mean = shown.iter().sum::<f64>() / shown.len() as f64;
    // The residual stands at counts adjusted by the noise, the sum at the counts: they part by far less than a tenth of a gram.
    assert!((error.indication_kg - mean).abs() < 1e-4, "{} against {mean}", error.indication_kg);
    assert!((error.error_g - 1e3 * (mean - 20.0)).abs() < 0.1);
    assert!(error.error_g.abs() < error.budget.expanded_g, "the lines were fitted to it");
}

#[test]
fn what_people_state_enters_the_budget() {
    let source = |c: &Certificate, name: &str| {
        c.errors[0].budget.contributions.iter().find(|s| s.source == name).map(|s| s.u_g).unwrap()
    };
    let bare = of("");
    let full = of(
        "[conditions]\npressure_hPa = 1000.0\nhumidity_pct = 40.0\ntemperature_C = 22.0\n[[mass]]\nmass_kg = 20.0\nclass = \"M1\"\ndrift_g = 0.3\n",
    );
    // M1 at 20 kg: ± 1 g (OIML R 111-1, table 1). By hand 20 000 g·(0.015·1.2/8000 + 1/80 000)/√3 = 0.1703 g.
    assert!((source(&full, "air buoyancy of the mass") - 0.170_318).abs() < 1e-5);
    assert!((source(&full, "drift of the mass") - 0.3 / 3f64.sqrt()).abs() < 1e-12);
    assert!(source(&bare, "drift of the mass") > source(&full, "drift of the mass"));
    // CIPM-2007 at 22 °C, 1000 hPa and 40 %: 1.176009 kg/m³ (computed from the published equation, 2026).
    assert!((full.air.density_kg_m3.unwrap() - 1.176_009).abs() < 5e-7 && full.air.is_measured);
    assert!(!bare.air.is_measured);
    assert_eq!(bare.masses.len(), 1);
}

#[test]
fn a_weight_is_the_less_certain_the_heavier_and_never_better_than_its_display() {
    let stated = of("");
    let u: Vec<f64> = stated.weights.iter().map(|w| w.budget.u_g).collect();
    assert!(u.windows(2).all(|pair| pair[0] <= pair[1]), "{u:?}");
    // e = 50 g at zero and at load: 50/√6.
    assert!(u[0] >= 50.0 / 6f64.sqrt());
    assert!((stated.weights.last().unwrap().load_kg - 150.0).abs() < 1e-12);
}

#[test]
fn a_calibration_of_another_maker_states_nothing() {
    let (deck, run, calibration) = bench();
    let other = Calibration { detail: None, ..calibration };
    assert!(certificate(&deck, &run, &other, &Details::default()).is_err());
}
