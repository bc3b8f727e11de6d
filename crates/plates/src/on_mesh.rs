//! One plate, one mesh, all load cases: from input to [`Solution`].

use std::sync::Arc;

use crate::contact::{Settled, Unsettled, settle};
use crate::extremes::extremes;
use crate::functional::{Functional, read_at};
use crate::load::LoadCase;
use crate::panel::{Panel, Topology};
use crate::plate::{Edges, Plate, PlateError};
use crate::ribs::{Along, Rib};
use crate::solution::{Balance, Complementarity, Solution, Touch};
use crate::solve::Bearing;
use crate::supports::{Support, Supports};

/// The plate may dip below its base between points of contact by this share of the clearance, before another point is set
/// there: a tenth of what the mesh's error leaves open.
const DIP: f64 = 1e-3;
/// Points a side at which an element is sampled for the largest deflection.
const SAMPLES: usize = 4;
/// In one pass the nodes are added that lie this share of the deepest below the base, or deeper: the rest mostly come free
/// when those are held, and each costs a solve.
const DEEP: f64 = 0.8;
/// The same where a plate lies flat on its base: most of its nodes will bear in the end.
const DEEP_FLAT: f64 = 0.2;
/// Passes after which a plate counts as lying flat; 3 to 10 are the rule.
const PASSES: usize = 10;
/// Passes in which points between nodes are added. A plate that is pressed flat bulges in every element at the edge of its
/// contact, and one mesh cannot follow that to any depth: what is left then stands in the proof as its penetration.
const PASSES_BETWEEN: usize = 10;
/// Of those the first that add one point each; 1 or 2 are the rule.
const ONE_DIP: usize = 4;

/// A place this near to the edge of a rib lies on it, m.
const EDGE_M: f64 = 1e-9;

/// A rigid base under the plate.
#[derive(Debug)]
struct Base {
    clearance_m: f64,
    /// Places of the points of contact, in the order of the supports after the springs.
    points_m: Vec<[f64; 2]>,
}

/// Solves checked input on one mesh.
pub(crate) fn on_mesh(
    plate: &Plate,
    cases: &[LoadCase],
    bearing: Bearing,
    n_elements: [usize; 2],
) -> Result<Vec<Solution>, PlateError> {
    let panel = Panel::new(Arc::new(Topology::new(plate, n_elements)?), plate)?;
    let loads: Vec<Vec<f64>> = cases.iter().map(|case| panel.load_vector(case)).collect();
    let fields = panel.deflections(&loads);
    let mut job = Job::new(plate, &panel, bearing);
    let mut settled = Vec::with_capacity(cases.len());
    for (index, (load, field)) in loads.iter().zip(&fields).enumerate() {
        let state = job.settle(load, field).map_err(|reason| match reason {
            Unsettled::Endless => PlateError::Unsettled { case: index },
            Unsettled::Tips => {
                PlateError::Tips { case: index, centre_m: cases[index].centre_m(plate.size_m).unwrap_or([f64::NAN; 2]) }
            }
        })?;
        settled.push(state);
    }
    // The fields under loads and reactions together, as one block.
    let pressed: Vec<Vec<f64>> = loads.iter().zip(&settled).map(|(load, state)| job.pressed(load, state)).collect();
    let shared = Arc::new(plate.clone());
    Ok(panel
        .deflections(&pressed)
        .into_iter()
        .zip(&pressed)
        .zip(settled.iter().zip(cases))
        .map(|((mut dof, pressed), (state, case))| {
            panel.add_motions(&state.answer.motions, &mut dof);
            job.describe(case, state, pressed, dof, &shared)
        })
        .collect())
}

/// How far a place lies from the axis of a rib, m.
fn off_axis_m(rib: &Rib, at_m: [f64; 2]) -> f64 {
    (if rib.along == Along::X { at_m[1] } else { at_m[0] } - rib.at_m).abs()
}

/// What the load cases of one plate share.
struct Job<'a> {
    plate: &'a Plate,
    panel: &'a Panel,
    supports: Supports,
    bearing: Bearing,
    base: Option<Base>,
}

impl<'a> Job<'a> {
    fn new(plate: &'a Plate, panel: &'a Panel, bearing: Bearing) -> Self {
        let grid = panel.grid();
        let mut supports = Supports::new(panel);
        let springs = plate.springs.iter().map(|spring| Support {
            reading: Functional::spring(grid, spring),
            compliance_m_per_n: 1.0 / spring.stiffness_n_per_m,
            gap_m: 0.0,
        });
        supports.extend(panel, springs.collect());
        let base = match bearing {
            Bearing::Pressed { clearance_m: Some(clearance_m) } => Some(Base { clearance_m, points_m: Vec::new() }),
            _ => None,
        };
        let mut job = Self { plate, panel, supports, bearing, base };
        let [lx, ly] = plate.size_m;
        job.add_points(&[[0.0, 0.0], [lx, 0.0], [0.0, ly], [lx, ly]]);
        job
    }

    /// Lets the plate touch the base at more points; nothing where there is no base.
    fn add_points(&mut self, points_m: &[[f64; 2]]) {
        let gaps: Vec<f64> = points_m.iter().map(|&at_m| self.gap_m(at_m)).collect();
        let Some(base) = &mut self.base else { return };
        base.points_m.extend_from_slice(points_m);
        let added = points_m.iter().zip(gaps).map(|(&at_m, gap_m)| Support {
            reading: Functional::at(self.panel.grid(), at_m, 0, 0),
            compliance_m_per_n: 0.0,
            gap_m,
        });
        self.supports.extend(self.panel, added.collect());
    }

    /// Free gap to the base at a point, m: less where a rib hangs below the plate; infinite for no base.
    fn gap_m(&self, at_m: [f64; 2]) -> f64 {
        let Some(base) = &self.base else { return f64::INFINITY };
        let below = |rib: &Rib| if off_axis_m(rib, at_m) <= 0.5 * rib.width_m + EDGE_M { rib.height_m } else { 0.0 };
        base.clearance_m - self.plate.ribs.iter().map(below).fold(0.0, f64::max)
    }

    /// Places on both lower edges of each rib, `n` in every element: a rib that leans bears on an edge, and edges are at the same
    /// place on every mesh, which nodes under a rib are not.
    fn rib_edges(&self, n: u32) -> Vec<[f64; 2]> {
        let grid = self.panel.grid();
        let mut places = Vec::new();
        for rib in &self.plate.ribs {
            let (along, across) = if rib.along == Along::X { (0, 1) } else { (1, 0) };
            let line = if along == 0 { &grid.x } else { &grid.y };
            let steps = line.lines_m().windows(2);
            let mut along_m: Vec<f64> =
                steps.flat_map(|w| (0..n).map(|i| w[0] + (w[1] - w[0]) * f64::from(i) / f64::from(n))).collect();
            along_m.push(self.plate.size_m[along]);
            for edge in [-0.5, 0.5] {
                let across_m = (rib.at_m + edge * rib.width_m).clamp(0.0, self.plate.size_m[across]);
                places.extend(along_m.iter().map(|&at| if along == 0 { [at, across_m] } else { [across_m, at] }));
            }
        }
        places
    }

    /// The deepest place below the base, between nodes too, and how deep it is, m; below 0 where nothing reaches it.
    fn deepest(&self, dof: &[f64]) -> (f64, [f64; 2]) {
        let grid = self.panel.grid();
        let plate = extremes::<SAMPLES>(grid, dof)[0].at_m;
        std::iter::once(plate)
            .chain(self.rib_edges(4))
            .map(|at_m| (read_at(grid, dof, at_m, 0, 0) - self.gap_m(at_m), at_m))
            .fold((f64::NEG_INFINITY, plate), |a, b| if b.0 > a.0 { b } else { a })
    }

    fn n_springs(&self) -> usize {
        self.plate.springs.len()
    }

    fn settle(&mut self, load: &[f64], field: &[f64]) -> Result<Settled, Unsettled> {
        let all_springs = |n: usize| (0..n).map(|j| j < self.plate.springs.len()).collect::<Vec<_>>();
        let mut demand = self.supports.demand(self.panel, load, field);
        if self.bearing == Bearing::Bilateral {
            let bearing = all_springs(self.supports.len());
            let answer = self.supports.answer(&bearing, &demand).ok_or(Unsettled::Tips)?;
            return Ok(Settled { bearing, answer, n_changes: 0 });
        }
        let mut state = settle(&self.supports, &demand, self.n_springs(), all_springs(self.supports.len()))?;
        // Every pass holds at least one more node, so that the first part ends.
        let (mut n_passes, mut n_between) = (0, 0);
        loop {
            let dof = self.deflected(load, &state);
            let mut missing = self.nodes_below(&dof, if n_passes < PASSES { DEEP } else { DEEP_FLAT });
            if missing.is_empty() && n_between < PASSES_BETWEEN {
                missing = self.dips(&dof, n_between >= ONE_DIP);
                n_between += 1;
            }
            if missing.is_empty() {
                return Ok(state);
            }
            n_passes += 1;
            self.add_points(&missing);
            demand = self.supports.demand(self.panel, load, field);
            let mut bearing = state.bearing.clone();
            bearing.resize(self.supports.len(), false);
            let mut next = settle(&self.supports, &demand, self.n_springs(), bearing)?;
            next.n_changes += state.n_changes;
            state = next;
        }
    }

    /// The field under a load and the supports' forces.
    fn deflected(&self, load: &[f64], state: &Settled) -> Vec<f64> {
        let mut dof = self.panel.deflections(&[self.pressed(load, state)]).remove(0);
        self.panel.add_motions(&state.answer.motions, &mut dof);
        dof
    }

    /// Nodes and places on the edges of ribs that lie below the base, those at `deep` of the deepest or deeper.
    fn nodes_below(&self, dof: &[f64], deep: f64) -> Vec<[f64; 2]> {
        let Some(base) = &self.base else { return Vec::new() };
        let grid = self.panel.grid();
        let under_rib = |at_m| self.plate.ribs.iter().any(|rib| off_axis_m(rib, at_m) <= 0.5 * rib.width_m + EDGE_M);
        let on_ribs = self.rib_edges(1).into_iter().map(|at_m| (read_at(grid, dof, at_m, 0, 0), at_m));
        let nodes: Vec<(f64, [f64; 2])> = (0..grid.n_nodes())
            .map(|node| (dof[4 * node], grid.node_at_m(node)))
            .filter(|(_, at_m)| !under_rib(*at_m))
            .chain(on_ribs)
            .map(|(w, at_m)| (w - self.gap_m(at_m), at_m))
            .filter(|(depth_m, at_m)| *depth_m > 0.1 * DIP * base.clearance_m && !base.points_m.contains(at_m))
            .collect();
        let deepest_m = nodes.iter().fold(0.0, |deepest: f64, node| deepest.max(node.0));
        nodes.into_iter().filter(|node| node.0 >= deep * deepest_m).map(|node| node.1).collect()
    }

    /// Places between nodes that lie below the base: the deepest of all, and where `many` that of each element that reaches half
    /// as deep.
    fn dips(&self, dof: &[f64], many: bool) -> Vec<[f64; 2]> {
        let Some(base) = &self.base else { return Vec::new() };
        let (deepest_m, at_m) = self.deepest(dof);
        let allowed_m = DIP * base.clearance_m;
        if deepest_m <= allowed_m {
            return Vec::new();
        }
        if !many {
            return vec![at_m];
        }
        let grid = self.panel.grid();
        let of_element = |ex: usize, ey: usize| {
            let inside = (1..SAMPLES).flat_map(|i| (1..SAMPLES).map(move |j| [i, j]));
            inside
                .map(|t| {
                    std::array::from_fn(|i| {
                        let axis = if i == 0 { &grid.x } else { &grid.y };
                        let lines = &axis.lines_m()[[ex, ey][i]..];
                        lines[0] + (lines[1] - lines[0]) * t[i] as f64 / SAMPLES as f64
                    })
                })
                .map(|at_m| (read_at(grid, dof, at_m, 0, 0) - self.gap_m(at_m), at_m))
                .fold((f64::NEG_INFINITY, at_m), |a, b| if b.0 > a.0 { b } else { a })
        };
        let others = (0..grid.n_elements())
            .map(|e| of_element(e % grid.x.n_elements(), e / grid.x.n_elements()))
            .filter(|(depth_m, at_m)| *depth_m > allowed_m.max(0.5 * deepest_m) && !base.points_m.contains(at_m))
            .map(|(_, at_m)| at_m);
        std::iter::once(at_m).chain(others).collect()
    }

    /// Load vector less the supports' forces.
    fn pressed(&self, load: &[f64], state: &Settled) -> Vec<f64> {
        let mut pressed = load.to_vec();
        for (j, force) in state.answer.forces_newton.iter().enumerate() {
            if *force != 0.0 {
                self.supports.get(j).reading.add_to(-force, &mut pressed);
            }
        }
        pressed
    }

    /// Reads everything off a solved field.
    fn describe(
        &self,
        case: &LoadCase,
        state: &Settled,
        pressed: &[f64],
        dof: Vec<f64>,
        plate: &Arc<Plate>,
    ) -> Solution {
        let grid = self.panel.grid();
        let slope = |at_m| [(1, 0), (0, 1)].map(|(dx, dy)| read_at(grid, &dof, at_m, dx, dy));
        let (springs, points) = state.answer.forces_newton.split_at(self.n_springs());
        let touches: Vec<Touch> = self
            .base
            .iter()
            .flat_map(|base| &base.points_m)
            .zip(points)
            .filter(|(_, force)| **force > 0.0)
            .map(|(&at_m, &force_newton)| Touch { at_m, force_newton })
            .collect();
        let [max, min] = extremes::<SAMPLES>(grid, &dof);
        let mut solution = Solution {
            fields: Arc::clone(self.panel.fields()),
            plate: Arc::clone(plate),
            reactions_newton: springs.to_vec(),
            spring_slopes: self.plate.springs.iter().map(|s| slope(s.at_m)).collect(),
            lifts: state.bearing[..self.n_springs()].iter().map(|bears| !bears).collect(),
            // Folded from 0: the sum of nothing is −0, which would be printed so.
            shunted_newton: touches.iter().fold(0.0, |sum, t| sum + t.force_newton),
            touches,
            complementarity: None,
            edge_reaction_newton: 0.0,
            foundation_reaction_newton: 0.0,
            load_newton: case.force_newton(self.plate.size_m),
            max,
            min,
            balance: Balance::default(),
            estimate: None,
            dof,
        };
        if self.bearing != Bearing::Bilateral {
            solution.complementarity = Some(self.complementarity(state, &solution.dof));
        }
        self.balance(case, state, pressed, &mut solution);
        solution
    }

    /// Checks the conditions of contact on the final field, not on the quantities that the state was found with.
    fn complementarity(&self, state: &Settled, dof: &[f64]) -> Complementarity {
        let mut found = Complementarity { n_changes: state.n_changes, ..Complementarity::default() };
        if self.base.is_some() {
            found.penetration_m = self.deepest(dof).0.max(0.0);
        }
        for (j, &force) in state.answer.forces_newton.iter().enumerate() {
            let room_m = self.room_m(j, force, dof);
            found.penetration_m = found.penetration_m.max(-room_m);
            found.pull_newton = found.pull_newton.max(-force);
            found.product_newton_m = found.product_newton_m.max((force * room_m).abs());
        }
        found
    }

    fn room_m(&self, j: usize, force_newton: f64, dof: &[f64]) -> f64 {
        let support = self.supports.get(j);
        support.gap_m + support.compliance_m_per_n * force_newton - support.reading.of(dof)
    }

    /// Adds up reactions and loads and their moments about the plate's middle.
    fn balance(&self, case: &LoadCase, state: &Settled, pressed: &[f64], solution: &mut Solution) {
        let plate = self.plate;
        let middle = [0.5 * plate.size_m[0], 0.5 * plate.size_m[1]];
        let mut sums = [0.0; 3];
        let mut add = |force: f64, at_m: [f64; 2]| {
            sums[0] += force;
            sums[1] += force * (at_m[0] - middle[0]);
            sums[2] += force * (at_m[1] - middle[1]);
        };
        for (spring, reaction) in plate.springs.iter().zip(&solution.reactions_newton) {
            add(*reaction, spring.bears_at_m(plate.size_m));
        }
        for touch in &solution.touches {
            add(touch.force_newton, touch.at_m);
        }
        for load in &case.loads {
            add(-load.force_newton(plate.size_m), load.centre_m(plate.size_m));
        }
        if plate.foundation_pa_per_m > 0.0 || plate.edges != Edges::default() {
            let [foundation, edges] = self.panel.other_reactions(pressed, &solution.dof);
            solution.foundation_reaction_newton = foundation[0];
            solution.edge_reaction_newton = edges[0];
            for (sum, part) in sums.iter_mut().zip(foundation.iter().zip(edges)) {
                *sum += part.0 + part.1;
            }
        }
        let missed_m = (0..self.n_springs())
            .filter(|&j| state.bearing[j])
            .map(|j| self.room_m(j, state.answer.forces_newton[j], &solution.dof).abs())
            .fold(0.0, f64::max);
        solution.balance = Balance {
            force_newton: sums[0],
            moment_x_newton_m: sums[1],
            moment_y_newton_m: sums[2],
            spring_law_newton: missed_m / self.supports.scale_m_per_n(),
        };
    }
}
