//! The non-dominated designs found so far, thinned to what a person can tell apart.
//!
//! Two designs whose objectives fall into the same box (1 % in cost, mass and resolvable change, 0.1 mm in margin) are one
//! for the list: the better of the two by the sum of the relative objectives stays, and of two alike the earlier. The
//! result depends on the order of insertion, which the search keeps.

use super::candidate::{Scored, Scores};

/// Side of a box in ln(cost), ln(mass) and ln(resolvable).
const BOX_RELATIVE: f64 = 0.01;
/// Side of a box in the margin, mm.
const BOX_MARGIN_MM: f64 = 0.1;

/// The front.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Front {
    designs: Vec<Scored>,
}

impl Front {
    /// The designs by rising cost.
    pub fn by_cost(&self) -> Vec<Scored> {
        let mut designs = self.designs.clone();
        designs.sort_by(|a, b| {
            let [x, y] = [a, b].map(|d| d.scores.objectives());
            x.iter().zip(y).map(|(p, q)| p.total_cmp(&q)).fold(std::cmp::Ordering::Equal, std::cmp::Ordering::then)
        });
        designs
    }

    /// Designs in the order in which they came.
    pub fn designs(&self) -> &[Scored] {
        &self.designs
    }

    /// Takes a design in unless another is as good in all; lets those go that it dominates.
    pub fn insert(&mut self, new: Scored) -> bool {
        let beaten = |old: &Scored| {
            old.scores.are_no_worse_than(&new.scores)
                || (in_box(&old.scores) == in_box(&new.scores)
                    && !new.scores.dominate(&old.scores)
                    && sum(&old.scores) <= sum(&new.scores))
        };
        if self.designs.iter().any(beaten) {
            return false;
        }
        let own = in_box(&new.scores);
        self.designs.retain(|old| !new.scores.dominate(&old.scores) && in_box(&old.scores) != own);
        self.designs.push(new);
        true
    }
}

/// The box of a design, as whole numbers.
fn in_box(scores: &Scores) -> [i64; 4] {
    // Objectives are positive and far below 2⁵³ boxes; a cost of 0 stands in the lowest box.
    let log = |value: f64| (value.max(f64::MIN_POSITIVE).ln() / BOX_RELATIVE).floor() as i64;
    let margin = (scores.deflection_margin_mm / BOX_MARGIN_MM).floor() as i64;
    [log(scores.cost), log(scores.mass_kg), margin, log(scores.resolvable_24h_g)]
}

/// A measure of a design within its box, where objectives differ by little.
fn sum(scores: &Scores) -> f64 {
    scores.cost.max(f64::MIN_POSITIVE).ln() + scores.mass_kg.ln() + scores.resolvable_24h_g.ln()
        - scores.deflection_margin_mm * BOX_RELATIVE / BOX_MARGIN_MM
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::explore::Candidate;

    fn scored(cost: f64, mass_kg: f64, deflection_margin_mm: f64, resolvable_24h_g: f64) -> Scored {
        let candidate = Candidate { cell_type: 0, converter: 0, options: vec![] };
        let scores = Scores { cost, mass_kg, deflection_margin_mm, resolvable_24h_g, expanded_u_g: 0.0 };
        Scored { candidate, scores }
    }

    #[test]
    fn a_dominated_design_does_not_stay() {
        let mut front = Front::default();
        assert!(front.insert(scored(100.0, 20.0, 1.0, 50.0)));
        assert!(!front.insert(scored(120.0, 20.0, 1.0, 50.0)));
        assert!(front.insert(scored(80.0, 30.0, 1.0, 50.0)));
        assert!(front.insert(scored(70.0, 19.0, 2.0, 40.0)));
        assert_eq!(front.designs().len(), 1);
    }

    #[test]
    fn alike_designs_are_one() {
        let mut front = Front::default();
        assert!(front.insert(scored(100.0, 20.0, 1.04, 50.0)));
        assert!(!front.insert(scored(100.1, 20.0, 1.041, 50.0)));
        assert_eq!(front.designs().len(), 1);
    }
}
