//! Transverse shear stiffness of a stack of layers.
//!
//! Under a shear force Q the layers' bending stresses grow along the plate, and the shear stress between them follows from
//! balance: τ(z) = Q g(z)/D̄ with g(z) = −∫ Q̄ (z′ − z_n) dz′ from the top, Q̄ the layer's plane-stress modulus, z_n the neutral
//! plane and D̄ the bending stiffness of the direction. The energy of τ equals that of Q on the mean shear strain:
//!
//! ```text
//! S = D̄² / ∫ g(z)² / G(z) dz        one material: S = 5/6 G t;  thin stiff faces on a soft core: S → G d²/c
//! ```
//!
//! | symbol | name | unit |
//! |--------|------|------|
//! | G | transverse shear modulus of the layer in the plane of the direction and z | Pa |
//! | S | [`Shear`] | N/m |
//!
//! Source: the shear formula of Jourawski with equal energy; reviewed by Birman & Bert, J. Sandwich Struct. Mater. 4 (2002)
//! 83–95. Each direction is taken as a wide beam of its own. Loose layers share the force as plates of their own: S = Σ 5/6 G t.

use super::{Bond, Laminate};
use crate::plate::{PlateError, Shear, positive};

/// Shear correction of one homogeneous layer (Reissner 1945).
const HOMOGENEOUS: f64 = 5.0 / 6.0;

impl Laminate {
    /// Shear stiffness from each layer's transverse shear moduli, Pa, in the planes x–z and y–z, listed from the top.
    ///
    /// # Errors
    /// When a modulus is not above zero, or there is not one pair for each layer.
    pub fn shear(&self, moduli_pa: &[[f64; 2]]) -> Result<Shear, PlateError> {
        for modulus in moduli_pa.as_flattened() {
            positive("transverse shear modulus, Pa", *modulus)?;
        }
        if moduli_pa.len() != self.layers().len() {
            return Err(PlateError::Mismatch {
                what: "pairs of transverse shear moduli",
                found: moduli_pa.len(),
                expected: self.layers().len(),
            });
        }
        let direction = |i: usize| {
            let moduli: Vec<f64> = moduli_pa.iter().map(|pair| pair[i]).collect();
            match self.bond() {
                Bond::Glued => self.glued_shear(i, &moduli),
                Bond::Loose => self.layers().iter().zip(&moduli).map(|(l, g)| HOMOGENEOUS * g * l.thickness_m).sum(),
            }
        };
        Ok(Shear { x_n_per_m: direction(0), y_n_per_m: direction(1) })
    }

    /// Whether transverse shear adds more than a thousandth to the deflection of a plate of these sides.
    #[must_use]
    pub fn shears_noticeably(&self, shear: &Shear, size_m: [f64; 2]) -> bool {
        self.shear_shares(shear, size_m).into_iter().any(|share| share > 1e-3)
    }

    /// What transverse shear adds to the deflection of a strip along x, and of one along y, as a share.
    ///
    /// A strip of span L yields by 5qL⁴/384D in bending and qL²/8S in shear: their ratio is 9.6 D / S L².
    #[must_use]
    pub fn shear_shares(&self, shear: &Shear, size_m: [f64; 2]) -> [f64; 2] {
        let bending = self.bending();
        [
            9.6 * bending.d11 / (shear.x_n_per_m * size_m[0].powi(2)),
            9.6 * bending.d22 / (shear.y_n_per_m * size_m[1].powi(2)),
        ]
    }

    fn glued_shear(&self, i: usize, moduli_pa: &[f64]) -> f64 {
        let abd = self.abd();
        let neutral_m = abd.b[i][i] / abd.a[i][i];
        let bending = abd.d[i][i] - abd.b[i][i] * neutral_m;
        // Gauss points on 0 … 1, exact to the fifth power (g² is of the fourth).
        let offset = 0.5 * (0.6_f64).sqrt();
        let gauss = [(0.5 - offset, 5.0 / 18.0), (0.5, 4.0 / 9.0), (0.5 + offset, 5.0 / 18.0)];
        let (mut top, mut g_top, mut integral) = (-0.5 * self.thickness_m(), 0.0, 0.0);
        for (layer, modulus) in self.layers().iter().zip(moduli_pa) {
            let q = layer.elasticity.stiffness()[i][i];
            let g = |z: f64| g_top - 0.5 * q * ((z - neutral_m).powi(2) - (top - neutral_m).powi(2));
            for (t, weight) in gauss {
                integral += weight * layer.thickness_m * g(top + t * layer.thickness_m).powi(2) / modulus;
            }
            let bottom = top + layer.thickness_m;
            g_top = g(bottom);
            top = bottom;
        }
        bending * bending / integral
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::laminate::{Elasticity, Layer};

    fn layer(thickness_m: f64, e_pa: f64, nu: f64) -> Layer {
        Layer { thickness_m, elasticity: Elasticity::isotropic(e_pa, nu) }
    }

    #[test]
    fn one_material_has_five_sixths() {
        // Whole, and cut into unequal glued parts: the same plate.
        for parts in [vec![0.01], vec![0.002, 0.005, 0.003]] {
            let layers: Vec<Layer> = parts.iter().map(|&t| layer(t, 3e9, 0.3)).collect();
            let shear = Laminate::new(&layers, Bond::Glued).unwrap().shear(&vec![[1e9, 0.4e9]; layers.len()]).unwrap();
            assert!((shear.x_n_per_m / (HOMOGENEOUS * 1e9 * 0.01) - 1.0).abs() < 1e-12);
            assert!((shear.y_n_per_m / (HOMOGENEOUS * 0.4e9 * 0.01) - 1.0).abs() < 1e-12);
        }
    }

    #[test]
    fn a_sandwich_has_g_d_squared_over_c() {
        // Source: Allen, Analysis and Design of Structural Sandwich Panels (1969): S = G d²/c, faces 1 mm, core 10 mm.
        let layers = [layer(0.001, 70e9, 0.0), layer(0.010, 40e6, 0.0), layer(0.001, 70e9, 0.0)];
        let stack = Laminate::new(&layers, Bond::Glued).unwrap();
        let shear = stack.shear(&[[26e9; 2], [20e6; 2], [26e9; 2]]).unwrap();
        // Allen takes all shear by the core at one stress over the depth d; what the thin faces' own bending adds is
        // (t/d)²/3 = 0.3 %.
        assert!((shear.x_n_per_m / 242_000.0 - 1.0).abs() < 1e-2, "{shear:?}");
        assert!(stack.shears_noticeably(&shear, [0.8, 0.5]));
        let solid = Laminate::new(&[layer(0.006, 70e9, 0.33)], Bond::Glued).unwrap();
        assert!(!solid.shears_noticeably(&solid.shear(&[[26e9; 2]]).unwrap(), [0.9, 0.5]));
    }

    #[test]
    fn missing_moduli_are_named() {
        let stack = Laminate::new(&[layer(0.01, 3e9, 0.3); 2], Bond::Loose).unwrap();
        assert!(matches!(stack.shear(&[[1e9; 2]]), Err(PlateError::Mismatch { found: 1, expected: 2, .. })));
        assert!(stack.shear(&[[1e9; 2], [0.0, 1e9]]).is_err());
    }
}
