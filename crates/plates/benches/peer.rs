//! Our side of `benches/peers/plate_peer.py`: the same tasks, one JSON object a line. Run it through that script.
#![expect(clippy::print_stdout, reason = "the result is read by the script that runs this")]

use std::sync::Arc;
use std::time::Instant;

use plates::panel::{Panel, Topology};
use plates::{Bearing, Bending, Load, LoadCase, Plate, Spring, solve, solve_on};

/// Best of several runs, s, and a result.
fn best<T>(n_runs: usize, mut run: impl FnMut() -> T) -> (f64, T) {
    let mut timed = || {
        let start = Instant::now();
        let result = run();
        (start.elapsed().as_secs_f64(), result)
    };
    let first = timed();
    (1..n_runs).map(|_| timed()).fold(first, |best, next| if next.0 < best.0 { next } else { best })
}

/// Plate number `i` of eight, as the script has it too.
fn deck_plate(i: usize) -> (Plate, Vec<LoadCase>) {
    let i_f = i as f64;
    let (lx, ly) = (0.60 + 0.04 * i_f, 0.40 + 0.01 * i_f);
    let places = [[0.05, 0.05], [lx - 0.05, 0.05], [0.05, ly - 0.05], [lx - 0.05, ly - 0.05]];
    let stiffness = 1e6 * (1 + i % 3) as f64;
    let springs = places.map(|at| Spring::point(at, stiffness)).to_vec();
    let plate = Plate::new([lx, ly], Bending::isotropic(70e9, 0.33, 0.004 + 0.0005 * i_f), springs);
    let cases = vec![
        Load::Uniform { pressure_pa: 1000.0 }.into(),
        Load::patch_of([0.25 * lx, 0.3 * ly], [0.1, 0.1], 600.0).into(),
        vec![Load::Uniform { pressure_pa: 500.0 }, Load::patch_of([0.6 * lx, 0.5 * ly], [0.2, 0.1], 300.0)].into(),
    ];
    (plate, cases)
}

fn check() {
    let plates: Vec<_> = (0..8).map(deck_plate).collect();
    let (seconds, solutions) =
        best(50, || plates.iter().map(|(plate, cases)| solve(plate, cases).unwrap()).collect::<Vec<_>>());
    let values: Vec<String> =
        solutions.iter().flatten().map(|s| format!("[{}, {}]", s.max.deflection_m, s.reactions_newton[0])).collect();
    println!("{{\"task\": \"check\", \"seconds\": {seconds}, \"values\": [{}]}}", values.join(", "));
}

fn factor(n: usize) {
    let springs = [[0.05, 0.05], [0.85, 0.05], [0.05, 0.45], [0.85, 0.45]].map(|at| Spring::point(at, 1e6));
    let plate = Plate::new([0.9, 0.5], Bending::isotropic(70e9, 0.33, 0.006), springs.to_vec());
    let mesh = [18 * n, 10 * n];
    let (order_s, topology) = best(3, || Arc::new(Topology::new(&plate, mesh).unwrap()));
    let (factor_s, _) = best(5, || Panel::new(Arc::clone(&topology), &plate).unwrap());
    let load = LoadCase::from(Load::Uniform { pressure_pa: 1000.0 });
    let solution = solve_on(&plate, &[load], Bearing::Bilateral, mesh).unwrap().remove(0);
    println!(
        "{{\"task\": \"factor\", \"n\": {n}, \"dof\": {}, \"order_s\": {order_s}, \"factor_s\": {factor_s}, \"centre_mm\": {}, \"reaction_sum\": {}}}",
        topology.n_unknowns(),
        1e3 * solution.deflection_m([0.45, 0.25]),
        solution.reactions_newton.iter().sum::<f64>()
    );
}

fn main() {
    check();
    for n in [8, 17] {
        factor(n);
    }
}
