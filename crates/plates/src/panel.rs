//! A plate without its springs, factored and ready to answer loads.
//!
//! A free plate has no stiffness against rigid motion. Its three corners w(0,0), w(Lx,0), w(0,Ly) are therefore pinned
//! while its flexibility is found. Loads and reactions together are in balance, so the pins carry nothing, and the rigid
//! motion is put back by the few equations of `supports`. The factor thus depends on the grid and the stiffness D alone:
//! springs may be moved, softened, made rigid or let go without factoring again, and D scaled as a whole scales the answer.
//!
//! Source: the force (flexibility) method of structural analysis for statically indeterminate supports.

use std::sync::Arc;

use crate::assembly::Pattern;
use crate::coupled::Matrices;
use crate::dissection;
use crate::factor::{Factor, Symbolic};
use crate::fields::Fields;
use crate::functional::Functional;
use crate::load::LoadCase;
use crate::mesh::Grid;
use crate::plate::{Bending, Edge, Edges, Plate, PlateError};
use crate::ribs::{Along, Rib};

/// What all plates of one grid and one kind of edges share: the sparse pattern and the order of elimination.
#[derive(Debug)]
pub struct Topology {
    fields: Arc<Fields>,
    pattern: Pattern,
    symbolic: Symbolic,
}

/// A factored plate without springs.
#[derive(Debug)]
pub struct Panel {
    topology: Arc<Topology>,
    bending: Bending,
    foundation_pa_per_m: f64,
    /// Rigid motions that edges and foundation leave free, each as dof.
    motions: Vec<Vec<f64>>,
    matrices: Matrices,
    factor: Factor,
}

impl Topology {
    /// For plates like `plate` (size, edges, with or without foundation) on a grid of `n_elements` along x and y.
    ///
    /// # Errors
    /// When the order of elimination cannot be found for want of memory.
    pub fn new(plate: &Plate, n_elements: [usize; 2]) -> Result<Self, PlateError> {
        let has_ribs = !plate.ribs.is_empty();
        let lines = |along| plate.ribs.iter().filter(|r| r.along == along).flat_map(Rib::sides_m).collect::<Vec<f64>>();
        // Lines along a rib's sides: strains jump there.
        let grid = Grid::through(plate.size_m, n_elements, [&lines(Along::Y), &lines(Along::X)]);
        let fields = Fields { grid, membrane: has_ribs, shear: plate.shear.is_some() };
        let mut held = fields.held(&plate.edges);
        let n_motions = plate.free_motions().len();
        for corner in pins(&fields.grid, &plate.edges, n_motions) {
            held[4 * corner] = true;
        }
        let pattern = Pattern::new(&fields.connectivity(), fields.per_element(), &held, &dissection::order(&fields));
        let symbolic = Symbolic::new(&pattern)?;
        Ok(Self { fields: Arc::new(fields), pattern, symbolic })
    }

    /// The grid.
    #[must_use]
    pub fn grid(&self) -> &Grid {
        &self.fields.grid
    }

    /// Number of unknowns.
    #[must_use]
    pub fn n_unknowns(&self) -> usize {
        self.pattern.n_unknowns()
    }
}

/// Corners to pin so that no rigid motion is left.
fn pins(grid: &Grid, edges: &Edges, n_motions: usize) -> Vec<usize> {
    let (nx, ny) = (grid.x.n_elements(), grid.y.n_elements());
    match n_motions {
        0 => Vec::new(),
        // A corner off the one hinged edge.
        1 => vec![if edges.x0 != Edge::Free || edges.y0 != Edge::Free { grid.node(nx, ny) } else { grid.node(0, 0) }],
        _ => vec![grid.node(0, 0), grid.node(nx, 0), grid.node(0, ny)],
    }
}

/// Dof of a + b x + c y.
fn motion_dof(fields: &Fields, [a, b, c]: [f64; 3]) -> Vec<f64> {
    let grid = &fields.grid;
    let mut dof: Vec<f64> = (0..grid.n_nodes())
        .flat_map(|node| {
            let [x, y] = grid.node_at_m(node);
            [a + b * x + c * y, b * grid.x.scale_m(), c * grid.y.scale_m(), 0.0]
        })
        .collect();
    // A rigid motion neither stretches nor shears.
    dof.resize(fields.n_dof(), 0.0);
    dof
}

impl Panel {
    /// Factors the stiffness of `plate` without its springs.
    ///
    /// # Errors
    /// When the stiffness matrix is not positive definite in double precision.
    pub fn new(topology: Arc<Topology>, plate: &Plate) -> Result<Self, PlateError> {
        let matrices = Matrices::new(&topology.fields, plate);
        let mut values = topology.pattern.zeros();
        for (element, k) in matrices.parts() {
            topology.pattern.add(element, k, &mut values);
        }
        let factor = topology.symbolic.factor(&topology.pattern, &values)?;
        let motions = plate.free_motions().into_iter().map(|motion| motion_dof(&topology.fields, motion)).collect();
        Ok(Self {
            bending: plate.bending,
            foundation_pa_per_m: plate.foundation_pa_per_m,
            motions,
            matrices,
            factor,
            topology,
        })
    }

    /// The plate's bending stiffness.
    #[must_use]
    pub fn bending(&self) -> &Bending {
        &self.bending
    }

    /// The foundation, Pa/m.
    #[must_use]
    pub fn foundation_pa_per_m(&self) -> f64 {
        self.foundation_pa_per_m
    }

    pub(crate) fn fields(&self) -> &Arc<Fields> {
        &self.topology.fields
    }

    pub(crate) fn grid(&self) -> &Grid {
        &self.topology.fields.grid
    }

    pub(crate) fn motions(&self) -> &[Vec<f64>] {
        &self.motions
    }

    /// A reading as a load vector over all dof: a unit force there.
    pub(crate) fn vector(&self, reading: &Functional) -> Vec<f64> {
        let mut vector = vec![0.0; self.topology.fields.n_dof()];
        reading.add_to(1.0, &mut vector);
        vector
    }

    /// Load vector of a case over all dof.
    pub(crate) fn load_vector(&self, case: &LoadCase) -> Vec<f64> {
        let mut vector = vec![0.0; self.topology.fields.n_dof()];
        for load in &case.loads {
            Functional::load(self.grid(), load).add_to(1.0, &mut vector);
        }
        vector
    }

    /// Deflections (all dof) of the pinned plate under each load vector.
    pub(crate) fn deflections(&self, loads: &[Vec<f64>]) -> Vec<Vec<f64>> {
        let pattern = &self.topology.pattern;
        let n = pattern.n_unknowns();
        if n == 0 {
            return loads.to_vec();
        }
        let mut block = vec![0.0; n * loads.len()];
        for (load, column) in loads.iter().zip(block.chunks_exact_mut(n)) {
            pattern.gather(load, column);
        }
        self.topology.symbolic.solve(&self.factor, &mut block);
        block.chunks_exact(n).map(|column| pattern.scatter(column)).collect()
    }

    /// Adds rigid motions to a field.
    pub(crate) fn add_motions(&self, amounts: &[f64], dof: &mut [f64]) {
        for (amount, motion) in amounts.iter().zip(&self.motions) {
            for (value, z) in dof.iter_mut().zip(motion) {
                *value += amount * z;
            }
        }
    }

    /// What the foundation and the held edges carry: each the force, N, and its moments about the plate's middle, N·m.
    ///
    /// `pressed` is the load less the springs' reactions over all dof. The stiffness times the deflection does no work on a
    /// rigid motion but for the foundation's part; what is missing at held dof comes from the edges.
    pub(crate) fn other_reactions(&self, pressed: &[f64], dof: &[f64]) -> [[f64; 3]; 2] {
        let size_m = self.grid().size_m();
        let forces = self.forces(dof);
        let rigid = [[1.0, 0.0, 0.0], [-0.5 * size_m[0], 1.0, 0.0], [-0.5 * size_m[1], 0.0, 1.0]]
            .map(|motion| motion_dof(&self.topology.fields, motion));
        let foundation = rigid.each_ref().map(|v| {
            if self.foundation_pa_per_m > 0.0 { v.iter().zip(&forces).map(|(v, f)| v * f).sum() } else { 0.0 }
        });
        let edges = rigid.each_ref().map(|v| {
            (0..dof.len()).filter(|&i| self.topology.pattern.is_held(i)).map(|i| v[i] * (pressed[i] - forces[i])).sum()
        });
        [foundation, edges]
    }

    /// Forces K w over all dof, held ones too.
    fn forces(&self, dof: &[f64]) -> Vec<f64> {
        let fields = &self.topology.fields;
        let nx = fields.grid.x.n_elements();
        let mut forces = vec![0.0; dof.len()];
        for (element, packed) in self.matrices.parts() {
            let ids: Vec<usize> = fields.element_dof(element % nx, element / nx).collect();
            let mut entries = packed.iter();
            for (i, &row) in ids.iter().enumerate() {
                for (&column, &k) in ids[..=i].iter().zip(&mut entries) {
                    forces[row] += k * dof[column];
                    if row != column {
                        forces[column] += k * dof[row];
                    }
                }
            }
        }
        forces
    }
}
