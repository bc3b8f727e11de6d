//! Which supports bear: springs that can only be pressed, and a rigid base that stops the plate at its clearance.
//!
//! Find forces R and rooms s (gap plus shortening less deflection, see `supports`) with
//!
//! ```text
//! R ≥ 0,  s ≥ 0,  Rⱼ sⱼ = 0  for every support j,  Σⱼ zₘ(j) Rⱼ = zₘ · f
//! ```
//!
//! the optimality conditions of a strictly convex quadratic programme, hence at most one answer. Two methods, one after the
//! other:
//! - *Primal–dual active set*: solve with the supports that bear, drop base points that pull, add those that are
//!   penetrated, until no state changes. Few rounds, but not sure to end. Springs that pull are let go one at a time: all
//!   at once may leave too few to hold the plate although an answer exists.
//! - *Primal active set*, if the first has not ended: from a support triangle that carries the load alone, one change at a
//!   time, the energy falling with each. Ends after finitely many changes.
//!
//! Without such a triangle the load's centre lies outside the hull of the supports, and the plate tips.
//!
//! Sources: Hintermüller, Ito & Kunisch, SIAM J. Optim. 13 (2002) 865–888 (primal–dual); Nocedal & Wright, Numerical
//! Optimization, 2nd ed. (2006), algorithm 16.3 (primal). Limits: no friction, small deflections.

use crate::supports::{Answer, Demand, Supports};

/// Rounds of the primal–dual method before it gives way; it takes 3 to 20 where it ends.
const ROUNDS: usize = 60;
/// The base's corners come right after the springs.
pub(crate) const N_CORNERS: usize = 4;
/// A force below this share of the load, and a room below this share of the deflection, count as 0: 1e5 times the round-off
/// of the dense solve, 1e-9 times what matters.
const SMALL: f64 = 1e-11;

/// Supports that bear, and their forces.
#[derive(Debug, Clone)]
pub(crate) struct Settled {
    pub(crate) bearing: Vec<bool>,
    pub(crate) answer: Answer,
    /// Changes of state on the way.
    pub(crate) n_changes: usize,
}

/// Why no state was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Unsettled {
    /// No pressed supports balance the load.
    Tips,
    /// The changes did not end.
    Endless,
}

/// What counts as 0 in one problem.
struct Small {
    force_newton: f64,
    room_m: f64,
}

impl Small {
    fn of(supports: &Supports, demand: &Demand) -> Self {
        let load = demand.motion_work.first().copied().unwrap_or(0.0).abs();
        let deflection_m = demand.deflection_m.iter().fold(0.0_f64, |a, d| a.max(d.abs()));
        let scale = supports.scale_m_per_n();
        let force_newton = SMALL * (load + deflection_m / scale);
        Self { force_newton, room_m: SMALL * deflection_m + force_newton * scale }
    }
}

/// Finds the state, starting from the supports that are `bearing`. The first `n_springs` supports are springs.
pub(crate) fn settle(
    supports: &Supports,
    demand: &Demand,
    n_springs: usize,
    bearing: Vec<bool>,
) -> Result<Settled, Unsettled> {
    let small = Small::of(supports, demand);
    match primal_dual(supports, demand, &small, n_springs, bearing) {
        Some(settled) => Ok(settled),
        None => primal(supports, demand, &small, n_springs),
    }
}

fn primal_dual(
    supports: &Supports,
    demand: &Demand,
    small: &Small,
    n_springs: usize,
    mut bearing: Vec<bool>,
) -> Option<Settled> {
    let mut n_changes = 0;
    for _ in 0..ROUNDS {
        let answer = supports.answer(&bearing, demand)?;
        let forces = &answer.forces_newton;
        let pulls = |j: usize| bearing[j] && forces[j] < -small.force_newton;
        let penetrated = |j: usize| !bearing[j] && supports.room_m(j, &answer, demand) < -small.room_m;
        // One spring at a time: the one that pulls hardest.
        let worst = (0..n_springs).filter(|&j| pulls(j)).min_by(|&a, &b| forces[a].total_cmp(&forces[b]));
        let changes: Vec<usize> = match worst {
            Some(spring) => vec![spring],
            None => (0..supports.len()).filter(|&j| pulls(j) || penetrated(j)).collect(),
        };
        if changes.is_empty() {
            return Some(Settled { bearing, answer, n_changes });
        }
        n_changes += changes.len();
        for j in changes {
            bearing[j] = !bearing[j];
        }
    }
    None
}

fn primal(supports: &Supports, demand: &Demand, small: &Small, n_springs: usize) -> Result<Settled, Unsettled> {
    // Springs and the base's corners, which come first: their hull is that of all supports.
    let outermost = supports.len().min(n_springs + N_CORNERS);
    let (mut forces, mut bearing) = statics(supports, demand, small, outermost).ok_or(Unsettled::Tips)?;
    // Each round changes one state; far more rounds than states would mean round-off is being chased.
    for n_changes in 0..20 * (supports.len() + 5) {
        let answer = supports.answer(&bearing, demand).ok_or(Unsettled::Endless)?;
        let wanted = &answer.forces_newton;
        // How far towards the wanted forces all stay pressed, and who stops it.
        let blocking = (0..supports.len())
            .filter(|&j| bearing[j] && wanted[j] < -small.force_newton)
            .map(|j| ((forces[j] / (forces[j] - wanted[j])).clamp(0.0, 1.0), j))
            .min_by(|a, b| a.0.total_cmp(&b.0));
        if let Some((step, j)) = blocking {
            for (force, want) in forces.iter_mut().zip(wanted) {
                *force += step * (want - *force);
            }
            forces[j] = 0.0;
            bearing[j] = false;
            continue;
        }
        forces.clone_from(wanted);
        let deepest = (0..supports.len())
            .filter(|&j| !bearing[j])
            .map(|j| (supports.room_m(j, &answer, demand), j))
            .filter(|(room, _)| *room < -small.room_m)
            .min_by(|a, b| a.0.total_cmp(&b.0));
        match deepest {
            Some((_, j)) => bearing[j] = true,
            None => return Ok(Settled { bearing, answer, n_changes }),
        }
    }
    Err(Unsettled::Endless)
}

/// As few of the first `n` supports as there are rigid motions that balance the load, all pressed.
fn statics(supports: &Supports, demand: &Demand, small: &Small, n: usize) -> Option<(Vec<f64>, Vec<bool>)> {
    let n_motions = supports.n_motions();
    let mut chosen: Vec<usize> = (0..n_motions).collect();
    if n < n_motions {
        return None;
    }
    loop {
        let matrix = nalgebra::DMatrix::from_fn(n_motions, n_motions, |m, column| supports.motions(chosen[column])[m]);
        let right = nalgebra::DVector::from_column_slice(&demand.motion_work);
        let solved = if n_motions == 0 { Some(right.clone()) } else { matrix.clone().lu().solve(&right) };
        // Supports on one line balance nothing but in round-off: what they leave over tells.
        let balances = |r: &nalgebra::DVector<f64>| {
            r.iter().all(|f| *f >= -small.force_newton) && (&matrix * r - &right).amax() <= 1e-9 * right.amax()
        };
        if let Some(balance) = solved.filter(balances) {
            let (mut forces, mut bearing) = (vec![0.0; supports.len()], vec![false; supports.len()]);
            for (&j, force) in chosen.iter().zip(balance.iter()) {
                forces[j] = force.max(0.0);
                bearing[j] = true;
            }
            return Some((forces, bearing));
        }
        // The next combination in order.
        let last = (0..n_motions).rev().find(|&i| chosen[i] < n - n_motions + i)?;
        chosen[last] += 1;
        for i in last + 1..n_motions {
            chosen[i] = chosen[i - 1] + 1;
        }
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::functional::Functional;
    use crate::load::{Load, LoadCase};
    use crate::panel::{Panel, Topology};
    use crate::plate::{Bending, Plate, Spring};
    use crate::supports::Support;

    const SPRINGS: [[f64; 2]; 4] = [[0.05, 0.05], [0.85, 0.05], [0.05, 0.45], [0.85, 0.45]];

    /// The plate on its springs, over a base that it may touch at the corners and at every other node.
    fn problem(clearance_m: f64, case: &LoadCase) -> (Supports, Demand) {
        let springs = SPRINGS.map(|at| Spring::point(at, 1e6)).to_vec();
        let plate = Plate::new([0.9, 0.5], Bending::isotropic(70e9, 0.33, 0.006), springs);
        let panel = Panel::new(Arc::new(Topology::new(&plate, [12, 8]).unwrap()), &plate).unwrap();
        let grid = panel.grid();
        let mut supports = Supports::new(&panel);
        let support = |at, compliance_m_per_n, gap_m| Support {
            reading: Functional::at(grid, at, 0, 0),
            compliance_m_per_n,
            gap_m,
        };
        let corners = [[0.0, 0.0], [0.9, 0.0], [0.0, 0.5], [0.9, 0.5]];
        let nodes = (0..grid.n_nodes()).map(|n| grid.node_at_m(n)).filter(|at| !corners.contains(at));
        let all = SPRINGS
            .into_iter()
            .map(|at| support(at, 1e-6, 0.0))
            .chain(corners.into_iter().chain(nodes).map(|at| support(at, 0.0, clearance_m)));
        supports.extend(&panel, all.collect());
        let load = panel.load_vector(case);
        let field = panel.deflections(std::slice::from_ref(&load)).remove(0);
        let demand = supports.demand(&panel, &load, &field);
        (supports, demand)
    }

    fn springs_bear(supports: &Supports) -> Vec<bool> {
        (0..supports.len()).map(|j| j < SPRINGS.len()).collect()
    }

    #[test]
    fn both_methods_find_the_same_forces() {
        let cases: [LoadCase; 3] = [
            Load::Uniform { pressure_pa: 3000.0 }.into(),
            Load::patch_of([0.2, 0.15], [0.1, 0.1], 900.0).into(),
            vec![Load::Uniform { pressure_pa: 700.0 }, Load::patch_of([0.0, 0.0], [0.05, 0.05], 700.0)].into(),
        ];
        for case in &cases {
            let (supports, demand) = problem(0.004, case);
            let small = Small::of(&supports, &demand);
            let dual = primal_dual(&supports, &demand, &small, SPRINGS.len(), springs_bear(&supports)).unwrap();
            let primal = primal(&supports, &demand, &small, SPRINGS.len()).unwrap();
            assert_eq!(dual.bearing, primal.bearing);
            for (a, b) in dual.answer.forces_newton.iter().zip(&primal.answer.forces_newton) {
                // The same small system, solved with rows in the same order: round-off of its condition, about 1e6.
                assert!((a - b).abs() < 1e-7, "{a} {b}");
            }
        }
    }

    /// The springs alone cannot hold this load, so the first method runs out of springs; plate and base still come to rest.
    #[test]
    fn a_plate_that_tips_onto_its_base_is_found_by_the_second_method() {
        let case = vec![Load::Uniform { pressure_pa: 100.0 }, Load::patch_of([0.0, 0.0], [0.05, 0.05], 700.0)].into();
        let (supports, demand) = problem(0.004, &case);
        let small = Small::of(&supports, &demand);
        assert!(primal_dual(&supports, &demand, &small, SPRINGS.len(), springs_bear(&supports)).is_none());
        let found = settle(&supports, &demand, SPRINGS.len(), springs_bear(&supports)).unwrap();
        let forces = &found.answer.forces_newton;
        assert!(forces.iter().all(|f| *f >= -small.force_newton));
        assert!((forces.iter().sum::<f64>() - 745.0).abs() < 1e-7);
        for (j, force) in forces.iter().enumerate() {
            let room = supports.room_m(j, &found.answer, &demand);
            assert!(room >= -small.room_m && (room * force).abs() < 1e-9, "{j}: {room} {force}");
        }
    }

    #[test]
    fn a_load_that_lifts_the_plate_off_everything_has_no_answer() {
        let case = Load::Point { at_m: [0.4, 0.2], force_newton: -50.0 }.into();
        let (supports, demand) = problem(0.004, &case);
        let found = settle(&supports, &demand, SPRINGS.len(), springs_bear(&supports));
        assert_eq!(found.err(), Some(Unsettled::Tips));
    }
}
