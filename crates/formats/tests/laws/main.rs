//! Laws of reading and writing: what is written reads back the same, and no text makes a reader panic.

mod any_data;
mod any_text;
mod round_trip;

use proptest::prelude::ProptestConfig;

/// As many inputs as a test states, or as many as `PROPTEST_CASES` says: a long run by hand.
fn config(stated: u32) -> ProptestConfig {
    ProptestConfig {
        cases: std::env::var("PROPTEST_CASES").ok().and_then(|n| n.parse().ok()).unwrap_or(stated),
        rng_seed: proptest::test_runner::RngSeed::Fixed(20_310_304),
        failure_persistence: None,
        ..ProptestConfig::default()
    }
}
