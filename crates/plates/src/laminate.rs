//! Layers of a plate: their joint bending stiffness, and each layer's stress from the plate's moments.
//!
//! Classical lamination: with membrane strain ε, curvature κ = −(w_xx, w_yy, 2 w_xy) and z down from the reference plane,
//!
//! ```text
//! A = Σ Q (z₁ − z₀)    B = Σ Q (z₁² − z₀²)/2    D = Σ Q (z₁³ − z₀³)/3    N = A ε + B κ,  M = B ε + D κ
//! glued, no membrane force:  ε = −A⁻¹ B κ,  D* = D − B A⁻¹ B,  σ(z) = Q (ε + z κ)
//! loose, free to slide:      D* = Σ Q t³/12,  each layer bends about its own middle with the common κ
//! ```
//!
//! | symbol | name                     | shape                | unit          |
//! |--------|--------------------------|----------------------|---------------|
//! | Q      | [`Elasticity::stiffness`]| 3 × 3, plane stress  | Pa            |
//! | A B D  | [`Abd`]                  | 3 × 3 each           | N/m, N, N·m   |
//! | D*     | [`Laminate::bending`]    | 3 × 3                | N·m           |
//! | M      | [`Moments`]              | 3                    | N·m/m         |
//! | σ      | [`Stress`]               | 3                    | Pa            |
//!
//! Layers are listed from the top; z is measured down from the middle of the whole. Where Poisson ratios or directions of the
//! layers differ there is no common neutral plane, and the formula D − B²/A taken for each direction alone is too stiff.
//!
//! Source: Jones, Mechanics of Composite Materials, 2nd ed. (1999), ch. 4. Holds for thin layers and perfect glue; a soft core
//! shears and needs the shear-flexible plate. Not here: strength criteria, temperature.

use nalgebra::{Matrix3, Vector3};

use crate::plate::{Bending, PlateError, finite, positive};
use crate::solution::Moments;

/// In-plane elasticity of one layer, its own directions along the plate's.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Elasticity {
    /// Young's modulus along x, Pa.
    pub e_x_pa: f64,
    /// Young's modulus along y, Pa.
    pub e_y_pa: f64,
    /// Shear modulus in the plane, Pa.
    pub g_xy_pa: f64,
    /// Poisson ratio: −strain along y per strain along x under a stress along x.
    pub nu_xy: f64,
}

impl Elasticity {
    /// The same in all directions.
    #[must_use]
    pub fn isotropic(e_pa: f64, nu: f64) -> Self {
        Self { e_x_pa: e_pa, e_y_pa: e_pa, g_xy_pa: e_pa / (2.0 * (1.0 + nu)), nu_xy: nu }
    }

    /// Turned by a quarter: the layer's x lies along the plate's y.
    #[must_use]
    pub fn turned(self) -> Self {
        Self {
            e_x_pa: self.e_y_pa,
            e_y_pa: self.e_x_pa,
            g_xy_pa: self.g_xy_pa,
            nu_xy: self.nu_xy * self.e_y_pa / self.e_x_pa,
        }
    }

    /// Plane-stress stiffness Q, Pa.
    #[must_use]
    pub fn stiffness(&self) -> [[f64; 3]; 3] {
        let nu_yx = self.nu_xy * self.e_y_pa / self.e_x_pa;
        let f = 1.0 / (1.0 - self.nu_xy * nu_yx);
        [
            [f * self.e_x_pa, f * nu_yx * self.e_x_pa, 0.0],
            [f * nu_yx * self.e_x_pa, f * self.e_y_pa, 0.0],
            [0.0, 0.0, self.g_xy_pa],
        ]
    }

    fn check(&self) -> Result<(), PlateError> {
        positive("modulus along x, Pa", self.e_x_pa)?;
        positive("modulus along y, Pa", self.e_y_pa)?;
        positive("shear modulus, Pa", self.g_xy_pa)?;
        finite("Poisson ratio", self.nu_xy)?;
        // 1 − ν_xy ν_yx: stretching both ways must take energy.
        positive("1 − nu_xy nu_yx", 1.0 - self.nu_xy * self.nu_xy * self.e_y_pa / self.e_x_pa)
    }
}

/// One layer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Layer {
    /// Thickness, m.
    pub thickness_m: f64,
    /// Elasticity.
    pub elasticity: Elasticity,
}

/// Whether the layers are joined.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Bond {
    /// Glued over the whole area: plane sections stay plane through all layers.
    Glued,
    /// Lying on each other, free to slide.
    Loose,
}

/// Membrane, coupling and bending stiffness about the middle of the whole.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Abd {
    /// A, N/m.
    pub a: [[f64; 3]; 3],
    /// B, N.
    pub b: [[f64; 3]; 3],
    /// D, N·m.
    pub d: [[f64; 3]; 3],
}

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

/// A stack of layers, checked.
#[derive(Debug, Clone, PartialEq)]
pub struct Laminate {
    layers: Vec<Layer>,
    bond: Bond,
    abd: Abd,
    bending: Bending,
}

impl Laminate {
    /// From layers listed from the top.
    ///
    /// # Errors
    /// When there is no layer, or a layer's number is not finite or not above zero.
    pub fn new(layers: &[Layer], bond: Bond) -> Result<Self, PlateError> {
        for layer in layers {
            positive("layer thickness, m", layer.thickness_m)?;
            layer.elasticity.check()?;
        }
        let thickness_m: f64 = layers.iter().map(|l| l.thickness_m).sum();
        positive("thickness of all layers, m", thickness_m)?;
        let abd = abd(layers, thickness_m);
        let bending = match bond {
            Bond::Glued => {
                let (a, b, d) = (matrix(&abd.a), matrix(&abd.b), matrix(&abd.d));
                // A is positive definite as every layer's Q is.
                let inverse = a
                    .try_inverse()
                    .ok_or(PlateError::NotPositive { what: "membrane stiffness, N/m", value: a.determinant() })?;
                from_matrix(&(d - b * inverse * b))
            }
            Bond::Loose => {
                let own = layers.iter().fold(Matrix3::zeros(), |sum, layer| {
                    sum + matrix(&layer.elasticity.stiffness()) * (layer.thickness_m.powi(3) / 12.0)
                });
                from_matrix(&own)
            }
        };
        Ok(Self { layers: layers.to_vec(), bond, abd, bending })
    }

    /// Bending stiffness with no membrane force, N·m.
    #[must_use]
    pub fn bending(&self) -> Bending {
        self.bending
    }

    /// Membrane, coupling and bending stiffness of the layers as if glued.
    #[must_use]
    pub fn abd(&self) -> &Abd {
        &self.abd
    }

    /// The layers from the top.
    #[must_use]
    pub fn layers(&self) -> &[Layer] {
        &self.layers
    }

    /// Whether they are glued.
    #[must_use]
    pub fn bond(&self) -> Bond {
        self.bond
    }

    /// Thickness of all layers, m.
    #[must_use]
    pub fn thickness_m(&self) -> f64 {
        self.layers.iter().map(|l| l.thickness_m).sum()
    }

    /// Depth below the top face of the plane that keeps its length when the glued plate bends along x alone, and along y
    /// alone, m: z_ref + B_ii/A_ii. For layers of one Poisson ratio it is the neutral plane; else it is only near it.
    #[must_use]
    pub fn neutral_depths_m(&self) -> [f64; 2] {
        [0, 1].map(|i| 0.5 * self.thickness_m() + self.abd.b[i][i] / self.abd.a[i][i])
    }

    /// Stress at the upper and lower face of each layer under moments of the plate.
    #[must_use]
    pub fn stresses(&self, moments: &Moments) -> Vec<[Stress; 2]> {
        let m = Vector3::new(moments.x, moments.y, moments.xy);
        // D* and A are positive definite since every layer was checked; a zero answer would need a singular one.
        let kappa = matrix(&self.bending.matrix()).try_inverse().map_or_else(Vector3::zeros, |inverse| inverse * m);
        let membrane = match self.bond {
            Bond::Loose => Vector3::zeros(),
            Bond::Glued => matrix(&self.abd.a)
                .try_inverse()
                .map_or_else(Vector3::zeros, |inverse| -(inverse * matrix(&self.abd.b) * kappa)),
        };
        let mut top = -0.5 * self.thickness_m();
        self.layers
            .iter()
            .map(|layer| {
                let q = matrix(&layer.elasticity.stiffness());
                let (z0, z1) = match self.bond {
                    Bond::Glued => (top, top + layer.thickness_m),
                    Bond::Loose => (-0.5 * layer.thickness_m, 0.5 * layer.thickness_m),
                };
                top += layer.thickness_m;
                [z0, z1].map(|z| {
                    let s = q * (membrane + kappa * z);
                    Stress { x_pa: s[0], y_pa: s[1], xy_pa: s[2] }
                })
            })
            .collect()
    }

    /// The worst stress of each layer, by `size` of a stress (a principal or an equivalent stress, say), over places with
    /// their moments, as [`crate::Solution::moment_samples`] gives them. `None` for no places.
    pub fn worst_stresses(
        &self,
        places: impl IntoIterator<Item = ([f64; 2], Moments)>,
        size: impl Fn(usize, &Stress) -> f64,
    ) -> Option<Vec<WorstStress>> {
        let mut worst: Vec<Option<(f64, WorstStress)>> = vec![None; self.layers.len()];
        for (at_m, moments) in places {
            for (layer, faces) in self.stresses(&moments).into_iter().enumerate() {
                for (stress, at_top) in faces.into_iter().zip([true, false]) {
                    let measure = size(layer, &stress).abs();
                    if worst[layer].is_none_or(|(found, _)| measure > found) {
                        let found = WorstStress { stress, at_m, at_top };
                        worst[layer] = Some((measure, found));
                    }
                }
            }
        }
        worst.into_iter().map(|w| w.map(|(_, found)| found)).collect()
    }
}

fn abd(layers: &[Layer], thickness_m: f64) -> Abd {
    let (mut a, mut b, mut d) = (Matrix3::zeros(), Matrix3::zeros(), Matrix3::zeros());
    let mut z0 = -0.5 * thickness_m;
    for layer in layers {
        let q = matrix(&layer.elasticity.stiffness());
        let z1 = z0 + layer.thickness_m;
        a += q * (z1 - z0);
        b += q * ((z1 * z1 - z0 * z0) / 2.0);
        d += q * ((z1.powi(3) - z0.powi(3)) / 3.0);
        z0 = z1;
    }
    let rows = |m: Matrix3<f64>| std::array::from_fn(|i| std::array::from_fn(|j| m[(i, j)]));
    Abd { a: rows(a), b: rows(b), d: rows(d) }
}

fn matrix(m: &[[f64; 3]; 3]) -> Matrix3<f64> {
    Matrix3::from_fn(|i, j| m[i][j])
}

fn from_matrix(m: &Matrix3<f64>) -> Bending {
    Bending::from_matrix(std::array::from_fn(|i| std::array::from_fn(|j| 0.5 * (m[(i, j)] + m[(j, i)]))))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn layer(thickness_m: f64, elasticity: Elasticity) -> Layer {
        Layer { thickness_m, elasticity }
    }

    #[test]
    fn one_layer_is_the_plain_plate_glued_or_loose() {
        let plain = Bending::isotropic(70e9, 0.33, 0.006);
        let one = [layer(0.006, Elasticity::isotropic(70e9, 0.33))];
        for bond in [Bond::Glued, Bond::Loose] {
            let found = Laminate::new(&one, bond).unwrap().bending();
            assert!((found.d11 / plain.d11 - 1.0).abs() < 1e-12);
            assert!((found.d12 / plain.d12 - 1.0).abs() < 1e-12);
            assert!((found.d66 / plain.d66 - 1.0).abs() < 1e-12);
        }
    }

    #[test]
    fn two_glued_halves_are_one_plate_of_double_thickness() {
        let half = layer(0.003, Elasticity::isotropic(70e9, 0.33));
        let whole = Bending::isotropic(70e9, 0.33, 0.006);
        let glued = Laminate::new(&[half, half], Bond::Glued).unwrap();
        let loose = Laminate::new(&[half, half], Bond::Loose).unwrap();
        assert!((glued.bending().d11 / whole.d11 - 1.0).abs() < 1e-12);
        assert!((loose.bending().d11 / whole.d11 - 0.25).abs() < 1e-12);
        assert!((glued.neutral_depths_m()[0] - 0.003).abs() < 1e-15);
    }

    #[test]
    fn a_turned_layer_changes_its_directions() {
        let ply = Elasticity { e_x_pa: 12.7e9, e_y_pa: 4.76e9, g_xy_pa: 0.62e9, nu_xy: 0.02 };
        let (q, turned) = (ply.stiffness(), ply.turned().stiffness());
        assert!((q[0][0] / turned[1][1] - 1.0).abs() < 1e-12);
        assert!((q[0][1] / turned[0][1] - 1.0).abs() < 1e-12);
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

    #[test]
    fn bad_layers_are_refused() {
        assert!(Laminate::new(&[], Bond::Glued).is_err());
        let thin = layer(0.0, Elasticity::isotropic(70e9, 0.33));
        assert!(Laminate::new(&[thin], Bond::Glued).is_err());
        let odd = layer(0.001, Elasticity::isotropic(70e9, 1.2));
        assert!(Laminate::new(&[odd], Bond::Glued).is_err());
    }
}
