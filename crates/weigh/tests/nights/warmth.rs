//! Temperature: what the calibration knows of it is taken off, what it does not know is in the uncertainty.

use super::*;
use formats::calibration::{CellDetail, FitDetail};

/// Temperature of the run in which the deck was calibrated, °C.
const REFERENCE_C: f64 = 20.0;
/// Counts of the model's cells.
const N_CELLS: u32 = 12;
/// Rated load of a cell, kg.
const RATED_KG: f64 = 75.0;
/// Source: OIML R 60-1:2021, 5.6.1.3: the minimum dead load output of a class C cell may change by p_LC v_min per 5 °C; p_LC = 0.7 is that of a single cell
/// (R 60-1, 5.3.2). v_min = E_max / 10 000 (an invented cell). 1.05 g/°C of a 75 kg cell.
const ZERO_KG_C: f64 = 0.7 * (RATED_KG / 10_000.0) / 5.0;
/// Share of the gains, 1/°C: 0.1 % for 10 °C.
const SPAN_PER_C: f64 = 1e-4;

/// The room warms by so much between 600 and 3600 s, and stays.
fn warmer_c(by_c: f64, t_s: f64) -> f64 {
    by_c * ((t_s - 600.0) / 3000.0).clamp(0.0, 1.0)
}

/// Warms the cells of a made night; the thermometer is read while `shown` says so.
fn warmed(made: &mut Made, by_c: f64, shown: impl Fn(f64) -> bool) {
    let lines: Vec<(f64, f64)> =
        made.calibration.cells.iter().map(|c| (c.zero_counts.unwrap(), c.kg_per_count.unwrap())).collect();
    for sample in &mut made.samples {
        let warmer = warmer_c(by_c, sample.t_s);
        sample.temperature_c = shown(sample.t_s).then_some(((REFERENCE_C + warmer) * 10.0).round() / 10.0);
        for (counts, (zero, kg_per_count)) in sample.counts.iter_mut().zip(&lines) {
            let cold = *counts;
            *counts = cold.map(|c| zero + (c - zero) * (1.0 + SPAN_PER_C * warmer) + ZERO_KG_C / kg_per_count * warmer);
        }
    }
}

/// What `calibrate` would say of these cells.
fn known(made: &mut Made) {
    let cell = |c: &formats::calibration::CellCalibration| CellDetail {
        name: c.name.clone(),
        load_kg: None,
        largest_kg: None,
        u_any_load_kg_per_count: None,
        u_any_load_pct: None,
        zero_counts_per_c: Some(ZERO_KG_C / c.kg_per_count.unwrap()),
        u_zero_counts_per_c: Some(0.02 * ZERO_KG_C / c.kg_per_count.unwrap()),
    };
    made.calibration.detail = Some(FitDetail {
        scatter_pct: 0.0,
        place_mm: 1.0,
        load_degrees_of_freedom: 10.0,
        condition_number: 1.0,
        advice: Vec::new(),
        temperature_c: Some(REFERENCE_C),
        span_per_c: Some(SPAN_PER_C),
        u_span_per_c: Some(0.02 * SPAN_PER_C),
        terms: Vec::new(),
        cells: made.calibration.cells.iter().map(cell).collect(),
        rows: Vec::new(),
        earlier: None,
        due: None,
    });
}

fn run(made: Made) -> Weighed {
    let mut weigher =
        Weigher::new(&made.deck, &made.calibration, &made.header, &made.actions, Options::default()).unwrap();
    let rows: Vec<Weight> = made.samples.iter().filter_map(|sample| weigher.push(sample)).collect();
    Weighed { rows, report: weigher.finish(), made }
}

fn night() -> Made {
    Night { loss_kg_h: 0.0, breath_kg: [0.0; 2], ..begun(7200.0) }.make()
}

/// Mean error of the settled rows of a stretch, kg, and their mean uncertainty.
fn error(out: &Weighed, from: f64, to: f64) -> (f64, f64) {
    let rows = out.settled(from, to);
    let n = rows.len() as f64;
    assert!(n > 0.5 * (to - from), "{n} settled rows: {:?}", out.report.events);
    let off: f64 = rows.iter().map(|r| r.patient_kg.unwrap() - out.truth(r.t_s)).sum();
    (off / n, rows.iter().map(|r| r.u_kg.unwrap()).sum::<f64>() / n)
}

#[test]
fn the_terms_of_a_calibration_take_off_what_a_room_that_warms_does_to_zero_and_span() {
    let (mut blind, mut seeing) = (night(), night());
    assert_eq!(blind.header.cells.len(), N_CELLS as usize);
    warmed(&mut blind, 8.0, |_| true);
    warmed(&mut seeing, 8.0, |_| true);
    known(&mut seeing);
    let (blind, seeing) = (run(blind), run(seeing));
    // By hand: 12 cells of 1.05 g/°C by 8 °C are 100.8 g, and 0.08 % of the 89 kg of patient and bed are 71 g.
    let expected = f64::from(N_CELLS) * ZERO_KG_C * 8.0 + SPAN_PER_C * 8.0 * (74.0 + 15.0);
    let (off, _) = error(&blind, 6800.0, 7200.0);
    assert!((off - expected).abs() < 0.01, "without the terms {off}, by hand {expected}");
    let (off, u) = error(&seeing, 6800.0, 7200.0);
    // The thermometer is read to 0.1 °C: half of that by 21.5 g/°C is a gram; the cells' lag has died away to 0.25 % of 8 °C.
    assert!(off.abs() < 0.006, "with the terms {off}");
    // 2 % of 100.8 g (of each cell by itself: /√12) and of 71 g.
    assert!(u < error(&blind, 6800.0, 7200.0).1, "{u}");
    // Nothing of it was a step.
    assert!(!seeing.kinds().contains(&EventKind::Step), "{:?}", seeing.report.events);
}

/// The thermometer says nothing from 2000 to 4500 s, while the room warms; then it speaks again.
#[test]
fn a_temperature_that_goes_and_comes_makes_no_step_and_its_lack_is_in_the_uncertainty() {
    let mut made = night();
    warmed(&mut made, 2.0, |t_s| !(2000.0..4500.0).contains(&t_s));
    known(&mut made);
    let out = run(made);
    assert!(!out.kinds().contains(&EventKind::Step) && out.report.open.is_empty(), "{:?}", out.report.events);
    let settled = out.settled(100.0, 7200.0);
    let step =
        settled.windows(2).map(|w| (w[1].patient_kg.unwrap() - w[0].patient_kg.unwrap()).abs()).fold(0.0, f64::max);
    assert!(step < 0.02, "from one row to the next by {step}");
    let ((_, u_seen), (off, u_unseen)) = (error(&out, 1500.0, 1990.0), error(&out, 3000.0, 4400.0));
    // By hand: of two temperatures anywhere in an ambient range of 8 °C the difference is 3.27 °C (√2 · 8/√12), 1.30 °C of it 3670 s after the tare (memory of
    // 6 h); by 12.6 g/°C of zero and 8.9 g/°C of span that is 19.9 g in squares beside what is there anyway (which creep lets grow a little).
    let unseen_kg = (u_unseen * u_unseen - u_seen * u_seen).sqrt();
    assert!((unseen_kg - 0.0199).abs() < 0.15 * 0.0199, "{unseen_kg}: {u_seen} {u_unseen}");
    // 1.1 °C warmer unseen, and what the cells lagged behind before.
    assert!(off.abs() > 0.01 && off.abs() < 2.0 * u_unseen, "{off} {u_unseen}");
    let (off, _) = error(&out, 6900.0, 7200.0);
    assert!(off.abs() < 0.012, "known again: {off}");
    // Samples that lack it now and then are no lack.
    let mut made = night();
    warmed(&mut made, 2.0, |t_s| (t_s * 10.0).round() % 7.0 == 0.0);
    known(&mut made);
    let (off, u) = error(&run(made), 6800.0, 7200.0);
    assert!(off.abs() < 0.006 && u < 1.2 * u_seen, "{off} {u} {u_seen}");
}
