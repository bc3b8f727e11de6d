//! What one person may lift, and how heavy a patient may be.

use deck::chain::cell_type;
use formats::deck::Deck;

use crate::lying::Lying;
use crate::report::{CaseReport, LiftReport, PlateReport, SafeLoad};

/// Reference mass of ISO 11228-1 for one lift by most healthy adults under ideal conditions, kg (memory; local rules go first).
pub const LIFT_KG: f64 = 25.0;
/// The same for a wider working population, kg (memory).
pub const LIFT_WIDE_KG: f64 = 15.0;
/// Name of the guideline.
pub const GUIDELINE: &str = "ISO 11228-1 reference masses, 25 kg for most and 15 kg for a wider working population (from memory); local rules come first";
/// Strength over stress that a safe load keeps (an engineering choice, no source). IEC 60601-1, 9.8.2, table 21, asks of parts that support a
/// patient for 2.5 at least (from memory): the load is no safe working load of that standard.
pub const SAFETY: f64 = 2.0;

/// Lift of each plate and of the deck as a whole.
pub fn lift(deck: &Deck, plates: &[PlateReport], mass_kg: f64) -> LiftReport {
    let heaviest_kg = plates.iter().map(|p| p.mass_kg).fold(0.0, f64::max);
    LiftReport {
        heaviest_plate_kg: heaviest_kg,
        is_complete: deck.plates.iter().all(|p| p.base_kg.is_some())
            && deck.cells().all(|(_, cell)| cell_type(deck, cell).is_ok_and(|kind| kind.mass_kg.is_some())),
        plate_within_one_lift: heaviest_kg <= LIFT_KG,
        plate_within_wider_lift: heaviest_kg <= LIFT_WIDE_KG,
        deck_kg: mass_kg,
        deck_within_one_lift: mass_kg <= LIFT_KG,
        guideline: GUIDELINE,
    }
}

/// Largest load that lies as the usual one does and keeps every cell within its capacity, every layer within half of its
/// strength and every plate off its base; net, beside the mattress of the case. Reactions, stress and deflection are scaled
/// from the case without a base to touch, which is exact while nothing lifts; `closes` says how many times the case brings each
/// plate down to its base.
pub fn safe_load(lying: &Lying, deck: &Deck, usual: &[CaseReport], closes: &[f64]) -> SafeLoad {
    let mattress_kg = lying.mass_kg - lying.net_kg;
    let mut best = SafeLoad { load_kg: f64::INFINITY, limited_by: "nothing".to_owned() };
    let mut consider = |factor: f64, by: String| {
        let load_kg = (factor * lying.mass_kg - mattress_kg).max(0.0);
        if load_kg < best.load_kg {
            best = SafeLoad { load_kg, limited_by: by };
        }
    };
    for ((plate, case), closes) in deck.plates.iter().zip(usual).zip(closes) {
        let name = &plate.name;
        for cell in case.cells.iter().filter(|c| c.load_pct_of_capacity > 0.0) {
            consider(100.0 / cell.load_pct_of_capacity, format!("capacity of cell {}", cell.name));
        }
        if let Some(factor) = case.safety_factor {
            consider(factor / SAFETY, format!("strength of plate {name}"));
        }
        consider(*closes, format!("clearance of plate {name}"));
    }
    best
}
