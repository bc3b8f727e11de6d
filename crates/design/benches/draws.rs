//! A million draws of the error of a chain of 24 cells.

use design::budget::sampler::Sampler;
use design::lying::Lying;
use rand::SeedableRng;

fn main() {
    divan::main();
}

#[divan::bench]
fn million_draws_of_24_cells(bencher: divan::Bencher<'_, '_>) {
    let Ok(mut deck) = formats::deck::read("rowan.toml", include_str!("../tests/data/rowan.toml")) else {
        return;
    };
    for (index, plate) in deck.plates.iter_mut().enumerate() {
        let mut cell = plate.cells[0].clone();
        cell.name = format!("M{index}");
        cell.at_mm = plate.size_mm.map(|s| s / 2.0);
        plate.cells.push(cell);
    }
    let n = deck.cells().count();
    let lying = Lying {
        case: "even".into(),
        mass_kg: 90.0,
        net_kg: 90.0,
        shares: vec![1.0 / n as f64; n],
        tare_shares: vec![1.0 / n as f64; n],
        slopes_rad: vec![0.005; n],
        section_kg: vec![40.0, 20.0, 20.0, 10.0],
        section_rad: vec![0.5, 0.0, 0.2, 0.0],
        shunted: 0.0,
    };
    let Ok(model) = design::budget::chain::model(&deck, &lying, &design::Assumptions::default(), 90.0) else {
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
