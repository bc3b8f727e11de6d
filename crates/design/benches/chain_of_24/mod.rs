//! The chain of 24 cells that the benchmarks draw from: the trial deck with one more cell in the middle of each plate.

use design::budget::Model;
use design::lying::Lying;

/// The error of a weight of 90 kg, back raised.
pub(crate) fn model() -> Option<Model> {
    let mut deck = formats::deck::read("rowan.toml", include_str!("../../tests/data/rowan.toml")).ok()?;
    for (index, plate) in deck.plates.iter_mut().enumerate() {
        let mut cell = plate.cells[0].clone();
        cell.name = format!("M{index}");
        cell.at_mm = plate.size_mm.map(|s| s / 2.0);
        plate.cells.push(cell);
    }
    let n = deck.cells().count();
    let lying = Lying {
        case: "even".into(),
        mass_kg: 90.0,
        net_kg: 90.0,
        shares: vec![1.0 / n as f64; n],
        tare_shares: vec![1.0 / n as f64; n],
        slopes_rad: vec![0.005; n],
        section_kg: vec![40.0, 20.0, 20.0, 10.0],
        section_rad: vec![0.5, 0.0, 0.2, 0.0],
        shunted: 0.0,
    };
    design::budget::chain::model(&deck, &lying, &design::Assumptions::default(), 90.0).ok()
}
