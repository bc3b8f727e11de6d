//! Times of plates: `cargo bench -p bedplate-plates`. The peer's times: `benches/peers/plate_peer.py`.

use std::sync::Arc;

use plates::panel::{Panel, Topology};
use plates::{Bearing, Bending, Load, LoadCase, Plate, Spring, solve, solve_on, solve_to};

fn main() {
    divan::main();
}

/// 0.9 × 0.5 m aluminium of 6 mm on four springs.
fn plate() -> Plate {
    let springs = [[0.05, 0.05], [0.85, 0.05], [0.05, 0.45], [0.85, 0.45]].map(|at| Spring::point(at, 1e6));
    Plate::new([0.9, 0.5], Bending::isotropic(70e9, 0.33, 0.006), springs.to_vec())
}

fn cases() -> Vec<LoadCase> {
    vec![
        Load::Uniform { pressure_pa: 1000.0 }.into(),
        Load::patch_of([0.2, 0.15], [0.1, 0.1], 600.0).into(),
        vec![Load::Uniform { pressure_pa: 500.0 }, Load::patch_of([0.6, 0.3], [0.2, 0.1], 300.0)].into(),
    ]
}

/// Three load cases to 1 % and 0.5 %, with the error estimate: a plate of `check`.
#[divan::bench]
fn three_cases_to_accuracy() -> Vec<plates::Solution> {
    solve(&plate(), &cases()).unwrap()
}

/// The same over a base that the second case touches.
#[divan::bench]
fn three_cases_with_contact() -> Vec<plates::Solution> {
    let bearing = Bearing::Pressed { clearance_m: Some(0.005) };
    solve_to(&plate(), &cases(), bearing, plates::Accuracy::default()).unwrap()
}

/// One mesh of 540 unknowns, without a second one.
#[divan::bench]
fn three_cases_on_one_mesh() -> Vec<plates::Solution> {
    solve_on(&plate(), &cases(), Bearing::Bilateral, [14, 8]).unwrap()
}

#[divan::bench(args = [(14, 8), (144, 80), (306, 170)])]
fn order_of_elimination(mesh: (usize, usize)) -> Topology {
    Topology::new(&plate(), [mesh.0, mesh.1]).unwrap()
}

/// Element matrix, assembly and numeric factor with the order known: 536, 46 977 and 209 985 unknowns.
#[divan::bench(args = [(14, 8), (144, 80), (306, 170)])]
fn assemble_and_factor(bencher: divan::Bencher, mesh: (usize, usize)) {
    let plate = plate();
    let topology = Arc::new(Topology::new(&plate, [mesh.0, mesh.1]).unwrap());
    bencher.bench_local(|| Panel::new(Arc::clone(&topology), &plate).unwrap());
}
