//! Times of plates: `cargo bench -p bedplate-plates`. The peer's times: `benches/peers/plate_peer.py`.

use std::sync::Arc;

use plates::panel::{Panel, Topology};
use plates::{Bearing, Bending, Family, Load, LoadCase, Plate, Seat, Spring, solve, solve_on, solve_to};

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

/// A family of plates with ten layouts of four seats: what a new laminate costs a search.
fn family(topology: &Arc<Topology>, stiffer: f64) -> (Family, Vec<Vec<Seat>>) {
    let mut plate = plate();
    plate.bending = Bending::isotropic(70e9 * stiffer, 0.33, 0.006);
    let mut family = Family::new(Arc::clone(topology), &plate, &cases()).unwrap();
    let places: Vec<[f64; 2]> = (0..10)
        .flat_map(|i| {
            let (x, y) = (0.03 + 0.01 * f64::from(i), 0.02 + 0.008 * f64::from(i));
            [[x, y], [0.9 - x, y], [x, 0.5 - y], [0.9 - x, 0.5 - y]]
        })
        .collect();
    let seats = family.seats(&places, 0.0).unwrap();
    let layouts = seats.chunks(4).map(<[Seat]>::to_vec).collect();
    (family, layouts)
}

#[divan::bench]
fn family_of_a_new_laminate(bencher: divan::Bencher) {
    let topology = Arc::new(Topology::new(&plate(), [14, 8]).unwrap());
    bencher.bench_local(|| family(&topology, 1.0));
}

/// One trial: four springs, three load cases, with reactions, slopes, extremes and the moments for stresses.
#[divan::bench]
fn trial(bencher: divan::Bencher) {
    let topology = Arc::new(Topology::new(&plate(), [14, 8]).unwrap());
    let (family, layouts) = family(&topology, 1.0);
    let springs: Vec<(Seat, f64)> = layouts[3].iter().map(|&seat| (seat, 1e6)).collect();
    bencher.bench_local(|| family.try_springs(&springs, 1.3).unwrap());
}

/// A search over 5,000 decks of eight plates and three load cases on one thread: 50 laminates, 10 layouts, 10 cell types.
/// 5,000 over the time is candidates a second; every fiftieth pays for a new laminate.
#[divan::bench(sample_count = 5)]
fn search_of_5000_decks() -> usize {
    let topology = Arc::new(Topology::new(&plate(), [14, 8]).unwrap());
    let mut best = 0;
    for laminate in 0..50 {
        let (family, layouts) = family(&topology, 1.0 + 0.05 * f64::from(laminate));
        for layout in &layouts {
            for cell in 1..=10 {
                let springs: Vec<(Seat, f64)> = layout.iter().map(|&seat| (seat, 2e5 * f64::from(cell))).collect();
                for plate in 0..8 {
                    let trials = family.try_springs(&springs, 1.0 + 0.01 * f64::from(plate)).unwrap();
                    best += usize::from(trials.iter().all(|t| t.max.deflection_m < 0.004));
                }
            }
        }
    }
    best
}
