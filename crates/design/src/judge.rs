//! Findings against limits: those of the deck file, and three that hold for every deck.

use formats::deck::Deck;

use crate::report::{ByLoad, PlateReport, Requirement, worst};

/// What is set against the limits.
pub(crate) struct Found<'a> {
    pub(crate) plates: &'a [PlateReport],
    pub(crate) expanded_u_g: &'a ByLoad,
    pub(crate) mass_kg: f64,
    pub(crate) cost: f64,
}

/// The limits of the deck's target, then that no cell bears more than it is rated for, no load passes the cells by, and no layer bears more than its
/// strength.
pub(crate) fn requirements(deck: &Deck, report: &Found<'_>) -> Vec<Requirement> {
    let target = &deck.target;
    let cases = || report.plates.iter().flat_map(|p| &p.cases);
    // Without a load nothing bends, and nothing is shown by that.
    let deflection_mm = cases().map(|c| c.max_deflection_mm).reduce(worst);
    let plate_mass_kg = report.plates.iter().map(|p| p.mass_kg).fold(0.0, f64::max);
    let targets = [
        ("deflection_mm", deflection_mm.unwrap_or(f64::NAN), target.deflection_mm.filter(|_| deflection_mm.is_some())),
        ("expanded_u_g", report.expanded_u_g.largest(), target.expanded_u_g),
        ("mass_kg", report.mass_kg, target.mass_kg),
        ("cost", report.cost, target.cost),
        ("plate_mass_kg", plate_mass_kg, target.plate_mass_kg),
    ];
    let mut requirements: Vec<Requirement> = targets
        .into_iter()
        .filter_map(|(name, value, limit)| {
            let limit = limit?;
            Some(Requirement { name: name.to_owned(), value, limit, met: value <= limit })
        })
        .collect();
    if deck.load_cases.is_empty() {
        return requirements;
    }
    let cell_pct = cases().flat_map(|c| &c.cells).map(|c| c.load_pct_of_capacity).fold(0.0, worst);
    requirements.push(Requirement {
        name: "cell_load_pct_of_capacity".to_owned(),
        value: cell_pct,
        limit: 100.0,
        met: cell_pct <= 100.0,
    });
    let shunted_pct = cases().map(|c| c.shunted_pct).fold(0.0, worst);
    requirements.push(Requirement {
        name: "shunted_pct".to_owned(),
        value: shunted_pct,
        limit: 0.0,
        met: shunted_pct <= 0.0,
    });
    if let Some(value) = cases().filter_map(|c| c.safety_factor).reduce(|a, b| -worst(-a, -b)) {
        requirements.push(Requirement {
            name: Requirement::SAFETY_FACTOR.to_owned(),
            value,
            limit: 1.0,
            met: value >= 1.0,
        });
    }
    requirements
}
