//! Ribs under a plate, as eccentric beams.
//!
//! A rib of breadth b and height h is glued to the plate's underside at z_f below the reference plane, its axis at
//! e = z_f + h/2. Over its breadth it stretches and bends with the plate along its length, twists with it, and stiffens it
//! across. Energy per area of the strip b, s along the rib and n across:
//!
//! ```text
//! ½ E [h (εs + e κs)² + h³/12 κs²] + ½ GJ/b τ² + ½ E [c (εn + e_c κn)² + c³/12 κn²]
//! τ = −w_sn,   c = h (1 − exp(−b/8h)),   e_c = z_f + c/2
//! ```
//!
//! ε and κ come from the plate's fields, so that the plate's own stretching beside the rib, and with it the effective
//! width, is part of the answer: it is not assumed. (The transformed section, with the whole plate as flange, is the upper
//! bound of stiffness that comes out for a narrow strip.)
//!
//! The last term is the rib's root: bent across, a bar holds the plate above it only partly, as stress enters from its
//! sides. It acts like a layer of thickness c, which is the more important the broader the ribs are against their spacing.
//! c is fitted to plane elasticity (`tests/data/rib_root.py`): plates of 2 to 8 mm, bars of 5 to 40 mm breadth and 5 to
//! 30 mm height.
//!
//! | symbol | name | unit |
//! |--------|------|------|
//! | ε, κ   | strain of the reference plane and curvature | –, 1/m |
//! | J      | torsion constant | m⁴ |
//! | c      | [`Rib::root_m`] | m |
//!
//! J is half that of a free bar of twice the height: the glued side is no free end.
//!
//! Source: eccentric beams, any text on stiffened plates; J of a rectangle: Timoshenko & Goodier, Theory of Elasticity, art.
//! 109 (first term of the series with its usual fit to 0.5 %). Limits: the rib is of one material in all directions, runs
//! from edge to edge, and ribs that cross pass through each other.

use crate::plate::{PlateError, finite, positive};

/// Direction of a rib.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Along {
    /// Along x, at a place across y.
    X,
    /// Along y, at a place across x.
    Y,
}

/// A rectangular bar glued under the plate from edge to edge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rib {
    /// Its direction.
    pub along: Along,
    /// Place of its axis across its direction, m from the plate's corner.
    pub at_m: f64,
    /// Breadth, m.
    pub width_m: f64,
    /// Height below the plate, m.
    pub height_m: f64,
    /// Young's modulus along it, Pa.
    pub e_pa: f64,
    /// Shear modulus, Pa.
    pub g_pa: f64,
}

/// Stress in a rib, Pa, tension positive.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RibStress {
    /// Where along and across the plate, m.
    pub at_m: [f64; 2],
    /// At its upper face, where it is glued on.
    pub top_pa: f64,
    /// At its lower face.
    pub bottom_pa: f64,
}

impl Rib {
    /// Its two sides, m from the plate's corner.
    pub(crate) fn sides_m(&self) -> [f64; 2] {
        [self.at_m - 0.5 * self.width_m, self.at_m + 0.5 * self.width_m]
    }

    /// Thickness of the layer that holds the plate against bending across the rib as the rib does, m.
    #[must_use]
    pub fn root_m(&self) -> f64 {
        -self.height_m * (-self.width_m / (8.0 * self.height_m)).exp_m1()
    }

    /// Stiffness against twisting, N·m²: half that of a bar of twice the height, of which the glue line is the middle.
    pub(crate) fn twisting_newton_m2(&self) -> f64 {
        0.5 * self.g_pa * torsion_constant_m4(self.width_m, 2.0 * self.height_m)
    }

    /// Checks its numbers and that it lies on a plate of `plate_m`.
    pub(crate) fn check(&self, index: usize, plate_m: [f64; 2]) -> Result<(), PlateError> {
        positive("rib width, m", self.width_m)?;
        positive("rib height, m", self.height_m)?;
        positive("rib modulus, Pa", self.e_pa)?;
        positive("rib shear modulus, Pa", self.g_pa)?;
        finite("rib place, m", self.at_m)?;
        let across_m = match self.along {
            Along::X => plate_m[1],
            Along::Y => plate_m[0],
        };
        let [from_m, to_m] = self.sides_m();
        // Round-off of millimetres turned to metres.
        let slack = 1e-9 * across_m;
        if from_m < -slack || to_m > across_m + slack {
            return Err(PlateError::RibOutside { index, from_m, to_m, across_m });
        }
        Ok(())
    }
}

/// Torsion constant of a rectangular bar, m⁴.
fn torsion_constant_m4(width_m: f64, height_m: f64) -> f64 {
    let (long, short) = (width_m.max(height_m), width_m.min(height_m));
    let r = short / long;
    (1.0 / 3.0 - 0.21 * r * (1.0 - r.powi(4) / 12.0)) * long * short.powi(3)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn torsion_constant_of_known_rectangles() {
        // Source: Timoshenko & Goodier, Theory of Elasticity, art. 109, table of k₁: 0.1406 (1), 0.229 (2), 0.312 (10).
        // The fit is good to 0.5 %.
        for (ratio, k) in [(1.0, 0.1406), (2.0, 0.229), (10.0, 0.312)] {
            for found in [torsion_constant_m4(0.02 * ratio, 0.02), torsion_constant_m4(0.02, 0.02 * ratio)] {
                let found = found / (ratio * 0.02_f64.powi(4));
                assert!((found / k - 1.0).abs() < 6e-3, "{ratio}: {found} {k}");
            }
        }
    }

    /// Source: Roark's Formulas for Stress and Strain, torsion of a T section (recalled): its stem, which has one free end,
    /// gives c d³ [1/3 − 0.105 d/c (1 − d⁴/192c⁴)]: the same as half a bar of twice the height.
    #[test]
    fn a_glued_bar_twists_like_the_stem_of_a_t() {
        let rib = Rib { along: Along::X, at_m: 0.1, width_m: 0.01, height_m: 0.02, e_pa: 1.0, g_pa: 1.0 };
        let (c, d) = (0.02_f64, 0.01_f64);
        let stem = c * d.powi(3) * (1.0 / 3.0 - 0.105 * d / c * (1.0 - d.powi(4) / (192.0 * c.powi(4))));
        assert!((rib.twisting_newton_m2() / stem - 1.0).abs() < 1e-12);
    }

    /// Source: computed by `tests/data/rib_root.py` (plane elasticity, scikit-fem 12.0.2): bar b × h, layer c, in mm, under
    /// plates of 3 to 6 mm.
    #[test]
    fn root_of_computed_bars() {
        for (b, h, c) in [
            (10.0, 20.0, 1.196),
            (20.0, 15.0, 2.371),
            (5.0, 20.0, 0.517),
            (20.0, 5.0, 2.170),
            (40.0, 5.0, 3.087),
            (10.0, 5.0, 1.193),
            (15.0, 30.0, 1.778),
            (30.0, 30.0, 3.557),
        ] {
            let rib = Rib { along: Along::X, at_m: 0.1, width_m: 1e-3 * b, height_m: 1e-3 * h, e_pa: 1.0, g_pa: 1.0 };
            // A fit of one constant: the plate's thickness, which it leaves out, moves the computed values by as much.
            assert!((1e3 * rib.root_m() / c - 1.0).abs() < 0.2, "{b} × {h}: {} {c}", 1e3 * rib.root_m());
        }
    }
}
