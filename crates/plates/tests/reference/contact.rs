//! Lift-off, tipping and a rigid base at the clearance.
//!
//! Source of U and C: computed with scikit-fem's bicubic elements on meshes of 18n × 10n, base rigid at the nodes, primal–
//! dual active set until no state changes. Plate and springs as in `deck_plate`: 0.9 × 0.5 m aluminium, four springs of
//! 1e6 N/m 50 mm inside the edges.

use plates::laminate::{Bond, Elasticity, Laminate, Layer};
use plates::{
    Along, Bearing, Bending, Edge, Edges, Load, LoadCase, Plate, PlateError, Rib, Solution, Spring, solve_on, solve_to,
};

use published::{within, within_share};

const PLACES: [[f64; 2]; 4] = [[0.05, 0.05], [0.85, 0.05], [0.05, 0.45], [0.85, 0.45]];

fn plate(thickness_m: f64) -> Plate {
    let springs = PLACES.map(|at| Spring::point(at, 1e6)).to_vec();
    Plate::new([0.9, 0.5], Bending::isotropic(70e9, 0.33, thickness_m), springs)
}

fn over(clearance_m: f64) -> Bearing {
    Bearing::Pressed { clearance_m: Some(clearance_m) }
}

const NO_BASE: Bearing = Bearing::Pressed { clearance_m: None };

fn solved(plate: &Plate, case: LoadCase, bearing: Bearing, n: usize) -> Solution {
    let s = solve_on(plate, &[case], bearing, [18 * n, 10 * n]).unwrap().remove(0);
    let c = s.complementarity.unwrap();
    // The proof: nothing pulls, nothing presses across a room, nothing dips by more than the stated share of the gap.
    assert!(c.pull_newton <= 1e-8 * s.load_newton, "{c:?}");
    assert!(c.product_newton_m <= 1e-11 * s.load_newton, "{c:?}");
    let gap = if let Bearing::Pressed { clearance_m: Some(gap) } = bearing { gap } else { 0.0 };
    assert!(c.penetration_m <= 1e-3 * gap + 1e-12, "{c:?}");
    assert!(s.balance.force_newton.abs() < 1e-7 * s.load_newton, "{:?}", s.balance);
    assert!(s.balance.moment_x_newton_m.abs() < 1e-7 * s.load_newton, "{:?}", s.balance);
    s
}

fn corner_load(uniform_newton: f64) -> LoadCase {
    vec![Load::Uniform { pressure_pa: uniform_newton / 0.45 }, Load::patch_of([0.0, 0.0], [0.05, 0.05], 500.0)].into()
}

#[test]
fn u1_a_spring_that_would_pull_lets_go() {
    let p = plate(0.006);
    let s = solved(&p, corner_load(80.0), NO_BASE, 4);
    assert_eq!(s.lifts, [false, false, true, false]);
    // Three springs bear: statics, exact.
    for (found, exact) in s.reactions_newton.iter().zip([555.625, 15.625, 0.0, 8.75]) {
        within(*found, exact, 1e-6);
    }
    // Mesh n = 4 against extrapolated values: h² of a force at a point, 2e-4 mm.
    for (at, mm) in [([0.0, 0.0], 1.37474), ([0.45, 0.25], -0.08476), ([0.0, 0.5], -0.67821), (PLACES[2], -0.58574)] {
        within(1e3 * s.deflection_m(at), mm, 2e-4);
    }
    let pulling = solve_on(&p, &[corner_load(80.0)], Bearing::Bilateral, [72, 40]).unwrap().remove(0);
    for (found, expected) in pulling.reactions_newton.iter().zip([560.140, 11.110, -4.515, 13.264]) {
        within(*found, expected, 2e-3);
    }
}

#[test]
fn u2_a_load_outside_the_springs_tips_the_plate() {
    let error = solve_on(&plate(0.006), &[corner_load(80.0), corner_load(60.0)], NO_BASE, [18, 10]).unwrap_err();
    let PlateError::Tips { case, centre_m } = error else { panic!("{error}") };
    assert_eq!(case, 1);
    within(centre_m[0], 0.0705, 6e-5);
    within(centre_m[1], 0.0491, 6e-5);
}

/// Tipped, but caught: over a base the same load is carried by springs and the base at the plate's edge.
#[test]
fn u2_over_a_base_the_plate_comes_to_rest() {
    let s = solved(&plate(0.006), corner_load(60.0), over(0.004), 1);
    assert!(s.shunted_newton > 0.0 && s.lifts[2], "{:?}", s.reactions_newton);
    assert!(s.touches.iter().all(|t| t.at_m[1] < 0.05), "{:?}", s.touches);
}

#[test]
fn c1_contact_at_the_middle_of_both_long_edges() {
    for n in [1, 2, 4] {
        let s = solved(&plate(0.006), Load::Uniform { pressure_pa: 1800.0 }.into(), over(0.006), n);
        assert_eq!(s.touches.len(), 2);
        for (touch, y) in s.touches.iter().zip([0.0, 0.5]) {
            within(touch.at_m[0], 0.45, 1e-12);
            within(touch.at_m[1], y, 1e-12);
            // "The same to 4 digits for n = 1, 2, 4, 6."
            within_share(touch.force_newton, 45.442, 2e-3);
        }
        within(s.reactions_newton.iter().sum(), 719.116, 0.05);
        within(100.0 * s.shunted_share(), 11.22, 6e-3);
        within_share(1e3 * s.deflection_m([0.45, 0.25]), 5.8290, 2e-4);
    }
}

#[test]
fn c2_contact_along_a_line() {
    let case: LoadCase = Load::patch_of([0.35, 0.15], [0.2, 0.2], 900.0).into();
    for (n, cells) in [(1, 398.87), (2, 398.96), (4, 398.987)] {
        let s = solved(&plate(0.006), case.clone(), over(0.006), n);
        // The plate dips between contact nodes by less than what adds a point: the same problem as the computed one.
        within(s.reactions_newton.iter().sum(), cells, 6e-3);
        within(s.shunted_newton, 900.0 - cells, 6e-3);
    }
}

#[test]
fn c3_contact_spot_between_nodes() {
    let case: LoadCase = Load::patch_of([0.2, 0.15], [0.1, 0.1], 900.0).into();
    let s = solved(&plate(0.006), case, over(0.006), 4);
    // The computed value is known to ± 0.4 N: its spot moves with the mesh.
    within(s.shunted_newton, 293.5, 0.5);
    for (found, expected) in s.reactions_newton.iter().zip([292.9, 58.9, 200.8, 54.0]) {
        within(*found, expected, 0.4);
    }
}

#[test]
fn c4_contact_over_an_area() {
    for (gap, cells) in [(0.004, 646.03), (0.008, 750.57)] {
        let s = solved(&plate(0.004), Load::Uniform { pressure_pa: 3000.0 }.into(), over(gap), 2);
        // Computed at n = 4; the edge of the contact area moves by an element, 25 mm here: 0.1 % of the load.
        within(s.reactions_newton.iter().sum(), cells, 1.4);
        within(s.shunted_newton, 1350.0 - cells, 1.4);
        assert!(s.touches.len() > 4);
    }
}

/// The automatic mesh holds its accuracy through contact, too.
#[test]
fn automatic_mesh_through_contact() {
    for (load, gap, cells) in [
        (Load::Uniform { pressure_pa: 1800.0 }, 0.006, 719.116),
        (Load::patch_of([0.35, 0.15], [0.2, 0.2], 900.0), 0.006, 398.992),
        (Load::patch_of([0.2, 0.15], [0.1, 0.1], 900.0), 0.006, 606.5),
    ] {
        let s = solve_to(&plate(0.006), &[load.into()], over(gap), Default::default()).unwrap().remove(0);
        let estimate = s.estimate.unwrap();
        assert!(estimate.reaction <= 0.005 && estimate.deflection <= 0.01, "{estimate:?}");
        within(s.reactions_newton.iter().sum(), cells, 0.005 * s.load_newton);
    }
}

/// Source: closed form of the strip over a base (own derivation): span L, ends supported, even load q, gap g. With the free
/// deflection g₀ = 5qL⁴/384EI: g₀/5 ≤ g ≤ g₀ one contact with force (5qL/8)(1 − g/g₀); below, a flat part, and free lengths
/// ℓ = (24 EI g/q)^¼ whose load qℓ the ends carry in all.
#[test]
fn strip_with_clearance() {
    let (ei, length, q, width) = (1260.0_f64, 0.8_f64, 3000.0_f64, 0.01);
    let free = 5.0 * q * length.powi(4) / (384.0 * ei);
    within_share(1e3 * free, 12.6984, 1e-5);
    let edges = Edges { x0: Edge::Simple, x1: Edge::Simple, ..Edges::default() };
    // ν = 0 and narrow: the strip bends like a beam of EI a width; across it, between its two lines of contact, it hardly dips.
    let plate = Plate::new([length, width], Bending::isotropic_of(ei, 0.0), Vec::new()).with_edges(edges);
    for share in [1.1, 0.8, 0.5, 0.2, 0.1, 0.05] {
        let gap = share * free;
        let ends = if share >= 1.0 {
            q * length
        } else if share >= 0.2 {
            q * length - 0.625 * q * length * (1.0 - share)
        } else {
            q * (24.0 * ei * gap / q).powf(0.25)
        };
        let case: LoadCase = Load::Uniform { pressure_pa: q }.into();
        let s = solve_on(&plate, &[case], over(gap), [128, 1]).unwrap().remove(0);
        // One contact is exact; the end of a flat part is known to an element of 1/128, half an element's load q h/2 = 9 N,
        // of which the other code's 0.07 N shows that its effect is of second order.
        let slack = if share >= 0.2 { 1e-6 } else { 3e-4 };
        within_share(s.edge_reaction_newton / width, ends, slack);
        within_share(s.shunted_newton / width + ends, q * length, slack);
    }
}

/// A sheet that lies flat on its base over most of its area: the mesh is not halved without end, the contact is right on the one
/// that is kept, and the estimate says what it leaves open.
#[test]
fn a_sheet_flat_on_its_base_ends_on_a_mesh_that_can_be_solved() {
    let springs = [[0.03, 0.04], [0.26, 0.04], [0.03, 0.35], [0.26, 0.35]].map(|at| Spring::point(at, 1.5e6)).to_vec();
    let sheet = Plate::new([0.29, 0.39], Bending::isotropic(70e9, 0.33, 0.001), springs);
    let load = LoadCase::from(Load::Uniform { pressure_pa: 3_000.0 });
    let accuracy = plates::Accuracy { deflection: 1e-6, reaction: 1e-6 };
    let flat = solve_to(&sheet, &[load], over(0.006), accuracy).unwrap().remove(0);
    assert!(flat.touches.len() > 300, "{}", flat.touches.len());
    // One halving past the bound at most multiplies the points by four.
    assert!(flat.touches.len() < 4 * 300, "{}", flat.touches.len());
    let estimate = flat.estimate.unwrap();
    assert!(estimate.deflection > accuracy.deflection || estimate.reaction > accuracy.reaction, "{estimate:?}");
    let carried: f64 = flat.reactions_newton.iter().sum::<f64>() + flat.shunted_newton;
    within_share(carried, flat.load_newton, 1e-7);
    assert!(flat.complementarity.unwrap().pull_newton <= 1e-8 * flat.load_newton);
}

/// A 1 mm sheet under up to 50 kPa lies flat on its base but for a ring around each spring. No closed form: what is held is the
/// proof, the balance, the mirror, and that a finer mesh says the same.
#[test]
fn a_sheet_pressed_flat_onto_its_base_comes_to_rest() {
    let places = [[0.05, 0.05], [0.55, 0.05], [0.3, 0.35]];
    let springs = places.map(|at| Spring::point(at, 8e5)).to_vec();
    let sheet = Plate::new([0.6, 0.4], Bending::isotropic(70.3e9, 0.33, 0.001), springs);
    let on = |pressure_pa: f64, mesh: [usize; 2]| {
        let case = Load::Uniform { pressure_pa }.into();
        let s = solve_on(&sheet, &[case], over(0.005), mesh).unwrap().remove(0);
        let c = s.complementarity.unwrap();
        assert!(c.pull_newton <= 1e-9 * s.load_newton && c.product_newton_m <= 1e-11 * s.load_newton, "{c:?}");
        assert!(s.balance.force_newton.abs() < 1e-7 * s.load_newton, "{:?}", s.balance);
        // The mirror about the middle of the long side; the order in which nodes are found is not mirrored.
        within(s.reactions_newton[0], s.reactions_newton[1], 1e-3 * s.load_newton);
        (s, c)
    };
    // Up to 12 kPa a usual mesh keeps the dips within their share, and half its lines agree to 0.5 % of the load.
    for pressure_pa in [1000.0, 3000.0, 12000.0] {
        let (coarse, _) = on(pressure_pa, [8, 5]);
        let (usual, proof) = on(pressure_pa, [16, 10]);
        assert!(proof.penetration_m <= 1.5e-3 * 0.005, "{proof:?}");
        for (a, b) in coarse.reactions_newton.iter().zip(&usual.reactions_newton) {
            within(*a, *b, 5e-3 * usual.load_newton);
        }
        within(coarse.shunted_share(), usual.shunted_share(), 5e-3);
    }
    // At 50 kPa the sheet bulges between the nodes: the answer stands, and the proof tells how far, here 1 % of the gap.
    let (_, proof) = on(50_000.0, [16, 10]);
    assert!(proof.penetration_m > 1e-3 * 0.005 && proof.penetration_m < 2e-2 * 0.005, "{proof:?}");
}

/// A rib bears with its lower edges, which lie at the same place on every mesh, so that the answer converges: common practice of
/// contact, no source. The load lies beside the rib, so that the rib leans and one edge is down before the other.
#[test]
fn a_rib_that_leans_bears_on_its_edge_on_every_mesh() {
    let metal = Elasticity { e_x_pa: 70e9, e_y_pa: 70e9, g_xy_pa: 26e9, nu_xy: 0.33 };
    let stack = Laminate::new(&[Layer { thickness_m: 0.004, elasticity: metal }], Bond::Glued).unwrap();
    let rib = Rib { along: Along::X, at_m: 0.2, width_m: 0.02, height_m: 0.01, e_pa: 70e9, g_pa: 26e9 };
    let p = Plate::new([0.9, 0.5], stack.bending(), PLACES.map(|at| Spring::point(at, 1e6)).to_vec())
        .with_ribs(stack.section(), vec![rib]);
    let beside: LoadCase = Load::patch_of([0.4, 0.25], [0.1, 0.1], 600.0).into();
    let on = |n| solved(&p, beside.clone(), over(0.0115), n);
    let (coarse, middle, fine) = (on(1), on(2), on(4));
    for s in [&coarse, &middle, &fine] {
        assert!(s.shunted_newton > 50.0, "{}", s.shunted_newton);
        // The edge towards the load.
        assert!(s.touches.iter().all(|t| (t.at_m[1] - 0.21).abs() < 1e-9), "{:?}", s.touches);
        assert!((s.shunted_newton - fine.shunted_newton).abs() < 0.01 * s.load_newton, "{}", s.shunted_newton);
    }
    for (s, share) in [(&coarse, 5e-3), (&middle, 2e-3)] {
        let off = s.max.deflection_m / fine.max.deflection_m - 1.0;
        assert!(off.abs() < share, "{off}");
    }
}
