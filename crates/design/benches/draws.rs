//! A million draws of the error of a chain of 24 cells.

mod chain_of_24;

use design::budget::sampler::Sampler;
use rand::SeedableRng;

fn main() {
    divan::main();
}

#[divan::bench]
fn million_draws_of_24_cells(bencher: divan::Bencher<'_, '_>) {
    let Some(model) = chain_of_24::model() else {
        return;
    };
    let sampler = Sampler::new(&model);
    let mut rng = rand_xoshiro::Xoshiro256PlusPlus::seed_from_u64(1);
    let mut out = vec![0.0; 1_000_000];
    bencher.counter(divan::counter::ItemsCount::new(out.len())).bench_local(|| {
        sampler.fill(&mut rng, &mut out);
        out[0]
    });
}
