//! Laws of reading and writing: what is written reads back the same, and no text makes a reader panic.

mod any_data;
mod any_text;
mod round_trip;

use proptest::prelude::ProptestConfig;

fn config(cases: u32) -> ProptestConfig {
    ProptestConfig {
        cases,
        rng_seed: proptest::test_runner::RngSeed::Fixed(20_310_304),
        failure_persistence: None,
        ..ProptestConfig::default()
    }
}
