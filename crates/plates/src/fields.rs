//! The unknown fields of a plate on its grid, and the strains that they cause.
//!
//! | field | needed for | functions | dof |
//! |-------|------------|-----------|-----|
//! | w, deflection | always | bicubic, C¹ (see `element`) | 4 a node |
//! | (u, v), stretching of the reference plane | ribs | biquadratic, C⁰ | 2 a half-grid point |
//! | (γx, γy), transverse shear strain | soft cores | biquadratic, C⁰ | 2 a half-grid point |
//!
//! ```text
//! membrane  ε = (u_x, v_y, u_y + v_x)
//! curvature κ = −(w_xx, w_yy, 2 w_xy) + (γx_x, γy_y, γx_y + γy_x)
//! shear     γ = (γx, γy),  rotation of the normal  θ = ∇w − γ
//! ```
//!
//! With the shear strain as a field of its own the plate cannot lock: as it gets thin γ goes to 0 and the conforming thin
//! plate is left. All strains are continuous enough for a conforming method, hence it converges for any thickness.
//! Quadratics go with cubics, as κ has second derivatives of w and first ones of γ, and the stretching of a rib u_x + e κx.
//!
//! Source of the w–γ formulation: Long, Bornemann & Cirak, Int. J. Numer. Meth. Engng 90 (2012) 1549–1577; Echter, Oesterle
//! & Bischoff, CMAME 254 (2013) 170–180. We use rectangles where they use subdivision or spline functions.

use crate::element::{N_DOF, Side, outer};
use crate::mesh::Grid;
use crate::plate::{Edge, Edges};

/// Dof of one biquadratic vector field in an element: 9 points × 2.
const N_QUADRATIC: usize = 18;

/// Which fields a plate has, and how their dof are numbered: w first, then (u, v), then (γx, γy).
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Fields {
    pub(crate) grid: Grid,
    pub(crate) membrane: bool,
    pub(crate) shear: bool,
}

/// Rows that give strains from the dof of one element.
#[derive(Debug, Clone)]
pub(crate) struct Rows {
    pub(crate) deflection: Vec<f64>,
    pub(crate) membrane: [Vec<f64>; 3],
    pub(crate) curvature: [Vec<f64>; 3],
    pub(crate) shear: [Vec<f64>; 2],
    /// Rotation of the normal about y and about x, ∇w − γ.
    pub(crate) rotation: [Vec<f64>; 2],
}

/// Values and first derivatives of the three quadratics on 0 … 1 that are 1 at 0, ½ and 1.
fn quadratics(side: Side, t: f64) -> ([f64; 3], [f64; 3]) {
    let h = side.length_m;
    (
        [(1.0 - t) * (1.0 - 2.0 * t), 4.0 * t * (1.0 - t), t * (2.0 * t - 1.0)],
        [(4.0 * t - 3.0) / h, (4.0 - 8.0 * t) / h, (4.0 * t - 1.0) / h],
    )
}

impl Fields {
    fn n_deflection(&self) -> usize {
        4 * self.grid.n_nodes()
    }

    /// Points of the grid with its half lines.
    fn n_points(&self) -> usize {
        (2 * self.grid.x.n_elements() + 1) * (2 * self.grid.y.n_elements() + 1)
    }

    fn point(&self, jx: usize, jy: usize) -> usize {
        jy * (2 * self.grid.x.n_elements() + 1) + jx
    }

    fn membrane_dof(&self, point: usize, component: usize) -> usize {
        self.n_deflection() + 2 * point + component
    }

    fn shear_dof(&self, point: usize, component: usize) -> usize {
        let before = if self.membrane { 2 * self.n_points() } else { 0 };
        self.n_deflection() + before + 2 * point + component
    }

    /// Appends the dof that sit at a half-grid point; those of w sit at the nodes.
    pub(crate) fn point_dof(&self, jx: usize, jy: usize, all: &mut Vec<u32>) {
        if jx.is_multiple_of(2) && jy.is_multiple_of(2) {
            let first = 4 * self.grid.node(jx / 2, jy / 2);
            all.extend((first..first + 4).map(|dof| dof as u32));
        }
        let point = self.point(jx, jy);
        for component in 0..2 {
            if self.membrane {
                all.push(self.membrane_dof(point, component) as u32);
            }
            if self.shear {
                all.push(self.shear_dof(point, component) as u32);
            }
        }
    }

    /// Number of all dof.
    pub(crate) fn n_dof(&self) -> usize {
        self.n_deflection() + 2 * self.n_points() * (usize::from(self.membrane) + usize::from(self.shear))
    }

    /// Number of dof of one element.
    pub(crate) fn per_element(&self) -> usize {
        N_DOF + N_QUADRATIC * (usize::from(self.membrane) + usize::from(self.shear))
    }

    /// The dof of element (ex, ey): 16 of w, then 18 of (u, v), then 18 of (γx, γy).
    pub(crate) fn element_dof(&self, ex: usize, ey: usize) -> impl Iterator<Item = usize> {
        let nodes = self.grid.element_nodes(ex, ey);
        let points = move |jx: usize, jy: usize| self.point(2 * ex + jx, 2 * ey + jy);
        let quadratic = (0..N_QUADRATIC).map(move |i| (points(i / 2 % 3, i / 6), i % 2));
        let membrane = self.membrane.then(|| quadratic.clone().map(|(p, c)| self.membrane_dof(p, c)));
        let shear = self.shear.then(|| quadratic.map(|(p, c)| self.shear_dof(p, c)));
        (0..N_DOF)
            .map(move |i| 4 * nodes[i / 4] + i % 4)
            .chain(membrane.into_iter().flatten())
            .chain(shear.into_iter().flatten())
    }

    /// The dof of all elements, along x first.
    pub(crate) fn connectivity(&self) -> Vec<u32> {
        let mut all = Vec::with_capacity(self.per_element() * self.grid.n_elements());
        for ey in 0..self.grid.y.n_elements() {
            for ex in 0..self.grid.x.n_elements() {
                all.extend(self.element_dof(ex, ey).map(|dof| dof as u32));
            }
        }
        all
    }

    /// Strains at (`tx`, `ty`), each 0 … 1, in an element of the given sides.
    pub(crate) fn rows(&self, x: Side, y: Side, tx: f64, ty: f64) -> Rows {
        let n = self.per_element();
        let zero = || vec![0.0; n];
        let w = |dx: usize, dy: usize, factor: f64| {
            let mut row = vec![0.0; n];
            for (entry, value) in row.iter_mut().zip(outer(&x.values(tx, dx), &y.values(ty, dy))) {
                *entry = factor * value;
            }
            row
        };
        let mut rows = Rows {
            deflection: w(0, 0, 1.0),
            membrane: [zero(), zero(), zero()],
            curvature: [w(2, 0, -1.0), w(0, 2, -1.0), w(1, 1, -2.0)],
            shear: [zero(), zero()],
            rotation: [w(1, 0, 1.0), w(0, 1, 1.0)],
        };
        let (fx, gx) = quadratics(x, tx);
        let (fy, gy) = quadratics(y, ty);
        for point in 0..N_QUADRATIC / 2 {
            let (jx, jy) = (point % 3, point / 3);
            let (value, by_x, by_y) = (fx[jx] * fy[jy], gx[jx] * fy[jy], fx[jx] * gy[jy]);
            let mut first = N_DOF + 2 * point;
            if self.membrane {
                rows.membrane[0][first] = by_x;
                rows.membrane[1][first + 1] = by_y;
                rows.membrane[2][first] = by_y;
                rows.membrane[2][first + 1] = by_x;
                first += N_QUADRATIC;
            }
            if self.shear {
                rows.curvature[0][first] = by_x;
                rows.curvature[1][first + 1] = by_y;
                rows.curvature[2][first] = by_y;
                rows.curvature[2][first + 1] = by_x;
                for c in 0..2 {
                    rows.shear[c][first + c] = value;
                    rows.rotation[c][first + c] = -value;
                }
            }
        }
        rows
    }

    /// Which dof the edges hold, and three that keep the plate from sliding in its plane.
    ///
    /// On a held edge w and its slope along the edge are held. A clamped edge of a thin plate also holds the slope across
    /// it and the twist; left free, the twist would cost the element its order of convergence. With a shear field it is
    /// the rotation ∇w − γ that a clamped edge holds, see `coupled`.
    pub(crate) fn held(&self, edges: &Edges) -> Vec<bool> {
        let mut held = vec![false; self.n_dof()];
        let (nx, ny) = (self.grid.x.n_elements(), self.grid.y.n_elements());
        let whole_y = |ix: usize| (0..=ny).map(move |iy| (ix, iy));
        let whole_x = |iy: usize| (0..=nx).map(move |ix| (ix, iy));
        let nodes: [(Edge, usize, Vec<_>); 4] = [
            (edges.x0, 1, whole_y(0).collect()),
            (edges.x1, 1, whole_y(nx).collect()),
            (edges.y0, 0, whole_x(0).collect()),
            (edges.y1, 0, whole_x(ny).collect()),
        ];
        for (edge, along, nodes) in nodes {
            if edge == Edge::Free {
                continue;
            }
            for &(ix, iy) in &nodes {
                let node = 4 * self.grid.node(ix, iy);
                held[node] = true;
                held[node + 1 + along] = true;
                if edge == Edge::Clamped && !self.shear {
                    held[node..node + 4].fill(true);
                }
            }
            if self.shear && edge != Edge::Simple {
                // Every point of the edge, those on half lines too.
                let (end, fixed) = if along == 1 { (2 * ny, 2 * nodes[0].0) } else { (2 * nx, 2 * nodes[0].1) };
                for j in 0..=end {
                    let point = if along == 1 { self.point(fixed, j) } else { self.point(j, fixed) };
                    held[self.shear_dof(point, along)] = true;
                }
            }
        }
        if self.membrane {
            held[self.membrane_dof(0, 0)] = true;
            held[self.membrane_dof(0, 1)] = true;
            held[self.membrane_dof(self.point(2 * nx, 0), 1)] = true;
        }
        held
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn all_fields() -> Fields {
        Fields { grid: Grid::through([0.9, 0.5], [3, 2], [&[0.2], &[]]), membrane: true, shear: true }
    }

    #[test]
    fn every_dof_belongs_to_an_element() {
        let fields = all_fields();
        let mut seen = vec![false; fields.n_dof()];
        fields.connectivity().iter().for_each(|&dof| seen[dof as usize] = true);
        assert!(seen.iter().all(|s| *s));
        assert_eq!(fields.connectivity().len(), fields.per_element() * fields.grid.n_elements());
    }

    /// Fields given by formulas: their strains come out exactly.
    #[test]
    fn strains_of_quadratic_fields_are_exact() {
        let fields = all_fields();
        let grid = &fields.grid;
        let mut dof = vec![0.0; fields.n_dof()];
        // w = x y; u = x², v = 3 x y; γx = 2 x y, γy = y².
        for node in 0..grid.n_nodes() {
            let [x, y] = grid.node_at_m(node);
            let (sx, sy) = (grid.x.scale_m(), grid.y.scale_m());
            dof[4 * node..4 * node + 4].copy_from_slice(&[x * y, sx * y, sy * x, sx * sy]);
        }
        let half = |lines: &[f64], j: usize| {
            if j.is_multiple_of(2) { lines[j / 2] } else { 0.5 * (lines[j / 2] + lines[j / 2 + 1]) }
        };
        for jy in 0..=2 * grid.y.n_elements() {
            for jx in 0..=2 * grid.x.n_elements() {
                let (x, y) = (half(grid.x.lines_m(), jx), half(grid.y.lines_m(), jy));
                let point = fields.point(jx, jy);
                dof[fields.membrane_dof(point, 0)] = x * x;
                dof[fields.membrane_dof(point, 1)] = 3.0 * x * y;
                dof[fields.shear_dof(point, 0)] = 2.0 * x * y;
                dof[fields.shear_dof(point, 1)] = y * y;
            }
        }
        let (ex, ey) = (1, 1);
        let (tx, ty) = (0.3, 0.6);
        let x = grid.x.lines_m()[ex] + tx * grid.x.side(ex).length_m;
        let y = grid.y.lines_m()[ey] + ty * grid.y.side(ey).length_m;
        let rows = fields.rows(grid.x.side(ex), grid.y.side(ey), tx, ty);
        let ids: Vec<usize> = fields.element_dof(ex, ey).collect();
        let of = |row: &[f64]| -> f64 { row.iter().zip(&ids).map(|(r, &i)| r * dof[i]).sum() };
        for (row, exact) in [
            (&rows.membrane[0], 2.0 * x),
            (&rows.membrane[1], 3.0 * x),
            (&rows.membrane[2], 3.0 * y),
            (&rows.curvature[0], 2.0 * y),
            (&rows.curvature[1], 2.0 * y),
            (&rows.curvature[2], -2.0 + 2.0 * x),
            (&rows.shear[0], 2.0 * x * y),
            (&rows.shear[1], y * y),
            (&rows.rotation[0], y - 2.0 * x * y),
            (&rows.rotation[1], x - y * y),
            (&rows.deflection, x * y),
        ] {
            assert!((of(row) - exact).abs() < 1e-12, "{} {exact}", of(row));
        }
    }
}
