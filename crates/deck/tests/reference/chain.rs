use deck::chain::Channel;
use formats::deck::{CellType, Converter};
use published::within;

fn cell() -> CellType {
    CellType {
        name: "100 kg".into(),
        capacity_kg: 100.0,
        output_mv_v: 2.0,
        stiffness_n_mm: 2000.0,
        nonlinearity_pct: 0.02,
        hysteresis_pct: 0.02,
        repeatability_pct: 0.02,
        creep_pct_30min: 0.02,
        zero_tc_pct_10c: 0.02,
        span_tc_pct_10c: 0.02,
        cost: 10.0,
        mass_kg: None,
        approval: Default::default(),
    }
}

fn converter(noise_nv_rms: f64) -> Converter {
    Converter {
        excitation_v: 5.0,
        gain: 128.0,
        reference_v: 5.0,
        bits: 24,
        noise_nv_rms,
        rate_hz: 10.0,
        cost_per_channel: 1.0,
        approval: Default::default(),
    }
}

/// Source: the converter's definition, computed independently: 24 bit, gain 128, input ± 5 V/128/2, a 100 kg cell of 2 mV/V
/// on 5 V: 2.3283 nV a count, 42 949.7 counts/kg.
#[test]
fn counts_of_a_100_kg_cell() {
    let channel = Channel::new(&cell(), &converter(17.0));
    within(channel.nv_per_count, 2.3283, 5e-5);
    within(channel.counts_per_kg, 42_949.7, 0.05);
}

/// Source: the same; 17, 44 and 60 nV rms are 0.17, 0.44 and 0.60 g rms a cell, and 10 mV span leaves 89 127, 34 435 and
/// 25 253 noise-free divisions at 6.6 σ peak to peak.
#[test]
fn noise_of_a_100_kg_cell() {
    for (nv, g, divisions) in [(17.0, 0.17, 89_127.0), (44.0, 0.44, 34_435.0), (60.0, 0.60, 25_253.0)] {
        let channel = Channel::new(&cell(), &converter(nv));
        within(channel.noise_g, g, 1e-9);
        within(channel.noise_free_divisions(), divisions, 0.5);
    }
}
