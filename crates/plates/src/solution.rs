//! What a solved plate tells: deflection, slope and moments anywhere, reactions, extremes, balance and error estimate.

use std::sync::Arc;

use crate::coupled::along_rib;
use crate::fields::Fields;
use crate::functional::read_at;
use crate::mesh::Grid;
use crate::plate::Plate;
use crate::ribs::{Along, RibStress};
use crate::view::{View, sample_places_m};

/// Bending and twisting moments per width, N·m/m; sagging (tension at the underside) positive.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Moments {
    /// Of stresses along x.
    pub x: f64,
    /// Of stresses along y.
    pub y: f64,
    /// Twisting.
    pub xy: f64,
}

/// Strains of a plate's section at a point.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Strains {
    /// Of the reference plane: along x, along y, shear; all 0 where the plate has no field of its own for them.
    pub membrane: [f64; 3],
    /// Curvatures along x, along y and twice the twist, 1/m.
    pub curvature: [f64; 3],
}

/// An extreme deflection and its place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Extreme {
    /// m, down positive.
    pub deflection_m: f64,
    /// Where, m.
    pub at_m: [f64; 2],
}

/// What is left over when all forces and moments are added up; 0 but for round-off.
///
/// The load's part is taken from the loads' own areas and centres, not from the mesh.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Balance {
    /// Reactions less loads, N.
    pub force_newton: f64,
    /// Their moments Σ F (x − x_centre) about the plate's centre, N·m.
    pub moment_x_newton_m: f64,
    /// Their moments Σ F (y − y_centre), N·m.
    pub moment_y_newton_m: f64,
    /// Largest force by which a spring's reaction misses its stiffness times its shortening, N.
    pub spring_law_newton: f64,
}

/// A place where the plate presses on its base.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Touch {
    /// Where, m.
    pub at_m: [f64; 2],
    /// N.
    pub force_newton: f64,
}

/// How well the conditions of contact are met: pressed or open, never both, never neither. All 0 but for round-off and, for
/// the penetration between the points of contact, for the stated share of the clearance.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Complementarity {
    /// Deepest point of the plate below its base, or at a spring that was let go, m.
    pub penetration_m: f64,
    /// Hardest pull among springs and points of contact, N.
    pub pull_newton: f64,
    /// Largest product of a force and the room at the same place, N·m.
    pub product_newton_m: f64,
    /// States changed before all held.
    pub n_changes: usize,
}

/// How far the mesh may be from the exact answer.
///
/// Both are twice the change from a mesh of half as many lines. The error falls by about 4 with each halving, so that a third
/// of the change is to be expected; the rest is safety, as supports between the lines make the fall uneven.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct ErrorEstimate {
    /// Of the deflection anywhere, as a share of the largest.
    pub deflection: f64,
    /// Of a reaction, as a share of the load.
    pub reaction: f64,
}

/// A plate's answer to one load case.
#[derive(Debug, Clone)]
pub struct Solution {
    pub(crate) fields: Arc<Fields>,
    pub(crate) plate: Arc<Plate>,
    pub(crate) dof: Vec<f64>,
    /// Reaction of each spring, N, pressed positive.
    pub reactions_newton: Vec<f64>,
    /// Slope (∂w/∂x, ∂w/∂y) of the plate at each spring's place, rad.
    pub spring_slopes: Vec<[f64; 2]>,
    /// Springs from which the plate lifts off; all false where springs may pull.
    pub lifts: Vec<bool>,
    /// Where the plate presses on its base.
    pub touches: Vec<Touch>,
    /// What the base carries past the springs, N.
    pub shunted_newton: f64,
    /// The proof of the contact; `None` where springs may pull and there is no base.
    pub complementarity: Option<Complementarity>,
    /// What held edges carry in all, N.
    pub edge_reaction_newton: f64,
    /// What the foundation carries in all, N.
    pub foundation_reaction_newton: f64,
    /// The load, N.
    pub load_newton: f64,
    /// The largest deflection down.
    pub max: Extreme,
    /// The smallest deflection; below 0 where the plate rises.
    pub min: Extreme,
    /// What is left over in the balance.
    pub balance: Balance,
    /// Discretization error, from a second, coarser mesh; `None` when only one mesh was solved.
    pub estimate: Option<ErrorEstimate>,
}

impl Solution {
    /// What the base carries, as a share of the load; 0 for no load.
    #[must_use]
    pub fn shunted_share(&self) -> f64 {
        if self.load_newton == 0.0 { 0.0 } else { self.shunted_newton / self.load_newton }
    }

    /// The plate that was solved.
    #[must_use]
    pub fn plate(&self) -> &Plate {
        &self.plate
    }

    /// True when the plate has ribs, so that its reference plane stretches by a field of its own.
    #[must_use]
    pub fn has_ribs(&self) -> bool {
        self.fields.membrane
    }

    /// The grid that it was solved on.
    #[must_use]
    pub fn grid(&self) -> &Grid {
        &self.fields.grid
    }

    /// Deflection at a point of the plate, m, down positive. A point outside is taken to the nearest edge.
    #[must_use]
    pub fn deflection_m(&self, at_m: [f64; 2]) -> f64 {
        read_at(self.grid(), &self.dof, at_m, 0, 0)
    }

    /// Slope (∂w/∂x, ∂w/∂y) at a point, rad.
    #[must_use]
    pub fn slope(&self, at_m: [f64; 2]) -> [f64; 2] {
        [(1, 0), (0, 1)].map(|(dx, dy)| read_at(self.grid(), &self.dof, at_m, dx, dy))
    }

    /// Strains at a point; on a grid line the mean of both sides, as the second derivatives of the cubics jump there.
    #[must_use]
    pub fn strains(&self, at_m: [f64; 2]) -> Strains {
        self.view().strains(at_m)
    }

    /// Moments at a point, of the plate without its ribs; on a grid line the mean of both sides.
    ///
    /// Under a point load or a point support the exact moment is infinite; what is given there depends on the mesh.
    #[must_use]
    pub fn moments(&self, at_m: [f64; 2]) -> Moments {
        self.view().moments(at_m)
    }

    /// Transverse shear forces per width (in the planes x–z and y–z) at a point, N/m; `None` for a thin plate, which has no
    /// field of its own for them.
    #[must_use]
    pub fn shear_forces(&self, at_m: [f64; 2]) -> Option<[f64; 2]> {
        let shear = self.plate.shear?;
        let (x, y) = (self.grid().x.locate(at_m[0]), self.grid().y.locate(at_m[1]));
        let view = self.view();
        let rows = view.rows(x, y);
        let strain = |i: usize| view.apply(&rows.shear[i], x.0, y.0);
        Some([shear.x_n_per_m * strain(0), shear.y_n_per_m * strain(1)])
    }

    /// Stresses of rib number `rib` at the ends and the middle of each element along it; empty for no such rib.
    #[must_use]
    pub fn rib_stresses(&self, rib: usize) -> Vec<RibStress> {
        let (Some(rib), Some(section)) = (self.plate.ribs.get(rib), &self.plate.section) else { return Vec::new() };
        let grid = self.grid();
        let line = if rib.along == Along::X { &grid.x } else { &grid.y };
        let places = (0..line.n_elements()).flat_map(|e| [0.0, 0.5, 1.0].map(|t| (e, t)));
        places
            .map(|(e, t)| {
                let (x, y) = match rib.along {
                    Along::X => ((e, t), grid.y.locate(rib.at_m)),
                    Along::Y => (grid.x.locate(rib.at_m), (e, t)),
                };
                let view = self.view();
                let rows = view.rows(x, y);
                let (strain, curvature) = along_rib(&rows, rib.along);
                let (strain, curvature) = (view.apply(strain, x.0, y.0), view.apply(curvature, x.0, y.0));
                let at = line.lines_m()[e] + t * line.side(e).length_m;
                let stress = |z_m: f64| rib.e_pa * (strain + z_m * curvature);
                RibStress {
                    at_m: if rib.along == Along::X { [at, rib.at_m] } else { [rib.at_m, at] },
                    top_pa: stress(section.lower_face_m),
                    bottom_pa: stress(section.lower_face_m + rib.height_m),
                }
            })
            .collect()
    }

    fn view(&self) -> View<'_> {
        View { fields: &self.fields, plate: &self.plate, dof: &self.dof }
    }

    /// Deflections at `nx` × `ny` points (at least 2 each) spread evenly from edge to edge, a row a y, for a heat map, m.
    #[must_use]
    pub fn sample_m(&self, nx: usize, ny: usize) -> Vec<Vec<f64>> {
        let place = |i: usize, n: usize, length: f64| length * i as f64 / (n.max(2) - 1) as f64;
        let [lx, ly] = self.grid().size_m();
        (0..ny.max(2))
            .map(|j| (0..nx.max(2)).map(|i| self.deflection_m([place(i, nx, lx), place(j, ny, ly)])).collect())
            .collect()
    }

    /// Every node and every element's middle: the places to look for the worst stress at.
    pub fn sample_places_m(&self) -> impl Iterator<Item = [f64; 2]> {
        sample_places_m(self.grid())
    }

    /// Moments at [`Self::sample_places_m`], with the places.
    pub fn moment_samples(&self) -> impl Iterator<Item = ([f64; 2], Moments)> {
        self.sample_places_m().map(|at_m| (at_m, self.moments(at_m)))
    }
}
