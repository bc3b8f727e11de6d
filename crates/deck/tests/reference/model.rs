use deck::chain::{Channel, capacity_newton, channels, plate_capacity_kg, stiffness_n_per_m};
use deck::geometry::{cell_in_bed_mm, deck_area_m2, middle_in_bed_mm, section_of, section_spans_mm};
use deck::model::{BEARING_MM, model, neglected_shear};
use deck::stack::demand_pa;
use deck::{DeckError, units};
use formats::deck::{Axis, Deck, Layer, Material, Rib};
use plates::Along;
use plates::laminate::Stress;
use published::{within, within_share};

fn rowan() -> Deck {
    formats::deck::read("rowan.toml", include_str!("../data/rowan.toml")).unwrap()
}

fn material<'a>(deck: &'a mut Deck, name: &str) -> &'a mut Material {
    deck.materials.iter_mut().find(|m| m.name == name).unwrap()
}

/// A deck whose first plate is one sheet of 10 mm.
fn of_one_sheet(e_mpa: f64, nu: f64) -> Deck {
    let mut deck = rowan();
    let sheet = material(&mut deck, "sheet alloy");
    (sheet.e_mpa, sheet.nu) = (e_mpa, nu);
    deck.plates[0].layers = vec![Layer { material: "sheet alloy".into(), thickness_mm: 10.0 }];
    deck
}

/// Source: Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed. (1959), eq. 3 (from memory): D = E h³ / 12 (1 − ν²),
/// D₁₂ = ν D; worked for 10 mm of 68.25 GPa and ν = 0.25: 68.25e9 · 1e-6 / (12 · 0.9375) = 6066.667 N m.
#[test]
fn a_sheet_has_the_stiffness_of_the_handbook_on_springs_in_si() {
    let deck = of_one_sheet(68_250.0, 0.25);
    let plate = model(&deck, &deck.plates[0]).unwrap().plate;
    within(plate.bending.d11, 6066.667, 5e-4);
    within(plate.bending.d12, 0.25 * 6066.667, 5e-4);
    within(plate.size_m[0], 0.74, 1e-15);
    within(plate.size_m[1], 0.42, 1e-15);
    assert_eq!((plate.shear, plate.section, plate.ribs.len()), (None, None, 0));
    let springs: Vec<_> = plate.springs.iter().map(|s| (s.at_m, s.stiffness_n_per_m, s.bearing_m)).collect();
    assert_eq!(springs[1], ([0.68, 0.06], 1.5e6, 0.0));
    assert_eq!(springs.len(), 4);
}

/// Source: the strip's ratio of shear to bending, 9.6 D / S L² (5 q L⁴ / 384 D and q L² / 8 S, any handbook), with S = 5/6 G h of a
/// homogeneous sheet (Reissner 1945): along the longer side of 740 mm, D = E h³ / 12 (1 − ν²), G = E / 2 (1 + ν).
#[test]
fn shear_that_is_left_out_is_told_as_the_share_of_a_strip() {
    let deck = of_one_sheet(70_000.0, 0.25);
    let (e, h, length) = (70e9, 0.01, 0.74_f64);
    let d = e * h * h * h / (12.0 * (1.0 - 0.25 * 0.25));
    let s = 5.0 / 6.0 * e / (2.0 * 1.25) * h;
    within_share(neglected_shear(&deck, &deck.plates[0]).unwrap(), 9.6 * d / (s * length * length), 1e-9);
    // A plate that stands the other way: its longer side is along y.
    let mut turned = deck.clone();
    turned.plates[0].size_mm = [420.0, 740.0];
    within_share(neglected_shear(&turned, &turned.plates[0]).unwrap(), 9.6 * d / (s * length * length), 1e-9);
}

#[test]
fn a_core_that_names_its_modulus_makes_the_plate_shear_flexible_on_feet() {
    let mut deck = rowan();
    let core = Material { e_mpa: 60.0, g_mpa: Some(20.0), ..material(&mut deck, "board").clone() };
    deck.materials.push(Material { name: "foam".into(), g_transverse_mpa: Some(20.0), ..core });
    let layer = |material: &str, thickness_mm| Layer { material: material.into(), thickness_mm };
    deck.plates[0].layers = vec![layer("sheet alloy", 1.0), layer("foam", 20.0), layer("sheet alloy", 1.0)];
    let plate = model(&deck, &deck.plates[0]).unwrap().plate;
    // Source: a sandwich with thin stiff faces has S = G d² / c, d between the middles of its faces (Allen, Analysis and Design of
    // Structural Sandwich Panels, 1969, from memory): 20 MPa · 21² / 20 mm; the faces' own shear adds little.
    within_share(plate.shear.unwrap().x_n_per_m, 20e6 * 0.021 * 0.021 / 0.020, 0.01);
    assert!(plate.springs.iter().all(|s| s.bearing_m == BEARING_MM * units::MM));
    assert_eq!(neglected_shear(&deck, &deck.plates[0]), Ok(0.0));
    // A core so stiff that shear adds less than a thousandth is bent as a thin plate.
    material(&mut deck, "foam").g_transverse_mpa = Some(100_000.0);
    let plate = model(&deck, &deck.plates[0]).unwrap().plate;
    assert!(plate.shear.is_none() && plate.springs.iter().all(|s| s.bearing_m == 0.0));
}

#[test]
fn ribs_run_with_the_modulus_of_their_direction() {
    let mut deck = rowan();
    material(&mut deck, "board").e_y_mpa = Some(4000.0);
    let rib = |along| Rib { along, at_mm: 200.0, width_mm: 20.0, height_mm: 30.0, material: "board".into() };
    deck.plates[0].ribs = vec![rib(Axis::X), rib(Axis::Y)];
    let plate = model(&deck, &deck.plates[0]).unwrap().plate;
    let found: Vec<_> = plate.ribs.iter().map(|r| (r.along, r.e_pa, r.at_m, r.width_m, r.height_m)).collect();
    assert_eq!(found, [(Along::X, 9e9, 0.2, 0.02, 0.03), (Along::Y, 4e9, 0.2, 0.02, 0.03)]);
    assert!(plate.section.is_some(), "ribs stretch the plate");
    // Mass of the two: lengths 740 and 420 mm, 20 × 30 mm of 680 kg/m³.
    let ribs_kg: f64 = deck::stack::pieces(&deck, &deck.plates[0]).unwrap()[2..].iter().map(|p| p.mass_kg).sum();
    within(ribs_kg, 1.16 * 0.02 * 0.03 * 680.0, 1e-12);
}

#[test]
fn what_the_deck_does_not_have_is_named() {
    let deck = rowan();
    let unknown = |change: fn(&mut Deck)| {
        let mut other = deck.clone();
        change(&mut other);
        model(&other, &other.plates[0]).unwrap_err().to_string()
    };
    let material = unknown(|d| d.plates[0].layers[1].material = "teak".into());
    assert_eq!(material, "plate `back-right` names material `teak`, which the deck does not have");
    let cell = unknown(|d| d.plates[0].cells[2].cell_type = "bar 1".into());
    assert_eq!(cell, "cell `R3` names cell type `bar 1`, which the deck does not have");
    let mut other = deck.clone();
    other.plates[0].section = "neck".into();
    assert!(matches!(section_of(&other, &other.plates[0]), Err(DeckError::Unknown { kind: "section", .. })));
    // Cells on one line do not hold a plate.
    let line = unknown(|d| d.plates[0].cells.iter_mut().for_each(|c| c.at_mm[1] = 60.0));
    assert!(line.starts_with("plate `back-right`: "), "{line}");
}

#[test]
fn places_are_those_of_the_file_counted_from_the_head() {
    let deck = rowan();
    assert_eq!(section_spans_mm(&deck), [[0.0, 760.0], [760.0, 990.0], [990.0, 1360.0], [1360.0, 2000.0]]);
    let thigh = &deck.plates[3];
    assert_eq!(section_of(&deck, thigh), Ok(2));
    // The plate's corner at 995, 10; the cell at 310, 120 on it; half of 360 by 850.
    for (found_mm, expected_mm) in
        [(cell_in_bed_mm(thigh, &thigh.cells[1]), [1305.0, 130.0]), (middle_in_bed_mm(thigh), [1175.0, 435.0])]
    {
        within(found_mm[0], expected_mm[0], 1e-9);
        within(found_mm[1], expected_mm[1], 1e-9);
    }
    within(deck_area_m2(&deck), 2.0 * 0.74 * 0.42 + (0.22 + 0.36 + 0.625) * 0.85, 1e-12);
}

/// Source: standard gravity 9.80665 m/s² (3rd CGPM, 1901): 60 kg press with 588.399 N. The converter's definition, worked: a cell of
/// 2 mV/V at 5 V gives 10 mV there, gain 128 leaves ± 5 V / 128 / 2 = ± 19.53125 mV, which is 117.1875 kg.
#[test]
fn a_cell_bears_its_capacity_and_saturates_beyond_it() {
    let deck = rowan();
    let kind = &deck.cell_types[0];
    within(capacity_newton(kind), 588.399, 1e-9);
    within(stiffness_n_per_m(kind), 1.5e6, 1e-6);
    within(plate_capacity_kg(&deck, &deck.plates[3]).unwrap(), 180.0, 1e-12);
    let channel = Channel::new(kind, &deck.converter);
    within(channel.saturation_kg, 117.1875, 1e-9);
    within(channel.step_g() * channel.counts_per_kg, 1000.0, 1e-9);
    within_share(channel.counts_per_newton() * 588.399, 60.0 * channel.counts_per_kg, 1e-12);
    // Noise of 50 nV where 10 mV stand for 60 kg: 0.3 g.
    within(channel.noise_g, 0.3, 1e-12);
    assert_eq!(channels(&deck).unwrap(), vec![channel; 19]);
}

/// Source: von Mises in plane stress, √(σx² − σx σy + σy² + 3 τ²), and the principal stresses of Mohr's circle (any handbook): pure shear
/// of 10 MPa asks √3 · 10, even tension of 10 MPa asks 10, −30 along x alone asks 30.
#[test]
fn what_a_stress_asks_is_the_greater_of_two_measures() {
    for ([x, y, xy], asks) in [([0.0, 0.0, 10.0], 17.320_508), ([10.0, 10.0, 0.0], 10.0), ([-30.0, 0.0, 0.0], 30.0)] {
        within(demand_pa(&Stress { x_pa: x * 1e6, y_pa: y * 1e6, xy_pa: xy * 1e6 }) / 1e6, asks, 1e-6);
    }
    // Tension and pressure of one size: the equivalent stress is the greater.
    within(demand_pa(&Stress { x_pa: 1e6, y_pa: -1e6, xy_pa: 0.0 }) / 1e6, 1.732_050_8, 1e-7);
}
