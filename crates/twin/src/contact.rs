//! Where a top plate bends down onto its base: the load that passes the cells by.
//!
//! The plate is watched at a grid of points. With w the free deflections there, g the gaps, C the deflections at one point under
//! a unit force at another, the base pushes back with forces r such that
//!
//! r ≥ 0,   g − w + C r ≥ 0,   rᵢ (g − w + C r)ᵢ = 0,
//!
//! a linear complementarity problem of a symmetric, positive C, solved by projected Gauss-Seidel. All of w and C come from the
//! plate solver that `check` uses, solved once by unit forces; a night adds them up.
//!
//! | symbol | name            | shape           | unit |
//! |--------|-----------------|-----------------|------|
//! | C      | `compliance`    | points × points | mm/N |
//! | w, g   | `deflection_mm`, `gap_mm` | points | mm   |
//! | r      | `push_newton`   | points          | N    |
//!
//! Signs: w down from the unloaded top plate, r up. Source of the conditions: unilateral contact with the base (w ≤ g, r ≥ 0,
//! one of both exact; textbook, no page). Holds as far as the grid is fine (a quarter of each side): exact
//! at its points and along its lines, up to 14 % too little passes where a small load touches between them. Not here: cells that lift off (they are let go
//! before and once after), the softness of what jams a gap.

/// Points along each side at which a plate may touch its base.
pub(crate) const POINTS_A_SIDE: usize = 5;
/// Points of a plate.
pub(crate) const POINTS: usize = POINTS_A_SIDE * POINTS_A_SIDE;
/// Rounds of Gauss-Seidel at most. C is that of a plate on springs, whose points answer to each other strongly: a contact at
/// two points takes some tens of rounds.
const ROUNDS: usize = 2000;
/// The problem is solved when no force moves by more, N: a milligram's worth is far below any cell's noise.
const ENOUGH_NEWTON: f64 = 1e-5;

/// Pushes of the base at the points of one plate, N. `push_newton` holds those of the sample before, where to begin.
pub(crate) fn push(compliance: &[f64], deflection_mm: &[f64], gap_mm: &[f64], push_newton: &mut [f64]) {
    let n = deflection_mm.len();
    for _ in 0..ROUNDS {
        let mut largest = 0.0f64;
        for i in 0..n {
            let row = &compliance[i * n..(i + 1) * n];
            let back: f64 = row.iter().zip(push_newton.iter()).map(|(c, r)| c * r).sum();
            let through_mm = deflection_mm[i] - back - gap_mm[i];
            let force = (push_newton[i] + through_mm / row[i]).max(0.0);
            largest = largest.max((force - push_newton[i]).abs());
            push_newton[i] = force;
        }
        if largest < ENOUGH_NEWTON {
            return;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Strip with clearance in closed form, by hand: beam EI 1260 N·m over 0.8 m, 3000 N/m, touching in the
    /// middle only: R = (5qL/8)(1 − g/g₀), g₀ = 12.6984 mm; g/g₀ = 0.8 → 300 N, 0.5 → 750 N.
    #[test]
    fn a_strip_that_touches_in_the_middle_gives_the_closed_form() {
        let (ei, l, q) = (1260.0, 0.8f64, 3000.0);
        let free_mm = 1000.0 * 5.0 * q * l.powi(4) / (384.0 * ei);
        assert!((free_mm - 12.6984).abs() < 5e-5);
        let compliance_mm = 1000.0 * l.powi(3) / (48.0 * ei);
        for (share, newton) in [(0.8, 300.0), (0.5, 750.0), (1.0, 0.0)] {
            let mut r = [0.0];
            push(&[compliance_mm], &[free_mm], &[share * free_mm], &mut r);
            assert!((r[0] - newton).abs() < 1e-9, "{share}: {}", r[0]);
        }
    }

    /// Two points that answer to each other: pushing at one frees the other, or both stay.
    #[test]
    fn conditions_of_contact_hold_at_every_point() {
        let c = [1.0, 0.8, 0.8, 1.0];
        for w in [[3.0, 2.0], [3.0, 2.7], [0.5, 0.9], [2.0, 2.0]] {
            let gap = [1.0, 1.0];
            let mut r = [0.0, 0.0];
            push(&c, &w, &gap, &mut r);
            for i in 0..2 {
                let clear = gap[i] - w[i] + c[2 * i] * r[0] + c[2 * i + 1] * r[1];
                // Solved to 1e-5 N with compliances of 1: to 2e-5.
                assert!(r[i] >= 0.0 && clear > -2e-5 && (r[i] * clear).abs() < 1e-4, "{w:?}: {r:?} {clear}");
            }
        }
    }
}
