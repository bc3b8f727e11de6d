//! Time of a whole `check`.

fn main() {
    divan::main();
}

/// Five plates of three and four cells, four load cases of its own and the ward's, contact, stress and budget.
#[divan::bench]
fn check_of_the_trial_deck(bencher: divan::Bencher<'_, '_>) {
    let deck = formats::deck::read("rowan.toml", include_str!("../tests/data/rowan.toml"));
    bencher.bench_local(|| deck.as_ref().map(|d| design::check(d).map(|r| r.mass_kg)));
}
