//! What is stated of a plateau's level, against how far levels are really off: under a breath and a pulse, from the first second on.

use std::f64::consts::TAU;

use bedplate_signal::{CellConfig, Config, Limits, Motion, Sample, SignalPath};

const COUNTS_PER_KG: f64 = 5e5;
const CORNERS: [[f64; 2]; 4] = [[50.0, 50.0], [850.0, 50.0], [50.0, 450.0], [850.0, 450.0]];
const PATIENT_KG: f64 = 70.0;
/// Ages of a plateau at which its level is looked at, s.
const AGES_S: [f64; 6] = [0.0, 2.0, 5.0, 10.0, 20.0, 40.0];

/// Force of breath and pulse, kg. A worked example: 15 of 70 kg move by ± 2.5 mm, m (2πf)² A; the heart swings by 0.5 N from peak to
/// peak at 70 kg, mostly in its second and third harmonic (memory).
fn alive_kg(t_s: f64, breaths_min: f64, phase: f64) -> f64 {
    let breath_hz = breaths_min / 60.0;
    let breath_newton = 15.0 * (TAU * breath_hz).powi(2) * 0.0025 * (TAU * (breath_hz * t_s + phase)).sin();
    let beat = TAU * (1.23 * t_s + 3.7 * phase);
    let heart_newton = 0.5 * (0.12 * beat.sin() + 0.22 * (2.0 * beat).sin() + 0.20 * (3.0 * beat).sin());
    (breath_newton + heart_newton) / 9.81
}

/// White noise of the sum, kg a sample: cells, amplifiers and a floor that shakes (a choice of this test).
const NOISE_KG: f64 = 0.02;

/// Numbers that follow from a seed, nearly normal with spread 1: sums of twelve even ones (Irwin–Hall).
struct Noise(u64);

impl Noise {
    fn next(&mut self) -> f64 {
        let even = || {
            // Knuth's multiplier; the upper half of the word is good enough to sum.
            self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            f64::from((self.0 >> 32) as u32) / f64::from(u32::MAX)
        };
        std::iter::repeat_with(even).take(12).sum::<f64>() - 6.0
    }
}

/// Errors of the level and what is stated of it, kg, at each age of the plateau that follows when 2 kg are laid down after a minute.
fn plateau(breaths_min: f64, phase: f64) -> Vec<[f64; 2]> {
    let cells = CORNERS.map(|at_mm| CellConfig {
        counts_min: -8e7,
        counts_max: 8e7,
        ..CellConfig::straight(0, at_mm, 0.0, 1.0 / COUNTS_PER_KG, 60.0)
    });
    let config: Config<4, 1, 1> = Config::new(&cells, &[0], 1, 1.0, Limits::default()).unwrap();
    let mut path = SignalPath::new(config);
    let mut noise = Noise((1000.0 * (breaths_min + phase)) as u64);
    let (mut found_s, mut seen) = (None, Vec::new());
    for i in 0..1200_u32 {
        let t_s = 0.1 * f64::from(i);
        let still_kg = PATIENT_KG + 2.0 * ((t_s - 60.0) / 1.5).clamp(0.0, 1.0);
        let felt_kg = still_kg + alive_kg(t_s, breaths_min, phase) + NOISE_KG * noise.next();
        let count = (felt_kg / 4.0 * COUNTS_PER_KG).round();
        let reading = path.push(&Sample { t_s, counts: [Some(count); 4], temperature_c: None, tilt_deg: [None] });
        if t_s > 61.5 && reading.motion == Motion::Settled {
            let age_s = t_s - *found_s.get_or_insert(t_s);
            if AGES_S.get(seen.len()).is_some_and(|at_s| age_s >= at_s - 1e-9) {
                seen.push([reading.level.kg - still_kg, reading.level.u_kg]);
            }
        }
    }
    assert_eq!(seen.len(), AGES_S.len(), "{breaths_min} {phase}");
    seen
}

/// Breath and pulse average out sooner than scatter that is free of itself, so that what is stated bounds the true spread, and not by much.
#[test]
fn a_level_under_breath_and_pulse_is_as_sure_as_is_stated() {
    let plateaus: Vec<Vec<[f64; 2]>> = [12.0, 15.0, 18.0, 22.0, 26.0]
        .into_iter()
        .flat_map(|breaths_min| (0..24).map(move |i| plateau(breaths_min, f64::from(i) / 24.0)))
        .collect();
    let rms = |of: usize, age: usize| {
        (plateaus.iter().map(|seen| seen[age][of].powi(2)).sum::<f64>() / plateaus.len() as f64).sqrt()
    };
    for (age, age_s) in AGES_S.iter().enumerate() {
        let (spread_kg, stated_kg) = (rms(0, age), rms(1, age));
        let times = stated_kg / spread_kg;
        assert!((1.0..2.5).contains(&times), "after {age_s} s: {stated_kg} for {spread_kg}");
    }
}
