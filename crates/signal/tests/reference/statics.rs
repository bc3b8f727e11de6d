//! The inclined plane: back 400 N at 30°, seat 250 N at 12°, legs 150 N at −8°.
//!
//! Source: statics, N = V cos θ + H sin θ and T = κ N tan θ; figures computed with these formulas outside this project's code,
//! to the digits shown.

use bedplate_signal::config::{CellConfig, Limits};
use bedplate_signal::load::Slant;
use bedplate_signal::{Config, Level, Plateau, Sample, SignalPath, doubt};
use published::within;

type Deck = Config<3, 3, 3>;
type Path = SignalPath<3, 3, 3>;

const TILT_DEG: [f64; 3] = [30.0, 12.0, -8.0];

/// One cell a section and a count a unit: what a section feels is what its cell counts.
fn deck(lean: f64) -> Deck {
    let cells = [0, 1, 2].map(|i| CellConfig::straight(i, [1000.0 * i as f64, 0.0], 0.0, 1.0, 1000.0));
    let mut limits = Limits::default();
    limits.doubt.lean = lean;
    limits.doubt.tilt_deg = 0.1;
    Config::new(&cells, &[0, 1, 2], 3, 1.0, limits).unwrap()
}

fn total(normal: [f64; 3], tilt_deg: [f64; 3]) -> f64 {
    let mut path = Path::new(deck(0.0));
    let sample = Sample { t_s: 0.0, counts: normal.map(Some), temperature_c: None, tilt_deg: tilt_deg.map(Some) };
    path.push(&sample).total_kg
}

#[test]
fn vertical_reactions_give_the_load_whatever_the_angles() {
    within(total([346.4102, 244.5369, 148.5402], TILT_DEG), 800.0, 1e-3);
    within(total([297.2579, 228.3864, 149.6346], [42.0, 24.0, 4.0]), 800.0, 1e-3);
}

#[test]
fn a_patient_who_slides_reads_too_heavy() {
    // Friction at the back 60 N short: the seat takes 30.000 N down and 51.962 N along.
    within(total([346.4102, 284.6847, 148.5402], TILT_DEG), 841.045, 1e-3);
    within(total([346.4102, 280.0, 148.5402], [30.0, 0.0, -8.0]), 830.0, 1e-3);
}

fn rest(cells_kg: [f64; 3], tilt_deg: [f64; 3]) -> Plateau<3, 3> {
    let level = Level { kg: cells_kg.iter().sum(), ..Level::default() };
    Plateau { level, cells_kg, tilt_deg, temperature_c: None, stand_in_u_kg: 0.0 }
}

#[test]
fn the_lean_in_the_uncertainty_is_what_statics_gives() {
    // 60 N short of 200 N is κ = 0.7; with the seat flat the error is 30 N. A frictionless back errs by W sin²θ.
    for (lean, angle, error) in [(0.3, 30.0, 30.0), (1.0, 15.0, 26.8), (1.0, 30.0, 100.0), (1.0, 45.0, 200.0)] {
        let parts = doubt::between(
            &deck(lean),
            &rest([0.0; 3], [angle, 0.0, 0.0]),
            &rest([400.0, 250.0, 150.0], [angle, 0.0, 0.0]),
        );
        within(parts.lean_kg, error, 0.05);
    }
    // What lay there before, at the same angle, cancels.
    let same = rest([400.0, 250.0, 150.0], TILT_DEG);
    assert!(doubt::between(&deck(1.0), &same, &same).total_kg() < 1e-12);
}

#[test]
fn the_angle_in_the_uncertainty_is_tan_theta_dtheta() {
    // dW/W per 0.1°: 0.0308 % at 10°, 0.1008 % at 30°, 0.3023 % at 60°.
    for (angle, pct) in [(10.0, 0.0308), (30.0, 0.1008), (60.0, 0.3023)] {
        let parts =
            doubt::between(&deck(0.0), &rest([0.0; 3], [angle, 0.0, 0.0]), &rest([100.0, 0.0, 0.0], [angle, 0.0, 0.0]));
        within(parts.angle_kg, pct, 0.5e-4);
    }
}

#[test]
fn the_cosine_is_that_of_the_table() {
    for (deg, pct) in [(1.0, 0.0152), (5.0, 0.3805), (12.0, 2.1852), (30.0, 13.3975), (45.0, 29.2893), (70.0, 65.798)] {
        within(100.0 * (1.0 - 1.0 / Slant::flat().secant(deg)), pct, 0.6e-4);
    }
}
