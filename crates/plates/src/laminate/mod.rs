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
//! | M      | [`crate::Moments`]       | 3                    | N·m/m         |
//! | σ      | [`Stress`]               | 3                    | Pa            |
//!
//! Layers are listed from the top; z is measured down from the middle of the whole. Where Poisson ratios or directions of the
//! layers differ there is no common neutral plane, and the formula D − B²/A taken for each direction alone is too stiff.
//!
//! Source: Jones, Mechanics of Composite Materials, 2nd ed. (1999), ch. 4. Holds for thin layers and perfect glue; a soft core
//! shears and needs the shear-flexible plate. Not here: strength criteria, temperature.

use nalgebra::Matrix3;

use crate::plate::{Bending, PlateError, Section, finite, positive};

mod stress;
mod transverse;

pub use stress::{Stress, WorstStress};

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

/// A stack of layers, checked.
#[derive(Debug, Clone, PartialEq)]
pub struct Laminate {
    layers: Vec<Layer>,
    bond: Bond,
    abd: Abd,
    bending: Bending,
    /// D*⁻¹: curvature from moments.
    compliance: Matrix3<f64>,
    /// Membrane strain from curvature where no membrane force acts: −A⁻¹ B, or 0 for loose layers.
    stretching: Matrix3<f64>,
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
        let (stretching, bending) = match bond {
            Bond::Glued => {
                let (a, b, d) = (matrix(&abd.a), matrix(&abd.b), matrix(&abd.d));
                let stretching = -(inverse("membrane stiffness, N/m", a)? * b);
                (stretching, from_matrix(&(d + b * stretching)))
            }
            Bond::Loose => {
                let own = layers.iter().fold(Matrix3::zeros(), |sum, layer| {
                    sum + matrix(&layer.elasticity.stiffness()) * (layer.thickness_m.powi(3) / 12.0)
                });
                (Matrix3::zeros(), from_matrix(&own))
            }
        };
        let compliance = inverse("bending stiffness, N·m", matrix(&bending.matrix()))?;
        Ok(Self { layers: layers.to_vec(), bond, abd, bending, compliance, stretching })
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

    /// The section as a plate that ribs can be glued to: about the middle of the whole where the layers are glued, about
    /// the middle of the lowest layer, which alone the ribs hold, where they are loose.
    #[must_use]
    pub fn section(&self) -> Section {
        match (self.bond, self.layers.last()) {
            (Bond::Loose, Some(lowest)) => Section {
                a: lowest.elasticity.stiffness().map(|row| row.map(|q| q * lowest.thickness_m)),
                b: [[0.0; 3]; 3],
                d: self.bending.matrix(),
                lower_face_m: 0.5 * lowest.thickness_m,
            },
            _ => Section { a: self.abd.a, b: self.abd.b, d: self.abd.d, lower_face_m: 0.5 * self.thickness_m() },
        }
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

/// Fails for layers so unlike that their stiffness is singular in double precision.
fn inverse(what: &'static str, m: Matrix3<f64>) -> Result<Matrix3<f64>, PlateError> {
    m.try_inverse().ok_or(PlateError::NotPositive { what, value: m.determinant() })
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
        assert!(glued.abd().b[0][0].abs() < 1e-6);
    }

    #[test]
    fn a_turned_layer_changes_its_directions() {
        let ply = Elasticity { e_x_pa: 12.7e9, e_y_pa: 4.76e9, g_xy_pa: 0.62e9, nu_xy: 0.02 };
        let (q, turned) = (ply.stiffness(), ply.turned().stiffness());
        assert!((q[0][0] / turned[1][1] - 1.0).abs() < 1e-12);
        assert!((q[0][1] / turned[0][1] - 1.0).abs() < 1e-12);
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
