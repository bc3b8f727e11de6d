//! The bed seen from the patient's right: its sections at their angles, below the plan.
//!
//! Each section turns about its hinge towards the one that stays level; a positive angle lifts its free end.

use std::fmt::Write as _;

use super::deck_plan::{SectionPlan, escape};
use crate::number::fixed;

/// The side view is drawn at this share of the plan's scale.
const SCALE: f64 = 0.5;
/// Room for a line of letters, mm.
const LINE_MM: f64 = 60.0;

/// How the sections stand.
#[derive(Debug, Clone, PartialEq)]
pub struct BedSide {
    /// Angle of each section, °; positive: its free end up.
    pub angles_deg: Vec<f64>,
    /// Index of the section that stays level.
    pub still: usize,
}

impl BedSide {
    /// Both ends of each section, the head's first: x along the lying bed and height, mm.
    fn ends(&self, sections: &[SectionPlan]) -> Vec<[[f64; 2]; 2]> {
        let still = self.still.min(sections.len().saturating_sub(1));
        let starts: Vec<f64> = sections.iter().scan(0.0, |x, s| Some(std::mem::replace(x, *x + s.length_mm))).collect();
        let mut ends: Vec<[[f64; 2]; 2]> =
            sections.iter().zip(&starts).map(|(s, x)| [[*x, 0.0], [x + s.length_mm, 0.0]]).collect();
        let reach = |i: usize| {
            let rad = self.angles_deg.get(i).copied().unwrap_or(0.0).to_radians();
            [sections[i].length_mm * rad.cos(), sections[i].length_mm * rad.sin()]
        };
        for i in still + 1..sections.len() {
            let ([from_x, from_z], [along, up]) = (ends[i - 1][1], reach(i));
            ends[i] = [[from_x, from_z], [from_x + along, from_z + up]];
        }
        for i in (0..still).rev() {
            let ([from_x, from_z], [along, up]) = (ends[i + 1][0], reach(i));
            ends[i] = [[from_x - along, from_z + up], [from_x, from_z]];
        }
        ends
    }

    /// Draws below `top_mm`; gives the height that it took, mm.
    pub(super) fn draw(&self, out: &mut String, sections: &[SectionPlan], top_mm: f64) -> f64 {
        let ends = self.ends(sections);
        let heights = || ends.iter().flatten().map(|end| end[1]);
        let (low, high) = (heights().fold(0.0_f64, f64::min), heights().fold(0.0_f64, f64::max));
        // Heights of the lying bed and of the lower edge, in the drawing's own direction.
        let level = top_mm + LINE_MM + SCALE * high;
        let length: f64 = sections.iter().map(|s| s.length_mm).sum();
        // The half-sized bed stands in the middle.
        let left = (1.0 - SCALE) / 2.0 * length;
        let at = |[x, z]: [f64; 2]| (left + SCALE * x, level - SCALE * z);
        let _ = write!(
            out,
            r#"<g class="side"><line class="section" x1="{left:.0}" y1="{level:.0}" x2="{:.0}" y2="{level:.0}"/>"#,
            left + SCALE * length
        );
        for (i, (section, [from, to])) in sections.iter().zip(&ends).enumerate() {
            let deg = self.angles_deg.get(i).copied().unwrap_or(0.0);
            let ((x1, y1), (x2, y2)) = (at(*from), at(*to));
            let is_flat = deg == 0.0;
            let class = if is_flat { "stands" } else { "stands turned" };
            let _ = write!(out, r#"<line class="{class}" x1="{x1:.0}" y1="{y1:.0}" x2="{x2:.0}" y2="{y2:.0}"/>"#);
            if !is_flat {
                // Beside the free end, away from the bed, where nothing else is drawn.
                let is_at_head = i < self.still;
                let ((x, y), anchor) = if is_at_head { ((x1 - 20.0, y1), "end") } else { ((x2 + 20.0, y2), "start") };
                let _ = write!(
                    out,
                    r#"<text x="{x:.0}" y="{:.0}" text-anchor="{anchor}">{} {}°</text>"#,
                    y + 12.0,
                    escape(&section.name),
                    fixed(deg, 1).trim_end_matches(".0").replace('-', "−")
                );
            }
        }
        out.push_str("</g>");
        LINE_MM + SCALE * (high - low) + LINE_MM
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sections() -> Vec<SectionPlan> {
        let of = |name: &str, length_mm| SectionPlan { name: name.into(), length_mm };
        vec![of("back", 800.0), of("seat", 400.0), of("legs", 600.0)]
    }

    /// By hand: a back of 800 mm at 60° reaches 400 mm along and 693 mm up from the seat's head end at x = 800 mm; legs at −30° go 300 mm
    /// down from x = 1200 mm.
    #[test]
    fn a_section_turns_about_the_hinge_towards_the_level_one() {
        let side = BedSide { angles_deg: vec![60.0, 0.0, -30.0], still: 1 };
        let ends = side.ends(&sections());
        let near = |a: [f64; 2], b: [f64; 2]| (a[0] - b[0]).abs() < 0.1 && (a[1] - b[1]).abs() < 0.1;
        assert!(near(ends[0][0], [400.0, 692.8]) && near(ends[0][1], [800.0, 0.0]), "{ends:?}");
        assert!(near(ends[2][0], [1200.0, 0.0]) && near(ends[2][1], [1719.6, -300.0]), "{ends:?}");
    }

    #[test]
    fn what_is_turned_is_named_with_its_angle_and_what_lies_flat_is_not() {
        let mut out = String::new();
        let height = BedSide { angles_deg: vec![65.0, 0.0, 0.0], still: 1 }.draw(&mut out, &sections(), 900.0);
        assert!(out.contains(">back 65°</text>") && !out.contains("legs") && !out.contains("NaN"), "{out}");
        // Half of 800 mm · sin 65° = 362.5 mm, and two lines.
        assert!((height - 482.5).abs() < 0.1, "{height}");
        let mut down = String::new();
        BedSide { angles_deg: vec![0.0, 0.0, -12.5], still: 1 }.draw(&mut down, &sections(), 900.0);
        assert!(down.contains(">legs −12.5°</text>"), "{down}");
    }
}
