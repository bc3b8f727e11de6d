//! Load cases as forces on plates.
//!
//! Here kilograms become newtons: a mass m on a plate at angle θ presses it with the normal force N = m g cos θ, as the
//! reaction of what lies still under gravity alone is vertical and friction takes m g sin θ. Buoyancy (1.1 g/kg of a body)
//! is left out of the loads that a plate must carry; it belongs to the error budget.
//!
//! A patient is laid on the sections by `body`; what presses on a gap between the plates of a section goes to the plates
//! that the same rectangle touches, in proportion to the areas it touches, or to the nearest plate. A mattress presses
//! evenly on each section by its length. Left out: the lean of a patient who slides, which the error budget carries.

use body::{Person, Place, Sex, lay};
use formats::deck::{Deck, LoadCase, Patch, PatientLoad, Plate};
use plates::Load;

use crate::error::DeckError;
use crate::geometry::{area_m2, bed, deck_area_m2, section_of};
use crate::gravity::gravity_m_s2;
use crate::units::{MM, m2};

/// What lies on one plate in one case.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct PlateLoad {
    /// Normal loads for the solver.
    pub loads: plates::LoadCase,
    /// Mass on the plate, kg.
    pub mass_kg: f64,
    /// Angle of its section to the horizontal, rad.
    pub angle_rad: f64,
}

/// One load case, spread over the plates.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct CaseLoad {
    /// A load a plate, in the order of the deck.
    pub plates: Vec<PlateLoad>,
    /// Mass that lies on sections without a plate, kg: the deck does not feel it.
    pub beside_kg: f64,
    /// Mattress on the plates, kg.
    pub mattress_kg: f64,
    /// Length of body that the bed is too short for, m.
    pub overhang_m: f64,
}

impl CaseLoad {
    /// Mass on all plates, kg.
    pub fn mass_kg(&self) -> f64 {
        self.plates.iter().map(|p| p.mass_kg).sum()
    }
}

/// Spreads a load case over the plates.
///
/// # Errors
/// Unknown names, a case without load, a section at 90° or more, a patient out of range.
pub fn spread(deck: &Deck, case: &LoadCase) -> Result<CaseLoad, DeckError> {
    if case.even_kg.is_none() && case.patches.is_empty() && case.patient.is_none() {
        return Err(DeckError::EmptyCase { case: case.name.clone() });
    }
    let mut spread = Spreader::new(deck, case)?;
    if let Some(kg) = case.even_kg {
        let area = deck_area_m2(deck);
        for index in 0..deck.plates.len() {
            spread.even(index, kg * area_m2(&deck.plates[index]) / area);
        }
    }
    for patch in &case.patches {
        spread.patch(patch, case)?;
    }
    if let Some(patient) = &case.patient {
        spread.patient(patient, case)?;
    }
    Ok(spread.result)
}

/// Collects the loads of one case.
struct Spreader<'a> {
    deck: &'a Deck,
    /// Section of each plate.
    sections: Vec<usize>,
    gravity_m_s2: f64,
    result: CaseLoad,
}

impl<'a> Spreader<'a> {
    fn new(deck: &'a Deck, case: &LoadCase) -> Result<Self, DeckError> {
        let sections = deck.plates.iter().map(|p| section_of(deck, p)).collect::<Result<Vec<_>, _>>()?;
        let angles_rad = section_angles_rad(deck, case)?;
        let plates = sections.iter().map(|&s| PlateLoad { angle_rad: angles_rad[s], ..PlateLoad::default() }).collect();
        Ok(Spreader {
            deck,
            sections,
            gravity_m_s2: gravity_m_s2(&deck.site),
            result: CaseLoad { plates, ..CaseLoad::default() },
        })
    }

    /// Normal force of a mass on a plate, N; counts the mass.
    fn normal_newton(&mut self, plate: usize, kg: f64) -> f64 {
        let load = &mut self.result.plates[plate];
        load.mass_kg += kg;
        kg * self.gravity_m_s2 * load.angle_rad.cos()
    }

    fn even(&mut self, plate: usize, kg: f64) {
        if kg > 0.0 {
            let pressure_pa = self.normal_newton(plate, kg) / area_m2(&self.deck.plates[plate]);
            self.result.plates[plate].loads.loads.push(Load::Uniform { pressure_pa });
        }
    }

    fn rectangle(&mut self, plate: usize, corner_m: [f64; 2], size_m: [f64; 2], kg: f64) {
        let force = self.normal_newton(plate, kg);
        self.result.plates[plate].loads.loads.push(Load::patch_of(corner_m, size_m, force));
    }

    fn patch(&mut self, patch: &Patch, case: &LoadCase) -> Result<(), DeckError> {
        let plate = self.deck.plates.iter().position(|p| p.name == patch.plate).ok_or_else(|| DeckError::Unknown {
            owner: format!("load case `{}`", case.name),
            kind: "plate",
            name: patch.plate.clone(),
        })?;
        self.rectangle(plate, m2([patch.x_mm, patch.y_mm]), m2([patch.length_mm, patch.width_mm]), patch.kg);
        Ok(())
    }

    fn patient(&mut self, patient: &PatientLoad, case: &LoadCase) -> Result<(), DeckError> {
        let wrap = |source| DeckError::Patient { case: case.name.clone(), source };
        let bed = bed(self.deck);
        let person = person(patient);
        let place = Place::usual(&person, &bed).map_err(wrap)?;
        let laid = lay(&person, &bed, &place).map_err(wrap)?;
        self.result.overhang_m = laid.overhang_m;
        for piece in &laid.pieces {
            self.press(piece.section, piece.x_m, piece.y_m, piece.mass_kg);
        }
        let length_m = bed.length_m();
        for (section, section_m) in bed.section_lengths_m.iter().enumerate() {
            let kg = patient.mattress_kg * section_m / length_m;
            self.even_on_section(section, kg);
            if self.sections.contains(&section) {
                self.result.mattress_kg += kg;
            }
        }
        Ok(())
    }

    fn even_on_section(&mut self, section: usize, kg: f64) {
        let on: Vec<usize> = (0..self.sections.len()).filter(|&p| self.sections[p] == section).collect();
        let area: f64 = on.iter().map(|&p| area_m2(&self.deck.plates[p])).sum();
        if on.is_empty() {
            self.result.beside_kg += kg;
        }
        for plate in on {
            self.even(plate, kg * area_m2(&self.deck.plates[plate]) / area);
        }
    }

    /// Puts a rectangle in bed coordinates on the plates of a section.
    fn press(&mut self, section: usize, x_m: [f64; 2], y_m: [f64; 2], kg: f64) {
        let on: Vec<usize> = (0..self.sections.len()).filter(|&p| self.sections[p] == section).collect();
        if on.is_empty() {
            self.result.beside_kg += kg;
            return;
        }
        let overlaps: Vec<(usize, [f64; 2], [f64; 2])> = on
            .iter()
            .filter_map(|&p| {
                let plate = &self.deck.plates[p];
                let x = overlap(x_m, plate, 0)?;
                let y = overlap(y_m, plate, 1)?;
                Some((p, x, y))
            })
            .collect();
        let area = |(_, x, y): &(usize, [f64; 2], [f64; 2])| (x[1] - x[0]) * (y[1] - y[0]);
        let total: f64 = overlaps.iter().map(area).sum();
        for part in &overlaps {
            let (plate, x, y) = *part;
            self.rectangle(plate, [x[0], y[0]], [x[1] - x[0], y[1] - y[0]], kg * area(part) / total);
        }
        if overlaps.is_empty() {
            self.press_nearest(&on, x_m, y_m, kg);
        }
    }

    /// Moves a rectangle that touches no plate onto the nearest one.
    fn press_nearest(&mut self, on: &[usize], x_m: [f64; 2], y_m: [f64; 2], kg: f64) {
        let gap = |&p: &usize| {
            let plate = &self.deck.plates[p];
            let along = |range: [f64; 2], axis: usize| {
                let [from, to] = span_m(plate, axis);
                (from - range[1]).max(range[0] - to).max(0.0)
            };
            along(x_m, 0).hypot(along(y_m, 1))
        };
        let Some(&plate) = on.iter().min_by(|a, b| gap(a).total_cmp(&gap(b))) else {
            return;
        };
        let [x, y] = [(x_m, 0), (y_m, 1)].map(|(range, axis)| {
            let [from, to] = span_m(&self.deck.plates[plate], axis);
            let size = (range[1] - range[0]).min(to - from);
            // In this order: where the load is as long as the plate, rounding may leave `to - size` below `from`.
            let low = range[0].min(to - size).max(from) - from;
            (low, size)
        });
        self.rectangle(plate, [x.0, y.0], [x.1, y.1], kg);
    }
}

/// Plates closer than this share of a millimetre to a rectangle do not count as touched, m.
const TOUCH_M: f64 = 1e-6;

/// From and to of a plate along an axis in bed coordinates, m.
fn span_m(plate: &Plate, axis: usize) -> [f64; 2] {
    let from = plate.origin_mm[axis] * MM;
    [from, from + plate.size_mm[axis] * MM]
}

/// Part of a range in bed coordinates that lies on a plate, from the plate's own corner, m.
fn overlap(range_m: [f64; 2], plate: &Plate, axis: usize) -> Option<[f64; 2]> {
    let [from, to] = span_m(plate, axis);
    let (low, high) = (range_m[0].max(from), range_m[1].min(to));
    (high - low > TOUCH_M).then_some([low - from, high - from])
}

/// Angle of each section in a case, rad; those that the case does not name lie flat.
///
/// # Errors
/// An unknown section, or one at 90° or more.
pub fn section_angles_rad(deck: &Deck, case: &LoadCase) -> Result<Vec<f64>, DeckError> {
    let mut angles = vec![0.0; deck.sections.len()];
    for (name, angle_deg) in case.patient.iter().flat_map(|p| &p.angles_deg) {
        let section = deck.sections.iter().position(|s| s.name == *name).ok_or_else(|| DeckError::Unknown {
            owner: format!("load case `{}`", case.name),
            kind: "section",
            name: name.clone(),
        })?;
        // NaN must not pass.
        if angle_deg.abs().is_nan() || angle_deg.abs() >= 90.0 {
            return Err(DeckError::TooSteep { case: case.name.clone(), section: name.clone(), angle_deg: *angle_deg });
        }
        angles[section] = angle_deg.to_radians();
    }
    Ok(angles)
}

fn person(patient: &PatientLoad) -> Person {
    Person {
        mass_kg: patient.mass_kg,
        stature_m: patient.height_mm * MM,
        sex: match patient.sex {
            formats::deck::Sex::Female => Sex::Female,
            formats::deck::Sex::Male => Sex::Male,
        },
    }
}
