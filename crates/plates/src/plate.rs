//! What a plate is: its size, bending stiffness, springs and edges, checked once before solving.

use thiserror::Error;

use crate::ribs::Rib;

/// Bending stiffness D of a plate, N·m: (Mx, My, Mxy) = D κ with κ = −(w_xx, w_yy, 2 w_xy).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bending {
    /// Mx for a curvature along x, N·m.
    pub d11: f64,
    /// Coupling of the two directions, N·m.
    pub d12: f64,
    /// Coupling of Mx and twist, N·m; 0 when the layers' own directions lie along the plate's.
    pub d16: f64,
    /// My for a curvature along y, N·m.
    pub d22: f64,
    /// Coupling of My and twist, N·m.
    pub d26: f64,
    /// Mxy for a twist of 2 w_xy = 1, N·m.
    pub d66: f64,
}

impl Bending {
    /// One isotropic layer: D = E t³ / 12(1−ν²), with `e_pa` in Pa and `thickness_m` in m.
    #[must_use]
    pub fn isotropic(e_pa: f64, nu: f64, thickness_m: f64) -> Self {
        Self::isotropic_of(e_pa * thickness_m.powi(3) / (12.0 * (1.0 - nu * nu)), nu)
    }

    /// The isotropic stiffness of plate modulus D = `d`, N·m, and Poisson ratio `nu`.
    #[must_use]
    pub fn isotropic_of(d: f64, nu: f64) -> Self {
        Self { d11: d, d12: nu * d, d16: 0.0, d22: d, d26: 0.0, d66: d * (1.0 - nu) / 2.0 }
    }

    /// The full symmetric matrix, N·m.
    #[must_use]
    pub fn matrix(&self) -> [[f64; 3]; 3] {
        [[self.d11, self.d12, self.d16], [self.d12, self.d22, self.d26], [self.d16, self.d26, self.d66]]
    }

    /// From a symmetric matrix, N·m, of which the upper triangle is read.
    #[must_use]
    pub fn from_matrix(m: [[f64; 3]; 3]) -> Self {
        Self { d11: m[0][0], d12: m[0][1], d16: m[0][2], d22: m[1][1], d26: m[1][2], d66: m[2][2] }
    }

    /// True when every bending takes energy (all leading minors above zero).
    #[must_use]
    pub fn is_positive_definite(&self) -> bool {
        let minor2 = self.d11 * self.d22 - self.d12 * self.d12;
        let det = self.d66 * minor2 - self.d26 * (self.d11 * self.d26 - self.d12 * self.d16)
            + self.d16 * (self.d12 * self.d26 - self.d22 * self.d16);
        self.d11 > 0.0 && minor2 > 0.0 && det > 0.0
    }
}

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

/// A rectangular plate.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct Plate {
    /// Length along x and along y, m.
    pub size_m: [f64; 2],
    /// Bending stiffness.
    pub bending: Bending,
    /// Springs under it.
    pub springs: Vec<Spring>,
    /// How its edges are held; a deck's plates have free edges.
    pub edges: Edges,
    /// Even elastic foundation, Pa/m (N/m³); 0 for none.
    pub foundation_pa_per_m: f64,
    /// Transverse shear stiffness where it matters; `None` for a thin plate.
    pub shear: Option<Shear>,
    /// Stretching and coupled stiffness, needed for ribs.
    pub section: Option<Section>,
    /// Ribs under it.
    pub ribs: Vec<Rib>,
}

/// Transverse shear stiffness of a plate, N/m: shear force per width over shear strain.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shear {
    /// In the plane x–z.
    pub x_n_per_m: f64,
    /// In the plane y–z.
    pub y_n_per_m: f64,
}

/// Stiffness of a plate's section that can stretch as well as bend: N = A ε + B κ, M = B ε + D κ about a reference plane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Section {
    /// A, N/m.
    pub a: [[f64; 3]; 3],
    /// B, N.
    pub b: [[f64; 3]; 3],
    /// D, N·m.
    pub d: [[f64; 3]; 3],
    /// Depth of the plate's underside below the reference plane, m.
    pub lower_face_m: f64,
}

impl Plate {
    /// A plate with free edges on springs.
    #[must_use]
    pub fn new(size_m: [f64; 2], bending: Bending, springs: Vec<Spring>) -> Self {
        Self {
            size_m,
            bending,
            springs,
            edges: Edges::default(),
            foundation_pa_per_m: 0.0,
            shear: None,
            section: None,
            ribs: Vec::new(),
        }
    }

    /// The same plate with its edges held.
    #[must_use]
    pub fn with_edges(mut self, edges: Edges) -> Self {
        self.edges = edges;
        self
    }

    /// The same plate on an even elastic foundation, Pa/m.
    #[must_use]
    pub fn with_foundation(mut self, foundation_pa_per_m: f64) -> Self {
        self.foundation_pa_per_m = foundation_pa_per_m;
        self
    }
}

impl Plate {
    /// The same plate with transverse shear. Its springs must then bear on more than a point, as a point sinks without end.
    #[must_use]
    pub fn with_shear(mut self, shear: Shear) -> Self {
        self.shear = Some(shear);
        self
    }

    /// The same plate with ribs glued under it; `section` is that of the plate without them.
    #[must_use]
    pub fn with_ribs(mut self, section: Section, ribs: Vec<Rib>) -> Self {
        self.section = Some(section);
        self.ribs = ribs;
        self
    }
}

/// Why a plate cannot be solved.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum PlateError {
    /// An input is NaN or infinite.
    #[error("{what} is {value}, expected a finite number")]
    NotFinite {
        /// The quantity.
        what: &'static str,
        /// What was found.
        value: f64,
    },
    /// A quantity that must be above zero is not.
    #[error("{what} is {value}, expected more than 0")]
    NotPositive {
        /// The quantity.
        what: &'static str,
        /// What was found.
        value: f64,
    },
    /// The stiffness matrix lets some bending cost no energy.
    #[error("the bending stiffness is not positive definite (d11 {d11}, d22 {d22}, d12 {d12}, d66 {d66} N·m)")]
    IndefiniteBending {
        /// N·m.
        d11: f64,
        /// N·m.
        d22: f64,
        /// N·m.
        d12: f64,
        /// N·m.
        d66: f64,
    },
    /// Fewer springs than hold a free plate.
    #[error("{n_springs} springs under a free plate, expected at least 3")]
    TooFewSprings {
        /// Springs found.
        n_springs: usize,
    },
    /// The springs lie on one line: the plate would tip over it.
    #[error(
        "the springs lie within {off_line_m:.6} m of one line, expected more than {needed_m:.6} m: the plate would tip"
    )]
    CollinearSprings {
        /// Root mean square distance of the springs from the line that fits them best, m.
        off_line_m: f64,
        /// Least distance that counts as off the line, m.
        needed_m: f64,
    },
    /// The plate can turn about its one held edge or about a spring.
    #[error("the edges and springs together do not hold the plate against tipping")]
    NotHeld,
    /// A spring does not lie on the plate.
    #[error("spring {index} at ({:.4}, {:.4}) m lies outside the plate of {:.4} × {:.4} m", at_m[0], at_m[1], size_m[0], size_m[1])]
    SpringOutside {
        /// Which spring, from 0.
        index: usize,
        /// Its place, m.
        at_m: [f64; 2],
        /// The plate's size, m.
        size_m: [f64; 2],
    },
    /// A rib does not lie under the plate.
    #[error("rib {index} from {from_m:.4} to {to_m:.4} m lies outside the plate of {across_m:.4} m across it")]
    RibOutside {
        /// Which rib, from 0.
        index: usize,
        /// Its one side, m.
        from_m: f64,
        /// Its other side, m.
        to_m: f64,
        /// The plate's side across it, m.
        across_m: f64,
    },
    /// A rib reaches the base before anything bends.
    #[error("rib {index} is {height_m:.4} m high, expected less than the clearance of {clearance_m:.4} m")]
    RibOnBase {
        /// Which rib, from 0.
        index: usize,
        /// Its height, m.
        height_m: f64,
        /// Gap under the plate, m.
        clearance_m: f64,
    },
    /// Ribs were given without the plate's section.
    #[error("{n_ribs} ribs but no section of the plate to glue them to")]
    NoSection {
        /// Ribs found.
        n_ribs: usize,
    },
    /// Two lists that belong together differ in length.
    #[error("{found} {what}, expected {expected}")]
    Mismatch {
        /// What was counted.
        what: &'static str,
        /// How many were found.
        found: usize,
        /// How many belong there.
        expected: usize,
    },
    /// A topology of another size, edges or fields.
    #[error("the topology belongs to another plate")]
    OtherTopology,
    /// A load does not lie on the plate.
    #[error("load {load} of case {case}, from ({:.4}, {:.4}) to ({:.4}, {:.4}) m, lies outside the plate of {:.4} × {:.4} m", from_m[0], from_m[1], to_m[0], to_m[1], size_m[0], size_m[1])]
    LoadOutside {
        /// Which case, from 0.
        case: usize,
        /// Which load of the case, from 0.
        load: usize,
        /// Its lower corner, m.
        from_m: [f64; 2],
        /// Its upper corner, m.
        to_m: [f64; 2],
        /// The plate's size, m.
        size_m: [f64; 2],
    },
    /// No pressed supports balance a load: its centre lies outside the hull of what could bear it.
    #[error("case {case} tips the plate: the load's centre at ({:.4}, {:.4}) m lies outside the hull of the supports that can bear it", centre_m[0], centre_m[1])]
    Tips {
        /// Which case, from 0.
        case: usize,
        /// Centre of the load, m; NaN when the forces add up to nothing.
        centre_m: [f64; 2],
    },
    /// The states of the supports kept changing.
    #[error("the contact of case {case} did not settle")]
    Unsettled {
        /// Which case, from 0.
        case: usize,
    },
    /// The stiffness matrix could not be factored: the numbers span more than double precision holds.
    #[error("the stiffness matrix of {n_dof} unknowns is not positive definite in double precision")]
    Factorization {
        /// Unknowns of the mesh.
        n_dof: usize,
    },
}

/// Springs within this share of the plate's diagonal of one line count as on it: 1 mm for a plate of 1 m. A real spring is
/// not placed better, and the reactions that hold such a plate level are a thousand times its load.
pub(crate) const COLLINEAR_SHARE: f64 = 1e-3;

/// Fails unless `value` is finite and above zero.
pub(crate) fn positive(what: &'static str, value: f64) -> Result<(), PlateError> {
    finite(what, value)?;
    if value > 0.0 { Ok(()) } else { Err(PlateError::NotPositive { what, value }) }
}

/// Fails unless `value` is finite.
pub(crate) fn finite(what: &'static str, value: f64) -> Result<(), PlateError> {
    if value.is_finite() { Ok(()) } else { Err(PlateError::NotFinite { what, value }) }
}

impl Plate {
    /// Checks every number of the plate and that its supports hold it.
    ///
    /// # Errors
    /// The first fault found, with what was found and what was expected.
    pub fn check(&self) -> Result<(), PlateError> {
        self.check_alone()?;
        self.check_these(&self.springs)?;
        self.check_held_by(self.springs.iter().map(|s| s.at_m))
    }

    /// Checks all but the springs.
    pub(crate) fn check_alone(&self) -> Result<(), PlateError> {
        positive("plate length along x, m", self.size_m[0])?;
        positive("plate length along y, m", self.size_m[1])?;
        for row in self.bending.matrix() {
            for value in row {
                finite("bending stiffness, N·m", value)?;
            }
        }
        if !self.bending.is_positive_definite() {
            let Bending { d11, d12, d22, d66, .. } = self.bending;
            return Err(PlateError::IndefiniteBending { d11, d22, d12, d66 });
        }
        finite("foundation, Pa/m", self.foundation_pa_per_m)?;
        if self.foundation_pa_per_m < 0.0 {
            return Err(PlateError::NotPositive { what: "foundation, Pa/m", value: self.foundation_pa_per_m });
        }
        self.check_rich()
    }

    /// Checks springs that are to stand under this plate.
    pub(crate) fn check_these(&self, springs: &[Spring]) -> Result<(), PlateError> {
        for (index, spring) in springs.iter().enumerate() {
            if self.shear.is_some() {
                positive("bearing of a spring under a shear-flexible plate, m", spring.bearing_m)?;
            }
            for axis in 0..2 {
                finite("spring place, m", spring.at_m[axis])?;
                if !(0.0..=self.size_m[axis]).contains(&spring.at_m[axis]) {
                    return Err(PlateError::SpringOutside { index, at_m: spring.at_m, size_m: self.size_m });
                }
            }
            let value = spring.stiffness_n_per_m;
            if value.is_nan() {
                return Err(PlateError::NotFinite { what: "spring stiffness, N/m", value });
            }
            if value <= 0.0 {
                return Err(PlateError::NotPositive { what: "spring stiffness, N/m", value });
            }
            finite("spring bearing, m", spring.bearing_m)?;
            if spring.bearing_m < 0.0 {
                return Err(PlateError::NotPositive { what: "spring bearing, m", value: spring.bearing_m });
            }
        }
        Ok(())
    }

    /// What only plates with ribs or transverse shear have.
    fn check_rich(&self) -> Result<(), PlateError> {
        if let Some(shear) = &self.shear {
            positive("shear stiffness along x, N/m", shear.x_n_per_m)?;
            positive("shear stiffness along y, N/m", shear.y_n_per_m)?;
        }
        if let Some(section) = &self.section {
            for value in section.a.iter().chain(&section.b).chain(&section.d).flatten() {
                finite("stiffness of the section", *value)?;
            }
            finite("depth of the underside, m", section.lower_face_m)?;
        } else if !self.ribs.is_empty() {
            return Err(PlateError::NoSection { n_ribs: self.ribs.len() });
        }
        self.ribs.iter().enumerate().try_for_each(|(index, rib)| rib.check(index, self.size_m))
    }

    /// Checks that springs at `places` hold the plate against tipping.
    pub(crate) fn check_held_by(&self, places: impl Iterator<Item = [f64; 2]>) -> Result<(), PlateError> {
        let places: Vec<_> = places.collect();
        let needed_m = COLLINEAR_SHARE * self.size_m[0].hypot(self.size_m[1]);
        match self.free_motions().len() {
            0 => Ok(()),
            // A plate that hangs on one edge is held by any spring off that edge.
            1 => {
                let off = |p: &[f64; 2]| {
                    let e = &self.edges;
                    if e.x0 != Edge::Free {
                        p[0]
                    } else if e.x1 != Edge::Free {
                        self.size_m[0] - p[0]
                    } else if e.y0 != Edge::Free {
                        p[1]
                    } else {
                        self.size_m[1] - p[1]
                    }
                };
                if places.iter().any(|p| off(p) > needed_m) { Ok(()) } else { Err(PlateError::NotHeld) }
            }
            _ if places.len() < 3 => Err(PlateError::TooFewSprings { n_springs: places.len() }),
            _ => {
                let off_line_m = off_line_m(&places);
                if off_line_m > needed_m { Ok(()) } else { Err(PlateError::CollinearSprings { off_line_m, needed_m }) }
            }
        }
    }

    /// Rigid motions that edges and foundation leave free, each as a + b x + c y.
    pub(crate) fn free_motions(&self) -> Vec<[f64; 3]> {
        let [lx, ly] = self.size_m;
        if self.foundation_pa_per_m > 0.0 {
            return Vec::new();
        }
        let e = &self.edges;
        let held: Vec<(Edge, [f64; 3])> = [
            (e.x0, [0.0, 1.0 / lx, 0.0]),
            (e.x1, [1.0, -1.0 / lx, 0.0]),
            (e.y0, [0.0, 0.0, 1.0 / ly]),
            (e.y1, [1.0, 0.0, -1.0 / ly]),
        ]
        .into_iter()
        .filter(|(edge, _)| *edge != Edge::Free)
        .collect();
        match held.as_slice() {
            // Moved about the centre, so that the three are of like size and nearly independent.
            [] => vec![[1.0, 0.0, 0.0], [-0.5, 1.0 / lx, 0.0], [-0.5, 0.0, 1.0 / ly]],
            [(Edge::Simple | Edge::Diaphragm, hinge)] => vec![*hinge],
            _ => Vec::new(),
        }
    }
}

/// Root mean square distance of points from the line that fits them best, m.
fn off_line_m(points: &[[f64; 2]]) -> f64 {
    let n = points.len() as f64;
    let mean = |axis: usize| points.iter().map(|p| p[axis]).sum::<f64>() / n;
    let (mx, my) = (mean(0), mean(1));
    let (mut sxx, mut sxy, mut syy) = (0.0, 0.0, 0.0);
    for p in points {
        let (dx, dy) = (p[0] - mx, p[1] - my);
        sxx += dx * dx / n;
        sxy += dx * dy / n;
        syy += dy * dy / n;
    }
    // Smaller eigenvalue of the scatter, from the determinant: the plain difference cancels when it is small.
    let larger = 0.5 * (sxx + syy) + (0.5 * (sxx - syy)).hypot(sxy);
    if larger > 0.0 { ((sxx * syy - sxy * sxy) / larger).max(0.0).sqrt() } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn springs(places: &[[f64; 2]]) -> Vec<Spring> {
        places.iter().map(|&p| Spring::point(p, 1e6)).collect()
    }

    fn plate(places: &[[f64; 2]]) -> Plate {
        Plate::new([0.9, 0.5], Bending::isotropic_of(1400.0, 0.3), springs(places))
    }

    #[test]
    fn a_held_plate_passes() {
        assert_eq!(plate(&[[0.1, 0.1], [0.8, 0.1], [0.4, 0.4]]).check(), Ok(()));
    }

    #[test]
    fn springs_on_one_line_are_refused() {
        let error = plate(&[[0.1, 0.1], [0.5, 0.3], [0.3, 0.2], [0.7, 0.4]]).check();
        assert!(matches!(error, Err(PlateError::CollinearSprings { .. })), "{error:?}");
    }

    #[test]
    fn two_springs_are_refused() {
        let error = plate(&[[0.1, 0.1], [0.5, 0.3]]).check();
        assert_eq!(error, Err(PlateError::TooFewSprings { n_springs: 2 }));
    }

    #[test]
    fn each_bad_number_is_named() {
        let good = || plate(&[[0.1, 0.1], [0.8, 0.1], [0.4, 0.4]]);
        let mut p = good();
        p.size_m[1] = 0.0;
        assert!(matches!(p.check(), Err(PlateError::NotPositive { what, .. }) if what.contains("along y")));
        let mut p = good();
        p.springs[1].stiffness_n_per_m = -1.0;
        assert!(matches!(p.check(), Err(PlateError::NotPositive { what, .. }) if what.contains("stiffness")));
        let mut p = good();
        p.springs[2].at_m = [0.4, 0.51];
        assert!(matches!(p.check(), Err(PlateError::SpringOutside { index: 2, .. })));
        let mut p = good();
        p.bending.d12 = 2.0 * p.bending.d11;
        assert!(matches!(p.check(), Err(PlateError::IndefiniteBending { .. })));
        let mut p = good();
        p.bending.d22 = f64::NAN;
        assert!(matches!(p.check(), Err(PlateError::NotFinite { .. })));
    }

    #[test]
    fn one_hinged_edge_needs_a_spring_off_it() {
        let edges = Edges { x0: Edge::Simple, ..Edges::default() };
        assert_eq!(plate(&[[0.0, 0.2]]).with_edges(edges).check(), Err(PlateError::NotHeld));
        assert_eq!(plate(&[[0.8, 0.2]]).with_edges(edges).check(), Ok(()));
    }
}
