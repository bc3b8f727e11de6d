//! Grid lines of a rectangular plate, and where a point lies among them.

use crate::element::Side;

/// Grid lines across one direction of the plate.
#[derive(Debug, Clone, PartialEq)]
pub struct Axis {
    lines_m: Vec<f64>,
    /// Lengths that occur, and which of them each element has: elements of one length are alike to the last bit.
    lengths_m: Vec<f64>,
    length_of: Vec<usize>,
    scale_m: f64,
}

impl Axis {
    /// `n_elements` (at least 1) equal elements over `length_m`.
    #[must_use]
    pub fn uniform(length_m: f64, n_elements: usize) -> Self {
        Self::through(length_m, n_elements, &[])
    }

    /// About `n_elements` elements over `length_m` with a line at each of `at_m`: equal between one such line and the next,
    /// no longer than without them. Lines nearer than 1e-6 of the length to an end or to each other count as one.
    #[must_use]
    pub fn through(length_m: f64, n_elements: usize, at_m: &[f64]) -> Self {
        let scale_m = length_m / n_elements.max(1) as f64;
        let mut stops = vec![0.0];
        let mut inner = at_m.to_vec();
        inner.sort_by(f64::total_cmp);
        for at in inner.into_iter().filter(|at| *at < length_m * (1.0 - 1e-6)) {
            if at > stops[stops.len() - 1] + 1e-6 * length_m {
                stops.push(at);
            }
        }
        stops.push(length_m);
        let mut axis = Self { lines_m: vec![0.0], lengths_m: Vec::new(), length_of: Vec::new(), scale_m };
        for span in stops.windows(2) {
            let n = ((span[1] - span[0]) / scale_m - 1e-9).ceil().max(1.0) as usize;
            axis.lengths_m.push((span[1] - span[0]) / n as f64);
            for i in 1..=n {
                axis.length_of.push(axis.lengths_m.len() - 1);
                axis.lines_m.push(span[0] + (span[1] - span[0]) * i as f64 / n as f64);
            }
        }
        axis
    }

    /// Positions of the lines, m, from 0 to the length.
    #[must_use]
    pub fn lines_m(&self) -> &[f64] {
        &self.lines_m
    }

    /// Number of elements along the direction.
    #[must_use]
    pub fn n_elements(&self) -> usize {
        self.length_of.len()
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
        self.side_of_class(self.length_of[element])
    }

    pub(crate) fn n_classes(&self) -> usize {
        self.lengths_m.len()
    }

    pub(crate) fn class(&self, element: usize) -> usize {
        self.length_of[element]
    }

    pub(crate) fn side_of_class(&self, class: usize) -> Side {
        Side { length_m: self.lengths_m[class], scale_m: self.scale_m }
    }

    /// Element that holds `at_m` and the place 0 … 1 in it. A point outside is taken to the nearest end.
    #[must_use]
    pub fn locate(&self, at_m: f64) -> (usize, f64) {
        let element = self.lines_m.partition_point(|&line| line <= at_m).clamp(1, self.n_elements()) - 1;
        let t = (at_m - self.lines_m[element]) / (self.lines_m[element + 1] - self.lines_m[element]);
        (element, t.clamp(0.0, 1.0))
    }

    /// The elements that meet at `at_m` with the place in each: two on an inner line, else one.
    pub(crate) fn meeting(&self, at_m: f64) -> impl Iterator<Item = (usize, f64)> {
        // Far below what is told apart, far above round-off.
        const ON_LINE: f64 = 1e-9;
        let (element, t) = self.locate(at_m);
        let neighbour = if t < ON_LINE && element > 0 {
            Some((element - 1, 1.0))
        } else if t > 1.0 - ON_LINE && element + 1 < self.n_elements() {
            Some((element + 1, 0.0))
        } else {
            None
        };
        std::iter::once((element, t)).chain(neighbour)
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

    /// The same with lines through `through_m[0]` along x and `through_m[1]` along y.
    #[must_use]
    pub fn through(size_m: [f64; 2], n_elements: [usize; 2], through_m: [&[f64]; 2]) -> Self {
        Self {
            x: Axis::through(size_m[0], n_elements[0], through_m[0]),
            y: Axis::through(size_m[1], n_elements[1], through_m[1]),
        }
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
    fn lines_go_through_the_places_asked_for() {
        let axis = Axis::through(0.9, 9, &[0.25, 0.9, 0.0, 0.250_000_1]);
        assert!(axis.lines_m().iter().any(|l| (l - 0.25).abs() < 1e-15));
        assert_eq!(axis.n_elements(), 3 + 7);
        assert_eq!(axis.n_classes(), 2);
        let sum: f64 = (0..axis.n_elements()).map(|e| axis.side(e).length_m).sum();
        assert!((sum - 0.9).abs() < 1e-15 && (axis.length_m() - 0.9).abs() < 1e-15);
        assert!((0..10).all(|e| axis.side(e).length_m <= 0.1 + 1e-12));
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
