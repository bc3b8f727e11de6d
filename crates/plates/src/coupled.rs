//! Element matrices of a plate: thin alone, or with stretching and ribs, or with transverse shear.
//!
//! ```text
//! energy of an element = ½ ∫ εᵀAε + 2 εᵀBκ + κᵀDκ + γᵀSγ + k w² dA   (see `fields` for ε, κ, γ)
//! ```
//!
//! The thin plate alone has its exact integrals in `element`. The others are summed over 4 × 4 Gauss points, which is exact
//! too, as no factor goes beyond the third power. A clamped edge of a shear-flexible plate holds the rotation across it by
//! springs of [`CLAMP`] times D over an element.

use crate::assembly::pack;
use crate::element::stiffness;
use crate::fields::{Fields, Rows};
use crate::plate::{Edge, Plate};
use crate::ribs::{Along, Rib};

/// Gauss points and weights on 0 … 1, exact to the seventh power.
///
/// Source: Abramowitz & Stegun, Handbook of Mathematical Functions, table 25.4, n = 4, moved to 0 … 1.
const GAUSS: [(f64, f64); 4] = [
    (0.069_431_844_202_973_71, 0.173_927_422_568_726_93),
    (0.330_009_478_207_571_87, 0.326_072_577_431_273_07),
    (0.669_990_521_792_428_1, 0.326_072_577_431_273_07),
    (0.930_568_155_797_026_3, 0.173_927_422_568_726_93),
];

/// Rotational stiffness of a clamped edge per length over D/h: its give is a millionth of an element's.
const CLAMP: f64 = 1e6;

/// Packed lower triangles of all elements: those of one size are alike, ribs and clamped edges come on top.
#[derive(Debug)]
pub(crate) struct Matrices {
    classes: Vec<Vec<f64>>,
    class_of: Vec<usize>,
    extra: Vec<(usize, Vec<f64>)>,
}

impl Matrices {
    pub(crate) fn new(fields: &Fields, plate: &Plate) -> Self {
        let grid = &fields.grid;
        let (nx, ny) = (grid.x.n_classes(), grid.y.n_classes());
        let classes = (0..nx * ny).map(|class| element(fields, plate, class % nx, class / nx)).collect();
        let class_of = (0..grid.n_elements())
            .map(|e| grid.x.class(e % grid.x.n_elements()) + nx * grid.y.class(e / grid.x.n_elements()))
            .collect();
        let mut extra = Vec::new();
        for rib in &plate.ribs {
            extra.extend(rib_elements(fields, plate, rib));
        }
        if fields.shear {
            extra.extend(clamped_edges(fields, plate));
        }
        Self { classes, class_of, extra }
    }

    /// All parts with the element that each belongs to.
    pub(crate) fn parts(&self) -> impl Iterator<Item = (usize, &[f64])> {
        let whole = self.class_of.iter().enumerate().map(|(e, &class)| (e, self.classes[class].as_slice()));
        whole.chain(self.extra.iter().map(|(e, k)| (*e, k.as_slice())))
    }
}

/// Adds `factor` · a bᵀ, made symmetric, to a packed lower triangle.
fn add_product(packed: &mut [f64], factor: f64, a: &[f64], b: &[f64]) {
    let mut first = 0;
    for (i, (ai, bi)) in a.iter().zip(b).enumerate() {
        let row = &mut packed[first..=first + i];
        if *ai != 0.0 || *bi != 0.0 {
            for (entry, (aj, bj)) in row.iter_mut().zip(a.iter().zip(b)) {
                *entry += 0.5 * factor * (ai * bj + bi * aj);
            }
        }
        first += i + 1;
    }
}

fn zeros(fields: &Fields) -> Vec<f64> {
    let n = fields.per_element();
    vec![0.0; n * (n + 1) / 2]
}

/// Adds the quadratic form Σ mᵢⱼ aᵢ bⱼ of two triples of rows.
fn add_form(packed: &mut [f64], factor: f64, m: &[[f64; 3]; 3], a: &[Vec<f64>; 3], b: &[Vec<f64>; 3]) {
    for (row, ai) in m.iter().zip(a) {
        for (&value, bj) in row.iter().zip(b) {
            if value != 0.0 {
                add_product(packed, factor * value, ai, bj);
            }
        }
    }
}

fn element(fields: &Fields, plate: &Plate, class_x: usize, class_y: usize) -> Vec<f64> {
    let (x, y) = (fields.grid.x.side_of_class(class_x), fields.grid.y.side_of_class(class_y));
    if !fields.membrane && !fields.shear {
        return pack(&stiffness(x, y, &plate.bending, plate.foundation_pa_per_m));
    }
    let mut k = zeros(fields);
    for (tx, wx) in GAUSS {
        for (ty, wy) in GAUSS {
            let rows = fields.rows(x, y, tx, ty);
            let area = wx * wy * x.length_m * y.length_m;
            match &plate.section {
                Some(section) if fields.membrane => {
                    add_form(&mut k, area, &section.a, &rows.membrane, &rows.membrane);
                    // εᵀBκ stands twice in the energy's double.
                    add_form(&mut k, 2.0 * area, &section.b, &rows.membrane, &rows.curvature);
                    add_form(&mut k, area, &section.d, &rows.curvature, &rows.curvature);
                }
                _ => add_form(&mut k, area, &plate.bending.matrix(), &rows.curvature, &rows.curvature),
            }
            if let Some(shear) = &plate.shear {
                add_product(&mut k, area * shear.x_n_per_m, &rows.shear[0], &rows.shear[0]);
                add_product(&mut k, area * shear.y_n_per_m, &rows.shear[1], &rows.shear[1]);
            }
            if plate.foundation_pa_per_m > 0.0 {
                add_product(&mut k, area * plate.foundation_pa_per_m, &rows.deflection, &rows.deflection);
            }
        }
    }
    k
}

/// Strain of the reference plane and curvature along a rib.
pub(crate) fn along_rib(rows: &Rows, along: Along) -> (&[f64], &[f64]) {
    let i = usize::from(along == Along::Y);
    (&rows.membrane[i], &rows.curvature[i])
}

/// A rib's part of the elements over its breadth, see `ribs`.
fn rib_elements(fields: &Fields, plate: &Plate, rib: &Rib) -> Vec<(usize, Vec<f64>)> {
    let grid = &fields.grid;
    let lower_face_m = plate.section.as_ref().map_or(0.0, |s| s.lower_face_m);
    let (root_m, [from_m, to_m]) = (rib.root_m(), rib.sides_m());
    let (across, along) = match rib.along {
        Along::X => (&grid.y, 0),
        Along::Y => (&grid.x, 1),
    };
    // A layer of thickness h at the underside, pulled and bent in one direction only.
    let layer = |k: &mut [f64], area: f64, rows: &Rows, direction: usize, h: f64| {
        let eccentricity_m = lower_face_m + 0.5 * h;
        let (strain, curvature) = (&rows.membrane[direction], &rows.curvature[direction]);
        let axial: Vec<f64> = strain.iter().zip(curvature).map(|(s, c)| s + eccentricity_m * c).collect();
        add_product(k, area * rib.e_pa * h, &axial, &axial);
        add_product(k, area * rib.e_pa * h.powi(3) / 12.0, curvature, curvature);
    };
    let part = |ex: usize, ey: usize| {
        let (x, y) = (grid.x.side(ex), grid.y.side(ey));
        let mut k = zeros(fields);
        for (tx, wx) in GAUSS {
            for (ty, wy) in GAUSS {
                let rows = fields.rows(x, y, tx, ty);
                let area = wx * wy * x.length_m * y.length_m;
                layer(&mut k, area, &rows, along, rib.height_m);
                layer(&mut k, area, &rows, 1 - along, root_m);
                // The twist's row is 2 w_xy.
                let twisting = 0.25 * rib.twisting_newton_m2() / rib.width_m;
                add_product(&mut k, area * twisting, &rows.curvature[2], &rows.curvature[2]);
            }
        }
        k
    };
    let under = |e: usize| {
        let middle = 0.5 * (across.lines_m()[e] + across.lines_m()[e + 1]);
        from_m < middle && middle < to_m
    };
    let nx = grid.x.n_elements();
    (0..grid.n_elements())
        .map(|e| (e % nx, e / nx))
        .filter(|&(ex, ey)| under(if along == 0 { ey } else { ex }))
        .map(|(ex, ey)| (ey * nx + ex, part(ex, ey)))
        .collect()
}

/// Rotational springs along the clamped edges.
fn clamped_edges(fields: &Fields, plate: &Plate) -> Vec<(usize, Vec<f64>)> {
    let grid = &fields.grid;
    let (nx, ny) = (grid.x.n_elements(), grid.y.n_elements());
    let e = &plate.edges;
    let mut all = Vec::new();
    let mut clamp = |ex: usize, ey: usize, at: [Option<f64>; 2]| {
        let across = usize::from(at[0].is_none());
        let (x, y) = (grid.x.side(ex), grid.y.side(ey));
        let (length, h, d) = if across == 0 {
            (y.length_m, x.length_m, plate.bending.d11)
        } else {
            (x.length_m, y.length_m, plate.bending.d22)
        };
        let mut k = zeros(fields);
        for (t, weight) in GAUSS {
            let rows = fields.rows(x, y, at[0].unwrap_or(t), at[1].unwrap_or(t));
            add_product(&mut k, weight * length * CLAMP * d / h, &rows.rotation[across], &rows.rotation[across]);
        }
        all.push((ey * nx + ex, k));
    };
    for ey in 0..ny {
        if e.x0 == Edge::Clamped {
            clamp(0, ey, [Some(0.0), None]);
        }
        if e.x1 == Edge::Clamped {
            clamp(nx - 1, ey, [Some(1.0), None]);
        }
    }
    for ex in 0..nx {
        if e.y0 == Edge::Clamped {
            clamp(ex, 0, [None, Some(0.0)]);
        }
        if e.y1 == Edge::Clamped {
            clamp(ex, ny - 1, [None, Some(1.0)]);
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::Grid;
    use crate::plate::Bending;

    /// The two ways to one element: Gauss points of the general form and exact integrals of the thin plate.
    #[test]
    fn general_form_contains_the_thin_plate() {
        let bending = Bending { d11: 1000.0, d12: 200.0, d16: 50.0, d22: 600.0, d26: -30.0, d66: 300.0 };
        let plate = Plate::new([0.9, 0.5], bending, Vec::new()).with_foundation(3e6);
        let thin = Fields { grid: Grid::uniform([0.9, 0.5], [3, 2]), membrane: false, shear: false };
        let exact = element(&thin, &plate, 0, 0);
        let rich = Fields { shear: true, ..thin };
        let general = element(&rich, &plate, 0, 0);
        let largest = exact.iter().fold(0.0_f64, |a, b| a.max(b.abs()));
        // The dof of w come first, so that the thin matrix is the upper corner of the packed triangle.
        for (a, b) in exact.iter().zip(&general) {
            assert!((a - b).abs() < 1e-12 * largest, "{a} {b}");
        }
    }
}
