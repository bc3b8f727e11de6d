//! The masses at hand as bodies to put down: each piece alone, and pieces of one kind stacked.
//!
//! Pieces of one known kind share the error of their class, so a stack of k has k times the mass and k times the
//! uncertainty. Pieces of unknown mass are all different: each carries a number, and a stack is a body of its own.

use super::options::{PlanError, PlanOptions};
use formats::masses::{DEFAULT_ABOUT_KG, Mass};

/// A body.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Body {
    /// Name of the mass that it is made of.
    pub(crate) name: String,
    /// As it goes into the column `load`.
    pub(crate) label: String,
    /// Mass, kg; `None`: unknown.
    pub(crate) mass_kg: Option<f64>,
    /// What it weighs for planning, kg.
    pub(crate) nominal_kg: f64,
    /// Standard uncertainty, kg.
    pub(crate) u_kg: f64,
    pub(crate) pieces: u32,
}

/// An unknown mass may be anything, as a share of what it weighs roughly: so much that any reading outweighs it.
const UNKNOWN_U: f64 = 1.0;
/// Least relative uncertainty of a mass: keeps the covariance regular where a file states 0.
const LEAST_U: f64 = 1e-9;
/// Most pieces in a stack: higher ones fall.
const MOST_STACKED: u32 = 8;

impl Body {
    /// Relative standard uncertainty of the mass before any reading.
    pub(crate) fn relative_u(&self) -> f64 {
        if self.mass_kg.is_some() { (self.u_kg / self.nominal_kg).max(LEAST_U) } else { UNKNOWN_U }
    }
}

/// All bodies, and what is left out.
pub(crate) fn bodies(masses: &[Mass], options: &PlanOptions) -> Result<(Vec<Body>, Vec<String>), PlanError> {
    let (mut bodies, mut notes) = (Vec::new(), Vec::new());
    for mass in masses {
        let piece_kg = mass.mass_kg.or(mass.about_kg).unwrap_or(DEFAULT_ABOUT_KG);
        if piece_kg > options.lift_kg {
            notes.push(format!(
                "{} ({piece_kg} kg) is left out: one person lifts {} kg here.",
                mass.name, options.lift_kg
            ));
            continue;
        }
        for pieces in stacks(mass.count) {
            let n = f64::from(pieces);
            bodies.push(Body {
                name: mass.name.clone(),
                label: label(mass, pieces),
                mass_kg: mass.mass_kg.map(|m| m * n),
                nominal_kg: piece_kg * n,
                u_kg: mass.u_g * 1e-3 * n,
                pieces,
            });
        }
    }
    if !bodies.iter().any(|b| b.mass_kg.is_some()) {
        return Err(PlanError::NoKnownMass { lift_kg: options.lift_kg });
    }
    Ok((bodies, notes))
}

/// Heights of stacks: 1, 2, 4, 8 and all, as far as there are pieces.
fn stacks(count: u32) -> Vec<u32> {
    let most = count.clamp(1, MOST_STACKED);
    let mut heights: Vec<u32> = [1, 2, 4, 8].into_iter().filter(|h| *h < most).collect();
    heights.push(most);
    heights
}

fn label(mass: &Mass, pieces: u32) -> String {
    match (mass.mass_kg, pieces) {
        (Some(_), 1) => mass.name.clone(),
        (Some(_), n) => format!("{} x{n}", mass.name),
        (None, 1) if mass.count == 1 => mass.name.clone(),
        (None, 1) => format!("{} 1", mass.name),
        (None, n) => format!("{} 1-{n}", mass.name),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mass(name: &str, mass_kg: Option<f64>, count: u32) -> Mass {
        Mass { line: 2, name: name.into(), mass_kg, u_g: 0.5, count, about_kg: None }
    }

    #[test]
    fn pieces_of_one_class_share_their_error_and_cans_are_told_apart() {
        let masses = [mass("F1", Some(20.0), 3), mass("can", None, 4)];
        let (bodies, notes) = bodies(&masses, &PlanOptions::default()).unwrap();
        let labels: Vec<&str> = bodies.iter().map(|b| b.label.as_str()).collect();
        assert_eq!(labels, ["F1", "F1 x2", "F1 x3", "can 1", "can 1-2", "can 1-4"]);
        assert!((bodies[2].u_kg - 1.5e-3).abs() < 1e-15 && bodies[2].mass_kg == Some(60.0));
        assert!(bodies[5].mass_kg.is_none() && (bodies[5].nominal_kg - 80.0).abs() < 1e-12);
        assert!(notes.is_empty());
    }

    #[test]
    fn what_is_too_heavy_for_a_person_is_left_out_and_said() {
        let masses = [mass("F1", Some(20.0), 1), mass("F2", Some(30.0), 1)];
        let (kept, notes) = bodies(&masses, &PlanOptions::default()).unwrap();
        assert_eq!(kept.len(), 1);
        assert!(notes[0].contains("F2") && notes[0].contains("30 kg"), "{notes:?}");
        let none = bodies(&masses[1..], &PlanOptions::default()).unwrap_err();
        assert_eq!(none, PlanError::NoKnownMass { lift_kg: 25.0 });
    }
}
