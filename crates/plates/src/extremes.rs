//! The largest and smallest deflection of a field and their places.

use crate::functional::read_at;
use crate::mesh::{Axis, Grid};
use crate::solution::Extreme;

/// Largest and smallest deflection of a field: sampled at `SAMPLES` points a side of each element, then polished by Newton's
/// method.
pub(crate) fn extremes<const SAMPLES: usize>(grid: &Grid, dof: &[f64]) -> [Extreme; 2] {
    let mut found = [(f64::NEG_INFINITY, [0.0; 2]), (f64::INFINITY, [0.0; 2])];
    // The samples of an element lie alike in all of its class, and both ends belong to it.
    let samples = |axis: &Axis| -> Vec<Vec<[f64; 4]>> {
        (0..axis.n_classes())
            .map(|class| {
                (0..=SAMPLES).map(|i| axis.side_of_class(class).values(i as f64 / SAMPLES as f64, 0)).collect()
            })
            .collect()
    };
    let (xs, ys) = (samples(&grid.x), samples(&grid.y));
    let place = |axis: &Axis, e: usize, i: usize| {
        axis.lines_m()[e] + (axis.lines_m()[e + 1] - axis.lines_m()[e]) * i as f64 / SAMPLES as f64
    };
    for ey in 0..grid.y.n_elements() {
        for ex in 0..grid.x.n_elements() {
            let nodes = grid.element_nodes(ex, ey).map(|node| &dof[4 * node..4 * node + 4]);
            for (iy, fy) in ys[grid.y.class(ey)].iter().enumerate() {
                // The cubic along x at this y: its two values and two slopes.
                let along = |corner: usize, kind: usize| {
                    let (low, high) = (nodes[corner], nodes[corner + 2]);
                    fy[0] * low[kind] + fy[1] * low[kind + 2] + fy[2] * high[kind] + fy[3] * high[kind + 2]
                };
                let cubic = [along(0, 0), along(0, 1), along(1, 0), along(1, 1)];
                for (ix, fx) in xs[grid.x.class(ex)].iter().enumerate() {
                    let w: f64 = fx.iter().zip(&cubic).map(|(f, c)| f * c).sum();
                    if w > found[0].0 {
                        found[0] = (w, [place(&grid.x, ex, ix), place(&grid.y, ey, iy)]);
                    }
                    if w < found[1].0 {
                        found[1] = (w, [place(&grid.x, ex, ix), place(&grid.y, ey, iy)]);
                    }
                }
            }
        }
    }
    [1.0, -1.0].map(|sign| {
        let (w, at_m) = if sign > 0.0 { found[0] } else { found[1] };
        let (deflection, at_m) = polish(grid, dof, sign, (sign * w, at_m));
        Extreme { deflection_m: sign * deflection, at_m }
    })
}

/// Newton's steps towards a zero slope, kept within the plate and only as long as they gain.
fn polish(grid: &Grid, dof: &[f64], sign: f64, start: (f64, [f64; 2])) -> (f64, [f64; 2]) {
    let size_m = grid.size_m();
    let read = |at_m, dx, dy| sign * read_at(grid, dof, at_m, dx, dy);
    let mut best = start;
    for _ in 0..4 {
        let at_m = best.1;
        let (gx, gy) = (read(at_m, 1, 0), read(at_m, 0, 1));
        let (hxx, hxy, hyy) = (read(at_m, 2, 0), read(at_m, 1, 1), read(at_m, 0, 2));
        // At an edge the maximum may lean outwards: then only the other direction is free to move.
        let outward = |i: usize, g: f64| (at_m[i] <= 0.0 && g < 0.0) || (at_m[i] >= size_m[i] && g > 0.0);
        let step = match (outward(0, gx), outward(1, gy)) {
            (true, true) => break,
            (true, false) if hyy < 0.0 => [0.0, -gy / hyy],
            (false, true) if hxx < 0.0 => [-gx / hxx, 0.0],
            (false, false) if hxx < 0.0 && hxx * hyy > hxy * hxy => {
                let det = hxx * hyy - hxy * hxy;
                [(hxy * gy - hyy * gx) / det, (hxy * gx - hxx * gy) / det]
            }
            _ => break,
        };
        let next: [f64; 2] = std::array::from_fn(|i| (at_m[i] + step[i]).clamp(0.0, size_m[i]));
        let w = read(next, 0, 0);
        if w <= best.0 {
            break;
        }
        best = (w, next);
    }
    best
}
