//! Grid lines of a rectangular plate, and where a point lies among them.

use crate::element::Side;

/// Grid lines across one direction of the plate.
#[derive(Debug, Clone, PartialEq)]
pub struct Axis {
    lines_m: Vec<f64>,
    scale_m: f64,
}

impl Axis {
    /// `n_elements` (at least 1) equal elements over `length_m`.
    #[must_use]
    pub fn uniform(length_m: f64, n_elements: usize) -> Self {
        let n = n_elements.max(1);
        let lines_m = (0..=n).map(|i| length_m * i as f64 / n as f64).collect();
        Self { lines_m, scale_m: length_m / n as f64 }
    }

    /// Positions of the lines, m, from 0 to the length.
    #[must_use]
    pub fn lines_m(&self) -> &[f64] {
        &self.lines_m
    }

    /// Number of elements along the direction.
    #[must_use]
    pub fn n_elements(&self) -> usize {
        self.lines_m.len() - 1
    }

    /// Length of the direction, m.
    #[must_use]
    pub fn length_m(&self) -> f64 {
        self.lines_m[self.n_elements()]
    }

    /// Scale of the slope dof, m.
    #[must_use]
    pub fn scale_m(&self) -> f64 {
        self.scale_m
    }

    /// Side of element `element`.
    #[must_use]
    pub fn side(&self, element: usize) -> Side {
        Side { length_m: self.lines_m[element + 1] - self.lines_m[element], scale_m: self.scale_m }
    }

    /// Element that holds `at_m` and the place 0 … 1 in it. A point outside is taken to the nearest end.
    #[must_use]
    pub fn locate(&self, at_m: f64) -> (usize, f64) {
        let element = self.lines_m.partition_point(|&line| line <= at_m).clamp(1, self.n_elements()) - 1;
        let t = (at_m - self.lines_m[element]) / (self.lines_m[element + 1] - self.lines_m[element]);
        (element, t.clamp(0.0, 1.0))
    }

    /// Elements that share the span from `from_m` to `to_m`, each with the part 0 … 1 of it that lies inside.
    pub(crate) fn parts(&self, from_m: f64, to_m: f64) -> impl Iterator<Item = (usize, f64, f64)> {
        let (first, t_first) = self.locate(from_m);
        let (last, t_last) = self.locate(to_m);
        (first..=last).filter_map(move |element| {
            let t0 = if element == first { t_first } else { 0.0 };
            let t1 = if element == last { t_last } else { 1.0 };
            (t1 > t0).then_some((element, t0, t1))
        })
    }
}

/// The grid of a plate: nodes at the crossings of the lines, counted along x first.
#[derive(Debug, Clone, PartialEq)]
pub struct Grid {
    /// Lines across x.
    pub x: Axis,
    /// Lines across y.
    pub y: Axis,
}

impl Grid {
    /// A grid of equal elements, `n_elements[0]` along x and `n_elements[1]` along y.
    #[must_use]
    pub fn uniform(size_m: [f64; 2], n_elements: [usize; 2]) -> Self {
        Self { x: Axis::uniform(size_m[0], n_elements[0]), y: Axis::uniform(size_m[1], n_elements[1]) }
    }

    /// Size of the plate, m.
    #[must_use]
    pub fn size_m(&self) -> [f64; 2] {
        [self.x.length_m(), self.y.length_m()]
    }

    /// Number of nodes.
    #[must_use]
    pub fn n_nodes(&self) -> usize {
        (self.x.n_elements() + 1) * (self.y.n_elements() + 1)
    }

    /// Number of elements.
    #[must_use]
    pub fn n_elements(&self) -> usize {
        self.x.n_elements() * self.y.n_elements()
    }

    /// Index of node (ix, iy).
    #[must_use]
    pub fn node(&self, ix: usize, iy: usize) -> usize {
        iy * (self.x.n_elements() + 1) + ix
    }

    /// Place of node `node`, m.
    #[must_use]
    pub fn node_at_m(&self, node: usize) -> [f64; 2] {
        let per_row = self.x.n_elements() + 1;
        [self.x.lines_m[node % per_row], self.y.lines_m[node / per_row]]
    }

    /// The four nodes of element (ex, ey) in the element's local order.
    #[must_use]
    pub fn element_nodes(&self, ex: usize, ey: usize) -> [usize; 4] {
        [self.node(ex, ey), self.node(ex + 1, ey), self.node(ex, ey + 1), self.node(ex + 1, ey + 1)]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_point_is_found_in_its_element_and_ends_are_kept() {
        let axis = Axis::uniform(0.9, 9);
        let (element, t) = axis.locate(0.25);
        assert_eq!(element, 2);
        assert!((t - 0.5).abs() < 1e-12);
        assert_eq!(axis.locate(0.0), (0, 0.0));
        assert_eq!(axis.locate(0.9), (8, 1.0));
        assert_eq!(axis.locate(1.5), (8, 1.0));
    }

    #[test]
    fn parts_of_a_span_cover_it_once() {
        let axis = Axis::uniform(0.9, 9);
        let parts: Vec<_> = axis.parts(0.15, 0.42).collect();
        assert_eq!(parts.len(), 4);
        let covered: f64 = parts.iter().map(|(_, t0, t1)| (t1 - t0) * 0.1).sum();
        assert!((covered - 0.27).abs() < 1e-12);
    }
}
