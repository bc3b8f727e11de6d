//! Loads that happen on a ward, whatever the deck file says: an elbow, a chest compression, someone sitting on the edge.
//!
//! | load | size | source |
//! |---|---|---|
//! | elbow or knee of a carer on the middle of a plate | 40 kg on 80 × 80 mm | an engineering choice, no source |
//! | chest compression on the middle of a back plate, on top of the patient | 600 N on 100 × 100 mm | memory; peaks of 297 ± 82 N at 42 mm are published (Tomlinson 2007, Resuscitation 72:364–370); deeper strokes take more |
//! | sitting on the edge | three quarters of max on 400 × 250 mm at the long edge | an engineering choice, no source |
//!
//! Which plate is a back plate is not in the file: a compression is put on every plate of the first section.

use formats::deck::{Deck, LoadCase, Patch, PatientLoad, Plate};

/// Elbow or knee, kg.
pub const ELBOW_KG: f64 = 40.0;
/// Side of its square, mm.
const ELBOW_MM: f64 = 80.0;
/// Peak force of a chest compression, N.
pub const COMPRESSION_NEWTON: f64 = 600.0;
/// Side of its square, mm.
const COMPRESSION_MM: f64 = 100.0;
/// Share of max on the edge.
pub const SITTING_SHARE: f64 = 0.75;
/// Name of that case.
pub(crate) const SITTING: &str = "sitting on the edge";
/// Length along the edge and depth of a sitting person's seat, mm.
const SITTING_MM: [f64; 2] = [400.0, 250.0];

/// Someone who sits on the edge of a plate.
pub(crate) fn sitting(plate: &Plate, kg: f64) -> LoadCase {
    case(SITTING, edge(plate, kg), None)
}

/// The ward's load cases for a plate: elbow and edge, and compression where it lies on the first section.
pub fn cases(deck: &Deck, plate: &Plate) -> Vec<LoadCase> {
    let gravity = deck::gravity_m_s2(&deck.site);
    let mut all =
        vec![case("elbow", middle(plate, ELBOW_MM, ELBOW_KG), None), sitting(plate, SITTING_SHARE * deck.max_kg)];
    if deck.sections.first().is_some_and(|s| s.name == plate.section) {
        let patient = deck.load_cases.iter().find_map(|c| c.patient.as_ref());
        let lying_flat = patient.map(|p| PatientLoad { angles_deg: Vec::new(), ..p.clone() });
        let patch = middle(plate, COMPRESSION_MM, COMPRESSION_NEWTON / gravity);
        all.push(case("chest compression", patch, lying_flat));
    }
    all
}

fn case(name: &str, patch: Patch, patient: Option<PatientLoad>) -> LoadCase {
    LoadCase { name: name.to_owned(), even_kg: None, patches: vec![patch], patient }
}

fn middle(plate: &Plate, side_mm: f64, kg: f64) -> Patch {
    let size = plate.size_mm.map(|s| s.min(side_mm));
    patch(plate, [0, 1].map(|i| (plate.size_mm[i] - size[i]) / 2.0), size, kg)
}

/// Along the bed in the middle of the plate, at the edge nearest a side of the bed (y = 0 or the far side).
fn edge(plate: &Plate, kg: f64) -> Patch {
    let size = [plate.size_mm[0].min(SITTING_MM[0]), plate.size_mm[1].min(SITTING_MM[1])];
    let near = plate.origin_mm[1] <= 0.5 * plate.size_mm[1];
    let y_mm = if near { 0.0 } else { plate.size_mm[1] - size[1] };
    patch(plate, [(plate.size_mm[0] - size[0]) / 2.0, y_mm], size, kg)
}

fn patch(plate: &Plate, [x_mm, y_mm]: [f64; 2], [length_mm, width_mm]: [f64; 2], kg: f64) -> Patch {
    Patch { plate: plate.name.clone(), x_mm, y_mm, length_mm, width_mm, kg }
}
