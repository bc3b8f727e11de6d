//! Laws that hold for every record, on invented patients.

use crate::support::{Scenario, Simulated, simulate};
use bedplate_balance::{BalanceReport, Options, balance};
use jiff::SignedDuration;
use proptest::prelude::*;

fn run(sim: &Simulated) -> BalanceReport {
    balance(&sim.patient, &sim.weights, &sim.chart, &Options::default()).unwrap()
}

fn short() -> Scenario {
    Scenario { hours: 18, ..Scenario::adult() }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 12, rng_seed: proptest::test_runner::RngSeed::Fixed(5), ..ProptestConfig::default() })]

    /// A constant error of the deck moves every mass by itself and no balance at all.
    #[test]
    fn a_constant_offset_moves_the_mass_and_no_balance(seed in 0u64..1000, offset_g in -300i32..300) {
        let sim = simulate(short(), seed);
        let mut moved = simulate(short(), seed);
        for weight in &mut moved.weights {
            weight.patient_kg = weight.patient_kg.map(|kg| kg + f64::from(offset_g) / 1000.0);
        }
        let (a, b) = (run(&sim), run(&moved));
        for (x, y) in a.rows.iter().zip(&b.rows) {
            // The prior of the loss goes with the weight: 0.4 % of the weight moves it by less than that,
            // and the noise search stops within 1e-2 of its gradient.
            prop_assert!((1000.0 * (y.mass_kg - x.mass_kg) - f64::from(offset_g)).abs() < 0.5);
            prop_assert!((y.unexplained_ml - x.unexplained_ml).abs() < 0.5);
        }
    }

    /// The order of the chart's rows is nothing.
    #[test]
    fn the_order_of_the_chart_is_nothing(seed in 0u64..1000) {
        let sim = simulate(short(), seed);
        let mut turned = simulate(short(), seed);
        turned.chart.reverse();
        prop_assert_eq!(run(&sim), run(&turned));
    }

    /// Whole hours of clock shift move the times and nothing else.
    #[test]
    fn a_shift_of_the_clock_moves_the_times_alone(seed in 0u64..1000, hours in 1i64..5000) {
        let sim = simulate(short(), seed);
        let mut moved = simulate(short(), seed);
        let by = SignedDuration::from_hours(hours);
        for weight in &mut moved.weights {
            weight.time = weight.time.map(|time| time + by);
        }
        for entry in &mut moved.chart {
            entry.time += by;
        }
        let (a, b) = (run(&sim), run(&moved));
        for (x, y) in a.rows.iter().zip(&b.rows) {
            prop_assert_eq!(x.time + by, y.time);
            prop_assert!((x.mass_kg - y.mass_kg).abs() < 1e-9);
        }
        prop_assert_eq!(a.alerts.len(), b.alerts.len());
    }

    /// Rows that are not settled say nothing, whatever they hold.
    #[test]
    fn weights_that_are_not_settled_say_nothing(seed in 0u64..1000, nonsense in 0.0f64..500.0) {
        let sim = simulate(short(), seed);
        let mut other = simulate(short(), seed);
        for weight in other.weights.iter_mut().filter(|w| w.state != formats::weights::State::Settled) {
            weight.patient_kg = Some(nonsense);
        }
        prop_assert_eq!(run(&sim), run(&other));
    }
}
