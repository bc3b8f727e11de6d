//! What holds a plate: springs under it and its edges.

/// A spring under the plate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spring {
    /// Place on the plate, m from its corner.
    pub at_m: [f64; 2],
    /// Stiffness, N/m; infinite for a rigid support.
    pub stiffness_n_per_m: f64,
    /// Side of the square, about the place and cut at the plate's edge, over which the spring bears evenly, m; 0 for a point.
    ///
    /// In a thin plate the moment under a point support has no finite value, and in a shear-flexible one not even the
    /// deflection has: there the size of the bearing matters.
    pub bearing_m: f64,
}

impl Spring {
    /// A spring that bears on a point.
    #[must_use]
    pub fn point(at_m: [f64; 2], stiffness_n_per_m: f64) -> Self {
        Self { at_m, stiffness_n_per_m, bearing_m: 0.0 }
    }

    /// Lower and upper corner of the square that it bears on, on a plate of `plate_m`, m.
    pub(crate) fn bearing_extent_m(&self, plate_m: [f64; 2]) -> ([f64; 2], [f64; 2]) {
        let half = 0.5 * self.bearing_m;
        (self.at_m.map(|at| (at - half).max(0.0)), std::array::from_fn(|i| (self.at_m[i] + half).min(plate_m[i])))
    }

    /// Where its force acts: its place, or the middle of what the plate's edge leaves of its bearing, m.
    #[must_use]
    pub fn bears_at_m(&self, plate_m: [f64; 2]) -> [f64; 2] {
        let (from, to) = self.bearing_extent_m(plate_m);
        std::array::from_fn(|i| 0.5 * (from[i] + to[i]))
    }
}

/// How an edge of the plate is held.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Edge {
    /// Not held: no moment, no force.
    #[default]
    Free,
    /// Held in place, free to turn.
    Simple,
    /// Held in place and against turning along the edge, free to turn across it; differs from [`Edge::Simple`] only in a
    /// shear-flexible plate.
    Diaphragm,
    /// Held in place and against turning.
    Clamped,
}

/// The four edges.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Edges {
    /// Edge x = 0.
    pub x0: Edge,
    /// Edge x = length.
    pub x1: Edge,
    /// Edge y = 0.
    pub y0: Edge,
    /// Edge y = width.
    pub y1: Edge,
}

impl Edges {
    /// All four edges alike.
    #[must_use]
    pub fn all(edge: Edge) -> Self {
        Self { x0: edge, x1: edge, y0: edge, y1: edge }
    }
}
