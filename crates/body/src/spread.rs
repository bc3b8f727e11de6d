//! How a mattress spreads an even box of pressure, and how the hinges and edges of a bed cut it.
//!
//! The spread is the running mean over ± r, which turns the box along one axis into a trapezoid: a plateau of half-length
//! |u − r| and two ramps, u being the box's half-length. Each of the three is pressed evenly (the ramps at their mean),
//! which keeps mass and centre of mass exactly.

use crate::anthropometry::Part;
use crate::lying::Bed;

/// A rectangle of even pressure on one section.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pressure {
    /// Part of the body that presses.
    pub part: Part,
    /// Section, counted from the head end.
    pub section: usize,
    /// From and to along the flat bed, m.
    pub x_m: [f64; 2],
    /// From and to across it, m.
    pub y_m: [f64; 2],
    /// Mass, kg.
    pub mass_kg: f64,
}

/// A person lying on a bed.
#[derive(Debug, Clone, PartialEq)]
pub struct Laid {
    /// What presses where; the masses add up to the person's.
    pub pieces: Vec<Pressure>,
    /// Hip joint along x, m.
    pub hip_x_m: f64,
    /// Length of body that does not fit on the bed, m; its mass is pressed in at the end.
    pub overhang_m: f64,
}

/// From, to, share of the mass.
type Strip = (f64, f64, f64);

/// Presses a box through the mattress onto the sections.
pub(crate) fn press(
    part: Part,
    mass_kg: f64,
    x_m: [f64; 2],
    y_m: [f64; 2],
    spread_m: f64,
    bed: &Bed,
    pieces: &mut Vec<Pressure>,
) {
    let along = strips(x_m, spread_m).into_iter().map(|s| pressed_in(s, bed.length_m()));
    let across: Vec<Strip> = strips(y_m, spread_m).into_iter().map(|s| pressed_in(s, bed.width_m)).collect();
    let spans = bed.spans_m();
    for strip in along {
        for (section, from, to, share) in cut(strip, &spans) {
            for &(y0, y1, y_share) in &across {
                let mass_kg = mass_kg * share * y_share;
                if mass_kg > 0.0 {
                    pieces.push(Pressure { part, section, x_m: [from, to], y_m: [y0, y1], mass_kg });
                }
            }
        }
    }
}

/// The plateau and the ramps of a spread box; the box itself without spread.
fn strips([from, to]: [f64; 2], spread_m: f64) -> Vec<Strip> {
    if spread_m <= 0.0 {
        return vec![(from, to, 1.0)];
    }
    let center = f64::midpoint(from, to);
    let half = (to - from) / 2.0;
    let (inner, outer) = ((half - spread_m).abs(), half + spread_m);
    let plateau = inner / half.max(spread_m);
    let ramp = (1.0 - plateau) / 2.0;
    vec![
        (center - outer, center - inner, ramp),
        (center - inner, center + inner, plateau),
        (center + inner, center + outer, ramp),
    ]
}

/// A strip brought onto [0, end]: cut there, its mass kept; one wholly outside is moved to the edge.
fn pressed_in((from, to, share): Strip, end: f64) -> Strip {
    let (low, high) = (from.max(0.0), to.min(end));
    if high > low {
        return (low, high, share);
    }
    let width = (to - from).min(end);
    if to <= 0.0 { (0.0, width, share) } else { (end - width, end, share) }
}

/// The parts of a strip on each section: section, from, to, share.
fn cut((from, to, share): Strip, spans: &[[f64; 2]]) -> Vec<(usize, f64, f64, f64)> {
    let length = to - from;
    spans
        .iter()
        .enumerate()
        .filter_map(|(section, &[start, end])| {
            let (low, high) = (from.max(start), to.min(end));
            (high > low).then(|| (section, low, high, share * (high - low) / length))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spread_keeps_mass_and_center() {
        for spread in [0.0, 0.02, 0.1, 0.5] {
            let parts = strips([0.3, 0.5], spread);
            let mass: f64 = parts.iter().map(|s| s.2).sum();
            let center: f64 = parts.iter().map(|s| s.2 * f64::midpoint(s.0, s.1)).sum();
            assert!((mass - 1.0).abs() < 1e-15 && (center - 0.4).abs() < 1e-15);
        }
    }

    #[test]
    fn a_strip_beyond_the_end_is_kept() {
        // Binary fractions, so that the differences are exact.
        assert_eq!(pressed_in((2.25, 2.5, 0.5), 2.0), (1.75, 2.0, 0.5));
        assert_eq!(pressed_in((-0.1, 0.3, 1.0), 2.0), (0.0, 0.3, 1.0));
    }
}
