use deck::geometry::{area_m2, bed_width_mm};
use deck::stack::{laminate, pieces};
use formats::deck::{Bond, Deck, Layer, Material, MaterialCost};
use published::{within, within_share};

fn deck() -> Deck {
    let mut deck = formats::deck::read("rowan.toml", include_str!("../data/rowan.toml")).unwrap();
    deck.materials.push(Material {
        name: "aluminium for the check".into(),
        e_mpa: 70_000.0,
        e_y_mpa: None,
        nu: 0.33,
        g_mpa: None,
        g_transverse_mpa: None,
        density_kg_m3: 2700.0,
        strength_mpa: 160.0,
        cost: MaterialCost::Unknown,
    });
    deck.materials.push(Material {
        name: "plywood for the check".into(),
        e_mpa: 12_700.0,
        e_y_mpa: Some(4_760.0),
        nu: 0.02,
        g_mpa: Some(620.0),
        g_transverse_mpa: None,
        density_kg_m3: 680.0,
        strength_mpa: 50.0,
        cost: MaterialCost::PerM2(20.0),
    });
    let layer = |material: &str, thickness_mm| Layer { material: material.into(), thickness_mm };
    deck.plates[0].layers = vec![layer("aluminium for the check", 2.0), layer("plywood for the check", 6.0)];
    deck
}

/// Source: classical lamination of 2 mm aluminium (70 GPa, 0.33) on 6 mm birch plywood (12.7/4.76/0.62 GPa, 0.02), computed
/// independently with numpy: D* = D − B A⁻¹ B glued, sum of own stiffness loose; 9.48 kg/m².
#[test]
fn aluminium_on_plywood() {
    let mut deck = deck();
    for (bond, printed) in
        [(Bond::Glued, [1076.888, 68.4518, 520.671, 84.2947]), (Bond::Loose, [281.004, 18.9959, 138.063, 28.7039])]
    {
        deck.plates[0].bond = bond;
        let d = laminate(&deck, &deck.plates[0]).unwrap().bending();
        for (found, expected) in [d.d11, d.d12, d.d22, d.d66].into_iter().zip(printed) {
            // Six printed digits: half the last place of 138.063 is 3.6e-6.
            within_share(found, expected, 4e-6);
        }
    }
    let parts = pieces(&deck, &deck.plates[0]).unwrap();
    let areal = parts.iter().map(|p| p.mass_kg).sum::<f64>() / area_m2(&deck.plates[0]);
    within(areal, 9.48, 1e-9);
    assert_eq!(parts[0].cost, None);
    within(parts[1].cost.unwrap(), 20.0 * 0.74 * 0.42, 1e-12);
}

#[test]
fn the_bed_reaches_as_far_beyond_the_plates_on_both_sides() {
    within(bed_width_mm(&deck()), 870.0, 1e-9);
}
