//! Plates on an even elastic foundation.

use plates::{Bearing, Bending, Edge, Edges, Load, Plate, solve_on};

use published::{within, within_share};

/// Source: Navier's series of the simply supported square on a foundation k, K = k a⁴/D, ν = 0.3 (computed).
#[test]
fn simply_supported_square() {
    for (k, w, m) in [
        (100.0, 0.0032137, 0.03705),
        (500.0, 0.0017292, 0.01821),
        (1000.0, 0.0010783, 0.01009),
        (5000.0, 0.0002388, 0.00060),
        (1e4, 0.0001115, -0.00022),
    ] {
        let plate = Plate::new([1.0, 1.0], Bending::isotropic_of(1.0, 0.3), Vec::new())
            .with_edges(Edges::all(Edge::Simple))
            .with_foundation(k);
        let s =
            &solve_on(&plate, &[Load::Uniform { pressure_pa: 1.0 }.into()], Bearing::Bilateral, [40, 40]).unwrap()[0];
        // Half a last printed place.
        within(s.deflection_m([0.5, 0.5]), w, 6e-8);
        within(s.moments([0.5, 0.5]).x, m, 2e-5);
        within_share(s.foundation_reaction_newton + s.edge_reaction_newton, 1.0, 1e-9);
    }
}

/// Source: Hertz (1884) and Westergaard (1926): force P on an unbounded plate on a foundation k, w = P / 8√(kD).
/// The plate here ends 12 characteristic lengths away, where the deflection has died out to e^(−12/√2) = 2e-4.
#[test]
fn force_on_a_large_plate() {
    for (k, mm, length) in [(1e6, 1.66210, 0.19391), (1e7, 0.52560, 0.10905)] {
        let side = 24.0 * length;
        let bending = Bending::isotropic(70e9, 0.33, 0.006);
        let plate = Plate::new([side, side], bending, Vec::new()).with_foundation(k);
        let load = Load::Point { at_m: [0.5 * side, 0.5 * side], force_newton: 500.0 };
        let s = &solve_on(&plate, &[load.into()], Bearing::Bilateral, [96, 96]).unwrap()[0];
        // h² of a point load at h = ℓ/4.
        within_share(1e3 * s.max.deflection_m, mm, 3e-3);
        within_share(s.foundation_reaction_newton, 500.0, 1e-9);
    }
}
