//! Random decks, and how far `check` is off on them.
//!
//! Everything here is invented: decks of 3 to 9 plates with 3 to 6 cells each, of random size, layers (a soft core among
//! them), bond, ribs, stiffness and place, far above their bases, under even, patch and mixed loads. The reference is the
//! same plate on a mesh of up to four times as many lines as `check` took, and at least twice as many; that the solver
//! converges to the right answer is the matter of `plates`' reference tests and of `plate_reference.rs`, which compare with
//! other programs.
//!
//! The change between two meshes does not fall evenly: under a spring the error is c h² R/D, and c is 2.9 times as large in the
//! middle of an element as at a node (`plates`' reference test of it). A spring that a halving moves from near a node to near a
//! middle keeps the change, and with it the estimate, high although the answer has converged: such plates are halved again.

use std::f64::consts::TAU;

use deck::units::MM;
use design::report::CaseReport;
use formats::deck::{Axis, Bond, Cell, CellType, Deck, Layer, LoadCase, Material, Patch, Plate, Rib};
use plates::{Accuracy, Bearing, Solution};
use rand::{RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;

/// Deflection anywhere, as a share of the largest, and reaction, as a share of the load: what `check` promises.
const PROMISED: Accuracy = Accuracy { deflection: 0.01, reaction: 0.005 };
/// The reference has this many times the lines that `check` starts with, and at least twice those that it ended with. The error
/// falls as the square: a sixteenth to a quarter of it is left in the reference, and the worst found is known to about as much.
const FINER: usize = 4;
/// No plate bends as far.
const CLEARANCE_MM: f64 = 5000.0;

type Rng = Xoshiro256PlusPlus;

fn base() -> Deck {
    formats::deck::read("rowan.toml", include_str!("../data/rowan.toml")).unwrap()
}

/// A metal alike in all directions, a board that is up to four times as stiff along as across, and a core soft in shear.
fn materials(rng: &mut Rng, base: &Material) -> Vec<Material> {
    let metal = Material {
        name: "metal".into(),
        e_mpa: rng.random_range(40e3..210e3),
        nu: rng.random_range(0.25..0.35),
        ..base.clone()
    };
    let along = rng.random_range(4e3..14e3);
    let board = Material {
        name: "board".into(),
        e_mpa: along,
        e_y_mpa: Some(along / rng.random_range(1.0..4.0)),
        nu: rng.random_range(0.1..0.3),
        g_mpa: Some(along / rng.random_range(3.0..12.0)),
        ..base.clone()
    };
    let core = Material {
        name: "core".into(),
        e_mpa: rng.random_range(20.0..100.0),
        nu: 0.3,
        g_transverse_mpa: Some(rng.random_range(4.0..150.0)),
        ..base.clone()
    };
    vec![metal, board, core]
}

/// 3 to 6 cells around the middle, so that an even load never tips the plate off them.
fn cells(rng: &mut Rng, plate: usize, size_mm: [f64; 2], types: &[CellType]) -> Vec<Cell> {
    let n = rng.random_range(3..=6_usize);
    let turn = rng.random_range(0.0..1.0);
    (0..n)
        .map(|i| {
            // Two neighbours are at most 1.3/3 of a turn apart: the middle lies between them.
            let angle = TAU * (i as f64 + turn + rng.random_range(-0.15..0.15)) / n as f64;
            let (sin, cos) = angle.sin_cos();
            let out = rng.random_range(0.5..0.95) / sin.abs().max(cos.abs());
            let at_mm = [0.5 * size_mm[0] * (1.0 + out * cos), 0.5 * size_mm[1] * (1.0 + out * sin)];
            Cell {
                name: format!("{plate}.{i}"),
                cell_type: types[rng.random_range(0..types.len())].name.clone(),
                at_mm,
            }
        })
        .collect()
}

fn rib(rng: &mut Rng, size_mm: [f64; 2]) -> Rib {
    let (along, across) = if rng.random_bool(0.5) { (Axis::X, size_mm[1]) } else { (Axis::Y, size_mm[0]) };
    Rib {
        along,
        at_mm: across * rng.random_range(0.2..0.8),
        width_mm: rng.random_range(5.0..30.0),
        height_mm: rng.random_range(5.0..25.0),
        material: "metal".into(),
    }
}

fn plate(rng: &mut Rng, index: usize, x_mm: f64, types: &[CellType], cores: bool) -> Plate {
    let size_mm = [rng.random_range(250.0..900.0), rng.random_range(250.0..900.0)];
    let layer = |material: &str, thickness_mm| Layer { material: material.into(), thickness_mm };
    let metal = layer("metal", rng.random_range(1.0..5.0));
    let board = layer("board", rng.random_range(4.0..15.0));
    let under = layer("metal", rng.random_range(0.5..2.0));
    let core = layer("core", rng.random_range(6.0..20.0));
    let layers = match rng.random_range(0..if cores { 5 } else { 4 }) {
        0 => vec![metal],
        1 => vec![board],
        2 => vec![metal, board],
        3 => vec![metal, board, under],
        _ => vec![metal, core, under],
    };
    // A core whose faces slide on it is no plate that anybody builds.
    let bond = if layers.len() > 1 && layers[1].material != "core" && rng.random_bool(0.5) {
        Bond::Loose
    } else {
        Bond::Glued
    };
    Plate {
        name: format!("plate {index}"),
        section: "all".into(),
        origin_mm: [x_mm, 10.0],
        size_mm,
        clearance_mm: CLEARANCE_MM,
        base_kg: None,
        bond,
        layers,
        ribs: if rng.random_bool(0.3) { vec![rib(rng, size_mm)] } else { Vec::new() },
        cells: cells(rng, index, size_mm, types),
    }
}

/// A rectangle of even pressure, its middle anywhere between the cells, so that it does not tip the plate off them.
fn patch(rng: &mut Rng, plate: &Plate) -> Patch {
    let weights: Vec<f64> = plate.cells.iter().map(|_| rng.random_range(0.0..1.0)).collect();
    let total: f64 = weights.iter().sum();
    let middle = |axis: usize| plate.cells.iter().zip(&weights).map(|(c, w)| c.at_mm[axis] * w / total).sum::<f64>();
    let mut span = |axis: usize| {
        let (at, side) = (middle(axis), plate.size_mm[axis]);
        let half = rng.random_range(0.04 * side..0.25 * side).min(at).min(side - at);
        (at - half, 2.0 * half)
    };
    let ((x_mm, length_mm), (y_mm, width_mm)) = (span(0), span(1));
    Patch { plate: plate.name.clone(), x_mm, y_mm, length_mm, width_mm, kg: rng.random_range(5.0..60.0) }
}

fn random_deck(rng: &mut Rng, cores: bool) -> Deck {
    let mut deck = base();
    deck.materials = materials(rng, &deck.materials[0]);
    let kind = deck.cell_types[0].clone();
    deck.cell_types = (0..3)
        .map(|i| CellType {
            name: format!("type {i}"),
            stiffness_n_mm: rng.random_range(200.0..5000.0),
            ..kind.clone()
        })
        .collect();
    let (mut plates, mut x_mm) = (Vec::new(), 10.0);
    for index in 0..rng.random_range(3..=9_usize) {
        let next = plate(rng, index, x_mm, &deck.cell_types, cores);
        x_mm += next.size_mm[0] + 10.0;
        plates.push(next);
    }
    // One flat section that all plates lie on.
    deck.sections.truncate(1);
    deck.sections[0].name = "all".into();
    deck.sections[0].length_mm = x_mm;
    deck.sections[0].angle_deg = [0.0, 0.0];
    let case = |name: &str, even_kg, patches| LoadCase { name: name.into(), even_kg, patches, patient: None };
    let even = Some(rng.random_range(20.0..200.0));
    let all = plates.iter().map(|p| patch(rng, p)).collect();
    let mixed = plates.iter().map(|p| patch(rng, p)).collect();
    deck.load_cases = vec![case("even", even, vec![]), case("patches", None, all), case("both", even, mixed)];
    deck.plates = plates;
    deck
}

/// The mesh that `check` starts with.
fn usual(deck: &Deck, plate: usize) -> [usize; 2] {
    plates::usual_mesh(&deck::model::model(deck, &deck.plates[plate]).unwrap().plate)
}

/// The same plate under all its loads on a much finer mesh than the one that `check` took.
fn references(deck: &Deck, plate: usize, taken: [usize; 2]) -> Vec<Solution> {
    let model = deck::model::model(deck, &deck.plates[plate]).unwrap();
    let load = |case| deck::loads::spread(deck, case).unwrap().plates.swap_remove(plate).loads;
    let loads: Vec<_> = deck.load_cases.iter().map(load).collect();
    let bearing = Bearing::Pressed { clearance_m: Some(CLEARANCE_MM * MM) };
    let usual = usual(deck, plate);
    let mesh = std::array::from_fn(|i| (FINER * usual[i]).max(2 * taken[i]));
    plates::solve_on(&model.plate, &loads, bearing, mesh).unwrap()
}

/// How far a case is off: its largest deflection, its deflection anywhere, its reactions.
fn off(case: &CaseReport, exact: &Solution) -> [f64; 3] {
    let largest = exact.max.deflection_m.abs().max(exact.min.deflection_m.abs());
    let map = exact.sample_m(case.deflection_mm[0].len(), case.deflection_mm.len());
    let anywhere = case.deflection_mm.iter().flatten().zip(map.iter().flatten());
    let reactions = case.cells.iter().zip(&exact.reactions_newton);
    let worst = |differences: &mut dyn Iterator<Item = f64>| differences.fold(0.0, |a: f64, d| a.max(d.abs()));
    [
        (case.max_deflection_mm * MM - exact.max.deflection_m).abs() / exact.max.deflection_m,
        worst(&mut anywhere.map(|(mm, m)| mm * MM - m)) / largest,
        worst(&mut reactions.map(|(cell, newton)| cell.reaction_newton - newton)) / exact.load_newton,
    ]
}

/// What a study of random decks found, or one deck of it.
#[derive(Debug, Default)]
pub(crate) struct Study {
    /// Worst error of the largest deflection, of the deflection anywhere (shares of the largest), of a reaction (share of the load).
    pub(crate) worst: [f64; 3],
    /// Largest error of the deflection anywhere over the estimate that `check` gives of it.
    pub(crate) over_estimate: f64,
    /// Plates.
    pub(crate) n_plates: usize,
    /// Plates for which `check` refined its first mesh.
    pub(crate) n_refined: usize,
    /// Cases in which a plate lifts off a cell.
    pub(crate) n_lifts: usize,
    /// Cases that miss the promise.
    pub(crate) faults: Vec<String>,
}

impl Study {
    fn take(&mut self, deck: Study) {
        self.worst = std::array::from_fn(|i| self.worst[i].max(deck.worst[i]));
        self.over_estimate = self.over_estimate.max(deck.over_estimate);
        self.n_plates += deck.n_plates;
        self.n_refined += deck.n_refined;
        self.n_lifts += deck.n_lifts;
        self.faults.extend(deck.faults);
    }
}

fn study_deck(number: usize, deck: &Deck) -> Study {
    let report = design::check(deck).unwrap();
    let mut study = Study { n_plates: deck.plates.len(), ..Study::default() };
    for (index, plate) in report.plates.iter().enumerate() {
        let taken = plate.cases[0].mesh_elements;
        for (case, exact) in plate.cases.iter().zip(references(deck, index, taken)) {
            assert!(!case.tips && !case.touches, "deck {number}, {}, {}", plate.name, case.case);
            let off = off(case, &exact);
            study.n_lifts += usize::from(case.cells.iter().any(|c| c.lifts));
            if off[0].max(off[1]) > PROMISED.deflection || off[2] > PROMISED.reaction {
                study.faults.push(format!("deck {number}, {}, {}: {off:?}", plate.name, case.case));
            }
            study.worst = std::array::from_fn(|i| study.worst[i].max(off[i]));
            study.over_estimate = study.over_estimate.max(100.0 * off[1] / case.mesh_deflection_pct);
        }
        study.n_refined += usize::from(taken != usual(deck, index));
    }
    study
}

/// Checks random decks of a seed and tells each deck as it is done; plates with soft cores among them take seconds each.
pub(crate) fn study(seed: u64, n_decks: usize, cores: bool, mut done: impl FnMut(usize, &Study)) -> Study {
    let mut rng = Rng::seed_from_u64(seed);
    let mut study = Study::default();
    for number in 0..n_decks {
        let deck = study_deck(number, &random_deck(&mut rng, cores));
        done(number, &deck);
        study.take(deck);
    }
    study
}

impl std::fmt::Display for Study {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let [largest, anywhere, reaction] = self.worst;
        writeln!(
            f,
            "{} plates, {} of them refined, {} cases lift off a cell",
            self.n_plates, self.n_refined, self.n_lifts
        )?;
        writeln!(f, "worst: largest deflection {largest:.2e}, anywhere {anywhere:.2e}, reaction {reaction:.2e}")?;
        write!(f, "worst deflection anywhere over its own estimate: {:.2}", self.over_estimate)
    }
}
