//! Plates of one size and load, tried on many arrangements of springs and at many stiffnesses.
//!
//! The plate without its springs is factored once. A place for a spring (a [`Seat`]) costs one right-hand side, once. A
//! trial, any choice of seats, spring stiffnesses and a factor on the plate's whole D, is then a system of a few equations
//! (see `supports`) and a sum of known fields: some ten microseconds. Springs can only be pressed; there is no base, so that
//! a trial whose deflection passes the clearance has to be solved with its base, or dropped.
//!
//! The mesh is fixed and no error is estimated: on the usual mesh ([`crate::usual_mesh`]) the error mostly stays below the accuracy of
//! [`crate::solve`] for plates on springs near their corners, and a design that is kept should be solved by that.

use std::sync::Arc;

use crate::contact::{Unsettled, settle};
use crate::extremes::extremes;
use crate::functional::{Functional, read_at};
use crate::load::LoadCase;
use crate::panel::{Panel, Topology};
use crate::plate::{Plate, PlateError, Spring, positive};
use crate::solution::{Extreme, Moments};
use crate::supports::{Demand, Support, Supports};
use crate::view::{View, sample_places_m};

/// A place where a spring may stand.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Seat(usize);

/// A plate without its springs, its load cases, and the seats asked for so far.
#[derive(Debug)]
pub struct Family {
    plate: Plate,
    panel: Panel,
    cases: Vec<Case>,
    /// What was asked for, and the field of a unit force there.
    seats: Vec<(Spring, Field)>,
    supports: Supports,
    places_m: Vec<[f64; 2]>,
}

#[derive(Debug)]
struct Case {
    field: Field,
    motion_work: Vec<f64>,
    centre_m: [f64; 2],
}

/// A field of the pinned panel with its moments at the sampled places.
#[derive(Debug)]
struct Field {
    dof: Vec<f64>,
    moments: Vec<Moments>,
}

/// How one arrangement carries one load case.
#[derive(Debug, Clone, PartialEq)]
pub struct Trial {
    /// Reaction of each spring in the order given, N.
    pub reactions_newton: Vec<f64>,
    /// Springs from which the plate lifts off.
    pub lifts: Vec<bool>,
    /// Slope (∂w/∂x, ∂w/∂y) at each spring, rad.
    pub slopes: Vec<[f64; 2]>,
    /// The largest deflection down.
    pub max: Extreme,
    /// The smallest deflection.
    pub min: Extreme,
    /// Moments at [`Family::places_m`], N·m/m: for stresses.
    pub moments: Vec<Moments>,
}

impl Family {
    /// For plates like `plate`, whose springs are not looked at, under `cases`.
    ///
    /// # Errors
    /// When the plate or a load is not valid, or `topology` belongs to another plate.
    pub fn new(topology: Arc<Topology>, plate: &Plate, cases: &[LoadCase]) -> Result<Self, PlateError> {
        let plate = Plate { springs: Vec::new(), ..plate.clone() };
        plate.check_alone()?;
        for (index, case) in cases.iter().enumerate() {
            case.check(index, plate.size_m)?;
        }
        if !topology.fits(&plate) {
            return Err(PlateError::OtherTopology);
        }
        let panel = Panel::new(topology, &plate)?;
        let places_m: Vec<_> = sample_places_m(panel.grid()).collect();
        let loads: Vec<Vec<f64>> = cases.iter().map(|case| panel.load_vector(case)).collect();
        let supports = Supports::new(&panel);
        let cases = panel
            .deflections(&loads)
            .into_iter()
            .zip(loads.iter().zip(cases))
            .map(|(dof, (load, case))| Case {
                motion_work: supports.demand(&panel, load, &dof).motion_work,
                field: Field::new(&panel, &plate, &places_m, dof),
                centre_m: case.centre_m(plate.size_m).unwrap_or([f64::NAN; 2]),
            })
            .collect();
        Ok(Self { plate, panel, cases, seats: Vec::new(), supports, places_m })
    }

    /// Seats at `places_m`, each bearing on a square of side `bearing_m` (0 for a point). Ones asked for before are not
    /// solved again.
    ///
    /// # Errors
    /// When a place does not lie on the plate.
    pub fn seats(&mut self, places_m: &[[f64; 2]], bearing_m: f64) -> Result<Vec<Seat>, PlateError> {
        let mut found = Vec::with_capacity(places_m.len());
        let mut added: Vec<Spring> = Vec::new();
        for &at_m in places_m {
            // The stiffness is no part of a seat.
            let spring = Spring { at_m, stiffness_n_per_m: f64::INFINITY, bearing_m };
            let known = self.seats.iter().map(|(known, _)| known).chain(&added).position(|known| *known == spring);
            found.push(Seat(known.unwrap_or_else(|| {
                added.push(spring);
                self.seats.len() + added.len() - 1
            })));
        }
        self.plate.check_these(&added)?;
        let grid = self.panel.grid();
        let supports: Vec<Support> = added
            .iter()
            .map(|spring| Support { reading: Functional::spring(grid, spring), compliance_m_per_n: 0.0, gap_m: 0.0 })
            .collect();
        let fields = self.supports.extend(&self.panel, supports);
        for (spring, dof) in added.into_iter().zip(fields) {
            self.seats.push((spring, Field::new(&self.panel, &self.plate, &self.places_m, dof)));
        }
        Ok(found)
    }

    /// Places of the moments of a trial, m.
    #[must_use]
    pub fn places_m(&self) -> &[[f64; 2]] {
        &self.places_m
    }

    /// Tries springs of `stiffness` N/m at their seats under each load case, the plate's D being `stiffer` times that of the
    /// family (ribs and shear with it).
    ///
    /// # Errors
    /// When a number is not above zero, the springs do not hold the plate, or a load tips it.
    pub fn try_springs(&self, springs: &[(Seat, f64)], stiffer: f64) -> Result<Vec<Trial>, PlateError> {
        positive("factor on the plate's stiffness", stiffer)?;
        let mut chosen = Vec::with_capacity(springs.len());
        for &(Seat(seat), stiffness_n_per_m) in springs {
            if seat >= self.seats.len() {
                return Err(PlateError::Mismatch { what: "seats", found: self.seats.len(), expected: seat + 1 });
            }
            if stiffness_n_per_m.is_nan() || stiffness_n_per_m <= 0.0 {
                return Err(PlateError::NotPositive { what: "spring stiffness, N/m", value: stiffness_n_per_m });
            }
            chosen.push((seat, 1.0 / stiffness_n_per_m));
        }
        self.plate.check_held_by(chosen.iter().map(|&(seat, _)| self.seats[seat].0.at_m))?;
        let supports = self.supports.some(&chosen, stiffer);
        (0..self.cases.len()).map(|case| self.try_case(case, &chosen, &supports, stiffer)).collect()
    }

    fn try_case(
        &self,
        index: usize,
        chosen: &[(usize, f64)],
        supports: &Supports,
        stiffer: f64,
    ) -> Result<Trial, PlateError> {
        let case = &self.cases[index];
        let demand = Demand {
            deflection_m: chosen
                .iter()
                .map(|&(j, _)| self.supports.get(j).reading.of(&case.field.dof) / stiffer)
                .collect(),
            motion_work: case.motion_work.clone(),
        };
        let settled =
            settle(supports, &demand, chosen.len(), vec![true; chosen.len()]).map_err(|reason| match reason {
                Unsettled::Tips => PlateError::Tips { case: index, centre_m: case.centre_m },
                Unsettled::Endless => PlateError::Unsettled { case: index },
            })?;
        let forces = &settled.answer.forces_newton;
        let mut dof: Vec<f64> = case.field.dof.iter().map(|w| w / stiffer).collect();
        let mut moments = case.field.moments.clone();
        for (&(seat, _), &force) in chosen.iter().zip(forces).filter(|(_, force)| **force != 0.0) {
            let field = &self.seats[seat].1;
            let factor = force / stiffer;
            for (w, g) in dof.iter_mut().zip(&field.dof) {
                *w -= factor * g;
            }
            for (m, g) in moments.iter_mut().zip(&field.moments) {
                m.x -= force * g.x;
                m.y -= force * g.y;
                m.xy -= force * g.xy;
            }
        }
        self.panel.add_motions(&settled.answer.motions, &mut dof);
        let grid = self.panel.grid();
        let slope = |at_m: [f64; 2]| [(1, 0), (0, 1)].map(|(dx, dy)| read_at(grid, &dof, at_m, dx, dy));
        // The nodes alone find the element; Newton's steps do the rest.
        let [max, min] = extremes::<1>(grid, &dof);
        Ok(Trial {
            lifts: settled.bearing.iter().map(|bears| !bears).collect(),
            slopes: chosen.iter().map(|&(seat, _)| slope(self.seats[seat].0.at_m)).collect(),
            reactions_newton: settled.answer.forces_newton,
            max,
            min,
            moments,
        })
    }
}

impl Field {
    fn new(panel: &Panel, plate: &Plate, places_m: &[[f64; 2]], dof: Vec<f64>) -> Self {
        let view = View { fields: panel.fields(), plate, dof: &dof };
        let moments = places_m.iter().map(|&at_m| view.moments(at_m)).collect();
        Self { dof, moments }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::load::Load;
    use crate::plate::Bending;
    use crate::solve::{Bearing, solve_on};

    const MESH: [usize; 2] = [14, 8];

    fn plate() -> Plate {
        Plate::new([0.9, 0.5], Bending::isotropic(70e9, 0.33, 0.006), Vec::new())
    }

    fn cases() -> Vec<LoadCase> {
        vec![
            Load::Uniform { pressure_pa: 1000.0 }.into(),
            vec![Load::Uniform { pressure_pa: 200.0 }, Load::patch_of([0.0, 0.0], [0.05, 0.05], 500.0)].into(),
        ]
    }

    fn family() -> Family {
        Family::new(Arc::new(Topology::new(&plate(), MESH).unwrap()), &plate(), &cases()).unwrap()
    }

    /// A trial is what the solver says of the same plate, lift-off included.
    #[test]
    fn a_trial_agrees_with_the_solver() {
        let mut family = family();
        let places = [[0.05, 0.05], [0.85, 0.05], [0.05, 0.45], [0.85, 0.45], [0.45, 0.25]];
        let seats = family.seats(&places, 0.0).unwrap();
        for (chosen, stiffer) in [(vec![0, 1, 2, 3], 1.0), (vec![3, 1, 0, 2, 4], 2.5), (vec![0, 1, 2], 0.4)] {
            let springs: Vec<_> = chosen.iter().map(|&i| (seats[i], 1e6 * (1.0 + i as f64))).collect();
            let trials = family.try_springs(&springs, stiffer).unwrap();
            let mut solved = plate();
            solved.bending = Bending::isotropic(70e9 * stiffer, 0.33, 0.006);
            solved.springs = chosen.iter().map(|&i| Spring::point(places[i], 1e6 * (1.0 + i as f64))).collect();
            let solutions = solve_on(&solved, &cases(), Bearing::Pressed { clearance_m: None }, MESH).unwrap();
            for (trial, solution) in trials.iter().zip(&solutions) {
                assert_eq!(trial.lifts, solution.lifts);
                for (a, b) in trial.reactions_newton.iter().zip(&solution.reactions_newton) {
                    assert!((a - b).abs() < 1e-7, "{a} {b}");
                }
                assert!((trial.max.deflection_m - solution.max.deflection_m).abs() < 1e-9);
                assert!((trial.slopes[1][0] - solution.spring_slopes[1][0]).abs() < 1e-9);
                for ((_, exact), found) in solution.moment_samples().zip(&trial.moments) {
                    // Moments of up to 1e4 N·m/m in the single fields cancel in their sum.
                    assert!((exact.x - found.x).abs() < 1e-6 && (exact.xy - found.xy).abs() < 1e-6);
                }
            }
        }
    }

    #[test]
    fn a_seat_is_solved_once() {
        let mut family = family();
        let first = family.seats(&[[0.1, 0.1], [0.8, 0.1], [0.1, 0.1]], 0.0).unwrap();
        let again = family.seats(&[[0.8, 0.1], [0.1, 0.4]], 0.0).unwrap();
        assert_eq!(first[0], first[2]);
        assert_eq!(first[1], again[0]);
        assert_eq!(family.seats.len(), 3);
    }

    #[test]
    fn what_cannot_stand_is_refused() {
        let mut family = family();
        let seats = family.seats(&[[0.1, 0.1], [0.5, 0.1], [0.8, 0.1], [0.4, 0.4]], 0.0).unwrap();
        let with = |chosen: &[usize]| chosen.iter().map(|&i| (seats[i], 1e6)).collect::<Vec<_>>();
        assert!(matches!(family.try_springs(&with(&[0, 2]), 1.0), Err(PlateError::TooFewSprings { n_springs: 2 })));
        assert!(matches!(family.try_springs(&with(&[0, 1, 2]), 1.0), Err(PlateError::CollinearSprings { .. })));
        assert!(matches!(family.try_springs(&with(&[0, 2, 3]), 0.0), Err(PlateError::NotPositive { .. })));
        assert!(matches!(family.seats(&[[0.1, 0.6]], 0.0), Err(PlateError::SpringOutside { .. })));
        let other = Plate::new([0.8, 0.5], plate().bending, Vec::new());
        let topology = Arc::new(Topology::new(&plate(), MESH).unwrap());
        assert!(matches!(Family::new(topology, &other, &cases()), Err(PlateError::OtherTopology)));
    }
}
