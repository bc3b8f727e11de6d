//! `check` of random decks against much refined solutions of the same plates, as many decks as told (40) from a seed (90),
//! plates with soft cores among them. Prints a row a deck as it is done.
//!
//! Usage: `cargo run --release -p bedplate-design --example random_decks -- [DECKS] [SEED]`

use std::io::Write;

#[path = "../tests/random_decks/mod.rs"]
mod random_decks;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut args = std::env::args().skip(1);
    let n_decks = args.next().map_or(Ok(40), |n| n.parse())?;
    let seed = args.next().map_or(Ok(90), |n| n.parse())?;
    let mut out = std::io::stdout();
    writeln!(out, "deck  plates  refined  lifts  largest %  anywhere %  over its estimate  reaction %")?;
    let mut told = Ok(());
    let found = random_decks::study(seed, n_decks, true, |number, deck| {
        let [largest, anywhere, reaction] = deck.worst.map(|share| 100.0 * share);
        let row = writeln!(
            out,
            "{number:4}  {:6}  {:7}  {:5}  {largest:9.3}  {anywhere:10.3}  {:17.2}  {reaction:10.3}",
            deck.n_plates, deck.n_refined, deck.n_lifts, deck.over_estimate
        );
        if told.is_ok() {
            told = row;
        }
    });
    told?;
    writeln!(out, "seed {seed}, {n_decks} decks: {found}\n{} beyond the promise", found.faults.len())?;
    for fault in &found.faults {
        writeln!(out, "{fault}")?;
    }
    Ok(())
}
