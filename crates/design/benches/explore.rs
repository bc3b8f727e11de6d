//! Candidates a second: the whole search of the trial deck's design space on one thread, table of options and all.

fn main() {
    divan::main();
}

#[divan::bench(sample_count = 3, sample_size = 1)]
fn search_of_the_trial_deck(bencher: divan::Bencher<'_, '_>) {
    let deck = formats::deck::read("rowan.toml", include_str!("../tests/data/rowan.toml"));
    let n_candidates = || -> Option<usize> {
        let mut explorer = design::explore::explore(deck.as_ref().ok()?).ok()?;
        while !explorer.step().ok()?.is_done() {}
        Some(explorer.progress().n_candidates)
    };
    let counter = divan::counter::ItemsCount::new(n_candidates().unwrap_or(0));
    bencher.counter(counter).bench_local(n_candidates);
}
