//! What a placement will tell: its three equations of statics, whitened, in relative gains and the relative mass.
//!
//! Σ_c F_c δ_c g_c − m μ g(x) = e, with F_c what the body adds to cell c, δ_c the relative error of its gain, μ that of the
//! mass m, g = (1, x, y), and Cov e = Σ_c (ρ² F_c² + s²) g_c g_cᵀ + m² u² diag(0, 1, 1): scatter ρ in proportion to load, noise s of a reading,
//! play u of the place. The same model as `equations`, at the reactions that the plate predicts.

use super::ground::Ground;
use nalgebra::{Matrix3, Matrix3xX, Vector3};

/// A body on a place.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Put {
    pub(crate) plate: usize,
    /// Index of the place on its plate.
    pub(crate) place: usize,
    /// Mass of the body.
    pub(crate) kg: f64,
    /// What it adds to each cell of the plate.
    pub(crate) loads_kg: Vec<f64>,
    /// Cells of the plate that it lifts off.
    pub(crate) lifted: Vec<usize>,
}

impl Put {
    /// `None` where the plate would tip.
    pub(crate) fn new(ground: &Ground, plate: usize, place: usize, kg: f64) -> Option<Self> {
        let of_plate = &ground.plates[plate];
        let (loads_kg, lifted) = of_plate.loads_kg(&of_plate.places[place], kg)?;
        Some(Self { plate, place, kg, loads_kg, lifted })
    }
}

/// A placement's equations.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Reading {
    /// Unknowns that it touches: the plate's cells, then the body.
    pub(crate) columns: Vec<usize>,
    /// Whitened coefficients, in those columns.
    pub(crate) rows: Matrix3xX<f64>,
}

/// A zero of a cell is the mean of the readings while other plates are loaded, about so many: its noise adds to each
/// reading's by one part in these.
const ZERO_READINGS: f64 = 8.0;
/// 10 nm of play, as in the fit: keeps the equations regular beside an exact place.
const LEAST_PLAY_M: f64 = 1e-8;
/// A deck file may state cells and converter without noise; a milligram keeps the equations regular, kg.
const LEAST_NOISE_KG: f64 = 1e-6;

impl Reading {
    /// A placement on the deck; `body` is the body's column. `None` where the plate's cells lie on one line.
    pub(crate) fn new(ground: &Ground, put: &Put, body: usize) -> Option<Self> {
        let of_plate = &ground.plates[put.plate];
        let kg = put.kg;
        let play = (kg * ground.u_position_m).powi(2) + (kg * LEAST_PLAY_M).powi(2);
        let mut covariance = Matrix3::from_diagonal(&Vector3::new(0.0, play, play));
        for ((c, arm), load) in of_plate.channels.clone().zip(&of_plate.arms).zip(&put.loads_kg) {
            let noise = ground.noise_kg[c].powi(2) * (1.0 + 1.0 / ZERO_READINGS);
            let variance = (ground.scatter[c] * load).powi(2) + noise.max(LEAST_NOISE_KG.powi(2));
            covariance += variance * arm * arm.transpose();
        }
        let whitener = covariance.cholesky()?.l().try_inverse()?;
        let mut entries: Vec<Vector3<f64>> =
            of_plate.arms.iter().zip(&put.loads_kg).map(|(arm, load)| whitener * arm * *load).collect();
        entries.push(whitener * of_plate.arm(&of_plate.places[put.place]) * -kg);
        Some(Self {
            columns: of_plate.channels.clone().chain([body]).collect(),
            rows: Matrix3xX::from_columns(&entries),
        })
    }
}
