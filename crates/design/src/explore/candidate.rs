//! A candidate and what it scores.

/// One choice for the whole deck.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Candidate {
    /// Place in the table's list of cell types.
    pub cell_type: usize,
    /// Place in the table's list of converters.
    pub converter: usize,
    /// Option of each plate, by its place in the plate's list for the cell type.
    pub options: Vec<usize>,
}

/// What a design is judged by.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Scores {
    /// Price, as `check` counts it.
    pub cost: f64,
    /// Mass of all plates, kg.
    pub mass_kg: f64,
    /// Least of (allowed deflection less the largest one) over all plates and cases, mm; allowed is the target, and no more than
    /// the clearance.
    pub deflection_margin_mm: f64,
    /// Smallest change that is resolved over 24 h, g.
    pub resolvable_24h_g: f64,
    /// Expanded uncertainty (k = 2) of a weight at max, g. Not an objective.
    pub expanded_u_g: f64,
}

/// A candidate with its scores.
#[derive(Debug, Clone, PartialEq)]
pub struct Scored {
    /// The choice.
    pub candidate: Candidate,
    /// Its scores.
    pub scores: Scores,
}

impl Scores {
    /// The four objectives, each better when smaller.
    pub fn objectives(&self) -> [f64; 4] {
        [self.cost, self.mass_kg, -self.deflection_margin_mm, self.resolvable_24h_g]
    }

    /// Whether these are as good or better in every objective.
    pub fn are_no_worse_than(&self, other: &Scores) -> bool {
        self.objectives().into_iter().zip(other.objectives()).all(|(a, b)| a <= b)
    }

    /// Whether these are as good in every objective and better in one.
    pub fn dominate(&self, other: &Scores) -> bool {
        self.are_no_worse_than(other) && !other.are_no_worse_than(self)
    }
}
