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

/// A cell's line at a temperature: what a count weighs, ready for every sample until the temperature changes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    zero_counts: f64,
    kg_per_count: f64,
}

impl Line {
    /// The line of a cell; at its reference temperature where none is known.
    #[must_use]
    pub fn at(temperature_c: Option<f64>, cell: &CellConfig) -> Self {
        let warmer_c = temperature_c.map_or(0.0, |now_c| now_c - cell.reference_c);
        Self {
            zero_counts: cell.zero_counts + cell.zero_counts_per_c * warmer_c,
            kg_per_count: cell.kg_per_count / (1.0 + cell.span_per_c * warmer_c),
        }
    }

    /// Mass that counts stand for at the weighing site, before tilt, kg; `gravity_ratio` is the calibration site's gravity over the weighing site's.
    #[must_use]
    pub fn normal_kg(&self, counts: f64, cell: &CellConfig, gravity_ratio: f64) -> f64 {
        let straight = self.kg_per_count * (counts - self.zero_counts);
        straight * (1.0 + cell.curvature_per_kg * straight) * gravity_ratio
    }
}

/// An angle in radians within what a bed can stand at: a broken angle cannot blow the load up.
fn held(tilt_deg: f64) -> f64 {
    tilt_deg.clamp(-TILT_MAX_DEG, TILT_MAX_DEG).to_radians()
}

/// How far from where it was last worked out a cosine is followed by its series, rad: the first term left out is δ⁴/24 = 4 · 10⁻¹².
const FOLLOWED_RAD: f64 = 3e-3;

/// The inverse cosine of an angle that moves little from sample to sample.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Slant {
    at_rad: f64,
    cos: f64,
    sin: f64,
}

impl Slant {
    /// Of a section that lies flat.
    #[must_use]
    pub const fn flat() -> Self {
        Self { at_rad: 0.0, cos: 1.0, sin: 0.0 }
    }

    /// 1 / cos θ, θ in degrees.
    pub fn secant(&mut self, tilt_deg: f64) -> f64 {
        let rad = held(tilt_deg);
        let near = (rad - self.at_rad).abs() <= FOLLOWED_RAD;
        if !near {
            *self = Self { at_rad: rad, cos: libm::cos(rad), sin: libm::sin(rad) };
        }
        // cos (θ + δ) = cos θ cos δ − sin θ sin δ.
        let by = rad - self.at_rad;
        let by_2 = by * by;
        1.0 / (self.cos * (1.0 - 0.5 * by_2) - self.sin * by * (1.0 - by_2 / 6.0))
    }
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

#[cfg(test)]
mod tests {
    use super::*;

    /// Against the library's cosine, through a raise, a noise and a sensor that jumps.
    #[test]
    fn a_followed_cosine_is_that_of_the_library() {
        let mut slant = Slant::flat();
        for i in 0..20_000_i32 {
            let jump = if i % 1000 == 999 { 40.0 } else { 0.0 };
            let deg = f64::from(i) * 0.003 - 10.0 + 0.02 * f64::from(i * 37 % 41 - 20) / 20.0 + jump;
            assert!((slant.secant(deg) * libm::cos(held(deg)) - 1.0).abs() < 1e-11, "{deg}");
        }
        assert!((slant.secant(f64::NAN) - 1.0).is_nan(), "what is no angle gives no load");
    }
}
