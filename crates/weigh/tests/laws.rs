//! Laws over random recordings and actions.

use bedplate_weigh::{Options, Weigher};
use formats::actions::{Action, ActionKind};
use formats::calibration::{Calibration, CellCalibration, CellStatus, Covariance};
use formats::deck::Deck;
use formats::recording::{Header, Sample};
use formats::weights::State;
use proptest::prelude::*;

/// An invented deck of one section with a plate on three cells.
const DECK: &str = r#"
[deck]
name = "three"
max_kg = 100.0
e_g = 50.0
class = "III"
currency = "EUR"
[site]
gravity_m_s2 = 9.81
[ambient]
temperature_C = [18.0, 28.0]
[[section]]
name = "all"
length_mm = 1000.0
angle_deg = [0.0, 60.0]
[[material]]
name = "sheet"
E_MPa = 70000.0
nu = 0.33
density_kg_m3 = 2700.0
strength_MPa = 130.0
cost_per_kg = 6.0
[[cell_type]]
name = "c"
capacity_kg = 50.0
output_mV_V = 1.0
stiffness_N_mm = 2000.0
nonlinearity_pct = 0.05
hysteresis_pct = 0.05
repeatability_pct = 0.03
creep_pct_30min = 0.05
zero_tc_pct_10C = 0.05
span_tc_pct_10C = 0.05
cost = 3.0
[converter]
excitation_V = 4.2
gain = 128.0
reference_V = 4.2
bits = 24
noise_nV_rms = 90.0
rate_Hz = 10.0
cost_per_channel = 1.5
[[plate]]
name = "only"
section = "all"
origin_mm = [0.0, 0.0]
size_mm = [1000.0, 800.0]
clearance_mm = 6.0
bond = "glued"
layers = [ { material = "sheet", thickness_mm = 4.0 } ]
cells = [ { name = "a", type = "c", at_mm = [50.0, 400.0] }, { name = "b", type = "c", at_mm = [950.0, 50.0] }, { name = "c", type = "c", at_mm = [950.0, 750.0] } ]
"#;

fn parts() -> (Deck, Calibration, Header) {
    let deck = formats::deck::read("deck.toml", DECK).unwrap();
    let cells = ["a", "b", "c"].map(|name| CellCalibration {
        name: name.to_owned(),
        zero_counts: Some(1000.0),
        u_zero_counts: Some(5.0),
        kg_per_count: Some(2e-5),
        u_kg_per_count: Some(4e-9),
        status: CellStatus::Good,
    });
    let calibration = Calibration {
        deck: deck.name.clone(),
        made_at: "2031-03-04T08:00:00Z".to_owned(),
        gravity_m_s2: 9.81,
        cells: cells.to_vec(),
        residual_sd_g: 1.0,
        degrees_of_freedom: 20,
        lack_of_fit_p: None,
        max_residual_g: 2.0,
        loads: Vec::new(),
        covariance: Covariance { parameters: Vec::new(), matrix: Vec::new() },
        findings: Vec::new(),
        residuals: Vec::new(),
        detail: None,
    };
    let header = Header {
        cells: deck.cells().map(|(_, c)| c.name.clone()).collect(),
        tilts: vec!["all".to_owned()],
        has_temperature: true,
    };
    (deck, calibration, header)
}

/// As many inputs as a test states, or as many as `PROPTEST_CASES` says: a long run by hand.
fn cases(stated: u32) -> u32 {
    std::env::var("PROPTEST_CASES").ok().and_then(|n| n.parse().ok()).unwrap_or(stated)
}

fn kind() -> impl Strategy<Value = ActionKind> {
    use ActionKind::{Add, Hold, PatientOff, PatientOn, PatientStep, Release, Remove, Tare, Withdraw};
    prop::sample::select(vec![Tare, PatientOn, PatientOff, Add, Remove, Hold, Release, PatientStep, Withdraw])
}

/// A stretch of load that lasts, as long as the path needs to call it a plateau.
fn stretch() -> impl Strategy<Value = (f64, f64, u32, Option<f64>)> {
    let kg = prop_oneof![Just(0.0), -5.0..120.0_f64, 10.0..12.0_f64, Just(1e9)];
    (kg, 0.0..0.3_f64, 20..150_u32, prop::option::weighted(0.9, -80.0..80.0_f64))
}

/// A count as a broken converter may give it.
fn wild_count() -> impl Strategy<Value = Option<f64>> {
    prop_oneof![
        12 => (0.0..3e6_f64).prop_map(Some),
        4 => Just(None),
        1 => any::<f64>().prop_map(Some),
        1 => prop::sample::select(vec![Some(8_388_607.0), Some(-8_388_608.0), Some(f64::NAN), Some(f64::INFINITY), Some(1e300)]),
    ]
}

/// A stretch of equal counts, so that some come to rest, at steps of time that may be none.
fn wild_stretch() -> impl Strategy<Value = (u32, f64, [Option<f64>; 3], f64, Option<f64>)> {
    let dt_s =
        prop_oneof![10 => Just(0.1), 2 => 0.0..5.0_f64, 1 => prop::sample::select(vec![-1.0, 0.0, 1e9, f64::NAN])];
    let tilt = prop_oneof![8 => -5.0..60.0_f64, 1 => any::<f64>()];
    (
        1..60_u32,
        dt_s,
        [wild_count(), wild_count(), wild_count()],
        tilt,
        prop::option::of(prop_oneof![8 => 15.0..35.0_f64, 1 => any::<f64>()]),
    )
}

proptest! {
    #![proptest_config(ProptestConfig { rng_seed: proptest::test_runner::RngSeed::Fixed(5), failure_persistence: None, ..ProptestConfig::with_cases(cases(96)) })]

    /// Arbitrary counts and actions: no number that is none comes out, and every row stands to its state.
    #[test]
    fn wild_counts_and_actions_give_rows_that_are_numbers_or_empty(
        stretches in prop::collection::vec(wild_stretch(), 1..40),
        acts in prop::collection::vec((-10.0..300.0_f64, kind(), prop::option::of(prop_oneof![8 => -5.0..90.0_f64, 1 => any::<f64>()])), 0..40),
        begin in any::<bool>(),
    ) {
        let (deck, calibration, header) = parts();
        let mut acts = acts;
        acts.sort_by(|a, b| a.0.total_cmp(&b.0));
        let actions: Vec<Action> =
            acts.iter().enumerate().map(|(line, &(t_s, kind, kg))| Action { line, t_s, kind, kg, note: format!("n{}", line % 3), asked_s: None }).collect();
        let Ok(mut weigher) = Weigher::new(&deck, &calibration, &header, &actions, Options::default()) else { return Ok(()) };
        let quiet = (120, 0.1, [Some(500_000.0); 3], 0.0, Some(22.0));
        let mut t_s = 0.0;
        for (n, dt_s, counts, tilt, temperature_c) in begin.then_some(quiet).into_iter().chain(stretches) {
            for _ in 0..n {
                t_s = if dt_s.is_nan() { f64::NAN } else if t_s.is_nan() { dt_s } else { t_s + dt_s };
                let sample = Sample { t_s, temperature_c, tilt_deg: vec![tilt], counts: counts.to_vec() };
                if let Some(row) = weigher.push(&sample) {
                    prop_assert!(row.t_s.is_finite(), "{row:?}");
                    prop_assert!(row.patient_kg.is_none_or(f64::is_finite), "{row:?}");
                    prop_assert!(row.u_kg.is_none_or(|u| u.is_finite() && u >= 0.0), "{row:?}");
                    prop_assert!(row.state != State::Settled || row.patient_kg.is_some() && row.u_kg.is_some(), "{row:?}");
                }
            }
        }
        let report = weigher.finish();
        prop_assert!(report.events.iter().all(|event| event.t_s.is_finite() && event.kg.is_none_or(f64::is_finite)), "{:?}", report.events);
    }

    #[test]
    fn every_row_says_what_its_state_allows(
        stretches in prop::collection::vec(stretch(), 1..12),
        mut acts in prop::collection::vec((0.0..120.0_f64, kind(), prop::option::of(0.0..90.0_f64)), 0..25),
        lost in prop::collection::vec((300..1600_usize, 0..3_usize, 1..60_usize), 0..6),
    ) {
        let (deck, calibration, header) = parts();
        // Most wild recordings never settle; begin each as a night begins, so that all states are met.
        acts.iter_mut().for_each(|act| act.0 += 30.0);
        acts.extend([(9.0, ActionKind::Tare, None), (11.0, ActionKind::PatientOn, None)]);
        acts.sort_by(|a, b| a.0.total_cmp(&b.0));
        let begun = [(3.0, 0.01, 100, Some(0.0)), (60.0, 0.01, 300, Some(0.0))];
        let actions: Vec<Action> =
            acts.iter().map(|&(t_s, kind, kg)| Action { line: 0, t_s, kind, kg, note: format!("n{}", t_s as u32 % 5), asked_s: None }).collect();
        let mut weigher = Weigher::new(&deck, &calibration, &header, &actions, Options::default()).unwrap();
        let (mut rows, mut i) = (0, 0_usize);
        let (mut tared, mut settled) = (false, 0);
        for (kg, noise, n, tilt) in begun.into_iter().chain(stretches) {
            for _ in 0..n {
                let t_s = i as f64 * 0.1;
                let wobble = noise * f64::from((i as u32).wrapping_mul(2_654_435_761) >> 16) / 65_536.0;
                let cell = |c: usize| {
                    let gone = lost.iter().any(|&(from, cell, long)| cell == c && (from..from + long).contains(&i));
                    (!gone).then_some(1000.0 + (kg / 3.0 + wobble * (1 + c) as f64) / 2e-5)
                };
                let sample = Sample { t_s, temperature_c: Some(22.0), tilt_deg: vec![tilt.unwrap_or(0.0)], counts: (0..3).map(cell).collect() };
                if let Some(row) = weigher.push(&sample) {
                    rows += 1;
                    tared |= weigher.report().tare_kg.is_some();
                    prop_assert!(row.patient_kg.is_none_or(f64::is_finite) && row.u_kg.is_none_or(|u| u.is_finite() && u >= 0.0));
                    match row.state {
                        State::Settled => {
                            settled += 1;
                            prop_assert!(row.patient_kg.is_some() && row.u_kg.is_some() && tared);
                        }
                        State::Held => prop_assert!(row.patient_kg.is_some()),
                        State::Empty | State::Fault => prop_assert!(row.patient_kg.is_none()),
                        State::Moving | State::Overload => {}
                    }
                }
                i += 1;
            }
        }
        let report = weigher.finish();
        prop_assert_eq!((report.rows, report.settled), (rows, settled));
        prop_assert!(settled > 5, "a beginning without disturbance settles");
        prop_assert!(report.events.iter().all(|e| e.kg.is_none_or(f64::is_finite) && !e.text.is_empty()));
    }

    #[test]
    fn rows_keep_to_their_grid(every_s in 0.3..7.0_f64, dt in 0.05..3.0_f64) {
        let (deck, calibration, header) = parts();
        let mut weigher = Weigher::new(&deck, &calibration, &header, &[], Options { every_s, ..Options::default() }).unwrap();
        let mut times = Vec::new();
        for i in 0..200 {
            let t_s = 5.0 + f64::from(i) * dt;
            let sample = Sample { t_s, temperature_c: None, tilt_deg: vec![0.0], counts: vec![Some(f64::from(i)); 3] };
            times.extend(weigher.push(&sample).map(|row| row.t_s));
        }
        // A row for each period in which a sample came, at the first sample of the period.
        let period = |t: f64| ((t - 5.0) / every_s + 1e-6).floor();
        prop_assert!((times[0] - 5.0).abs() < 1e-9);
        prop_assert!(times.windows(2).all(|w| period(w[1]) > period(w[0])), "{times:?}");
        let due = (0..200).map(|i| period(5.0 + f64::from(i) * dt)).fold((0, f64::NEG_INFINITY), |(n, last), p| (n + usize::from(p > last), p));
        prop_assert_eq!(times.len(), due.0);
    }
}

#[test]
fn actions_that_no_sample_reaches_are_told() {
    let (deck, calibration, header) = parts();
    let tare = |t_s| Action { line: 2, t_s, kind: ActionKind::Tare, kg: None, note: String::new(), asked_s: None };
    let mut weigher =
        Weigher::new(&deck, &calibration, &header, &[tare(2.0), tare(99_999.0)], Options::default()).unwrap();
    for t_s in 0..30 {
        weigher.push(&Sample { t_s: f64::from(t_s), counts: vec![Some(0.0); 3], ..Sample::default() });
    }
    assert_eq!(weigher.finish().actions_left_s, [99_999.0]);
}

/// Gravity makes a weight as uncertain as the error budget and the certificate say: by the ratio of the places of calibration and use.
/// By hand: √2 · 5e-5 between two places, 5e-5 where one of them is stated, nothing at one place.
#[test]
fn gravity_counts_only_between_two_sites() {
    use formats::deck::Site;
    let (mut deck, calibration, _) = parts();
    let mut scale_rel = |site: &Site, bench: Option<Site>| {
        (deck.site, deck.calibration_site) = (*site, bench);
        bedplate_weigh::setup::configure(&deck, &calibration).unwrap().limits().doubt.scale_rel
    };
    let place = |latitude_deg| Site::Place { latitude_deg, altitude_m: 20.0 };
    let stated = Site::Gravity { gravity_m_s2: 9.81 };
    let masses = scale_rel(&stated, None);
    for (site, bench, by_hand) in [
        (place(52.0), Some(place(48.0)), 2f64.sqrt() * 5e-5),
        (stated, Some(place(48.0)), 5e-5),
        (place(52.0), Some(place(52.0)), 0.0),
        (place(52.0), None, 0.0),
    ] {
        let found = scale_rel(&site, bench);
        assert!((found - masses.hypot(by_hand)).abs() < 1e-12, "{site:?}: {found}");
    }
}

#[test]
fn what_does_not_fit_together_is_refused_with_its_reason() {
    let (deck, calibration, header) = parts();
    let refused = |deck: &Deck, calibration: &Calibration, header: &Header, options: Options| {
        Weigher::new(deck, calibration, header, &[], options).err().map(|e| e.to_string()).unwrap_or_default()
    };
    let other = Calibration { deck: "four".to_owned(), ..calibration.clone() };
    assert_eq!(
        refused(&deck, &other, &header, Options::default()),
        "the calibration is of deck \"four\", expected \"three\""
    );
    let mut open = calibration.clone();
    open.cells[1].kg_per_count = None;
    assert!(refused(&deck, &open, &header, Options::default()).contains("cell \"b\""));
    let mut missing = calibration.clone();
    missing.cells.pop();
    assert!(refused(&deck, &missing, &header, Options::default()).contains("no cell \"c\""));
    let never = Options { every_s: 0.0, ..Options::default() };
    assert_eq!(refused(&deck, &calibration, &header, never), "the time between rows is 0, expected a time above 0 s");
}
