//! Shear-flexible plates: Reissner–Mindlin squares and sandwiches.

use plates::laminate::{Bond, Elasticity, Laminate, Layer};
use plates::{Bearing, Bending, Edge, Edges, Load, Plate, Shear, Solution, Spring, solve_on};

use published::{within, within_share};

/// Plate of sides a = 1 and b, D = 1, ν = 0.3 and relative thickness `t`: S = κGt with D = Et³/12(1−ν²), so that
/// S = 6 κ (1−ν) D/t².
fn plate(b: f64, t: f64, edge: Edge) -> Plate {
    let s = 6.0 * (5.0 / 6.0) * 0.7 / (t * t);
    Plate::new([1.0, b], Bending::isotropic_of(1.0, 0.3), Vec::new())
        .with_edges(Edges::all(edge))
        .with_shear(Shear { x_n_per_m: s, y_n_per_m: s })
}

#[track_caller]
fn centre(plate: &Plate, n: usize) -> f64 {
    let b = plate.size_m[1];
    let mesh = [n, (n as f64 * b).round() as usize];
    let s = solve_on(plate, &[Load::Uniform { pressure_pa: 1.0 }.into()], Bearing::Bilateral, mesh).unwrap();
    within_share(s[0].edge_reaction_newton, b, 1e-6);
    s[0].deflection_m([0.5, 0.5 * b])
}

/// Source: w = w_Kirchhoff + M/(κGt), M = (Mx + My)/(1+ν), exact for simply supported polygons with the tangential rotation
/// held (Navier's series, computed); nine-node elements of scikit-fem, 32², agree at t/a = 0.1 and 0.2.
#[test]
fn simply_supported_hard() {
    for (b, t, w) in [
        (1.0, 0.01, 0.0040645),
        (1.0, 0.05, 0.0041150),
        (1.0, 0.1, 0.0042728),
        (1.0, 0.2, 0.0049043),
        (1.0, 0.25, 0.0053779),
        (1.5, 0.1, 0.0080119),
        (1.5, 0.2, 0.0088757),
        (2.0, 0.1, 0.0104540),
        (2.0, 0.2, 0.0114301),
    ] {
        // Half a last printed place.
        within(centre(&plate(b, t, Edge::Diaphragm), 16), w, 6e-8);
    }
}

/// Source: nine-node elements of scikit-fem with full integration at 8, 16 and 32 elements a side, which rise to
/// 0.0046166 and 0.0055450 (only w = 0 held: a boundary layer of width t turns about the edge).
#[test]
fn simply_supported_soft() {
    for (t, w, slack) in [(0.1, 0.0046166, 6e-6), (0.2, 0.0055450, 2e-6)] {
        // Their last step, 3e-6 and 6e-7, and one more for what both meshes leave of the layer.
        within(centre(&plate(1.0, t, Edge::Simple), 32), w, slack);
    }
}

/// Source: as above, clamped; 16 and 32 elements a side differ by 4e-7 and 1e-7.
#[test]
fn clamped() {
    for (t, w) in [(0.1, 0.0015046), (0.2, 0.0021722)] {
        within(centre(&plate(1.0, t, Edge::Clamped), 16), w, 5e-7);
    }
}

/// No locking: as the plate gets thin on one coarse mesh, the thin plate is left.
#[test]
fn thin_limit_is_the_thin_plate() {
    for (edge, thin) in [(Edge::Diaphragm, 0.00406235), (Edge::Clamped, 0.00126532)] {
        for t in [1e-2, 1e-3, 1e-4] {
            let w = centre(&plate(1.0, t, edge), 8);
            // Shear itself adds 6 (simple: 5.3e-4 at t = 0.01) to 22 times (t/a)²; the mesh 2e-4 where clamped.
            within_share(w, thin, 25.0 * t * t + 3e-4);
        }
    }
}

const FACE: Elasticity = Elasticity { e_x_pa: 70e9, e_y_pa: 70e9, g_xy_pa: 35e9, nu_xy: 0.0 };

/// A strip of sandwich, faces 1 mm aluminium, core 10 mm of G = 20 MPa; ν = 0 so that the width does not matter.
fn strip(load: Load) -> Solution {
    let (d, s) = (4246.67, 242_000.0);
    let plate = Plate::new([0.8, 0.05], Bending::isotropic_of(d, 0.0), Vec::new())
        .with_edges(Edges { x0: Edge::Simple, x1: Edge::Simple, ..Edges::default() })
        .with_shear(Shear { x_n_per_m: s, y_n_per_m: s });
    solve_on(&plate, &[load.into()], Bearing::Bilateral, [32, 2]).unwrap().remove(0)
}

/// Source: Allen, Analysis and Design of Structural Sandwich Panels (1969), recalled: w = 5qL⁴/384D + qL²/8S; CalculiX
/// solids C3D20R give 3.1672 mm, 0.18 % less.
#[test]
fn sandwich_strip_under_even_load() {
    let s = strip(Load::Uniform { pressure_pa: 2000.0 });
    // Half a last place of 3.1729 mm.
    within(1e3 * s.deflection_m([0.4, 0.025]), 3.1729, 6e-5);
    within(1e3 * s.deflection_m([0.4, 0.025]), 3.1672, 0.0025 * 3.1672);
    // The shear force at the support is qL/2 a width, the moment in the middle qL²/8.
    within_share(s.shear_forces([0.0, 0.025]).unwrap()[0], 800.0, 1e-3);
    within_share(s.moments([0.4, 0.025]).x, 160.0, 1e-3);
}

/// Source: the same: PL³/48D + PL/4S for 500 N/m across the middle: 1.2559 + 0.4132 mm.
#[test]
fn sandwich_strip_under_a_line_load() {
    // A line 1 mm wide: the shear part of a line has a kink, a patch rounds it by its width over 4 L.
    let width = 0.001;
    let s =
        strip(Load::Patch { corner_m: [0.4 - 0.5 * width, 0.0], size_m: [width, 0.05], pressure_pa: 500.0 / width });
    // The C¹ deflection rounds the kink over an element: PL/4S · h/3L of 1.67 mm.
    within_share(1e3 * s.deflection_m([0.4, 0.025]), 1.2559 + 0.4132, 4e-3);
}

/// Face and core stresses follow from the strip's moments and shear force: M/(d t) = 14.545 MPa, Q/d = 0.0727 MPa.
#[test]
fn sandwich_stresses() {
    let core = Elasticity { e_x_pa: 40e6, e_y_pa: 40e6, g_xy_pa: 20e6, nu_xy: 0.0 };
    let layers = [(0.001, FACE), (0.010, core), (0.001, FACE)]
        .map(|(thickness_m, elasticity)| Layer { thickness_m, elasticity });
    let stack = Laminate::new(&layers, Bond::Glued).unwrap();
    let s = strip(Load::Uniform { pressure_pa: 2000.0 });
    let faces = stack.stresses(&s.moments([0.4, 0.025]));
    // The middle of the face; the formula's stress is even over it.
    within_share(0.5e-6 * (faces[2][0].x_pa + faces[2][1].x_pa), 14.545, 5e-3);
    within_share(1e-6 * s.shear_forces([0.0, 0.025]).unwrap()[0] / 0.011, 0.0727, 1e-3);
}

/// Source: Navier's series (computed): 0.8 × 0.5 m, face ν = 0.33, simply supported, 2000 Pa: 0.21792 + 0.21538 mm.
#[test]
fn sandwich_plate() {
    let plate = Plate::new([0.8, 0.5], Bending::isotropic_of(4765.65, 0.33), Vec::new())
        .with_edges(Edges::all(Edge::Diaphragm))
        .with_shear(Shear { x_n_per_m: 242_000.0, y_n_per_m: 242_000.0 });
    let s = solve_on(&plate, &[Load::Uniform { pressure_pa: 2000.0 }.into()], Bearing::Bilateral, [20, 12]).unwrap();
    within(1e3 * s[0].deflection_m([0.4, 0.25]), 0.21792 + 0.21538, 2e-5);
}

/// Source: NAFEMS R0031 (Composites Benchmarks), test 1, targets and material as restated by the verification manual of a
/// general-purpose program (read), the strip's sizes from memory: layers 0/90/0/90/0/90/0 of 0.1 mm, the middle one of 0.4 mm, on
/// lines 30 mm apart, 10 N/mm across the middle. −1.06 mm and 683.9 MPa at the middle of the lower face, 4.1 MPa of shear
/// between the outermost layers half-way to a support. (75 N of moment over 5483.3 N·mm give the 683.9 by hand.)
#[test]
fn nafems_laminated_strip() {
    let along = Elasticity { e_x_pa: 100e9, e_y_pa: 5e9, g_xy_pa: 3e9, nu_xy: 0.4 };
    let layers: Vec<Layer> = (0..7)
        .map(|i| Layer {
            thickness_m: if i == 3 { 0.4e-3 } else { 0.1e-3 },
            elasticity: if i % 2 == 0 { along } else { along.turned() },
        })
        .collect();
    let stack = Laminate::new(&layers, Bond::Glued).unwrap();
    let shear = stack.shear(&[[2e9; 2]; 7]).unwrap();
    let width = 0.2e-3;
    // What hangs over the supports is free of stress and left away.
    let plate = Plate::new([0.03, 0.01], stack.bending(), Vec::new())
        .with_edges(Edges { x0: Edge::Simple, x1: Edge::Simple, ..Edges::default() })
        .with_shear(shear);
    let line = Load::Patch { corner_m: [0.015 - 0.5 * width, 0.0], size_m: [width, 0.01], pressure_pa: 1e4 / width };
    let s = &solve_on(&plate, &[line.into()], Bearing::Bilateral, [60, 8]).unwrap()[0];
    let middle = [0.015, 0.005];
    // Printed to 3 digits; the manual's shell elements come to 1.045.
    within_share(1e3 * s.deflection_m(middle), 1.06, 0.01);
    let lower = stack.stresses(&s.moments(middle))[6][1].x_pa;
    // The patch of 0.2 mm rounds the moment off by 0.17 %, the strip's breadth adds a little.
    within_share(1e-6 * lower.abs(), 683.9, 0.01);
    // By the equilibrium of layers: τ = Q S/I, with S = E (z₁² − z₀²)/2 of the outermost layer and I = Σ E (z₁³ − z₀³)/3 of all.
    let q = s.shear_forces([0.0075, 0.005]).unwrap()[0].abs();
    let (mut z0, mut first, mut second) = (0.0, 0.0, 0.0);
    for (half_layer, layer) in [0.2e-3, 0.1e-3, 0.1e-3, 0.1e-3].into_iter().zip(&layers[3..]) {
        let z1: f64 = z0 + half_layer;
        first = layer.elasticity.e_x_pa * (z1 * z1 - z0 * z0) / 2.0;
        second += 2.0 * layer.elasticity.e_x_pa * (z1.powi(3) - z0.powi(3)) / 3.0;
        z0 = z1;
    }
    // Printed to 2 digits.
    within_share(1e-6 * q * first / second, 4.1, 0.013);
}

/// Source: NAFEMS R0031 (Composites Benchmarks, 1995), test 3, as restated by the verification manuals of several general-purpose
/// programs (read): a sandwich of 10 × 10 in, faces 0.028 in, core 0.75 in, simply supported, 100 psi: 0.123 in at the centre C;
/// 34 449 and 13 350 psi in the upper face there (one restatement has 13 390, one 13 932), 5067.5 psi of shear at the quarter point E.
/// Inches and pounds stand for metres and newtons.
#[test]
fn nafems_sandwich_plate() {
    let face = Elasticity { e_x_pa: 10e6, e_y_pa: 4e6, g_xy_pa: 1.875e6, nu_xy: 0.3 };
    let core = Elasticity { e_x_pa: 10.0, e_y_pa: 10.0, g_xy_pa: 10.0, nu_xy: 0.0 };
    let layers =
        [(0.028, face), (0.75, core), (0.028, face)].map(|(thickness_m, elasticity)| Layer { thickness_m, elasticity });
    let stack = Laminate::new(&layers, Bond::Glued).unwrap();
    let shear = stack.shear(&[[1.875e6; 2], [3e4, 1.2e4], [1.875e6; 2]]).unwrap();
    let plate =
        Plate::new([10.0, 10.0], stack.bending(), Vec::new()).with_edges(Edges::all(Edge::Diaphragm)).with_shear(shear);
    let s = &solve_on(&plate, &[Load::Uniform { pressure_pa: 100.0 }.into()], Bearing::Bilateral, [24, 24]).unwrap()[0];
    let middle_of_face = |at_m| {
        let [top, bottom] = stack.stresses(&s.moments(at_m))[0];
        [top.x_pa + bottom.x_pa, top.y_pa + bottom.y_pa, top.xy_pa + bottom.xy_pa].map(|twice| 0.5 * twice.abs())
    };
    // The shear-flexible elements of those manuals come to 0.122 in too, 0.7 % below the printed 0.123.
    within_share(s.deflection_m([5.0, 5.0]), 0.123, 0.01);
    let [x, y, _] = middle_of_face([5.0, 5.0]);
    within_share(x, 34_449.0, 0.005);
    within_share(y, 13_350.0, 0.01);
    within_share(middle_of_face([2.5, 2.5])[2], 5067.5, 0.01);
}

/// On point supports: square held at its corners, t/a = 0.01. Source: CalculiX S8R, 48²: centre 0.025652, edge 0.017931,
/// each 0.6 and 1.0 % above the thin plate.
#[test]
fn held_at_the_corners() {
    let t = 0.01;
    let s = 6.0 * (5.0 / 6.0) * 0.7 / (t * t);
    // As good as points: a square of a thousandth of the side would shorten the span by 0.4 % of the deflection.
    let springs = [[0.0, 0.0], [1.0, 0.0], [0.0, 1.0], [1.0, 1.0]]
        .map(|at_m| Spring { at_m, stiffness_n_per_m: f64::INFINITY, bearing_m: 1e-6 })
        .to_vec();
    let plate = Plate::new([1.0, 1.0], Bending::isotropic_of(1.0, 0.3), springs)
        .with_shear(Shear { x_n_per_m: s, y_n_per_m: s });
    let s = &solve_on(&plate, &[Load::Uniform { pressure_pa: 1.0 }.into()], Bearing::Bilateral, [48, 48]).unwrap()[0];
    // Layers of width t along the free edges are not resolved by either mesh; ours still rises by 5e-4 with the next.
    within_share(s.deflection_m([0.5, 0.5]), 0.025652, 1e-3);
    within_share(s.deflection_m([0.5, 0.0]), 0.017931, 1.5e-3);
    within_share(s.reactions_newton[0], 0.25, 1e-6);
}
