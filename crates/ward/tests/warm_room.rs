//! A room that warms, over the wire: a controller's lines come by TCP, and the weight at the bed is that of before.

use bedplate_ward::bed::{Engine, Setup};
use formats::actions::{Action, ActionKind};
use formats::calibration::{Calibration, CellCalibration, CellDetail, CellStatus, Covariance, FitDetail};
use formats::deck::Deck;
use link::line::{self, Frame};
use link::transport::{self, Heard, Source};
use tokio::io::AsyncWriteExt as _;
use tokio::net::TcpListener;
use tokio::sync::mpsc;

const START_US: i64 = 1_790_000_000_000_000;
const SIGNS_AS: &str = "alder-3";
/// Samples, two a second: an hour and a half.
const SAMPLES: u32 = 10_800;
const BED_KG: f64 = 15.0;
const PATIENT_KG: f64 = 70.0;
const KG_PER_COUNT: f64 = 1.4e-5;
/// Temperature of the run in which the deck was calibrated, and what the room warms by between 600 and 3000 s, °C.
const REFERENCE_C: f64 = 21.0;
const WARMER_C: f64 = 6.0;
/// Change of each cell's zero, kg/°C, and of all gains, 1/°C: a cell of class C with v_min of a ten-thousandth of 75 kg may change its zero by 0.7 v_min in 5 °C
/// (OIML R 60-1:2021, 5.6.1.3), and an invented span of 0.1 % in 10 °C.
const ZERO_KG_C: f64 = 0.7 * 75.0 / 10_000.0 / 5.0;
const SPAN_PER_C: f64 = 1e-4;

fn warmer_c(t_s: f64) -> f64 {
    WARMER_C * ((t_s - 600.0) / 2400.0).clamp(0.0, 1.0)
}

/// What such a deck's calibration says, with its terms of temperature or without.
fn calibration(deck: &Deck, knows: bool) -> Calibration {
    let name = |(_, cell): (usize, &formats::deck::Cell)| cell.name.clone();
    let line = |name: String| CellCalibration {
        name,
        zero_counts: Some(0.0),
        u_zero_counts: Some(5.0),
        kg_per_count: Some(KG_PER_COUNT),
        u_kg_per_count: Some(2e-4 * KG_PER_COUNT),
        status: CellStatus::Good,
    };
    let term = |name: String| CellDetail {
        name,
        load_kg: None,
        largest_kg: None,
        u_any_load_kg_per_count: None,
        u_any_load_pct: None,
        zero_counts_per_c: Some(ZERO_KG_C / KG_PER_COUNT),
        u_zero_counts_per_c: Some(0.02 * ZERO_KG_C / KG_PER_COUNT),
    };
    let detail = FitDetail {
        scatter_pct: 0.0,
        place_mm: 1.0,
        load_degrees_of_freedom: 10.0,
        condition_number: 1.0,
        advice: Vec::new(),
        temperature_c: Some(REFERENCE_C),
        span_per_c: Some(SPAN_PER_C),
        u_span_per_c: Some(0.02 * SPAN_PER_C),
        terms: Vec::new(),
        cells: deck.cells().map(name).map(term).collect(),
        rows: Vec::new(),
        earlier: None,
        due: None,
    };
    Calibration {
        deck: deck.name.clone(),
        made_at: "2031-03-04T08:00:00Z".to_owned(),
        gravity_m_s2: 9.81,
        cells: deck.cells().map(name).map(line).collect(),
        residual_sd_g: 1.0,
        degrees_of_freedom: 20,
        lack_of_fit_p: None,
        max_residual_g: 2.0,
        loads: Vec::new(),
        covariance: Covariance { parameters: Vec::new(), matrix: Vec::new() },
        findings: Vec::new(),
        residuals: Vec::new(),
        detail: knows.then_some(detail),
    }
}

/// The lines of the controller: bed and, from 60 s on, patient, evenly on all cells, each with some noise; the cells are as warm as the thermometer says.
#[allow(clippy::cast_possible_truncation)]
fn frames(deck: &Deck) -> Vec<Frame> {
    let n_cells = deck.cells().count();
    let mut noise = 1_u32;
    let frame = |i: u32| {
        let t_s = 0.5 * f64::from(i);
        let warmer = warmer_c(t_s);
        let kg = BED_KG + PATIENT_KG * ((t_s - 60.0) / 6.0).clamp(0.0, 1.0);
        let warm_kg = kg / n_cells as f64 * (1.0 + SPAN_PER_C * warmer) + ZERO_KG_C * warmer;
        let counts = (0..n_cells).map(|_| {
            noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            Some((warm_kg / KG_PER_COUNT).round() as i32 + i32::from((noise >> 24) as u8) - 128)
        });
        Frame {
            deck: SIGNS_AS.to_owned(),
            sequence: i,
            t_ms: 500 * u64::from(i),
            temperature_c: Some(((REFERENCE_C + warmer) * 10.0).round() / 10.0),
            tilt_deg: vec![0.0; deck.sections.len()],
            counts: counts.collect(),
        }
    };
    (0..SAMPLES).map(frame).collect()
}

/// Weighs what comes over the wire; gives the weight before the room warms and at the end, kg.
async fn weighed(deck: &Deck, knows: bool) -> [f64; 2] {
    let listener = TcpListener::bind("127.0.0.1:0").await.expect("a port");
    let address = listener.local_addr().expect("it has one").to_string();
    let lines: String = frames(deck).iter().map(|frame| line::write(frame) + "\n").collect();
    tokio::spawn(async move {
        let (mut stream, _) = listener.accept().await.expect("the ward connects");
        // A ward that hangs up has heard enough.
        let _ = stream.write_all(lines.as_bytes()).await;
    });
    let (out, mut heard) = mpsc::channel(64);
    tokio::spawn(transport::run(Source::Tcp { address }, 1, out));

    let setup = Setup {
        bed: "bed 3".into(),
        signs_as: SIGNS_AS.into(),
        deck: deck.clone(),
        calibration: calibration(deck, knows),
    };
    let mut engine = Engine::new(setup, &[], &[], START_US).unwrap();
    let mut to_do = [(30_u64, ActionKind::Tare), (61, ActionKind::PatientOn)].into_iter().peekable();
    let (mut before_kg, mut last) = (None, 0);
    while last + 1 < SAMPLES {
        match heard.recv().await.expect("the link goes on") {
            Heard::Frames { frames, .. } => {
                for frame in &frames {
                    assert!(frame.sequence == 0 || frame.sequence == last + 1, "{} after {last}", frame.sequence);
                    last = frame.sequence;
                    // Entered as their time comes: what stands ahead of the clock is a clock that was set.
                    while let Some((at_s, kind)) = to_do.next_if(|(at_s, _)| 1000 * at_s <= frame.t_ms) {
                        let action =
                            Action { line: 0, t_s: at_s as f64, kind, kg: None, note: String::new(), asked_s: None };
                        engine.act(START_US + i64::try_from(at_s).unwrap() * 1_000_000, &action);
                    }
                    engine.take(frame, START_US + i64::try_from(frame.t_ms).unwrap() * 1_000).unwrap();
                    if frame.t_ms == 590_000 {
                        before_kg = engine.live().patient_kg;
                    }
                }
            }
            Heard::Up => {}
            Heard::Down { why, .. } | Heard::Ended { why } => panic!("after {last}: {why}"),
            Heard::Rubbish(line) => panic!("after {last}: {line}"),
        }
    }
    [before_kg.expect("a weight before it warms"), engine.live().patient_kg.expect("a weight at the end")]
}

#[tokio::test]
async fn what_the_calibration_knows_of_a_room_that_warms_is_taken_off_what_comes_over_the_wire() {
    let deck = formats::deck::read("deck.toml", twin::demo::DECK_TOML).unwrap();
    // By hand: each cell's zero by 6 °C, and 0.06 % of patient and bed.
    let warms_kg = deck.cells().count() as f64 * ZERO_KG_C * WARMER_C + SPAN_PER_C * WARMER_C * (PATIENT_KG + BED_KG);
    let [before_kg, after_kg] = weighed(&deck, false).await;
    assert!((after_kg - before_kg - warms_kg).abs() < 0.01, "{before_kg} became {after_kg}, by hand +{warms_kg}");
    let [before_kg, after_kg] = weighed(&deck, true).await;
    // The thermometer says 0.1 °C: half of that is 1.7 g. The cells' lag behind it has died away to 0.03 °C.
    assert!((after_kg - before_kg).abs() < 0.005, "{before_kg} became {after_kg}");
    // The site's gravity is not that of the run: by up to 0.05 %.
    assert!((before_kg - PATIENT_KG).abs() < 0.05, "{before_kg}");
}
