//! `check` of random decks against much refined solutions of the same plates, as many decks as told (40) from a seed (90),
//! plates with soft cores among them.
//!
//! Usage: `cargo run --release -p bedplate-design --example random_decks -- [DECKS] [SEED]`

#[path = "../tests/random_decks/mod.rs"]
mod random_decks;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut told = std::env::args().skip(1);
    let n_decks = told.next().map_or(Ok(40), |n| n.parse())?;
    let seed = told.next().map_or(Ok(90), |n| n.parse())?;
    let found = random_decks::study(seed, n_decks, true);
    let text = format!(
        "seed {seed}, {n_decks} decks: {found}\n{} beyond the promise\n{}\n",
        found.faults.len(),
        found.faults.join("\n")
    );
    std::io::Write::write_all(&mut std::io::stdout(), text.as_bytes())?;
    Ok(())
}
