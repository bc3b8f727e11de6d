//! A person laid supine on a bed, arms beside the trunk, legs straight.
//!
//! Each segment is an even box about its own centre of mass: half as long as the shorter way from there to one of its
//! ends, twice (this keeps the centre of mass exactly), and as broad as an elliptic cross-section of its volume.

use crate::anthropometry::{BodyError, Part, Person, Segment, hip_height_m, segments};
use crate::spread::{self, Laid};

/// Hip joint below the hinge of the back, towards the foot, m: an engineering choice. With it the computed shares of an
/// adult (0.48 back, 0.22 seat, 0.20 thigh, 0.10 foot) lie near the load split of bed tests (0.45, 0.25, 0.15, 0.15).
pub const HIP_BELOW_HINGE_M: f64 = 0.10;
/// Half-width by which a mattress spreads a pressure, m: about its compressed thickness, 0.05 to 0.10 (memory).
pub const MATTRESS_SPREAD_M: f64 = 0.075;
/// The hinge of the back is the one nearest this share of the bed's length from the head end.
const BACK_SHARE: f64 = 0.40;
/// Density of the body, kg/m³, for the breadth of segments only.
const DENSITY_KG_M3: f64 = 1000.0;
/// Depth over breadth of the trunk's cross-section; limbs and head are taken as round.
const TRUNK_DEPTH_RATIO: f64 = 0.65;

/// A bed lying flat.
#[derive(Debug, Clone, PartialEq)]
pub struct Bed {
    /// Lengths of its sections from the head end, m.
    pub section_lengths_m: Vec<f64>,
    /// Width that carries, m.
    pub width_m: f64,
}

impl Bed {
    /// Whole length, m.
    pub fn length_m(&self) -> f64 {
        self.section_lengths_m.iter().sum()
    }

    /// Start and end of each section along x, m.
    pub fn spans_m(&self) -> Vec<[f64; 2]> {
        let mut start = 0.0;
        self.section_lengths_m
            .iter()
            .map(|length| {
                let span = [start, start + length];
                start = span[1];
                span
            })
            .collect()
    }

    fn check(&self) -> Result<(), BodyError> {
        let positive = |v: f64| v.is_finite() && v > 0.0;
        let n_sections = self.section_lengths_m.len();
        if n_sections > 0 && positive(self.width_m) && self.section_lengths_m.iter().all(|l| positive(*l)) {
            return Ok(());
        }
        Err(BodyError::Bed { n_sections, length_m: self.length_m(), width_m: self.width_m })
    }
}

/// Where on the bed a person lies.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// Hip joint along x, m from the head end.
    pub hip_x_m: f64,
    /// Midline along y, m.
    pub center_y_m: f64,
    /// Half-width of the mattress's spread, m; 0: none.
    pub spread_m: f64,
}

impl Place {
    /// On the midline, the hip [`HIP_BELOW_HINGE_M`] below the hinge of the back; further down where the head would
    /// not lie on the bed, further up where the feet would not.
    ///
    /// # Errors
    /// Person or bed out of range.
    pub fn usual(person: &Person, bed: &Bed) -> Result<Self, BodyError> {
        bed.check()?;
        let below = hip_height_m(person)?;
        let above = person.stature_m - below;
        let length = bed.length_m();
        let hinge = bed
            .spans_m()
            .iter()
            .map(|span| span[1])
            .filter(|end| *end < length)
            .min_by(|a, b| (a - BACK_SHARE * length).abs().total_cmp(&(b - BACK_SHARE * length).abs()))
            .unwrap_or(BACK_SHARE * length - HIP_BELOW_HINGE_M);
        let hip_x_m = (hinge + HIP_BELOW_HINGE_M).min(length - below).max(above);
        Ok(Place { hip_x_m, center_y_m: bed.width_m / 2.0, spread_m: MATTRESS_SPREAD_M })
    }
}

/// Lays a person on a bed: rectangles of even pressure, each on one section, whose masses add up to the person's.
///
/// What would lie beyond an edge of the bed is pressed in at that edge, and [`Laid::overhang_m`] says by how much the
/// body is too long.
///
/// # Errors
/// Person or bed out of range.
pub fn lay(person: &Person, bed: &Bed, place: &Place) -> Result<Laid, BodyError> {
    bed.check()?;
    let parts = segments(person)?;
    let trunk_breadth = parts
        .iter()
        .filter(|s| matches!(s.part, Part::UpperTrunk | Part::MiddleTrunk))
        .map(breadth_m)
        .fold(0.0, f64::max);
    let mut pieces = Vec::new();
    for segment in &parts {
        for side in sides(segment, trunk_breadth) {
            let [x, y] = footprint(segment, side, place);
            spread::press(segment.part, segment.mass_kg, x, y, place.spread_m, bed, &mut pieces);
        }
    }
    let head = place.hip_x_m - parts[0].top_m;
    let sole = head + person.stature_m;
    Ok(Laid { pieces, hip_x_m: place.hip_x_m, overhang_m: (-head).max(0.0) + (sole - bed.length_m()).max(0.0) })
}

/// Offsets of a segment's midline from the body's, m: one for the trunk and head, two for limbs.
fn sides(segment: &Segment, trunk_breadth_m: f64) -> Vec<f64> {
    let offset = match segment.part {
        Part::UpperArm | Part::Forearm | Part::Hand => (trunk_breadth_m + breadth_m(segment)) / 2.0,
        // Thighs touch; shanks and feet lie under the middle of the thighs, nearly enough.
        Part::Thigh | Part::Shank | Part::Foot => trunk_breadth_m / 4.0,
        _ => return vec![0.0],
    };
    vec![-offset, offset]
}

/// Breadth of a segment, m: an ellipse of its mean cross-section.
fn breadth_m(segment: &Segment) -> f64 {
    let ratio = match segment.part {
        Part::UpperTrunk | Part::MiddleTrunk | Part::LowerTrunk => TRUNK_DEPTH_RATIO,
        _ => 1.0,
    };
    let area = segment.mass_kg / (DENSITY_KG_M3 * segment.length_m);
    (4.0 * area / (std::f64::consts::PI * ratio)).sqrt()
}

/// Footprint of a segment: its box along x and along y, m.
fn footprint(segment: &Segment, side_m: f64, place: &Place) -> [[f64; 2]; 2] {
    let half = segment.center.min(1.0 - segment.center) * segment.length_m;
    let x = place.hip_x_m - segment.center_above_hip_m();
    let y = place.center_y_m + side_m;
    let half_breadth = breadth_m(segment) / 2.0;
    [[x - half, x + half], [y - half_breadth, y + half_breadth]]
}
