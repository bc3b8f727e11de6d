//! The plate of a deck on point supports, rigid and elastic.
//!
//! Source: computed with scikit-fem, bicubic elements, meshes of 18n × 10n for n = 1, 2, 4, 8, extrapolated. An independent
//! shell solution (CalculiX S8R, 72 × 40, shear included) lies 0.07 to 0.3 % above.
//!
//! 0.9 × 0.5 m, E = 70 GPa, ν = 0.33, t = 6 mm, edges free. Deflections are printed to 5 decimals of a millimetre,
//! reactions to 4 decimals of a newton.

use plates::{Bearing, Bending, Load, LoadCase, Plate, Solution, Spring, solve, solve_on};

use published::{within, within_share};

const CORNERS: [[f64; 2]; 4] = [[0.05, 0.05], [0.85, 0.05], [0.05, 0.45], [0.85, 0.45]];
const THREE: [[f64; 2]; 3] = [[0.05, 0.05], [0.85, 0.05], [0.45, 0.45]];
const RIGID: f64 = f64::INFINITY;

/// Half a last printed place of the deflections (5 decimals of a mm), and as much again for the two extrapolations.
const SLACK_MM: f64 = 1e-5;

/// The two meshes from which a value is extrapolated, n = 2 and 4.
const MESHES: [[usize; 2]; 2] = [[36, 20], [72, 40]];

fn plate(places: &[[f64; 2]], stiffness: &[f64]) -> Plate {
    let springs = places.iter().zip(stiffness.iter().cycle()).map(|(&at, &k)| Spring::point(at, k)).collect();
    Plate::new([0.9, 0.5], Bending::isotropic(70e9, 0.33, 0.006), springs)
}

fn uniform() -> LoadCase {
    Load::Uniform { pressure_pa: 1000.0 }.into()
}

fn patch() -> LoadCase {
    Load::patch_of([0.2, 0.15], [0.1, 0.1], 600.0).into()
}

fn solved(plate: &Plate, case: &LoadCase) -> [Solution; 2] {
    MESHES.map(|mesh| solve_on(plate, std::slice::from_ref(case), Bearing::Bilateral, mesh).unwrap().remove(0))
}

/// Richardson's value from both meshes: at a point support the error falls as h².
fn extrapolated([coarse, fine]: &[Solution; 2], value: impl Fn(&Solution) -> f64) -> f64 {
    value(fine) + (value(fine) - value(coarse)) / 3.0
}

#[track_caller]
fn check_mm(solutions: &[Solution; 2], points: &[([f64; 2], f64)]) {
    for &(at, mm) in points {
        within(1e3 * extrapolated(solutions, |s| s.deflection_m(at)), mm, SLACK_MM);
    }
}

#[track_caller]
fn check_reactions(solutions: &[Solution; 2], newton: &[f64], slack: f64) {
    for (index, expected) in newton.iter().enumerate() {
        within(extrapolated(solutions, |s| s.reactions_newton[index]), *expected, slack);
    }
}

#[test]
fn p1_uniform_load_on_four_rigid_points() {
    let s = solved(&plate(&CORNERS, &[RIGID]), &uniform());
    check_reactions(&s, &[112.5; 4], 1e-6);
    check_mm(&s, &[([0.45, 0.25], 3.95080), ([0.45, 0.0], 4.25646), ([0.0, 0.25], -0.50187), ([0.0, 0.0], -0.87990)]);
}

#[test]
fn p1_moments() {
    let [_, s] = solved(&plate(&CORNERS, &[RIGID]), &uniform());
    let centre = s.moments([0.45, 0.25]);
    // Second derivatives of cubics converge as h²: 0.2 % on this mesh; the printed values carry 5 figures.
    within_share(centre.x, 76.931, 5e-4);
    within_share(centre.y, 16.139, 2e-3);
    let edge = s.moments([0.45, 0.0]);
    within_share(edge.x, 82.287, 1e-3);
    // A free edge has no moment across it.
    within(edge.y, 0.0, 0.3);
}

#[test]
fn p2_uniform_load_on_four_springs_only_adds_their_shortening() {
    let s = solved(&plate(&CORNERS, &[1e6]), &uniform());
    check_reactions(&s, &[112.5; 4], 1e-6);
    check_mm(&s, &[([0.45, 0.25], 4.06330), ([0.45, 0.0], 4.36896), ([0.0, 0.25], -0.38937), ([0.0, 0.0], -0.76740)]);
    // The largest deflection is at the middle of a long edge.
    within(s[1].max.at_m[0], 0.45, 1e-6);
    within(1e3 * extrapolated(&s, |s| s.max.deflection_m), 4.36896, SLACK_MM);
}

#[test]
fn p3_patch_on_four_springs() {
    let s = solved(&plate(&CORNERS, &[1e6]), &patch());
    check_reactions(&s, &[281.6756, 93.3244, 168.3244, 56.6756], 6e-5);
    check_mm(
        &s,
        &[
            ([0.25, 0.20], 5.99308),
            ([0.45, 0.25], 6.71749),
            ([0.45, 0.0], 7.53824),
            ([0.0, 0.25], -0.33317),
            ([0.0, 0.0], -1.61740),
        ],
    );
    // Moments at the middle of a patch, extrapolated like the values: 5 figures.
    within_share(extrapolated(&s, |s| s.moments([0.25, 0.20]).x), 217.33, 1e-4);
    within_share(extrapolated(&s, |s| s.moments([0.25, 0.20]).y), 136.75, 1e-4);
}

#[test]
fn p3r_patch_on_four_rigid_points() {
    let s = solved(&plate(&CORNERS, &[RIGID]), &patch());
    check_reactions(&s, &[282.2856, 92.7144, 167.7144, 57.2856], 6e-5);
    check_mm(&s, &[([0.25, 0.20], 5.79368), ([0.45, 0.25], 6.56749), ([0.45, 0.0], 7.34137)]);
}

#[test]
fn p3u_patch_on_unequal_springs() {
    let s = solved(&plate(&CORNERS, &[1e6, 1e6, 1e6, 0.5e6]), &patch());
    check_reactions(&s, &[281.2421, 93.7579, 168.7579, 56.2421], 6e-5);
    check_mm(&s, &[([0.25, 0.20], 5.99840), ([0.45, 0.25], 6.73155)]);
}

#[test]
fn p4_three_supports_are_pure_statics() {
    let s = solved(&plate(&THREE, &[RIGID]), &patch());
    check_reactions(&s, &[337.5, 37.5, 225.0], 1e-6);
    check_mm(
        &s,
        &[
            ([0.25, 0.20], 3.76684),
            ([0.45, 0.25], 2.53336),
            ([0.45, 0.0], 4.76026),
            ([0.0, 0.25], 1.60837),
            ([0.0, 0.0], -1.61857),
        ],
    );
}

#[test]
fn p4u_uniform_load_on_three_supports() {
    let s = solved(&plate(&THREE, &[RIGID]), &uniform());
    check_reactions(&s, &[112.5, 112.5, 225.0], 1e-6);
    check_mm(&s, &[([0.45, 0.25], 0.92241), ([0.45, 0.0], 1.42392), ([0.0, 0.25], 0.72709), ([0.0, 0.0], -0.44692)]);
}

#[test]
fn p4s_patch_on_three_springs() {
    let s = solved(&plate(&THREE, &[1e6]), &patch());
    check_reactions(&s, &[337.5, 37.5, 225.0], 1e-6);
    check_mm(&s, &[([0.25, 0.20], 4.04340), ([0.45, 0.25], 2.73961)]);
}

/// The convergence of P1's centre, mesh by mesh.
#[test]
fn p1_meshes_give_the_same_values_as_another_code() {
    for (n, mm) in [(1, 3.950427), (2, 3.950697), (4, 3.950772), (8, 3.950792)] {
        let s = solve_on(&plate(&CORNERS, &[RIGID]), &[uniform()], Bearing::Bilateral, [18 * n, 10 * n]).unwrap();
        // The same element on the same mesh; the other code ends 1.3e-6 mm above ours at n = 8, by round-off of its own.
        within(1e3 * s[0].deflection_m([0.45, 0.25]), mm, 2e-6);
    }
}

/// A stiffer plate shares like a rigid one; the values between are printed to 3 decimals.
#[test]
fn p3_reactions_run_to_the_rigid_plate() {
    for (factor, newton) in [(1.0, 281.676), (10.0, 277.511), (100.0, 267.232), (1e3, 263.103), (1e4, 262.562)] {
        let mut p = plate(&CORNERS, &[1e6]);
        p.bending = Bending::isotropic(70e9 * factor, 0.33, 0.006);
        check_reactions(&solved(&p, &patch()), &[newton], 6e-4);
    }
    // Closed form of the rigid plate, equal and unequal springs; 1e10 times stiffer leaves 1e-5 N.
    for (stiffness, newton) in
        [([1e6; 4], [262.5, 112.5, 187.5, 37.5]), ([1e6, 1e6, 1e6, 0.5e6], [255.0, 120.0, 195.0, 30.0])]
    {
        let mut p = plate(&CORNERS, &stiffness);
        p.bending = Bending::isotropic(70e19, 0.33, 0.006);
        check_reactions(&solved(&p, &patch()), &newton, 1e-4);
    }
}

/// The automatic mesh meets what it promises (1 % and 0.5 %) by a wide margin, and its estimate covers the error.
#[test]
fn automatic_mesh_is_well_within_its_accuracy() {
    let s = &solve(&plate(&CORNERS, &[1e6]), &[patch()]).unwrap()[0];
    let estimate = s.estimate.unwrap();
    let off = f64::abs(1e3 * s.deflection_m([0.45, 0.0]) / 7.53824 - 1.0);
    assert!(off < 2e-3, "deflection off by {off}");
    assert!(off < estimate.deflection && estimate.deflection < 0.01, "{off} {estimate:?}");
    let off = (s.reactions_newton[0] - 281.6756).abs() / 600.0;
    assert!(off < 5e-4 && off < estimate.reaction && estimate.reaction < 0.005, "{off} {estimate:?}");
}
