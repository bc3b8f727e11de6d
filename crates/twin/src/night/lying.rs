//! The patient on the bed: where the weight lies, and how that changes when the centre of mass moves a little.

use body::{Bed, Person, Place, lay};

use crate::built::{BuiltDeck, Footprint, Patch};
use crate::error::TwinError;
use crate::scenario;

/// Where a patient lies, against the usual place: supine on the midline, hip just below the hinge of the back.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Pose {
    /// Towards the foot, mm.
    pub(crate) down_mm: f64,
    /// Towards the patient's left, mm.
    pub(crate) across_mm: f64,
}

/// A patient's footprint in a pose, with its change a millimetre along and across.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Lie {
    pub(crate) share: Footprint,
    pub(crate) per_mm: [Footprint; 2],
}

/// Lays a patient in poses.
#[derive(Debug, Clone)]
pub(crate) struct Bedding {
    person: Person,
    bed: Bed,
    usual: Place,
}

/// Shift by which the change a millimetre is measured, mm.
const SHIFT_MM: f64 = 10.0;
/// Nearest that the midline comes to the bed's edge, mm.
const EDGE_MM: f64 = 180.0;

impl Bedding {
    pub(crate) fn new(built: &BuiltDeck, patient: &scenario::Patient) -> Result<Self, TwinError> {
        let person = Person {
            mass_kg: patient.mass_kg,
            stature_m: patient.height_mm / 1000.0,
            sex: match patient.sex {
                scenario::Sex::Female => body::Sex::Female,
                scenario::Sex::Male => body::Sex::Male,
            },
        };
        let bed = Bed {
            section_lengths_m: built.sections_mm.iter().map(|s| (s[1] - s[0]) / 1000.0).collect(),
            width_m: built.width_mm / 1000.0,
        };
        let usual = Place::usual(&person, &bed)?;
        Ok(Self { person, bed, usual })
    }

    pub(crate) fn lie(&self, built: &BuiltDeck, pose: Pose) -> Result<Lie, TwinError> {
        let at = |along_mm: f64, across_mm: f64| self.footprint(built, pose, along_mm, across_mm);
        let share = at(0.0, 0.0)?;
        let slope = |moved: Footprint| moved.iter().zip(&share).map(|(m, s)| (m - s) / SHIFT_MM).collect();
        let per_mm = [slope(at(SHIFT_MM, 0.0)?), slope(at(0.0, SHIFT_MM)?)];
        Ok(Lie { share, per_mm })
    }

    fn footprint(&self, built: &BuiltDeck, pose: Pose, along_mm: f64, across_mm: f64) -> Result<Footprint, TwinError> {
        let half = self.bed.width_m / 2.0;
        let room = (half - EDGE_MM / 1000.0).max(0.0);
        let place = Place {
            hip_x_m: self.usual.hip_x_m + (pose.down_mm + along_mm) / 1000.0,
            center_y_m: half + (pose.across_mm / 1000.0).clamp(-room, room) + across_mm / 1000.0,
            spread_m: self.usual.spread_m,
        };
        let laid = lay(&self.person, &self.bed, &place)?;
        let patches: Vec<Patch> = laid
            .pieces
            .iter()
            .map(|p| Patch {
                x_mm: p.x_m.map(|x| 1000.0 * x),
                y_mm: p.y_m.map(|y| 1000.0 * y),
                weight: p.mass_kg / self.person.mass_kg,
            })
            .collect();
        Ok(built.footprint(&patches))
    }
}
