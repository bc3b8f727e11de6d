//! The Bogner–Fox–Schmit rectangle: bicubic, conforming, for Kirchhoff plate bending.
//!
//! One element's part of ∫ κ(w)ᵀ D κ(v) dA with κ = −(w_xx, w_yy, 2 w_xy), and of ∫ k w v dA for an elastic foundation.
//!
//! | symbol | name             | shape                                        | unit                        |
//! |--------|------------------|----------------------------------------------|-----------------------------|
//! | w      | dof of a node    | 4: w, s_x w_x, s_y w_y, s_x s_y w_xy         | m                           |
//! | D      | [`Bending`]      | 3 × 3, symmetric positive definite           | N·m                         |
//! | K      | [`Stiffness`]    | 16 × 16, symmetric                           | N/m, for every pair of dof  |
//! | s      | `Side::scale_m`  | one a direction, the same for all elements   | m                           |
//!
//! The slope and twist dof are scaled by lengths s near the element sides, and the cubics live on the element's own
//! coordinate 0 … 1: with unscaled dof, or monomials in the plate's coordinates, fine meshes lose the balance of forces.
//! Every integral is a product of two integrals of cubics and is taken exactly, so that there is no quadrature error and
//! constant curvature is reproduced to round-off.
//!
//! Local order of dof: `4 * (2 * iy + ix) + dx + 2 * dy`, node (ix, iy) and derivative (dx, dy) each 0 or 1.
//!
//! Source: Bogner, Fox & Schmit, AFFDL-TR-66-80 (1966), 397–443. We differ from it in the scaling of the dof.
//! Holds for rectangles whose sides lie along the axes. Not here: the mesh, layers, supports, solving.

use crate::plate::Bending;

/// Dof of one element.
pub const N_DOF: usize = 16;

/// One element's stiffness matrix.
pub type Stiffness = [[f64; N_DOF]; N_DOF];

/// One side of an element: its length and the length by which its slope dof are scaled.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Side {
    /// Length of the side, m.
    pub length_m: f64,
    /// The slope dof is this length times the slope, m.
    pub scale_m: f64,
}

/// Coefficients of the four cubic Hermite functions on 0 … 1, lowest power first: value and slope at 0, then at 1.
const HERMITE: [[f64; 4]; 4] =
    [[1.0, 0.0, -3.0, 2.0], [0.0, 1.0, -2.0, 1.0], [0.0, 0.0, 3.0, -2.0], [0.0, 0.0, -1.0, 1.0]];

fn derivative(mut polynomial: [f64; 4], order: usize) -> [f64; 4] {
    for _ in 0..order {
        let [_, b, c, d] = polynomial;
        polynomial = [b, 2.0 * c, 3.0 * d, 0.0];
    }
    polynomial
}

/// 1 / length^order.
fn power_below(length_m: f64, order: usize) -> f64 {
    (0..order).fold(1.0, |product, _| product / length_m)
}

impl Side {
    /// Factor of each Hermite function: the slope functions carry length over scale.
    fn factors(&self) -> [f64; 4] {
        let slope = self.length_m / self.scale_m;
        [1.0, slope, 1.0, slope]
    }

    /// The four functions' derivative of the given order (0 … 3) by the plate's coordinate, at `t` = 0 … 1 along the side.
    #[must_use]
    pub fn values(&self, t: f64, order: usize) -> [f64; 4] {
        let factors = self.factors();
        let per_length = power_below(self.length_m, order);
        std::array::from_fn(|a| {
            let [c0, c1, c2, c3] = derivative(HERMITE[a], order);
            (c0 + t * (c1 + t * (c2 + t * c3))) * factors[a] * per_length
        })
    }

    /// Exact integrals of the four functions from `t0` to `t1` (0 … 1 along the side), m.
    #[must_use]
    pub fn integrals(&self, t0: f64, t1: f64) -> [f64; 4] {
        let factors = self.factors();
        let antiderivative =
            |[c0, c1, c2, c3]: [f64; 4], t: f64| t * (c0 + t * (c1 / 2.0 + t * (c2 / 3.0 + t * c3 / 4.0)));
        std::array::from_fn(|a| {
            (antiderivative(HERMITE[a], t1) - antiderivative(HERMITE[a], t0)) * factors[a] * self.length_m
        })
    }

    /// Exact ∫ f_a⁽ᵖ⁾ f_b⁽ᵠ⁾ over the side for all pairs of functions.
    fn products(&self, p: usize, q: usize) -> [[f64; 4]; 4] {
        let factors = self.factors();
        let per_length = self.length_m * power_below(self.length_m, p + q);
        std::array::from_fn(|a| {
            std::array::from_fn(|b| {
                let (f, g) = (derivative(HERMITE[a], p), derivative(HERMITE[b], q));
                let mut integral = 0.0;
                for (i, fi) in f.iter().enumerate() {
                    for (j, gj) in g.iter().enumerate() {
                        integral += fi * gj / (i + j + 1) as f64;
                    }
                }
                integral * factors[a] * factors[b] * per_length
            })
        })
    }
}

/// Function of a side that belongs to local dof `dof`, along x and along y.
const fn functions(dof: usize) -> (usize, usize) {
    let (node, kind) = (dof / 4, dof % 4);
    (2 * (node % 2) + kind % 2, 2 * (node / 2) + kind / 2)
}

/// The 16 products of the sides' functions, in the local order of dof.
#[must_use]
pub fn outer(along_x: &[f64; 4], along_y: &[f64; 4]) -> [f64; N_DOF] {
    std::array::from_fn(|dof| {
        let (fx, fy) = functions(dof);
        along_x[fx] * along_y[fy]
    })
}

/// Stiffness of one element: bending by `bending`, and a foundation of `foundation_pa_per_m`, Pa/m (0 for none).
#[must_use]
pub fn stiffness(x: Side, y: Side, bending: &Bending, foundation_pa_per_m: f64) -> Stiffness {
    let px: [[_; 3]; 3] = std::array::from_fn(|p| std::array::from_fn(|q| x.products(p, q)));
    let py: [[_; 3]; 3] = std::array::from_fn(|p| std::array::from_fn(|q| y.products(p, q)));
    // Derivatives by (x, y) and weight of each curvature: w_xx, w_yy, 2 w_xy. The sign of κ cancels in κᵀ D κ.
    const CURVATURES: [(usize, usize, f64); 3] = [(2, 0, 1.0), (0, 2, 1.0), (1, 1, 2.0)];
    let d = bending.matrix();
    let mut k = [[0.0; N_DOF]; N_DOF];
    for (i, row) in k.iter_mut().enumerate() {
        let (ax, ay) = functions(i);
        for (j, entry) in row.iter_mut().enumerate() {
            let (bx, by) = functions(j);
            let mut sum = foundation_pa_per_m * px[0][0][ax][bx] * py[0][0][ay][by];
            for (r, &(rx, ry, rf)) in CURVATURES.iter().enumerate() {
                for (c, &(cx, cy, cf)) in CURVATURES.iter().enumerate() {
                    sum += d[r][c] * rf * cf * px[rx][cx][ax][bx] * py[ry][cy][ay][by];
                }
            }
            *entry = sum;
        }
    }
    k
}

#[cfg(test)]
mod tests {
    use super::*;

    const X: Side = Side { length_m: 0.07, scale_m: 0.05 };
    const Y: Side = Side { length_m: 0.03, scale_m: 0.04 };

    fn anisotropic() -> Bending {
        Bending { d11: 1000.0, d12: 200.0, d16: 50.0, d22: 600.0, d26: -30.0, d66: 300.0 }
    }

    /// Dof of w = c0 + c1 x + c2 y + c3 x² + c4 y² + c5 xy on the element whose corner is the origin.
    fn quadratic(c: [f64; 6]) -> [f64; N_DOF] {
        std::array::from_fn(|dof| {
            let (node, kind) = (dof / 4, dof % 4);
            let x = X.length_m * (node % 2) as f64;
            let y = Y.length_m * (node / 2) as f64;
            match kind {
                0 => c[0] + c[1] * x + c[2] * y + c[3] * x * x + c[4] * y * y + c[5] * x * y,
                1 => X.scale_m * (c[1] + 2.0 * c[3] * x + c[5] * y),
                2 => Y.scale_m * (c[2] + 2.0 * c[4] * y + c[5] * x),
                _ => X.scale_m * Y.scale_m * c[5],
            }
        })
    }

    fn energy(k: &Stiffness, a: &[f64; N_DOF], b: &[f64; N_DOF]) -> f64 {
        k.iter().zip(a).map(|(row, ai)| ai * row.iter().zip(b).map(|(kij, bj)| kij * bj).sum::<f64>()).sum()
    }

    #[test]
    fn rigid_motion_gives_no_force() {
        let k = stiffness(X, Y, &anisotropic(), 0.0);
        let rigid = quadratic([0.3, -0.7, 1.1, 0.0, 0.0, 0.0]);
        for row in &k {
            let force: f64 = row.iter().zip(&rigid).map(|(a, b)| a * b).sum();
            // Terms of the sum reach 1e8 N/m × 1 m; 1e-7 leaves ten rounding errors of them.
            assert!(force.abs() < 1e-7, "{force}");
        }
    }

    #[test]
    fn constant_curvature_has_its_exact_energy() {
        let k = stiffness(X, Y, &anisotropic(), 0.0);
        let c = [0.1, 0.2, -0.3, 0.9, -0.4, 0.7];
        let kappa = [2.0 * c[3], 2.0 * c[4], 2.0 * c[5]];
        let d = anisotropic().matrix();
        let mut exact = 0.0;
        for i in 0..3 {
            for j in 0..3 {
                exact += kappa[i] * d[i][j] * kappa[j] * X.length_m * Y.length_m;
            }
        }
        let found = energy(&k, &quadratic(c), &quadratic(c));
        // Round-off of a sum of 256 terms of size 1e7 N/m × (0.1 m)².
        assert!((found - exact).abs() < 1e-9, "{found} {exact}");
    }

    #[test]
    fn foundation_of_a_uniform_lift_carries_its_area() {
        let with = stiffness(X, Y, &anisotropic(), 5e6);
        let lift = quadratic([2.0, 0.0, 0.0, 0.0, 0.0, 0.0]);
        let exact = 5e6 * 4.0 * X.length_m * Y.length_m;
        assert!((energy(&with, &lift, &lift) / exact - 1.0).abs() < 1e-12);
    }

    #[test]
    fn integrals_of_a_part_agree_with_a_midpoint_sum() {
        let n = 20_000;
        let exact = X.integrals(0.15, 0.8);
        let mut sum = [0.0; 4];
        for i in 0..n {
            let t = 0.15 + 0.65 * (f64::from(i) + 0.5) / f64::from(n);
            for (s, v) in sum.iter_mut().zip(X.values(t, 0)) {
                *s += v * 0.65 / f64::from(n) * X.length_m;
            }
        }
        for (a, b) in exact.iter().zip(sum) {
            // The midpoint rule's own error is f″ Δ²/24 ≈ 6·(3e-5)²/24 of the length.
            assert!((a - b).abs() < 1e-11, "{a} {b}");
        }
    }
}
