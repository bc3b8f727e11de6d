//! Order of elimination for a grid by nested dissection: halves first, the line that parts them last.
//!
//! Unknowns on one side of a grid line never meet those of the other in an element, so that the factor stays sparse. On a
//! rectangle this needs no graph: the line in the middle of the longer side will do, again and again. The numbers run in
//! the order in which a post-ordered elimination tree wants them.
//!
//! Source: George, Nested dissection of a regular finite element mesh, SIAM J. Numer. Anal. 10 (1973) 345–363.

use crate::fields::Fields;

/// Rectangles of at most this many half-grid lines a side are not parted further.
const LEAF: usize = 5;

/// All dof in their order of elimination.
pub(crate) fn order(fields: &Fields) -> Vec<u32> {
    let mut all = Vec::with_capacity(fields.n_dof());
    let (nx, ny) = (fields.grid.x.n_elements(), fields.grid.y.n_elements());
    part(fields, [0, 2 * nx + 1], [0, 2 * ny + 1], &mut all);
    all
}

/// Half-grid lines from `x[0]` to before `x[1]`, likewise y. Even ones are grid lines.
fn part(fields: &Fields, x: [usize; 2], y: [usize; 2], all: &mut Vec<u32>) {
    let (nx, ny) = (x[1] - x[0], y[1] - y[0]);
    if nx.max(ny) <= LEAF {
        for jy in y[0]..y[1] {
            for jx in x[0]..x[1] {
                fields.point_dof(jx, jy, all);
            }
        }
    } else if nx >= ny {
        let middle = line_between(x);
        part(fields, [x[0], middle], y, all);
        part(fields, [middle + 1, x[1]], y, all);
        for jy in y[0]..y[1] {
            fields.point_dof(middle, jy, all);
        }
    } else {
        let middle = line_between(y);
        part(fields, x, [y[0], middle], all);
        part(fields, x, [middle + 1, y[1]], all);
        for jx in x[0]..x[1] {
            fields.point_dof(jx, middle, all);
        }
    }
}

/// The grid line nearest the middle of more than two half-grid lines, neither first nor last.
fn line_between([from, to]: [usize; 2]) -> usize {
    let middle = usize::midpoint(from, to - 1);
    middle + middle % 2
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::Grid;

    #[test]
    fn every_dof_has_one_place() {
        for (membrane, shear) in [(false, false), (true, false), (true, true)] {
            let fields = Fields { grid: Grid::uniform([0.9, 0.5], [17, 9]), membrane, shear };
            let mut order = order(&fields);
            order.sort_unstable();
            assert_eq!(order, (0..fields.n_dof() as u32).collect::<Vec<_>>());
        }
    }
}
