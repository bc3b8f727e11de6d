//! Stresses of the layers: from a thin plate's moments, or from the strains of a plate that stretches, too.

use nalgebra::Vector3;

use super::{Bond, Laminate, matrix};
use crate::solution::{Moments, Solution, Strains};

/// Stress in the plane of a layer, Pa, tension positive.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Stress {
    /// Along x.
    pub x_pa: f64,
    /// Along y.
    pub y_pa: f64,
    /// Shear.
    pub xy_pa: f64,
}

impl Stress {
    /// The larger principal stress by size, Pa, tension positive.
    #[must_use]
    pub fn principal_pa(&self) -> f64 {
        let mean = 0.5 * (self.x_pa + self.y_pa);
        let radius = (0.5 * (self.x_pa - self.y_pa)).hypot(self.xy_pa);
        if mean < 0.0 { mean - radius } else { mean + radius }
    }

    /// Equivalent stress of a ductile material (von Mises, plane stress), Pa.
    #[must_use]
    pub fn equivalent_pa(&self) -> f64 {
        (self.x_pa * self.x_pa - self.x_pa * self.y_pa + self.y_pa * self.y_pa + 3.0 * self.xy_pa * self.xy_pa).sqrt()
    }
}

/// The worst stress in a layer and where it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WorstStress {
    /// The stress.
    pub stress: Stress,
    /// Place on the plate, m.
    pub at_m: [f64; 2],
    /// True at the layer's upper face, false at its lower.
    pub at_top: bool,
}

impl Laminate {
    /// Stress at the upper and lower face of each layer under moments of a thin plate, which stretches freely.
    #[must_use]
    pub fn stresses(&self, moments: &Moments) -> Vec<[Stress; 2]> {
        let kappa = self.compliance * Vector3::new(moments.x, moments.y, moments.xy);
        let membrane = self.stretching * kappa;
        self.stresses_of(&Strains { membrane: membrane.into(), curvature: kappa.into() })
    }

    /// Stress at the upper and lower face of each layer under strains about the reference plane of [`Self::section`].
    #[must_use]
    pub fn stresses_of(&self, strains: &Strains) -> Vec<[Stress; 2]> {
        let (membrane, kappa) = (Vector3::from(strains.membrane), Vector3::from(strains.curvature));
        let mut top = -0.5 * self.thickness_m();
        let lowest = self.layers.len() - 1;
        self.layers
            .iter()
            .enumerate()
            .map(|(index, layer)| {
                let q = matrix(&layer.elasticity.stiffness());
                let half = 0.5 * layer.thickness_m;
                // Loose layers bend about their own middles, and only the lowest is held by ribs.
                let (membrane, z0, z1) = match self.bond {
                    Bond::Glued => (membrane, top, top + layer.thickness_m),
                    Bond::Loose if index == lowest => (membrane, -half, half),
                    Bond::Loose => (Vector3::zeros(), -half, half),
                };
                top += layer.thickness_m;
                [z0, z1].map(|z| {
                    let s = q * (membrane + kappa * z);
                    Stress { x_pa: s[0], y_pa: s[1], xy_pa: s[2] }
                })
            })
            .collect()
    }

    /// The worst stress of each layer in a solved plate, by `size` of a stress in layer number so-and-so (a principal or an
    /// equivalent stress, say), with ribs or without.
    pub fn worst_stresses_in(
        &self,
        solution: &Solution,
        size: impl Fn(usize, &Stress) -> f64,
    ) -> Option<Vec<WorstStress>> {
        if solution.has_ribs() {
            self.worst(solution.sample_places_m().map(|at_m| (at_m, self.stresses_of(&solution.strains(at_m)))), size)
        } else {
            self.worst_stresses(solution.moment_samples(), size)
        }
    }

    /// The worst stress of each layer, by `size` of a stress (a principal or an equivalent stress, say), over places with
    /// their moments, as [`crate::Solution::moment_samples`] gives them. `None` for no places.
    pub fn worst_stresses(
        &self,
        places: impl IntoIterator<Item = ([f64; 2], Moments)>,
        size: impl Fn(usize, &Stress) -> f64,
    ) -> Option<Vec<WorstStress>> {
        self.worst(places.into_iter().map(|(at_m, moments)| (at_m, self.stresses(&moments))), size)
    }

    fn worst(
        &self,
        places: impl Iterator<Item = ([f64; 2], Vec<[Stress; 2]>)>,
        size: impl Fn(usize, &Stress) -> f64,
    ) -> Option<Vec<WorstStress>> {
        let mut worst: Vec<Option<(f64, WorstStress)>> = vec![None; self.layers.len()];
        for (at_m, layers) in places {
            for (layer, faces) in layers.into_iter().enumerate() {
                for (stress, at_top) in faces.into_iter().zip([true, false]) {
                    let measure = size(layer, &stress).abs();
                    if worst[layer].is_none_or(|(found, _)| measure > found) {
                        worst[layer] = Some((measure, WorstStress { stress, at_m, at_top }));
                    }
                }
            }
        }
        worst.into_iter().map(|w| w.map(|(_, found)| found)).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::laminate::{Elasticity, Layer};

    fn layer(thickness_m: f64, elasticity: Elasticity) -> Layer {
        Layer { thickness_m, elasticity }
    }

    /// Source: von Mises 1913 in plane stress (textbook, from memory): shear alone counts √3 times, equal pulls both ways once; and
    /// σx 80, σy −30, τ 40 MPa give √(6400 + 2400 + 900 + 4800) = 120.416 MPa by hand.
    #[test]
    fn the_equivalent_stress_of_shear_and_of_pulls() {
        let stress = |x_pa, y_pa, xy_pa| Stress { x_pa, y_pa, xy_pa };
        assert!((stress(0.0, 0.0, 7.0).equivalent_pa() / 7.0 - 3.0_f64.sqrt()).abs() < 1e-12);
        assert!((stress(5.0, 5.0, 0.0).equivalent_pa() - 5.0).abs() < 1e-12);
        assert!((stress(80e6, -30e6, 40e6).equivalent_pa() - 120.416e6).abs() < 1e3);
    }

    #[test]
    fn moments_are_the_integral_of_the_stresses() {
        let ply = Elasticity { e_x_pa: 12.7e9, e_y_pa: 4.76e9, g_xy_pa: 0.62e9, nu_xy: 0.02 };
        let layers = [layer(0.002, Elasticity::isotropic(70e9, 0.33)), layer(0.006, ply)];
        let moments = Moments { x: 100.0, y: -40.0, xy: 25.0 };
        let stack = Laminate::new(&layers, Bond::Glued).unwrap();
        let (mut force, mut moment, mut z) = (0.0, 0.0, -0.004);
        for (l, [top, bottom]) in layers.iter().zip(stack.stresses(&moments)) {
            let t = l.thickness_m;
            // The stress is linear over a layer: mean times thickness, and the moment of a trapezium.
            force += 0.5 * (top.y_pa + bottom.y_pa) * t;
            moment += 0.5 * (top.y_pa + bottom.y_pa) * t * (z + 0.5 * t) + (bottom.y_pa - top.y_pa) * t * t / 12.0;
            z += t;
        }
        assert!(force.abs() < 1e-6 * 40.0 / 0.008, "{force}");
        assert!((moment + 40.0).abs() < 1e-9, "{moment}");
    }
}
