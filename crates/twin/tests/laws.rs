//! Laws that hold for whatever is drawn.

use bedplate_twin::BuiltDeck;
use bedplate_twin::built::Patch;
use bedplate_twin::cell::CellSpread;
use formats::deck::Deck;
use proptest::prelude::*;

fn deck() -> Deck {
    formats::deck::read("deck.toml", bedplate_twin::demo::DECK_TOML).unwrap()
}

fn built(seed: u64) -> BuiltDeck {
    BuiltDeck::build(&deck(), &CellSpread::default(), seed).unwrap()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, rng_seed: proptest::test_runner::RngSeed::Fixed(11), ..ProptestConfig::default() })]

    /// Whatever lies wherever on the bed is carried whole.
    #[test]
    fn shares_add_up_to_one(x in -100.0..2100.0f64, y in -100.0..1000.0f64, length in 1.0..600.0f64, width in 1.0..600.0f64) {
        static BUILT: std::sync::OnceLock<BuiltDeck> = std::sync::OnceLock::new();
        let built = BUILT.get_or_init(|| built(1));
        let shares = built.footprint(&[Patch::about([x, y], [length, width])]);
        prop_assert!((shares[..built.n_cells()].iter().sum::<f64>() - 1.0).abs() < 1e-12);
    }
}

/// Moments: the centre of the reactions is the centre of the load, where it lies on a plate.
#[test]
fn reactions_have_the_loads_centre() {
    let (deck, built) = (deck(), built(1));
    for (plate, first) in deck.plates.iter().scan(0, |n, p| {
        let first = *n;
        *n += p.cells.len();
        Some((p, first))
    }) {
        let at = [plate.size_mm[0] * 0.41, plate.size_mm[1] * 0.57];
        let middle = [plate.origin_mm[0] + at[0], plate.origin_mm[1] + at[1]];
        let shares = built.footprint(&[Patch::about(middle, [100.0, 100.0])]);
        for axis in [0, 1] {
            let centre: f64 = plate.cells.iter().enumerate().map(|(i, c)| shares[first + i] * c.at_mm[axis]).sum();
            // The solver's reactions are right to 0.5 % of the load, over arms of up to 400 mm.
            assert!((centre - at[axis]).abs() < 2.0, "{}: {centre} against {}", plate.name, at[axis]);
        }
    }
}
