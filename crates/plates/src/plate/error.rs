//! Why a plate cannot be solved.

use thiserror::Error;

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
    #[error(
        "the contact of case {case} did not settle: stiffness, springs and load span more than double precision tells apart; a stiffer plate or softer springs would settle"
    )]
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
