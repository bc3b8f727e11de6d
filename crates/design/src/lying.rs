//! How a weight lies on the cells of a deck: what the error budget needs of a load case.

use deck::geometry::{area_m2, deck_area_m2};
use deck::loads::{CaseLoad, spread};
use formats::deck::{Deck, LoadCase, PatientLoad};
use plates::Solution;

/// A load on the cells.
#[derive(Debug, Clone, PartialEq)]
pub struct Lying {
    /// Load case.
    pub case: String,
    /// Mass of the load with the mattress under a patient, kg.
    pub mass_kg: f64,
    /// The same without the mattress, which is tare, kg.
    pub net_kg: f64,
    /// Weight that each cell carries as a share of the whole, in the order of the file: Σ = 1 less what is shunted.
    pub shares: Vec<f64>,
    /// Share of the tare on each cell: by the areas of the plates.
    pub tare_shares: Vec<f64>,
    /// Slope of the plate at each cell under that load, rad.
    pub slopes_rad: Vec<f64>,
    /// Mass on each section, kg.
    pub section_kg: Vec<f64>,
    /// Angle of each section to the horizontal, rad.
    pub section_rad: Vec<f64>,
    /// Share of the weight that passes the cells by.
    pub shunted: f64,
}

impl Lying {
    /// Of a load case whose plates are still to be added, in the order of the deck.
    pub(crate) fn new(deck: &Deck, case: &LoadCase, load: &CaseLoad) -> Self {
        let mut section_kg = vec![0.0; deck.sections.len()];
        let mut section_rad = vec![0.0; deck.sections.len()];
        for (plate, on) in deck.plates.iter().zip(&load.plates) {
            if let Some(section) = deck.sections.iter().position(|s| s.name == plate.section) {
                section_kg[section] += on.mass_kg;
                section_rad[section] = on.angle_rad;
            }
        }
        Lying {
            case: case.name.clone(),
            mass_kg: load.mass_kg(),
            net_kg: load.mass_kg() - load.mattress_kg,
            shares: Vec::new(),
            tare_shares: Vec::new(),
            slopes_rad: Vec::new(),
            section_kg,
            section_rad,
            shunted: 0.0,
        }
    }

    /// Adds the cells of a plate. Reactions are at a right angle to it; the weight they carry is theirs over cos θ.
    pub(crate) fn add(&mut self, deck: &Deck, plate: usize, solution: &Solution, angle_rad: f64) {
        let whole = self.mass_kg * deck::gravity_m_s2(&deck.site) * angle_rad.cos();
        let n_cells = solution.reactions_newton.len();
        let area_share = area_m2(&deck.plates[plate]) / deck_area_m2(deck);
        self.shares.extend(solution.reactions_newton.iter().map(|r| r / whole));
        self.tare_shares.extend(vec![area_share / n_cells as f64; n_cells]);
        self.slopes_rad.extend(solution.spring_slopes.iter().map(|[x, y]| x.hypot(*y)));
        self.shunted += solution.shunted_newton / whole;
    }
}

/// Of a patient of whom the plates bear less, none lies on the deck, kg.
pub(crate) const LEAST_KG: f64 = 1e-6;

/// The load of the error budget: the first patient of the deck's cases of whom the plates bear something, lying flat on the case's
/// mattress, or an even load of max where there is none. The mattress is tare, but it presses the plates on their cells while the patient lies
/// there: without it a plate could seem to lift, or to touch its base, that in use does not.
pub(crate) fn usual_case(deck: &Deck) -> LoadCase {
    let case = |even_kg, patient| LoadCase { name: "usual".to_owned(), even_kg, patches: Vec::new(), patient };
    let patients = deck.load_cases.iter().filter_map(|c| c.patient.as_ref());
    let mut flat = patients.map(|p| case(None, Some(PatientLoad { angles_deg: Vec::new(), ..p.clone() })));
    // A patient who cannot be laid is told of where the deck's own cases are.
    let lies = |c: &LoadCase| spread(deck, c).map_or(true, |on| on.mass_kg() - on.mattress_kg > LEAST_KG);
    flat.find(lies).unwrap_or_else(|| case(Some(deck.max_kg), None))
}
