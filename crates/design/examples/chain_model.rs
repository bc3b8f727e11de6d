//! Our side of `benches/peers/monte_carlo_peer.py`: draws the error of a chain of 24 cells a million times, as often as told,
//! and prints the times, the standard deviation and the model as JSON.

#[path = "../benches/chain_of_24/mod.rs"]
mod chain_of_24;

use design::budget::sampler::Sampler;
use design::budget::{Factor, Model};
use rand::SeedableRng;
use std::time::Instant;

const DRAWS: usize = 1_000_000;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let repeat: usize = std::env::args().nth(1).map_or(Ok(1), |n| n.parse())?;
    let model = chain_of_24::model().ok_or("the deck of the benchmark cannot be read")?;
    let mut rng = rand_xoshiro::Xoshiro256PlusPlus::seed_from_u64(1);
    let (mut out, mut seconds) = (Vec::new(), Vec::new());
    for _ in 0..repeat.max(1) {
        // As the peer: with the memory of the result and the model's preparation.
        let begun = Instant::now();
        out = vec![0.0; DRAWS];
        Sampler::new(&model).fill(&mut rng, &mut out);
        seconds.push(begun.elapsed().as_secs_f64());
    }
    let written = as_json(&model, &seconds, spread(&out));
    std::io::Write::write_all(&mut std::io::stdout(), format!("{written}\n").as_bytes())?;
    Ok(())
}

fn spread(draws: &[f64]) -> f64 {
    (stats::moments::deviation_ss(draws) / draws.len() as f64).sqrt()
}

fn as_json(model: &Model, seconds: &[f64], spread_g: f64) -> serde_json::Value {
    let kind = |f: &Factor| match f {
        Factor::Normal => "normal",
        Factor::Rectangular => "rectangular",
    };
    let terms: Vec<_> = model
        .terms
        .iter()
        .map(|t| {
            let factors: Vec<usize> = std::iter::once(t.first).chain(t.second).collect();
            serde_json::json!({ "coefficient_g": t.coefficient_g, "factors": factors })
        })
        .collect();
    let factors: Vec<_> = model.factors.iter().map(kind).collect();
    serde_json::json!({
        "seconds": seconds, "spread_g": spread_g, "u_g": model.u_g(), "factors": factors, "terms": terms,
    })
}
