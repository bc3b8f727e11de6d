//! How a plate resists bending, transverse shear and stretching.

/// Bending stiffness D of a plate, N·m: (Mx, My, Mxy) = D κ with κ = −(w_xx, w_yy, 2 w_xy).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bending {
    /// Mx for a curvature along x, N·m.
    pub d11: f64,
    /// Coupling of the two directions, N·m.
    pub d12: f64,
    /// Coupling of Mx and twist, N·m; 0 when the layers' own directions lie along the plate's.
    pub d16: f64,
    /// My for a curvature along y, N·m.
    pub d22: f64,
    /// Coupling of My and twist, N·m.
    pub d26: f64,
    /// Mxy for a twist of 2 w_xy = 1, N·m.
    pub d66: f64,
}

impl Bending {
    /// One isotropic layer: D = E t³ / 12(1−ν²), with `e_pa` in Pa and `thickness_m` in m.
    #[must_use]
    pub fn isotropic(e_pa: f64, nu: f64, thickness_m: f64) -> Self {
        Self::isotropic_of(e_pa * thickness_m.powi(3) / (12.0 * (1.0 - nu * nu)), nu)
    }

    /// The isotropic stiffness of plate modulus D = `d`, N·m, and Poisson ratio `nu`.
    #[must_use]
    pub fn isotropic_of(d: f64, nu: f64) -> Self {
        Self { d11: d, d12: nu * d, d16: 0.0, d22: d, d26: 0.0, d66: d * (1.0 - nu) / 2.0 }
    }

    /// The full symmetric matrix, N·m.
    #[must_use]
    pub fn matrix(&self) -> [[f64; 3]; 3] {
        [[self.d11, self.d12, self.d16], [self.d12, self.d22, self.d26], [self.d16, self.d26, self.d66]]
    }

    /// From a symmetric matrix, N·m, of which the upper triangle is read.
    #[must_use]
    pub fn from_matrix(m: [[f64; 3]; 3]) -> Self {
        Self { d11: m[0][0], d12: m[0][1], d16: m[0][2], d22: m[1][1], d26: m[1][2], d66: m[2][2] }
    }

    /// True when every bending takes energy (all leading minors above zero).
    #[must_use]
    pub fn is_positive_definite(&self) -> bool {
        let minor2 = self.d11 * self.d22 - self.d12 * self.d12;
        let det = self.d66 * minor2 - self.d26 * (self.d11 * self.d26 - self.d12 * self.d16)
            + self.d16 * (self.d12 * self.d26 - self.d22 * self.d16);
        self.d11 > 0.0 && minor2 > 0.0 && det > 0.0
    }
}

/// Transverse shear stiffness of a plate, N/m: shear force per width over shear strain.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shear {
    /// In the plane x–z.
    pub x_n_per_m: f64,
    /// In the plane y–z.
    pub y_n_per_m: f64,
}

/// Stiffness of a plate's section that can stretch as well as bend: N = A ε + B κ, M = B ε + D κ about a reference plane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Section {
    /// A, N/m.
    pub a: [[f64; 3]; 3],
    /// B, N.
    pub b: [[f64; 3]; 3],
    /// D, N·m.
    pub d: [[f64; 3]; 3],
    /// Depth of the plate's underside below the reference plane, m.
    pub lower_face_m: f64,
}
