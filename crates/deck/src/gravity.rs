//! Normal gravity of a place: the closed form of Somigliana on an ellipsoid, with height.
//!
//! γ(φ) = γ_e (1 + k sin²φ) / √(1 − e² sin²φ), k = b γ_p / (a γ_e) − 1, and above the ellipsoid
//! γ(φ, h) = γ(φ) [1 − (2/a)(1 + f + m − 2 f sin²φ) h + 3 h²/a²], m = ω² a² b / GM.
//!
//! | symbol   | name                     | unit |
//! |----------|--------------------------|------|
//! | φ        | `latitude_deg`           | °    |
//! | h        | `height_m`               | m    |
//! | a, b     | semi-axes                | m    |
//! | f, e²    | flattening, eccentricity²| –    |
//! | γ_e, γ_p | gravity at equator, pole | m/s² |
//!
//! Source: H. Moritz, Geodetic Reference System 1980, J. Geodesy 74 (2000) 128; constants of WGS 84 by NGA.
//! Holds to about 1e-4 of the true local gravity (50 mGal of anomaly is usual, 200 mGal happens), see
//! [`ANOMALY_U_RELATIVE`]; a height above sea level differs from one above the ellipsoid by under 110 m, 3.4e-5.

use formats::deck::{Deck, Site};

/// Standard uncertainty of normal gravity as an estimate of true local gravity, relative.
///
/// An engineering choice (no source): anomalies of some ±50 mGal (5e-4 m/s²) cover most land, taken as one standard deviation.
pub const ANOMALY_U_RELATIVE: f64 = 5e-5;

/// Standard acceleration of gravity, m/s² (3rd CGPM, 1901; from memory).
pub const STANDARD_M_S2: f64 = 9.806_65;

/// A reference ellipsoid with its gravity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ellipsoid {
    /// Semi-major axis a, m.
    pub semi_major_m: f64,
    /// Inverse flattening 1/f.
    pub inverse_flattening: f64,
    /// Gravitational constant times mass GM, m³/s².
    pub gm_m3_s2: f64,
    /// Angular velocity ω, rad/s.
    pub omega_rad_s: f64,
    /// Gravity at the equator γ_e, m/s².
    pub equator_m_s2: f64,
    /// Gravity at the poles γ_p, m/s².
    pub pole_m_s2: f64,
}

/// World Geodetic System 1984.
pub const WGS84: Ellipsoid = Ellipsoid {
    semi_major_m: 6_378_137.0,
    inverse_flattening: 298.257_223_563,
    gm_m3_s2: 3.986_004_418e14,
    omega_rad_s: 7.292_115e-5,
    equator_m_s2: 9.780_325_335_9,
    pole_m_s2: 9.832_184_937_8,
};

impl Ellipsoid {
    /// Normal gravity at a geographic latitude in degrees and a height above the ellipsoid in metres, m/s².
    pub fn gravity_m_s2(&self, latitude_deg: f64, height_m: f64) -> f64 {
        let a = self.semi_major_m;
        let f = 1.0 / self.inverse_flattening;
        let b = a * (1.0 - f);
        let e2 = f * (2.0 - f);
        let k = b * self.pole_m_s2 / (a * self.equator_m_s2) - 1.0;
        let m = self.omega_rad_s.powi(2) * a * a * b / self.gm_m3_s2;
        let sin2 = latitude_deg.to_radians().sin().powi(2);
        let surface = self.equator_m_s2 * (1.0 + k * sin2) / (1.0 - e2 * sin2).sqrt();
        let height = 1.0 - 2.0 / a * (1.0 + f + m - 2.0 * f * sin2) * height_m + 3.0 * (height_m / a).powi(2);
        surface * height
    }
}

/// Gravity at a site, m/s²: as stated, or normal gravity (WGS 84) of the place.
pub fn gravity_m_s2(site: &Site) -> f64 {
    match *site {
        Site::Gravity { gravity_m_s2 } => gravity_m_s2,
        Site::Place { latitude_deg, altitude_m } => WGS84.gravity_m_s2(latitude_deg, altitude_m),
    }
}

/// Relative standard uncertainty of [`gravity_m_s2`]: 0 of a stated value (its own is not known here), else [`ANOMALY_U_RELATIVE`].
fn u_relative(site: &Site) -> f64 {
    match site {
        Site::Gravity { .. } => 0.0,
        Site::Place { .. } => ANOMALY_U_RELATIVE,
    }
}

/// Relative standard uncertainty of the ratio of gravity at two sites: none where they are one.
fn u_between(from: &Site, to: &Site) -> f64 {
    if from == to { 0.0 } else { u_relative(from).hypot(u_relative(to)) }
}

/// Relative standard uncertainty that gravity gives a weight: of its ratio between the site of calibration and the deck's own, none where
/// the deck names no other.
pub fn u_of_weight(deck: &Deck) -> f64 {
    deck.calibration_site.as_ref().map_or(0.0, |bench| u_between(bench, &deck.site))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stated_gravity_wins() {
        let site = Site::Gravity { gravity_m_s2: 9.81 };
        assert!((gravity_m_s2(&site) - 9.81).abs() < 1e-15);
        assert!(u_relative(&site).abs() < 1e-15);
    }

    #[test]
    fn the_anomaly_of_one_place_is_in_both() {
        let place = |latitude_deg| Site::Place { latitude_deg, altitude_m: 20.0 };
        assert!(u_between(&place(52.0), &place(52.0)).abs() < 1e-15);
        assert!((u_between(&place(52.0), &place(53.0)) - 2f64.sqrt() * ANOMALY_U_RELATIVE).abs() < 1e-15);
        let stated = Site::Gravity { gravity_m_s2: 9.81 };
        assert!((u_between(&stated, &place(53.0)) - ANOMALY_U_RELATIVE).abs() < 1e-15);
    }

    #[test]
    fn south_equals_north() {
        let south = WGS84.gravity_m_s2(-33.9, 12.0);
        assert!((south - WGS84.gravity_m_s2(33.9, 12.0)).abs() < 1e-15);
    }
}
