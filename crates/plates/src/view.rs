//! Strains and moments read off a solved field.

use crate::fields::{Fields, Rows};
use crate::functional::read;
use crate::mesh::Grid;
use crate::plate::Plate;
use crate::solution::{Moments, Strains};

/// A field of a plate.
#[derive(Debug, Clone, Copy)]
pub(crate) struct View<'a> {
    pub(crate) fields: &'a Fields,
    pub(crate) plate: &'a Plate,
    pub(crate) dof: &'a [f64],
}

impl View<'_> {
    pub(crate) fn strains(&self, at_m: [f64; 2]) -> Strains {
        let grid = &self.fields.grid;
        let mut found = Strains::default();
        let mut n_sides = 0.0;
        for x in grid.x.meeting(at_m[0]) {
            for y in grid.y.meeting(at_m[1]) {
                n_sides += 1.0;
                if self.fields.membrane || self.fields.shear {
                    let rows = self.rows(x, y);
                    for i in 0..3 {
                        found.membrane[i] += self.apply(&rows.membrane[i], x.0, y.0);
                        found.curvature[i] += self.apply(&rows.curvature[i], x.0, y.0);
                    }
                } else {
                    let second = |dx, dy| read(grid, self.dof, x, y, dx, dy);
                    found.curvature[0] -= second(2, 0);
                    found.curvature[1] -= second(0, 2);
                    found.curvature[2] -= 2.0 * second(1, 1);
                }
            }
        }
        for value in found.membrane.iter_mut().chain(&mut found.curvature) {
            *value /= n_sides;
        }
        found
    }

    pub(crate) fn moments(&self, at_m: [f64; 2]) -> Moments {
        let strains = self.strains(at_m);
        let dot = |row: &[f64; 3], x: &[f64; 3]| row.iter().zip(x).map(|(a, b)| a * b).sum::<f64>();
        let m: [f64; 3] = match &self.plate.section {
            Some(section) if self.fields.membrane => std::array::from_fn(|i| {
                // M = Bᵀ ε + D κ; B is symmetric.
                dot(&section.b[i], &strains.membrane) + dot(&section.d[i], &strains.curvature)
            }),
            _ => self.plate.bending.matrix().map(|row| dot(&row, &strains.curvature)),
        };
        Moments { x: m[0], y: m[1], xy: m[2] }
    }

    pub(crate) fn rows(&self, x: (usize, f64), y: (usize, f64)) -> Rows {
        let grid = &self.fields.grid;
        self.fields.rows(grid.x.side(x.0), grid.y.side(y.0), x.1, y.1)
    }

    pub(crate) fn apply(&self, row: &[f64], ex: usize, ey: usize) -> f64 {
        row.iter().zip(self.fields.element_dof(ex, ey)).map(|(r, dof)| r * self.dof[dof]).sum()
    }
}

/// Every node and every element's middle.
pub(crate) fn sample_places_m(grid: &Grid) -> impl Iterator<Item = [f64; 2]> {
    let middle = |lines: &[f64], i: usize| 0.5 * (lines[i] + lines[i + 1]);
    let nx = grid.x.n_elements();
    let middles =
        (0..grid.n_elements()).map(move |e| [middle(grid.x.lines_m(), e % nx), middle(grid.y.lines_m(), e / nx)]);
    (0..grid.n_nodes()).map(|node| grid.node_at_m(node)).chain(middles)
}
