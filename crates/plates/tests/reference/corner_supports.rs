//! Plates with free edges held at points: the case nearest a deck, for which no series of one line exists.

use plates::{Bearing, Bending, Load, Plate, Solution, Spring, solve_on};

use published::{within, within_share};

fn solved(b: f64, nu: f64, inset: f64, n: usize) -> Solution {
    let (near, far) = (inset, 1.0 - inset);
    let springs =
        [[near, near], [far, near], [near, b - inset], [far, b - inset]].map(|at| Spring::point(at, f64::INFINITY));
    let plate = Plate::new([1.0, b], Bending::isotropic_of(1.0, nu), springs.to_vec());
    let ny = (n as f64 * b).round() as usize;
    solve_on(&plate, &[Load::Uniform { pressure_pa: 1.0 }.into()], Bearing::Bilateral, [n, ny]).unwrap().remove(0)
}

/// Source: computed with scikit-fem, n = 16, 32, 64 agreeing to the digits given; CalculiX S8R at t/a = 0.001 gives
/// 0.025521 and 0.017766 for the square with ν = 0.3 (thick shells lie above).
#[test]
fn held_at_the_corners() {
    for (b, nu, centre, edge_a, edge_b, m_centre_y, m_edge_a, m_edge_b) in [
        (1.0, 0.25, 0.0256695, 0.0174577, 0.0174577, 0.1107, 0.1520, 0.1520),
        (1.0, 0.30, 0.0255065, 0.0177474, 0.0177474, 0.1117, 0.1504, 0.1504),
        (1.0, 1.0 / 3.0, 0.0254664, 0.0180058, 0.0180058, 0.1124, 0.1494, 0.1494),
        (1.5, 0.30, 0.0798248, 0.0215559, 0.0800670, 0.2690, 0.1814, 0.3043),
        (2.0, 0.25, 0.2279204, 0.0260887, 0.2353949, 0.4890, 0.2248, 0.5207),
        (2.0, 0.30, 0.2311625, 0.0259559, 0.2418415, 0.4893, 0.2176, 0.5202),
        (2.0, 1.0 / 3.0, 0.2341287, 0.0259515, 0.2471059, 0.4896, 0.2129, 0.5198),
    ] {
        let s = solved(b, nu, 0.0, 32);
        // The table's digits are those on which n = 16, 32 and 64 agree.
        within_share(s.deflection_m([0.5, 0.5 * b]), centre, 1e-5);
        within_share(s.deflection_m([0.5, 0.0]), edge_a, 1e-5);
        within_share(s.deflection_m([0.0, 0.5 * b]), edge_b, 1e-5);
        within_share(s.moments([0.5, 0.5 * b]).y, m_centre_y, 2e-3);
        within_share(s.moments([0.5, 0.0]).x, m_edge_a, 5e-3);
        within_share(s.moments([0.0, 0.5 * b]).y, m_edge_b, 5e-3);
        within(s.deflection_m([0.0, 0.0]), 0.0, 1e-12);
    }
}

/// Source: computed with scikit-fem, n = 20, 40, 80 extrapolated, ν = 0.3; the sample of c = 0.10 by mesh is 0.0085951,
/// 0.0085961, 0.0085963, so n = 40 lies 4e-5 below.
#[test]
fn held_at_points_off_the_edges() {
    for (c, centre, edge, corner) in [
        (0.05, 0.0152485, 0.0091108, -0.0033227),
        (0.10, 0.0085964, 0.0041244, -0.0038263),
        (0.15, 0.0042301, 0.0014966, -0.0027559),
        (0.20, 0.0014672, 0.0005598, -0.0007311),
        (0.25, -0.0001379, 0.0008587, 0.0018526),
    ] {
        let s = solved(1.0, 0.3, c, 40);
        // h² of a point support on this mesh, in units of q a⁴/D.
        let slack = 8e-7;
        within(s.deflection_m([0.5, 0.5]), centre, slack);
        within(s.deflection_m([0.5, 0.0]), edge, slack);
        within(s.deflection_m([0.0, 0.0]), corner, slack);
    }
}

/// Where the supports do not lie on grid lines the answer is the same within the mesh's own error.
#[test]
fn supports_between_the_grid_lines() {
    // 21 lines never meet 0.10 · 1: supports fall inside elements.
    let s = solved(1.0, 0.3, 0.10, 21);
    // h² at 1/21 with a support inside an element: twice the error of one on a node, 3e-4 of the deflection.
    within_share(s.deflection_m([0.5, 0.5]), 0.0085964, 5e-4);
}

/// Patch test: a rectangle held at three corners and pressed at the fourth by P twists evenly, M_xy = P/2 everywhere, and
/// w = P x y / 4 D66. The field lies in the element's space, so that any mesh gives it to round-off.
///
/// Source: the constant-curvature patch test of Irons; Nadai, Die elastischen Platten (1925), for the twisted plate.
#[test]
fn constant_twist_is_exact_on_any_mesh() {
    let bending = Bending { d11: 900.0, d12: 150.0, d16: 0.0, d22: 400.0, d26: 0.0, d66: 210.0 };
    let corners = [[0.0, 0.0], [0.9, 0.0], [0.0, 0.5]];
    let springs = corners.map(|at| Spring::point(at, f64::INFINITY)).to_vec();
    let plate = Plate::new([0.9, 0.5], bending, springs);
    let load = Load::Point { at_m: [0.9, 0.5], force_newton: 100.0 };
    for mesh in [[1, 1], [2, 3], [9, 4]] {
        let s = &solve_on(&plate, &[load.into()], Bearing::Bilateral, mesh).unwrap()[0];
        for at in [[0.9, 0.5], [0.31, 0.17], [0.77, 0.02]] {
            within(s.deflection_m(at), 100.0 * at[0] * at[1] / (4.0 * 210.0), 1e-12);
            let m = s.moments(at);
            within(m.x, 0.0, 1e-8);
            within(m.y, 0.0, 1e-8);
            within(m.xy, -50.0, 1e-8);
        }
        within(s.reactions_newton[0], -100.0, 1e-9);
        within(s.reactions_newton[1], 100.0, 1e-9);
    }
}
