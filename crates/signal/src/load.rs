//! From cell forces to the load: temperature and gravity, tilt, sum, centre of load.
//!
//! A plate whose section stands at θ to the horizontal feels the normal part of what lies on it. With vertical reactions
//! N = W cos θ, so W = Σ N_p / cos θ_p; every cell of a plate shares its section's angle, so the sum is taken cell by cell.
//! The centre of load is that of the vertical loads at the cells' places, in the coordinates of the bed lying flat.
//!
//! | symbol | name        | unit |
//! |--------|-------------|------|
//! | N      | `normal_kg` | kg (force over the site's gravity) |
//! | W      | `cell_kg`   | kg   |
//! | θ      | `tilt_deg`  | degrees; the sign does not matter |
//!
//! Signs: x from the head end to the foot, y from the patient's right to left.
//! Holds for vertical reactions; a push along the section leans them, see [`crate::doubt`].
//! Source: statics of the inclined plane, N = V cos θ + H sin θ.

use crate::config::CellConfig;

/// Angles past this are no angles of a bed; the sensor is disbelieved, degrees.
pub const TILT_MAX_DEG: f64 = 80.0;

/// Below this load a centre of load says nothing, kg.
pub const CENTRE_LEAST_KG: f64 = 1.0;

/// Mass that a count stands for at the weighing site, before tilt, kg.
#[must_use]
pub fn normal_kg(counts: f64, temperature_c: Option<f64>, gravity_ratio: f64, cell: &CellConfig) -> f64 {
    let warmer_c = temperature_c.map_or(0.0, |now_c| now_c - cell.reference_c);
    let zero = cell.zero_counts + cell.zero_counts_per_c * warmer_c;
    let straight = cell.kg_per_count * (counts - zero) / (1.0 + cell.span_per_c * warmer_c);
    straight * (1.0 + cell.curvature_per_kg * straight) * gravity_ratio
}

/// Cosine of an angle given in degrees, held away from zero so that a broken angle cannot blow the load up.
#[must_use]
pub fn cos_deg(tilt_deg: f64) -> f64 {
    libm::cos(tilt_deg.clamp(-TILT_MAX_DEG, TILT_MAX_DEG).to_radians())
}

/// The load at one instant.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Load {
    /// Sum over all cells, kg.
    pub total_kg: f64,
    /// Moment about the head end, kg mm.
    pub moment_x: f64,
    /// Moment about the patient's right edge, kg mm.
    pub moment_y: f64,
}

impl Load {
    /// Adds a cell's vertical load.
    pub fn add(&mut self, kg: f64, [x_mm, y_mm]: [f64; 2]) {
        self.total_kg += kg;
        self.moment_x += kg * x_mm;
        self.moment_y += kg * y_mm;
    }

    /// Sum over cells of what each bears.
    pub fn of<'a>(cells: impl Iterator<Item = (&'a f64, &'a CellConfig)>) -> Self {
        let mut load = Self::default();
        for (kg, cell) in cells {
            load.add(*kg, cell.at_mm);
        }
        load
    }

    /// Centre of load, mm; `None` where less than `least_kg` lies on the deck.
    #[must_use]
    pub fn centre_mm(&self, least_kg: f64) -> Option<[f64; 2]> {
        (self.total_kg.abs() >= least_kg && least_kg > 0.0)
            .then(|| [self.moment_x / self.total_kg, self.moment_y / self.total_kg])
    }
}
