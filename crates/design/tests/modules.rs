//! Compatibility of cells and converter, lift and safe load.

use design::check;
use design::modules::modules;
use design::report::ModulesReport;
use formats::deck::Deck;

fn rowan() -> Deck {
    formats::deck::read("rowan.toml", include_str!("data/rowan.toml")).unwrap()
}

fn condition(report: &ModulesReport, part: &str) -> (f64, f64, bool) {
    let found = report.conditions.iter().find(|c| c.name.contains(part)).unwrap();
    (found.value, found.limit, found.met)
}

/// Source: OIML R 60-1:2021, class C3 worked: 0.7 · 1.5/3000 = 0.0350 % at E_max, zero 0.0014 % per °C when E_max/v_min = 10 000 (so
/// 7 g per 5 °C and v_min 10 g for 100 kg); conditions of R 76-1 Annex F worked (made example): Max 250 kg, e 100 g: v_min ≤ 50 g for
/// 4 cells and 35.36 g for 8; E_max ≥ 93.75 kg for Q = 1.5.
#[test]
fn a_c3_cell_is_found_compatible() {
    let mut deck = rowan();
    deck.max_kg = 250.0;
    deck.plates.truncate(1);
    let kind = &mut deck.cell_types[0];
    kind.capacity_kg = 100.0;
    kind.nonlinearity_pct = 0.035;
    kind.hysteresis_pct = 0.0;
    kind.span_tc_pct_10c = 0.0;
    kind.zero_tc_pct_10c = 0.014;
    // Q = 1.5 (Max + tare)/Max: without tare it is the example's 1.5.
    let four = modules(&deck, 0.0, 2.0).unwrap();
    assert_eq!(condition(&four, "condition 4"), (3000.0, 2500.0, true));
    let (v_min_g, limit, met) = condition(&four, "condition 6");
    assert!((v_min_g - 10.0).abs() < 1e-9 && (limit - 50.0).abs() < 1e-9 && met);
    let (capacity, needed, met) = condition(&four, "condition 5");
    assert!((capacity - 100.0).abs() < 1e-9 && (needed - 93.75).abs() < 1e-9 && met);
    let mut twice = deck.plates[0].clone();
    for cell in &mut twice.cells {
        cell.name.push('b');
    }
    deck.plates.push(twice);
    let eight = modules(&deck, 0.0, 2.0).unwrap();
    assert!((condition(&eight, "condition 6").1 - 35.36).abs() < 0.005);
    assert!((condition(&eight, "condition 5").1 - 46.9).abs() < 0.05);
}

/// Source: 100 kg cells of 2 mV/V on 5 V at 24 bit, gain 128: 42 949.7 counts/kg; 17 nV are 0.17 g a cell and 0.34 g in a sum of four.
#[test]
fn counts_and_noise_of_four_cells() {
    let mut deck = rowan();
    deck.plates.truncate(1);
    deck.cell_types[0].capacity_kg = 100.0;
    deck.converter.noise_nv_rms = 17.0;
    let four = modules(&deck, 0.0, 2.0).unwrap();
    assert!((four.counts_per_e - 4294.97).abs() < 0.005);
    assert!((four.noise_g_rms - 0.34).abs() < 1e-9);
    assert!((four.averaged_noise_g_rms - 0.34 / 20f64.sqrt()).abs() < 1e-9);
    assert!((four.noise_free_divisions - 200_000.0 / (6.6 * 0.34)).abs() < 1e-6);
}

#[test]
fn a_poor_converter_does_not_cover_the_cell() {
    let mut deck = rowan();
    deck.converter.gain = 1000.0;
    assert!(!condition(&modules(&deck, 15.0, 2.0).unwrap(), "range").2);
}

/// The safe load is where its limit is reached: with that load the limiting share stands at its bound.
#[test]
fn the_safe_load_reaches_its_limit() {
    let mut deck = rowan();
    let safe = check(&deck).unwrap().safe_load;
    assert!(safe.limited_by.contains("clearance of plate thigh"), "{safe:?}");
    let patient = deck.load_cases[2].patient.as_mut().unwrap();
    let (usual_kg, mattress_kg) = (patient.mass_kg + patient.mattress_kg, patient.mattress_kg);
    // Shares depend on breadth, and breadth on mass: scale the deck instead of the patient.
    deck.site = formats::deck::Site::Gravity {
        gravity_m_s2: deck::gravity_m_s2(&deck.site) * (safe.load_kg + mattress_kg) / usual_kg * (1.0 - 1e-6),
    };
    let report = check(&deck).unwrap();
    let thigh = report.plates.iter().find(|p| p.name == "thigh").unwrap();
    assert!((thigh.cases[2].max_deflection_mm - 6.0).abs() < 1e-4 && !thigh.cases[2].touches);
}

#[test]
fn a_heavy_plate_is_beyond_one_persons_lift() {
    let mut deck = rowan();
    assert!(check(&deck).unwrap().lift.plate_within_one_lift);
    deck.plates[4].layers[0].thickness_mm = 30.0;
    let lift = check(&deck).unwrap().lift;
    assert!(lift.heaviest_plate_kg > 25.0 && !lift.plate_within_one_lift && !lift.deck_within_one_lift);
}
