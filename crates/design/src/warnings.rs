//! What the user should know besides limits: in words, most urgent first.

use deck::oiml::{is_valid_interval, r76::class_limits};
use formats::deck::Deck;
use plates::Accuracy;

use crate::bill::Bill;
use crate::report::{PlateReport, SafeLoad};

/// All warnings about a deck.
pub(crate) fn warnings(
    deck: &Deck,
    plates: &[PlateReport],
    ward_loads: &[PlateReport],
    notes: &[String],
    bill: &Bill,
) -> Vec<String> {
    let mut all: Vec<String> = plates.iter().flat_map(of_plate).collect();
    all.extend(ward_loads.iter().flat_map(of_ward));
    all.extend(notes.iter().cloned());
    all.extend(of_shear(deck));
    all.extend(of_class(deck));
    let unpriced: Vec<&str> = bill.rows.iter().filter(|r| r.cost.is_none()).map(|r| r.item.as_str()).collect();
    if !unpriced.is_empty() {
        all.push(format!("no price is stated for {}; the cost leaves it out", unpriced.join(", ")));
    }
    all
}

fn of_plate(plate: &PlateReport) -> Vec<String> {
    let mut all = Vec::new();
    for case in &plate.cases {
        if case.tips {
            all.push(format!("{}, {}: the load tips the plate off its cells", plate.name, case.case));
        }
        if case.touches {
            all.push(format!(
                "{}, {}: the plate touches its base; {:.1} % of the load passes the cells by and the reading is too low",
                plate.name, case.case, case.shunted_pct
            ));
        }
        let asked = Accuracy::default();
        if case.mesh_deflection_pct > 100.0 * asked.deflection || case.mesh_reaction_pct > 100.0 * asked.reaction {
            all.push(format!(
                "{}, {}: the mesh leaves {:.1} % of the deflection and {:.1} % of the load on a cell open",
                plate.name, case.case, case.mesh_deflection_pct, case.mesh_reaction_pct
            ));
        }
        let lifted: Vec<&str> = case.cells.iter().filter(|c| c.lifts).map(|c| c.name.as_str()).collect();
        if !lifted.is_empty() {
            all.push(format!("{}, {}: the plate lifts off {}", plate.name, case.case, lifted.join(", ")));
        }
    }
    all
}

/// Where the safe load falls short of max.
pub(crate) fn of_safe_load(deck: &Deck, safe: &SafeLoad) -> Option<String> {
    (safe.load_kg < deck.max_kg).then(|| {
        format!(
            "a load that lies as the usual one does is safe up to {:.0} kg, limited by the {}; max is {:.0} kg",
            safe.load_kg, safe.limited_by, deck.max_kg
        )
    })
}

/// Of the ward's loads only what breaks something: reading low under an elbow is a matter of seconds.
fn of_ward(plate: &PlateReport) -> Vec<String> {
    let mut all = Vec::new();
    for case in &plate.cases {
        let over: Vec<String> = case
            .cells
            .iter()
            .filter(|c| c.load_pct_of_capacity > 100.0)
            .map(|c| format!("{} at {:.0} %", c.name, c.load_pct_of_capacity))
            .collect();
        if !over.is_empty() {
            all.push(format!("{}, {}: cells beyond their capacity: {}", plate.name, case.case, over.join(", ")));
        }
        if let Some(factor) = case.safety_factor.filter(|f| *f < 1.0) {
            all.push(format!(
                "{}, {}: a layer is strained beyond its strength (safety factor {factor:.2})",
                plate.name, case.case
            ));
        }
    }
    all
}

/// Where a constant that the deck file does not state would move the deflection by more than the accuracy that is promised.
fn of_shear(deck: &Deck) -> Vec<String> {
    let promised = Accuracy::default().deflection;
    let share = |plate| deck::model::neglected_shear(deck, plate).unwrap_or_default();
    // Plates of one stack differ by little: one warning for all that would bend as much further.
    let mut alike: Vec<(String, Vec<&str>)> = Vec::new();
    for (plate, share) in deck.plates.iter().map(|p| (p, share(p))).filter(|(_, share)| *share > promised) {
        let pct = format!("{:.0}", 100.0 * share);
        match alike.iter_mut().find(|(other, _)| *other == pct) {
            Some((_, names)) => names.push(&plate.name),
            None => alike.push((pct, vec![&plate.name])),
        }
    }
    alike
        .into_iter()
        .map(|(pct, names)| {
            format!(
                "{}: no layer's material states G_transverse_MPa, so the plate is bent as if it did not shear; by the shear \
                 moduli in the layers' planes it would bend about {pct} % further",
                names.join(", ")
            )
        })
        .collect()
}

fn of_class(deck: &Deck) -> Vec<String> {
    let mut all = Vec::new();
    if !is_valid_interval(deck.e_g) {
        all.push(format!(
            "the interval of {} g does not have the form 1, 2 or 5 × 10^k (OIML R 76-1, 4.2.2.1)",
            deck.e_g
        ));
    }
    let intervals = deck.max_kg * 1e3 / deck.e_g;
    match class_limits(deck.class, deck.e_g) {
        None => all.push(format!("class {:?} allows no interval of {} g (OIML R 76-1, Table 3)", deck.class, deck.e_g)),
        Some(limits) => {
            if intervals < limits.n_min || limits.n_max.is_some_and(|most| intervals > most) {
                all.push(format!(
                    "{intervals:.0} intervals up to max; class {:?} asks for {:.0} to {} (OIML R 76-1, Table 3)",
                    deck.class,
                    limits.n_min,
                    limits.n_max.map_or("any number".to_owned(), |most| format!("{most:.0}"))
                ));
            }
        }
    }
    all
}
