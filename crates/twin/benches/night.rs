//! How fast a night passes: a day at 10 Hz, 18 cells (the example's deck) and 24 cells (every plate with four or five),
//! without writing it.

use bedplate_twin::{BuiltDeck, Night, Scenario, demo};
use divan::counter::ItemsCount;
use formats::deck::Deck;
use formats::recording::Sample;

fn main() {
    divan::main();
}

fn example() -> Deck {
    formats::deck::read("deck.toml", demo::DECK_TOML).expect("the example is a deck")
}

/// The example with six more cells: 24.
fn with_24_cells() -> Deck {
    let mut deck = example();
    for (i, (plate, at_mm)) in [
        (0, [375.0, 212.5]),
        (1, [375.0, 212.5]),
        (2, [215.0, 430.0]),
        (2, [215.0, 200.0]),
        (3, [610.0, 60.0]),
        (4, [610.0, 60.0]),
    ]
    .into_iter()
    .enumerate()
    {
        let mut cell = deck.plates[plate].cells[0].clone();
        cell.name = format!("X{i}");
        cell.at_mm = at_mm;
        deck.plates[plate].cells.push(cell);
    }
    deck
}

/// Items are seconds of a patient's time: items a second over 1 is how many times faster than real time.
#[divan::bench(args = [18, 24], sample_count = 3, sample_size = 1)]
fn a_day_at_10_hz(bencher: divan::Bencher<'_, '_>, n_cells: usize) {
    let deck = if n_cells == 24 { with_24_cells() } else { example() };
    let scenario = Scenario::default();
    let built = BuiltDeck::build(&deck, &scenario.cell_spread(), 1).expect("the deck can be built");
    assert_eq!(built.n_cells(), n_cells);
    bencher.counter(ItemsCount::new((scenario.hours * 3600.0) as usize)).bench_local(|| {
        let mut night = Night::new(&deck, &built, &scenario, 1).expect("the scenario fits");
        let mut sample = Sample::default();
        let mut sum = 0.0;
        while night.next_sample(&mut sample).expect("the night goes on") {
            sum += sample.counts[0].unwrap_or_default();
        }
        sum
    });
}
