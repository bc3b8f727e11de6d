//! Ribs as eccentric beams.

use plates::laminate::{Bond, Elasticity, Laminate, Layer};
use plates::{Along, Bearing, Edge, Edges, Load, Plate, PlateError, Rib, Solution, Spring, solve_on};

use published::{within, within_share};

/// Aluminium strip of 200 × 4 mm, ν = 0 so that it is a beam, with a flat bar of 5 × 20 mm under its middle.
fn strip(ribs: Vec<Rib>) -> Solution {
    let sheet =
        Layer { thickness_m: 0.004, elasticity: Elasticity { e_x_pa: 70e9, e_y_pa: 70e9, g_xy_pa: 35e9, nu_xy: 0.0 } };
    let stack = Laminate::new(&[sheet], Bond::Glued).unwrap();
    let plate = Plate::new([0.8, 0.2], stack.bending(), Vec::new())
        .with_edges(Edges { x0: Edge::Simple, x1: Edge::Simple, ..Edges::default() })
        .with_ribs(stack.section(), ribs);
    // 600 N/m of length over a breadth of 0.2 m.
    solve_on(&plate, &[Load::Uniform { pressure_pa: 3000.0 }.into()], Bearing::Bilateral, [16, 4]).unwrap().remove(0)
}

fn bar(height_m: f64, at_m: f64) -> Rib {
    Rib { along: Along::X, at_m, width_m: 0.005, height_m, e_pa: 70e9, g_pa: 26e9 }
}

/// Source: transformed section: ȳ 3.3333 mm from the top, EI 1204.0 N·m², 2.6578 mm, rib bottom 57.674 MPa, top −9.302 MPa;
/// the concentric section (4400 mm⁴) would give four times less stiffness.
///
/// The whole breadth works only in a long strip: in ours, 4 times as long as broad, shear lag leaves 97 to 98 % of the
/// breadth (Timoshenko & Goodier, Theory of Elasticity, art. 97: effective breadth 0.18 L each side for a sine load and many
/// ribs). The formula is an upper bound of stiffness and must not be exceeded.
#[test]
fn strip_with_one_rib_is_near_its_transformed_section() {
    let s = strip(vec![bar(0.02, 0.1)]);
    let w = 1e3 * s.deflection_m([0.4, 0.1]);
    assert!(w > 2.6578, "{w}: stiffer than the transformed section");
    within_share(w, 2.6578, 0.03);
    let stress = s.rib_stresses(0).into_iter().max_by(|a, b| a.bottom_pa.total_cmp(&b.bottom_pa)).unwrap();
    within(stress.at_m[0], 0.4, 1e-9);
    within_share(1e-6 * stress.bottom_pa, 57.674, 0.03);
}

/// A strip of 10 mm breadth has no shear lag worth the name: the transformed section is met.
#[test]
fn narrow_strip_with_a_rib_is_its_transformed_section() {
    let sheet =
        Layer { thickness_m: 0.004, elasticity: Elasticity { e_x_pa: 70e9, e_y_pa: 70e9, g_xy_pa: 35e9, nu_xy: 0.0 } };
    let stack = Laminate::new(&[sheet], Bond::Glued).unwrap();
    let plate = Plate::new([0.8, 0.01], stack.bending(), Vec::new())
        .with_edges(Edges { x0: Edge::Simple, x1: Edge::Simple, ..Edges::default() })
        .with_ribs(stack.section(), vec![bar(0.02, 0.005)]);
    let s = &solve_on(&plate, &[Load::Uniform { pressure_pa: 3000.0 }.into()], Bearing::Bilateral, [16, 2]).unwrap()[0];
    // Steiner: sheet 10 × 4, bar 5 × 20 mm of one modulus.
    let (a1, a2, y1, y2) = (40e-6, 100e-6, 0.002_f64, 0.014_f64);
    let y = (a1 * y1 + a2 * y2) / (a1 + a2);
    let i: f64 = 0.01 * 0.004_f64.powi(3) / 12.0
        + a1 * (y - y1).powi(2)
        + 0.005 * 0.02_f64.powi(3) / 12.0
        + a2 * (y2 - y).powi(2);
    let exact = 5.0 * 30.0 * 0.8_f64.powi(4) / (384.0 * 70e9 * i);
    // Shear lag of 10 mm in 0.8 m and the h⁴ of the mesh.
    within_share(s.deflection_m([0.4, 0.005]), exact, 5e-4);
    let moment = 30.0 * 0.8 * 0.8 / 8.0;
    let bottom = s.rib_stresses(0).iter().map(|r| r.bottom_pa).fold(0.0, f64::max);
    within_share(bottom, moment * (0.024 - y) / i, 3e-3);
    // The sheet's own stress, from its strains.
    let top = stack.stresses_of(&s.strains([0.4, 0.005]))[0][0].x_pa;
    within_share(top, -moment * y / i, 5e-3);
}

#[test]
fn no_rib_is_the_bare_strip_and_more_ribs_stiffen() {
    let bare = strip(Vec::new());
    // Source: beam formula, 42.857 mm.
    within_share(1e3 * bare.deflection_m([0.4, 0.1]), 42.857, 1e-4);
    let one = strip(vec![bar(0.02, 0.1)]).max.deflection_m;
    let two = strip(vec![bar(0.02, 0.05), bar(0.02, 0.15)]).max.deflection_m;
    let higher = strip(vec![bar(0.03, 0.1)]).max.deflection_m;
    assert!(two < one && higher < one && one < bare.max.deflection_m);
}

/// A rib as broad as the plate and of its material is a thicker plate.
///
/// Bars side by side over the whole breadth, glued on: 4 mm + 4 mm of one material bend as 8 mm along the bars.
#[test]
fn bars_side_by_side_are_a_layer() {
    let ribs =
        (0..8).map(|i| Rib { width_m: 0.025, height_m: 0.004, ..bar(0.0, 0.0125 + 0.025 * f64::from(i)) }).collect();
    let s = strip(ribs);
    // Along the bars 8³ = 512 against 64: an eighth of 42.857 mm. Between their axes the sheet stretches a little less.
    within_share(1e3 * s.deflection_m([0.4, 0.1]), 42.857 / 8.0, 5e-3);
}

/// Ribs along y answer as ribs along x of the plate turned by a quarter.
#[test]
fn direction_of_a_rib_is_only_a_name() {
    let sheet = Layer { thickness_m: 0.004, elasticity: Elasticity::isotropic(70e9, 0.33) };
    let stack = Laminate::new(&[sheet], Bond::Glued).unwrap();
    let turned = |[x, y]: [f64; 2]| [y, x];
    let places = [[0.05, 0.05], [0.65, 0.05], [0.05, 0.35], [0.65, 0.35]];
    let spring = |at| Spring::point(at, 1e6);
    let along_x = Plate::new([0.7, 0.4], stack.bending(), places.map(spring).to_vec())
        .with_ribs(stack.section(), vec![bar(0.02, 0.13), bar(0.015, 0.3)]);
    let along_y = Plate::new([0.4, 0.7], stack.bending(), places.map(|p| spring(turned(p))).to_vec()).with_ribs(
        stack.section(),
        vec![bar(0.02, 0.13), bar(0.015, 0.3)].into_iter().map(|r| Rib { along: Along::Y, ..r }).collect(),
    );
    let load = |at: [f64; 2]| Load::Point { at_m: at, force_newton: 300.0 };
    let a = &solve_on(&along_x, &[load([0.3, 0.1]).into()], Bearing::Bilateral, [10, 6]).unwrap()[0];
    let b = &solve_on(&along_y, &[load([0.1, 0.3]).into()], Bearing::Bilateral, [6, 10]).unwrap()[0];
    for at in [[0.3, 0.1], [0.35, 0.2], [0.0, 0.4]] {
        within_share(a.deflection_m(at), b.deflection_m(turned(at)), 1e-7);
    }
    within(a.reactions_newton[1], b.reactions_newton[1], 1e-6);
    within_share(a.rib_stresses(1)[10].bottom_pa, b.rib_stresses(1)[10].bottom_pa, 1e-6);
    assert!(a.balance.force_newton.abs() < 1e-7 && a.balance.spring_law_newton < 1e-6, "{:?}", a.balance);
}

/// Over a base it is the rib that touches first, with its lower edges, at the clearance less its height.
#[test]
fn a_rib_touches_the_base_first() {
    let sheet = Layer { thickness_m: 0.003, elasticity: Elasticity::isotropic(70e9, 0.33) };
    let stack = Laminate::new(&[sheet], Bond::Glued).unwrap();
    let springs = [[0.05, 0.05], [0.65, 0.05], [0.05, 0.35], [0.65, 0.35]].map(|at| Spring::point(at, 1e6)).to_vec();
    let plate = Plate::new([0.7, 0.4], stack.bending(), springs).with_ribs(stack.section(), vec![bar(0.008, 0.2)]);
    let load = Load::Uniform { pressure_pa: 4000.0 };
    let over = |gap| Bearing::Pressed { clearance_m: Some(gap) };
    let s = &solve_on(&plate, &[load.into()], over(0.012), [14, 8]).unwrap()[0];
    let on_rib: Vec<_> = s.touches.iter().filter(|t| ((t.at_m[1] - 0.2).abs() - 0.0025).abs() < 1e-9).collect();
    assert!(!on_rib.is_empty(), "{:?}", s.touches);
    for touch in on_rib {
        within(s.deflection_m(touch.at_m), 0.004, 1e-9);
    }
    within_share(s.reactions_newton.iter().sum::<f64>() + s.shunted_newton, 4000.0 * 0.28, 1e-9);
    let c = s.complementarity.unwrap();
    assert!(c.penetration_m <= 1.2e-5 && c.pull_newton < 1e-6, "{c:?}");
    let error = solve_on(&plate, &[load.into()], over(0.007), [14, 8]).unwrap_err();
    assert!(matches!(error, PlateError::RibOnBase { index: 0, .. }), "{error}");
}

/// Source: `tests/data/ribbed_plate_solid.py`, CalculiX 2.20, solids C3D20R of 5 mm: 0.7 × 0.4 m of 4 mm with two bars of
/// 10 × 20 mm along x, held at four points; deflections in mm. Its coarser mesh (10 mm) lies 0.3 to 0.4 % below.
#[test]
fn plate_with_two_ribs_against_solids() {
    let sheet = Layer { thickness_m: 0.004, elasticity: Elasticity::isotropic(70e9, 0.33) };
    let stack = Laminate::new(&[sheet], Bond::Glued).unwrap();
    let places = [[0.05, 0.05], [0.65, 0.05], [0.05, 0.35], [0.65, 0.35]];
    let springs = places.map(|at| Spring::point(at, f64::INFINITY)).to_vec();
    let rib = |at_m| Rib { width_m: 0.01, g_pa: 70e9 / 2.66, ..bar(0.02, at_m) };
    let plate =
        Plate::new([0.7, 0.4], stack.bending(), springs).with_ribs(stack.section(), vec![rib(0.125), rib(0.275)]);
    let points = [[0.35, 0.2], [0.35, 0.0], [0.0, 0.2], [0.35, 0.125], [0.2, 0.1], [0.0, 0.0]];
    for (load, solid_mm) in [
        (Load::Uniform { pressure_pa: 1000.0 }, [0.45424, 0.34748, 0.33544, 0.41812, 0.34164, -0.27356]),
        (Load::patch_of([0.15, 0.05], [0.1, 0.1], 300.0), [0.57709, 0.83887, 0.57245, 0.70872, 0.74814, -0.63707]),
    ] {
        let s = &solve_on(&plate, &[load.into()], Bearing::Bilateral, [28, 16]).unwrap()[0];
        for (at, mm) in points.into_iter().zip(solid_mm) {
            // Beam ribs against solids: 1 % of each. A rib without its root is 3 to 5 % off, one that twists like a free bar
            // 3 %, a concentric one 100 %.
            within_share(1e3 * s.deflection_m(at), mm, 0.01);
        }
    }
}

/// Source: the same script with `--broad`, solids of 10 mm: plate of 3 mm, one bar of 20 × 15 mm in its middle.
#[test]
fn plate_with_a_broad_rib_against_solids() {
    let sheet = Layer { thickness_m: 0.003, elasticity: Elasticity::isotropic(70e9, 0.33) };
    let stack = Laminate::new(&[sheet], Bond::Glued).unwrap();
    let places = [[0.05, 0.05], [0.65, 0.05], [0.05, 0.35], [0.65, 0.35]];
    let springs = places.map(|at| Spring::point(at, f64::INFINITY)).to_vec();
    let broad = Rib { width_m: 0.02, g_pa: 70e9 / 2.66, ..bar(0.015, 0.2) };
    let plate = Plate::new([0.7, 0.4], stack.bending(), springs).with_ribs(stack.section(), vec![broad]);
    let points = [[0.35, 0.2], [0.35, 0.0], [0.0, 0.2], [0.35, 0.125], [0.2, 0.1], [0.0, 0.0]];
    for (load, solid_mm, share) in [
        // Bent along the rib: 0.4 %, what the coarser solids leave open.
        (Load::Uniform { pressure_pa: 1000.0 }, [1.52476, 1.79839, 1.06346, 1.60042, 1.35049, -0.94507], 4e-3),
        // Twisted by a load off it: a bar as broad as high under a thin plate is a little less stiff than half of a bar of
        // twice the height.
        (
            Load::patch_of([0.15, 0.05], [0.1, 0.1], 300.0),
            [1.96848, 3.97035, 1.93486, 2.66646, 3.28197, -2.28955],
            0.02,
        ),
    ] {
        let s = &solve_on(&plate, &[load.into()], Bearing::Bilateral, [28, 16]).unwrap()[0];
        for (at, mm) in points.into_iter().zip(solid_mm) {
            within_share(1e3 * s.deflection_m(at), mm, share);
        }
    }
}
