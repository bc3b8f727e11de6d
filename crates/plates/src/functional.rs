//! Linear readings of the deflection field: its value, slope or mean, as weights on the dof.

use crate::element::{N_DOF, outer};
use crate::load::Load;
use crate::mesh::Grid;
use crate::plate::Spring;

/// Derivative of order (`dx`, `dy`) of the deflection at places 0 … 1 in an element, without building a functional.
pub(crate) fn read(grid: &Grid, dof: &[f64], x: (usize, f64), y: (usize, f64), dx: usize, dy: usize) -> f64 {
    let along_x = grid.x.side(x.0).values(x.1, dx);
    let along_y = grid.y.side(y.0).values(y.1, dy);
    let mut sum = 0.0;
    for (corner, node) in grid.element_nodes(x.0, y.0).into_iter().enumerate() {
        let (fx, fy) = (2 * (corner % 2), 2 * (corner / 2));
        let d = &dof[4 * node..4 * node + 4];
        sum += along_y[fy] * (along_x[fx] * d[0] + along_x[fx + 1] * d[1])
            + along_y[fy + 1] * (along_x[fx] * d[2] + along_x[fx + 1] * d[3]);
    }
    sum
}

/// The same at a point of the plate.
pub(crate) fn read_at(grid: &Grid, dof: &[f64], at_m: [f64; 2], dx: usize, dy: usize) -> f64 {
    read(grid, dof, grid.x.locate(at_m[0]), grid.y.locate(at_m[1]), dx, dy)
}

/// Weights on the deflection's dof (4 a node), each dof at most once for each element that it came from.
#[derive(Debug, Clone, Default)]
pub(crate) struct Functional {
    entries: Vec<(usize, f64)>,
}

impl Functional {
    /// Derivative of order (`dx`, `dy`) at a point.
    pub(crate) fn at(grid: &Grid, at_m: [f64; 2], dx: usize, dy: usize) -> Self {
        let (ex, tx) = grid.x.locate(at_m[0]);
        let (ey, ty) = grid.y.locate(at_m[1]);
        let along_x = grid.x.side(ex).values(tx, dx);
        let along_y = grid.y.side(ey).values(ty, dy);
        let mut result = Self::default();
        result.add(grid, ex, ey, 1.0, &outer(&along_x, &along_y));
        result
    }

    /// Integral over the rectangle from `from_m` to `to_m`, times `factor`.
    pub(crate) fn integral(grid: &Grid, from_m: [f64; 2], to_m: [f64; 2], factor: f64) -> Self {
        let mut result = Self::default();
        for (ey, t0, t1) in grid.y.parts(from_m[1], to_m[1]) {
            let along_y = grid.y.side(ey).integrals(t0, t1);
            for (ex, s0, s1) in grid.x.parts(from_m[0], to_m[0]) {
                let along_x = grid.x.side(ex).integrals(s0, s1);
                result.add(grid, ex, ey, factor, &outer(&along_x, &along_y));
            }
        }
        result
    }

    /// What a load does: its work on the deflection.
    pub(crate) fn load(grid: &Grid, load: &Load) -> Self {
        match *load {
            Load::Uniform { pressure_pa } => Self::integral(grid, [0.0; 2], grid.size_m(), pressure_pa),
            Load::Patch { pressure_pa, .. } => {
                let (from_m, to_m) = load.extent_m(grid.size_m());
                Self::integral(grid, from_m, to_m, pressure_pa)
            }
            Load::Point { at_m, force_newton } => {
                let mut result = Self::at(grid, at_m, 0, 0);
                result.entries.iter_mut().for_each(|e| e.1 *= force_newton);
                result
            }
        }
    }

    /// What a spring feels: the deflection at its point, or its mean over the bearing.
    pub(crate) fn spring(grid: &Grid, spring: &Spring) -> Self {
        if spring.bearing_m <= 0.0 {
            return Self::at(grid, spring.at_m, 0, 0);
        }
        let (from_m, to_m) = spring.bearing_extent_m(grid.size_m());
        let area = (to_m[0] - from_m[0]) * (to_m[1] - from_m[1]);
        Self::integral(grid, from_m, to_m, 1.0 / area)
    }

    fn add(&mut self, grid: &Grid, ex: usize, ey: usize, factor: f64, weights: &[f64; N_DOF]) {
        let nodes = grid.element_nodes(ex, ey);
        self.entries.extend(weights.iter().enumerate().map(|(dof, w)| (4 * nodes[dof / 4] + dof % 4, factor * w)));
    }

    /// The reading of a field.
    pub(crate) fn of(&self, dof: &[f64]) -> f64 {
        self.entries.iter().map(|&(i, w)| w * dof[i]).sum()
    }

    /// Adds `factor` times the weights to a load vector.
    pub(crate) fn add_to(&self, factor: f64, load: &mut [f64]) {
        for &(i, w) in &self.entries {
            load[i] += factor * w;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Dof of a + b x + c y + d x y.
    fn bilinear(grid: &Grid, [a, b, c, d]: [f64; 4]) -> Vec<f64> {
        (0..grid.n_nodes())
            .flat_map(|node| {
                let [x, y] = grid.node_at_m(node);
                let (sx, sy) = (grid.x.scale_m(), grid.y.scale_m());
                [a + b * x + c * y + d * x * y, sx * (b + d * y), sy * (c + d * x), sx * sy * d]
            })
            .collect()
    }

    #[test]
    fn readings_of_a_bilinear_field_are_exact() {
        let grid = Grid::uniform([0.9, 0.5], [7, 5]);
        let c = [1.0, 2.0, -3.0, 4.0];
        let dof = bilinear(&grid, c);
        let f = |x: f64, y: f64| c[0] + c[1] * x + c[2] * y + c[3] * x * y;
        let value = Functional::at(&grid, [0.31, 0.22], 0, 0).of(&dof);
        assert!((value - f(0.31, 0.22)).abs() < 1e-12);
        let slope = Functional::at(&grid, [0.31, 0.22], 0, 1).of(&dof);
        assert!((slope - (c[2] + c[3] * 0.31)).abs() < 1e-12);
        assert!((read_at(&grid, &dof, [0.31, 0.22], 0, 1) - slope).abs() < 1e-13);
        assert!((read_at(&grid, &dof, [0.31, 0.22], 1, 1) - c[3]).abs() < 1e-12);
        // A rectangle over several elements: the integral is the area times the value at its centre.
        let integral = Functional::integral(&grid, [0.05, 0.11], [0.77, 0.43], 2.0).of(&dof);
        assert!((integral - 2.0 * 0.72 * 0.32 * f(0.41, 0.27)).abs() < 1e-12);
        // A bearing that hangs over the corner is cut there.
        let corner = Spring { bearing_m: 0.04, ..Spring::point([0.0, 0.0], 1.0) };
        let mean = Functional::spring(&grid, &corner).of(&dof);
        assert!((mean - f(0.01, 0.01)).abs() < 1e-12);
    }
}
