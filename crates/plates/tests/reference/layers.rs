//! Layered plates: aluminium 2 mm on birch plywood 6 mm, glued and loose.
//!
//! Source: classical lamination, computed independently (numpy) from the same inputs; the plate on rigid points agrees with
//! CalculiX solids (layers bonded) to 0.14 % at the centre and 0.08 % at the edge.

use plates::laminate::{Bond, Elasticity, Laminate, Layer};
use plates::{Bearing, Bending, Load, Moments, Plate, Spring, solve_on};

use published::{within, within_share};

fn stack(bond: Bond) -> Laminate {
    let aluminium = Elasticity::isotropic(70e9, 0.33);
    let plywood = Elasticity { e_x_pa: 12.7e9, e_y_pa: 4.76e9, g_xy_pa: 0.62e9, nu_xy: 0.02 };
    let layers =
        [Layer { thickness_m: 0.002, elasticity: aluminium }, Layer { thickness_m: 0.006, elasticity: plywood }];
    Laminate::new(&layers, bond).unwrap()
}

/// Half a last printed place of 3 to 4 decimals.
#[track_caller]
fn check(bending: Bending, [d11, d12, d22, d66]: [f64; 4]) {
    within(bending.d11, d11, 6e-4);
    within(bending.d12, d12, 6e-5);
    within(bending.d22, d22, 6e-4);
    within(bending.d66, d66, 6e-5);
    within(bending.d16, 0.0, 1e-9);
}

#[test]
fn stiffness_glued_and_loose() {
    check(stack(Bond::Glued).bending(), [1076.888, 68.4518, 520.671, 84.2947]);
    check(stack(Bond::Loose).bending(), [281.004, 18.9959, 138.063, 28.7039]);
}

#[test]
fn membrane_stiffness_and_neutral_depths() {
    let stack = stack(Bond::Glued);
    let a = stack.abd().a;
    within(1e-6 * a[0][0], 233.3206, 6e-5);
    within(1e-6 * a[0][1], 52.4173, 6e-5);
    within(1e-6 * a[1][1], 185.6735, 6e-5);
    within(1e-6 * a[2][2], 56.3516, 6e-5);
    // The plane that keeps its length when the glued plate bends along one direction alone: z_ref + B_ii/A_ii below the top.
    let [x, y] = [0, 1].map(|i| 0.5 * stack.thickness_m() + stack.abd().b[i][i] / stack.abd().a[i][i]);
    within(1e3 * x, 2.3066, 6e-5);
    within(1e3 * y, 1.6154, 6e-5);
}

/// The formula for each direction alone, D − B²/A, is 2.3 % too stiff along x: the full one must not be mistaken for it.
#[test]
fn the_direction_by_direction_formula_is_another() {
    let stack = stack(Bond::Glued);
    let abd = stack.abd();
    let alone = abd.d[0][0] - abd.b[0][0].powi(2) / abd.a[0][0];
    within(alone, 1102.090, 6e-4);
    assert!(alone / stack.bending().d11 > 1.023);
}

#[test]
fn stresses_of_a_unit_moment() {
    let moments = Moments { x: 100.0, y: 0.0, xy: 0.0 };
    let mpa = |bond: Bond| -> Vec<[f64; 2]> {
        stack(bond).stresses(&moments).into_iter().map(|faces| faces.map(|s| 1e-6 * s.x_pa)).collect()
    };
    let glued = mpa(Bond::Glued);
    for (found, expected) in glued.as_flattened().iter().zip([-16.277, -2.203, -0.485, 6.645]) {
        within(*found, expected, 6e-4);
    }
    let loose = mpa(Bond::Loose);
    for (found, expected) in loose.as_flattened().iter().zip([-26.936, 26.936, -13.674, 13.674]) {
        within(*found, expected, 6e-4);
    }
}

/// Rigid points 50 mm from the edges of 0.9 × 0.5 m, 1000 Pa.
#[test]
fn layered_plate_on_points() {
    let places = [[0.05, 0.05], [0.85, 0.05], [0.05, 0.45], [0.85, 0.45]];
    let springs: Vec<_> = places.map(|at| Spring::point(at, f64::INFINITY)).to_vec();
    for (bond, mm) in
        [(Bond::Glued, [5.39528, 5.43128, 0.35883, -1.54566]), (Bond::Loose, [20.5676, 20.4936, 0.9447, -5.6602])]
    {
        let plate = Plate::new([0.9, 0.5], stack(bond).bending(), springs.clone());
        let s = &solve_on(&plate, &[Load::Uniform { pressure_pa: 1000.0 }.into()], Bearing::Bilateral, [36, 20])
            .unwrap()[0];
        for (at, expected) in [[0.45, 0.25], [0.45, 0.0], [0.0, 0.25], [0.0, 0.0]].into_iter().zip(mm) {
            // The mesh's own 5e-5 of the largest deflection.
            within(1e3 * s.deflection_m(at), expected, 6e-5 * mm[0]);
        }
        within_share(s.reactions_newton[0], 112.5, 1e-9);
    }
}
