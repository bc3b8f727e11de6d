//! What is a cell's drift, and what is only the patient's.

use std::f64::consts::TAU;

use bedplate_signal::{CellConfig, Channel, Config, Limits, Sample, SignalPath};

const COUNTS_PER_KG: f64 = 5e4;
const CORNERS: [[f64; 2]; 4] = [[50.0, 50.0], [850.0, 50.0], [50.0, 450.0], [850.0, 450.0]];

/// An hour and a half of two plates of four cells, 10 samples a second. The patient breathes thirteen times a minute, by which 100 g swap between the first cell and the other plate
/// and back (breathing per cell, worked: the centre of mass of 70 kg that shifts by 1 mm swaps 35 g, by 10 mm 350 g; the sum stays), and 150 g run
/// into him, of which each cell bears its part. The first cell wanders besides. Gives whether a cell was named as drifting.
fn is_named(phase: f64, wander_kg: impl Fn(f64) -> f64) -> bool {
    let cells: Vec<CellConfig> = [0, 1]
        .into_iter()
        .flat_map(|plate| CORNERS.map(|[x, y]| (plate, [x + 900.0 * plate as f64, y])))
        .map(|(plate, at_mm)| CellConfig {
            counts_min: -8e6,
            counts_max: 8e6,
            ..CellConfig::straight(plate, at_mm, 0.0, 1.0 / COUNTS_PER_KG, 60.0)
        })
        .collect();
    let config: Config<8, 2, 1> = Config::new(&cells, &[0, 0], 1, 1.0, Limits::default()).unwrap();
    let mut path = SignalPath::new(config);
    let mut named = false;
    for i in 0..54_000_u32 {
        let t_s = 0.1 * f64::from(i);
        let breath_kg = 0.1 * (TAU * (t_s / 4.7 + phase)).sin();
        let mut kg = [9.0, 8.0, 7.0, 5.0, 9.0, 8.0, 7.0, 5.0].map(|kg| kg + 0.15 / 8.0 * t_s / 5400.0);
        kg[0] += breath_kg + wander_kg(t_s);
        for other in &mut kg[4..] {
            *other -= breath_kg / 4.0;
        }
        let counts = kg.map(|kg| Some((kg * COUNTS_PER_KG).round()));
        let reading = path.push(&Sample { t_s, counts, temperature_c: None, tilt_deg: [None] });
        named |= reading.channels.contains(&Channel::Drifting);
    }
    named
}

#[test]
fn a_breath_that_one_cell_of_a_plate_bears_is_no_drift() {
    for phase in 0..8 {
        assert!(!is_named(f64::from(phase) / 8.0, |_| 0.0), "{phase}/8");
    }
}

/// The slowest wander that the twin draws, under the same breath: 0.3 kg/h.
#[test]
fn a_cell_that_wanders_under_a_breath_is_named() {
    assert!(is_named(0.0, |t_s| 0.3 * (t_s - 600.0).max(0.0) / 3600.0));
}
