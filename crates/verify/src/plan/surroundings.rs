//! The steps that need more than masses: a bed whose sections move, and a room, or a chamber, that can be warmed and cooled.
//!
//! Source: tilt: R 76-1, 3.9.1.1 (read-2nd) and A.5.1 (memory: the load near the lowest one at which the permissible error steps up); temperature: 3.9.2
//! and A.5.3 (read-2nd). Each angle of a section counts as a tilt of the deck, as where it is judged.

use deck::chain::plate_capacity_kg;
use deck::oiml::r76;
use formats::deck::{Plate, Section};
use formats::tests::TestKind;

use super::loads::{Piece, on, sum};
use super::tests::Planned;
use super::{Act, Placed, Setting};
use crate::kinds::about;

/// Loads at each temperature, parts of Max.
const PARTS: [f64; 3] = [0.25, 0.5, 1.0];
/// Temperatures nearer to each other than this are one, °C (as where they are judged).
const SAME_C: f64 = 0.5;
/// Load at an angle where the permissible error does not step up below Max, part of Max.
const TILT_PART: f64 = 0.5;

/// What is open where the tilt is not tested here.
pub const TILT_OPEN: &str =
    "tilt: each moving section at its angles, loaded and not, by rows added to tests.csv (3.9.1.1)";
/// What is open where nothing is warmed and cooled here.
pub const TEMPERATURE_OPEN: &str =
    "temperature: over the range of use, in a chamber, by rows added to tests.csv (3.9.2)";

/// The angles at which a section is tested: flat, and both ends of its range.
fn angles_deg(section: &Section) -> Vec<f64> {
    let [low, high] = section.angle_deg;
    let mut angles: Vec<f64> = [low, high].into_iter().filter(|deg| *deg != 0.0).collect();
    if angles.is_empty() || high <= low {
        return Vec::new();
    }
    if low <= 0.0 && high >= 0.0 {
        angles.insert(0, 0.0);
    }
    angles
}

impl Planned<'_> {
    /// Every plate of every section that moves, flat and at both ends of the section's range, empty and loaded.
    pub(super) fn tilt(&mut self) {
        let deck = self.deck;
        let wanted_kg = r76::mpe_steps_kg(deck.class, deck.e_g, deck.max_kg)
            .first()
            .copied()
            .unwrap_or(TILT_PART * deck.max_kg)
            .min(deck.max_kg);
        let pieces = self.pieces.towards(wanted_kg, &[]);
        let moving: Vec<&Section> = deck.sections.iter().filter(|s| !angles_deg(s).is_empty()).collect();
        if moving.is_empty() {
            self.open.push("tilt: no section of this deck moves; where the whole bed can be tilted, by rows added to tests.csv (3.9.1.1)".into());
            return;
        }
        let mut lightest_kg = f64::INFINITY;
        for section in moving {
            let plates: Vec<&Plate> = deck.plates.iter().filter(|p| p.section == section.name).collect();
            if plates.is_empty() {
                self.open.push(format!("tilt: section {} moves, and no plate lies on it", section.name));
            }
            // All plates at one angle before the next: a section is raised once for all of them.
            for deg in angles_deg(section) {
                for plate in &plates {
                    let stack = self.stacked(plate, &pieces);
                    lightest_kg = lightest_kg.min(sum(&stack));
                    let middle_mm = [plate.size_mm[0] / 2.0, plate.size_mm[1] / 2.0];
                    let laid: Vec<Placed> = stack.iter().map(|p| on(p, plate, middle_mm)).collect();
                    let setting = Setting::Tilt { section: section.name.clone(), plate: plate.name.clone(), deg };
                    self.add_at(TestKind::Tilt, &format!("{} at {deg}°", section.name), Vec::new(), setting.clone());
                    if !laid.is_empty() {
                        self.add_at(TestKind::Tilt, &format!("{} at {deg}°", section.name), laid, setting);
                    }
                }
            }
        }
        if lightest_kg.is_finite() && !about(lightest_kg, wanted_kg) {
            self.open.push(format!(
                "tilt: these masses make {lightest_kg:.1} kg on a plate, near {wanted_kg:.1} kg is asked for (A.5.1)"
            ));
        }
    }

    /// Those of the pieces that a plate can carry.
    fn stacked(&self, plate: &Plate, pieces: &[Piece]) -> Vec<Piece> {
        let most_kg = super::loads::CAPACITY_PART * plate_capacity_kg(self.deck, plate).unwrap_or(0.0);
        let mut stack: Vec<Piece> = Vec::new();
        for piece in pieces {
            if sum(&stack) + piece.kg <= most_kg {
                stack.push(piece.clone());
            }
        }
        stack
    }

    /// Zero and loads at both ends of the range of use and between them.
    pub(super) fn temperature(&mut self) {
        let [low, high] = self.deck.ambient_c;
        if high - low < SAME_C {
            self.open
                .push(format!("temperature: the deck is for {low:.1} °C alone, there is no range to test (3.9.2)"));
            return;
        }
        let mut loads: Vec<Vec<Placed>> = PARTS.map(|part| self.laid(part * self.deck.max_kg)).into();
        loads.retain(|bodies| !bodies.is_empty());
        loads.dedup();
        // To the half degree: what is asked for is set on a dial.
        let middle = f64::midpoint(low, high);
        for celsius in [low, (2.0 * middle).round() / 2.0, high] {
            let step = format!("at {celsius} °C");
            let setting = Setting::Temperature { celsius };
            self.add_at(TestKind::Temperature, &step, Vec::new(), setting.clone());
            for bodies in &loads {
                self.add_at(TestKind::Temperature, &step, bodies.clone(), setting.clone());
            }
        }
    }

    fn add_at(&mut self, kind: TestKind, step: &str, bodies: Vec<Placed>, setting: Setting) {
        self.add(kind, step, Act::Read, bodies, 0.0);
        if let Some(added) = self.steps.last_mut() {
            added.setting = Some(setting);
        }
    }
}
