//! Simulated decks and runs with known truth: rigid plates on springs of unequal stiffness, with random self-stress.
//!
//! Everything is invented. The model shares no code with the crate under test: reactions come from the springs'
//! stiffness matrix, self-stress from the null space of statics.

use formats::deck::*;
use formats::run::{Load, Placement, Row, Run};
use nalgebra::{DMatrix, DVector, Matrix3, Vector3};
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, Normal};
use rand_xoshiro::Xoshiro256PlusPlus;

pub(crate) const KG_PER_COUNT: f64 = 2.33e-5;

/// What is uncertain in a simulated run.
#[derive(Debug, Clone, Copy)]
pub(crate) struct World {
    /// Noise of a settled reading, counts.
    pub(crate) noise_counts: f64,
    /// Standard deviation of a load's place along each axis, mm.
    pub(crate) position_mm: f64,
    /// Standard deviation of the mass of the 20 kg body, g: one error for the whole run.
    pub(crate) mass_g: f64,
    /// Scatter of a cell in proportion to its load.
    pub(crate) relative: f64,
    /// Self-stress in shares of the load.
    pub(crate) self_stress: f64,
}

impl World {
    pub(crate) const PLAIN: Self =
        Self { noise_counts: 12.0, position_mm: 2.0, mass_g: 0.5, relative: 1e-4, self_stress: 0.01 };
}

pub(crate) struct Truth {
    pub(crate) zero: Vec<f64>,
    pub(crate) gain: Vec<f64>,
    pub(crate) can_kg: f64,
}

pub(crate) struct Simulation {
    pub(crate) rng: Xoshiro256PlusPlus,
    pub(crate) deck: Deck,
    pub(crate) truth: Truth,
    pub(crate) world: World,
    stiffness: Vec<f64>,
    mass_kg: f64,
    light_kg: f64,
}

impl Simulation {
    /// A random deck of 3–9 plates with 3–6 cells each.
    pub(crate) fn random(seed: u64, world: World) -> Self {
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed);
        let n_plates = rng.random_range(3..=9);
        let cells: Vec<usize> = (0..n_plates).map(|_| rng.random_range(3..=6)).collect();
        Self::with_plates(rng, &cells, world)
    }

    pub(crate) fn with_plates(mut rng: Xoshiro256PlusPlus, cells_of_plate: &[usize], world: World) -> Self {
        let plates: Vec<Plate> = cells_of_plate.iter().enumerate().map(|(p, &n)| plate(&mut rng, p, n)).collect();
        let n_cells = cells_of_plate.iter().sum();
        let deck = deck(plates);
        let truth = Truth {
            zero: (0..n_cells).map(|_| normal(&mut rng, 60_000.0).round()).collect(),
            gain: (0..n_cells).map(|_| KG_PER_COUNT * rng.random_range(0.85..1.15)).collect(),
            can_kg: 19.437,
        };
        let stiffness = (0..n_cells).map(|_| rng.random_range(0.8..1.25)).collect();
        let mass_kg = 20.0 + normal(&mut rng, world.mass_g * 1e-3);
        let light_kg = 10.0 + normal(&mut rng, world.mass_g * 1e-3);
        Self { rng, deck, truth, world, stiffness, mass_kg, light_kg }
    }

    /// Zero readings, the 20 kg body at nine places of each plate, the can at two.
    pub(crate) fn run(&mut self) -> Run {
        let mut run = Run { cells: self.deck.cells().map(|(_, c)| c.name.clone()).collect(), rows: Vec::new() };
        for _ in 0..4 {
            self.zero(&mut run);
        }
        for p in 0..self.deck.plates.len() {
            for at in [(0.5, 0.5), (0.2, 0.2), (0.8, 0.2), (0.8, 0.8), (0.2, 0.8), (0.5, 0.2), (0.5, 0.8)] {
                self.known(&mut run, p, at);
            }
            for at in [(0.3, 0.5), (0.7, 0.5)] {
                self.can(&mut run, p, at);
            }
            self.zero(&mut run);
        }
        run
    }

    /// As [`Simulation::run`], and a 10 kg body over each cell: with two masses a curved cell shows which one it is.
    #[allow(dead_code, reason = "not every test binary calls it")]
    pub(crate) fn full_run(&mut self) -> Run {
        let mut run = self.run();
        for p in 0..self.deck.plates.len() {
            let plate = self.deck.plates[p].clone();
            for cell in &plate.cells {
                self.light(&mut run, p, (cell.at_mm[0] / plate.size_mm[0], cell.at_mm[1] / plate.size_mm[1]));
            }
            self.zero(&mut run);
        }
        run
    }

    #[allow(dead_code, reason = "not every test binary calls it")]
    fn light(&mut self, run: &mut Run, plate: usize, at: (f64, f64)) {
        let placement = self.placement(plate, at);
        let counts = self.counts(Some((plate, &placement, self.light_kg)));
        push(run, Load::Known { at: placement, mass_kg: 10.0, u_mass_g: self.world.mass_g, label: None }, counts);
    }

    pub(crate) fn zero(&mut self, run: &mut Run) {
        let counts = self.counts(None);
        push(run, Load::Zero, counts);
    }

    pub(crate) fn known(&mut self, run: &mut Run, plate: usize, at: (f64, f64)) {
        let placement = self.placement(plate, at);
        let counts = self.counts(Some((plate, &placement, self.mass_kg)));
        let load = Load::Known { at: placement, mass_kg: 20.0, u_mass_g: self.world.mass_g, label: None };
        push(run, load, counts);
    }

    pub(crate) fn can(&mut self, run: &mut Run, plate: usize, at: (f64, f64)) {
        let placement = self.placement(plate, at);
        let counts = self.counts(Some((plate, &placement, self.truth.can_kg)));
        push(run, Load::Unknown { at: placement, label: "can".to_owned() }, counts);
    }

    fn placement(&self, plate: usize, at: (f64, f64)) -> Placement {
        let p = &self.deck.plates[plate];
        let round = |x: f64| (x * 10.0).round() / 10.0;
        Placement { plate: p.name.clone(), x_mm: round(p.size_mm[0] * at.0), y_mm: round(p.size_mm[1] * at.1) }
    }

    fn counts(&mut self, load: Option<(usize, &Placement, f64)>) -> Vec<f64> {
        let n = self.truth.gain.len();
        let mut reaction = vec![0.0; n];
        if let Some((plate, at, kg)) = load {
            let u = self.world.position_mm;
            let place = [at.x_mm + normal(&mut self.rng, u), at.y_mm + normal(&mut self.rng, u)];
            let first: usize = self.deck.plates[..plate].iter().map(|p| p.cells.len()).sum();
            for (i, share) in self.shares(plate, first, place).into_iter().enumerate() {
                reaction[first + i] = kg * share * (1.0 + normal(&mut self.rng, self.world.relative));
            }
        }
        (0..n)
            .map(|c| {
                self.truth.zero[c] + reaction[c] / self.truth.gain[c] + normal(&mut self.rng, self.world.noise_counts)
            })
            .collect()
    }

    /// Rigid plate on springs: three equations for sink and two slopes; then self-stress that no load sees.
    fn shares(&mut self, plate: usize, first: usize, place: [f64; 2]) -> Vec<f64> {
        let cells = &self.deck.plates[plate].cells;
        let arm = |at: [f64; 2]| Vector3::new(1.0, at[0] / 1000.0, at[1] / 1000.0);
        let arms: Vec<Vector3<f64>> = cells.iter().map(|c| arm(c.at_mm)).collect();
        let springs = &self.stiffness[first..first + cells.len()];
        let matrix: Matrix3<f64> = arms.iter().zip(springs).map(|(g, s)| g * g.transpose() * *s).sum();
        let sink = matrix.try_inverse().expect("cells do not lie on one line") * arm(place);
        let mut shares = DVector::from_iterator(cells.len(), arms.iter().zip(springs).map(|(g, s)| s * g.dot(&sink)));
        let statics = DMatrix::from_fn(3, cells.len(), |i, c| arms[c][i]);
        let projector = DMatrix::identity(cells.len(), cells.len())
            - statics.transpose() * (&statics * statics.transpose()).try_inverse().expect("regular") * &statics;
        let wild = DVector::from_fn(cells.len(), |_, _| normal(&mut self.rng, self.world.self_stress * 2.0));
        shares += projector * wild;
        shares.iter().copied().collect()
    }
}

pub(crate) fn normal(rng: &mut Xoshiro256PlusPlus, sd: f64) -> f64 {
    if sd == 0.0 { 0.0 } else { Normal::new(0.0, sd).expect("sd is finite").sample(rng) }
}

fn push(run: &mut Run, load: Load, counts: Vec<f64>) {
    let n = run.rows.len();
    run.rows.push(Row { line: n + 2, step: (n + 1).to_string(), load, temperature_c: None, counts });
}

fn plate(rng: &mut Xoshiro256PlusPlus, index: usize, n_cells: usize) -> Plate {
    let (a, b) = (rng.random_range(350.0..800.0f64).round(), rng.random_range(350.0..850.0f64).round());
    let inset = rng.random_range(30.0..60.0f64).round();
    let (l, r, t, d) = (inset, a - inset, inset, b - inset);
    let places: Vec<[f64; 2]> = match n_cells {
        3 => vec![[l, t], [r, t], [a / 2.0, d]],
        4 => vec![[l, t], [r, t], [r, d], [l, d]],
        5 => vec![[l, t], [r, t], [r, d], [l, d], [a / 2.0, b / 2.0]],
        _ => vec![[l, t], [a / 2.0, t], [r, t], [r, d], [a / 2.0, d], [l, d]],
    };
    let cells = places
        .into_iter()
        .enumerate()
        .map(|(i, at_mm)| Cell { name: format!("p{index}-{i}"), cell_type: "pad 50".to_owned(), at_mm })
        .collect();
    Plate {
        name: format!("p{index}"),
        section: "flat".to_owned(),
        origin_mm: [0.0, 900.0 * index as f64],
        size_mm: [a, b],
        clearance_mm: 6.0,
        base_kg: None,
        bond: Bond::Glued,
        layers: vec![],
        ribs: vec![],
        cells,
    }
}

fn deck(plates: Vec<Plate>) -> Deck {
    Deck {
        name: "Invented deck".to_owned(),
        max_kg: 200.0,
        e_g: 100.0,
        class: AccuracyClass::III,
        currency: "EUR".to_owned(),
        target: Target::default(),
        site: Site::Gravity { gravity_m_s2: 9.81 },
        calibration_site: Some(Site::Gravity { gravity_m_s2: 9.80 }),
        ambient_c: [18.0, 28.0],
        sections: vec![Section { name: "flat".to_owned(), length_mm: 1000.0, angle_deg: [0.0, 0.0] }],
        materials: vec![],
        cell_types: vec![CellType {
            name: "pad 50".to_owned(),
            capacity_kg: 50.0,
            output_mv_v: 1.0,
            stiffness_n_mm: 2000.0,
            nonlinearity_pct: 0.05,
            hysteresis_pct: 0.05,
            repeatability_pct: 0.03,
            creep_pct_30min: 0.05,
            zero_tc_pct_10c: 0.05,
            span_tc_pct_10c: 0.05,
            cost: 3.0,
            mass_kg: None,
            approval: Default::default(),
        }],
        converter: Converter {
            excitation_v: 4.2,
            gain: 128.0,
            reference_v: 4.2,
            bits: 24,
            noise_nv_rms: 90.0,
            rate_hz: 10.0,
            cost_per_channel: 1.5,
            approval: Default::default(),
        },
        practice: Default::default(),
        plates,
        load_cases: vec![],
        explore: None,
    }
}
