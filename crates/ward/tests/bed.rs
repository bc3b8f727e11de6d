//! A bed over an invented night, without and with kills at random instants.

use std::path::Path;

use bedplate_ward::bed::{BedError, Engine, Live, Setup};
use bedplate_ward::memory::Memory;
use bedplate_ward::records::ActionBody;
use bedplate_ward::service::Ward;
use formats::actions::Action;
use formats::recording::Sample;
use link::line::Frame;
use store::audit::audit;
use store::entry::{Entry, Kind, NewEntry};
use store::journal::{self, Query};
use store::writer::Job;
use store::{readings, states};
use twin::bench::run::{BenchOptions, bench_run_of};
use twin::{BuiltDeck, Night};

const START_US: i64 = 1_790_000_000_000_000;
const SEED: u64 = 90;
/// Samples of the night that are used: the patient comes, linen and pads, a first rest.
const SAMPLES: usize = 24_000;

/// What a controller would send, and what people did, over the invented night.
struct Scene {
    setup: Setup,
    frames: Vec<Frame>,
    actions: Vec<Action>,
}

fn scene() -> Scene {
    let deck = formats::deck::read("deck.toml", twin::demo::DECK_TOML).unwrap();
    let scenario = twin::demo::scenario().unwrap();
    let built = BuiltDeck::build(&deck, &scenario.cell_spread(), SEED).unwrap();
    let options = BenchOptions { spread: scenario.cell_spread(), ..BenchOptions::default() };
    let run = bench_run_of(&deck, &built, SEED, &options).unwrap().run;
    let calibration = calibrate::calibrate(&deck, &run, &calibrate::Options::new("2031-01-01")).unwrap();
    let mut night = Night::new(&deck, &built, &scenario, SEED).unwrap();
    let actions = night.actions().to_vec();
    let (mut sample, mut frames) = (Sample::default(), Vec::new());
    while frames.len() < SAMPLES && night.next_sample(&mut sample).unwrap() {
        frames.push(frame(&sample, frames.len()));
    }
    let until_s = sample.t_s;
    let actions = actions.into_iter().filter(|a| a.t_s < until_s).collect();
    Scene { setup: Setup { bed: "bed 3".into(), signs_as: "alder-3".into(), deck, calibration }, frames, actions }
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
fn frame(sample: &Sample, number: usize) -> Frame {
    Frame {
        deck: "alder-3".to_owned(),
        sequence: u32::try_from(number).unwrap(),
        t_ms: (sample.t_s * 1e3).round() as u64,
        temperature_c: sample.temperature_c,
        tilt_deg: sample.tilt_deg.clone(),
        counts: sample.counts.iter().map(|c| c.map(|c| c.round() as i32)).collect(),
    }
}

fn memory(folder: &Path) -> Memory {
    Memory::open(folder.join("ward.db").to_str().unwrap(), Box::new(|| START_US)).unwrap()
}

/// The actions on record of the bed, and where they stand.
fn on_record(memory: &Memory) -> Vec<(i64, Action)> {
    let query = Query { chain: Some("bed 3".into()), kind: Some(Kind::Action), history: true, ..Query::default() };
    let entries = memory.look(|tx| journal::entries(tx, &query)).unwrap();
    entries.iter().map(|e| (e.new.at_us, action_of(e))).collect()
}

fn action_of(entry: &Entry) -> Action {
    let body = format!("t_s,action,kg,note\n0,{}\n", entry.new.body);
    formats::actions::read("record", &body).unwrap().remove(0)
}

fn entry_of(action: &Action) -> NewEntry {
    let text = formats::actions::write(std::slice::from_ref(action));
    let body = text.lines().nth(1).unwrap().split_once(',').unwrap().1.to_owned();
    NewEntry {
        chain: "bed 3".into(),
        at_us: START_US + micros(action.t_s),
        kind: Kind::Action,
        subject: String::new(),
        author: "nurse".into(),
        corrects: None,
        once: None,
        body,
    }
}

#[allow(clippy::cast_possible_truncation)]
fn micros(t_s: f64) -> i64 {
    (t_s * 1e6).round() as i64
}

/// Runs the scene; before each sample whose number is in `kills` all that is not in the memory is lost.
fn run(scene: &Scene, kills: &[usize]) -> (Live, Vec<Entry>, usize) {
    let folder = tempfile::tempdir().unwrap();
    let mut kept = memory(folder.path());
    let begin = |memory: &Memory, now_us| {
        let states = memory.look(|tx| states::find(tx, "bed 3")).unwrap();
        let mut actions = on_record(memory);
        // As a ward does, which does not read a year of actions: those that are surely in the state are not given again.
        if Engine::knows_actions(&states) {
            actions.retain(|(at_us, _)| *at_us > now_us - 300_000_000);
        }
        Engine::new(scene.setup.clone(), &states, &actions, now_us).unwrap()
    };
    let mut engine = begin(&kept, START_US);
    let mut actions = scene.actions.iter().peekable();
    for (number, frame) in scene.frames.iter().enumerate() {
        let now_us = START_US + i64::try_from(frame.t_ms).unwrap() * 1_000;
        if kills.contains(&number) {
            drop(engine);
            drop(kept);
            kept = memory(folder.path());
            engine = begin(&kept, now_us);
        }
        while let Some(action) = actions.next_if(|a| START_US + micros(a.t_s) <= now_us) {
            kept.keep(Job { entries: vec![entry_of(action)], ..Job::default() }).unwrap();
            engine.act(START_US + micros(action.t_s), action);
        }
        if let Some(job) = engine.take(frame, now_us).unwrap() {
            kept.keep(job).unwrap();
        }
    }
    let entries = kept.look(|tx| journal::entries(tx, &Query::default())).unwrap();
    assert!(kept.look(|tx| audit(tx, &[])).unwrap().breaks.is_empty());
    let rows = kept.look(|tx| readings::readings(tx, "bed 3", i64::MIN, i64::MAX)).unwrap().len();
    (engine.live().clone(), entries, rows)
}

#[test]
fn a_kill_at_any_sample_costs_no_tare_and_changes_no_weight_by_more_than_its_doubt() {
    let scene = scene();
    let (through, entries, rows) = run(&scene, &[]);
    assert!(through.tare_kg.is_some() && through.patient_kg.is_some(), "the scene proves nothing: {through:?}");
    assert!(entries.iter().any(|e| e.new.kind == Kind::Weight), "no settled weight went on record");
    assert!(rows + 2 > SAMPLES / 10, "{rows} rows of {SAMPLES} samples at 10 Hz");
    // Kills by the multiples of an odd number: in every phase of the row, before, at and after actions.
    for kills in [vec![SAMPLES - 600], (1..24).map(|i| i * 997).collect()] {
        let (killed, _, _) = run(&scene, &kills);
        let same = |a: Option<f64>, b: Option<f64>| a.unwrap().to_bits() == b.unwrap().to_bits();
        assert!(same(through.tare_kg, killed.tare_kg), "{:?} became {:?}", through.tare_kg, killed.tare_kg);
        assert!((through.items_kg - killed.items_kg).abs() < 0.1, "{} became {}", through.items_kg, killed.items_kg);
        let (one, two) = (through.patient_kg.unwrap(), killed.patient_kg.unwrap());
        let doubt = through.u_kg.unwrap().hypot(killed.u_kg.unwrap());
        assert!((one - two).abs() < 3.0 * doubt, "{one} became {two}, with {doubt}");
    }
}

#[test]
fn another_decks_samples_and_other_shapes_are_refused_by_name() {
    let scene = scene();
    let mut engine = Engine::new(scene.setup.clone(), &[], &[], START_US).unwrap();
    let other = Frame { deck: "alder-4".into(), ..scene.frames[0].clone() };
    assert!(matches!(engine.take(&other, START_US), Err(BedError::OtherDeck { .. })));
    let short = Frame { counts: vec![Some(1)], ..scene.frames[0].clone() };
    let refused = engine.take(&short, START_US).unwrap_err();
    assert!(refused.to_string().contains("1 cells"), "{refused}");
    assert_eq!(engine.live().link.rubbish, 2);
}

#[test]
fn a_cell_at_fault_is_told_until_it_gives_again_and_through_a_restart() {
    let scene = scene();
    let name = scene.setup.deck.cells().nth(5).unwrap().1.name.clone();
    let mut engine = Engine::new(scene.setup.clone(), &[], &[], START_US).unwrap();
    let mut states = Vec::new();
    let mut frames = scene.frames.iter().enumerate();
    let mut go_on = |engine: &mut Engine, until: usize, is_lost: bool| {
        for (number, frame) in frames.by_ref().take_while(|(number, _)| *number < until) {
            let mut frame = frame.clone();
            if is_lost {
                frame.counts[5] = None;
            }
            let at_us = START_US + i64::try_from(number).unwrap() * 100_000;
            if let Some(job) = engine.take(&frame, at_us).unwrap() {
                states.extend(job.states);
            }
        }
        states.clone()
    };
    let at_fault = |engine: &Engine| engine.live().faults.iter().map(|(cell, _)| cell.clone()).collect::<Vec<_>>();
    go_on(&mut engine, 600, false);
    assert!(at_fault(&engine).is_empty());
    let kept = go_on(&mut engine, 1_800, true);
    assert_eq!(at_fault(&engine), [name.as_str()]);
    // The newest of each place, as the memory has them.
    let newest: Vec<_> = (0..3).filter_map(|slot| kept.iter().rev().find(|s| s.slot == slot).cloned()).collect();
    let mut engine = Engine::new(scene.setup.clone(), &newest, &[], START_US + 180_000_000).unwrap();
    assert_eq!(at_fault(&engine), [name.as_str()], "after a restart a dead cell looks well");
    go_on(&mut engine, 2_000, true);
    assert_eq!(at_fault(&engine), [name]);
    go_on(&mut engine, 4_000, false);
    assert!(at_fault(&engine).is_empty(), "{:?} for ever", at_fault(&engine));
}

#[test]
fn a_sample_that_comes_again_changes_nothing() {
    let scene = scene();
    let mut engine = Engine::new(scene.setup.clone(), &[], &[], START_US).unwrap();
    for (number, frame) in scene.frames[..200].iter().enumerate() {
        let at_us = START_US + i64::try_from(number).unwrap() * 100_000;
        engine.take(frame, at_us).unwrap();
        let before = engine.live().clone();
        assert!(engine.take(frame, at_us + 50_000).unwrap().is_none());
        assert_eq!(engine.live().at_us, before.at_us);
    }
    assert_eq!((engine.live().link.samples, engine.live().link.again), (200, 200));
}

#[test]
fn a_state_of_another_calibration_is_refused_and_says_that_a_tare_is_needed() {
    let mut scene = scene();
    let mut engine = Engine::new(scene.setup.clone(), &[], &[], START_US).unwrap();
    let mut kept = Vec::new();
    for (number, frame) in scene.frames[..300].iter().enumerate() {
        let at_us = START_US + i64::try_from(number).unwrap() * 100_000;
        kept.extend(engine.take(frame, at_us).unwrap().into_iter().flat_map(|job| job.states));
    }
    let newest: Vec<_> = kept.into_iter().rev().take(1).collect();
    assert!(Engine::new(scene.setup.clone(), &newest, &[], START_US).is_ok());
    scene.setup.calibration.made_at = "2031-01-01T00:00:00Z".into();
    let refused = Engine::new(scene.setup, &newest, &[], START_US).err().unwrap();
    assert!(refused.to_string().contains("new tare"), "{refused}");
}

#[test]
fn nobody_keeps_a_decks_entry_out_by_using_its_mark_first() {
    let folder = tempfile::tempdir().unwrap();
    let setup = scene().setup;
    let ward =
        Ward::open("invented", memory(folder.path()), jiff::tz::TimeZone::UTC, 1, vec![setup], START_US).unwrap();
    let mark = || Some("deck 5-1".to_owned());
    let hold: ActionBody = serde_json::from_value(serde_json::json!({ "action": "hold" })).unwrap();
    let asked = ward.act("bed 3", "nurse", mark(), &hold).unwrap();
    let event = NewEntry {
        chain: "bed 3".into(),
        at_us: START_US,
        kind: Kind::Event,
        subject: String::new(),
        author: "deck".into(),
        corrects: None,
        once: mark(),
        body: "{}".into(),
    };
    let keep = || ward.memory.keep(Job { entries: vec![event.clone()], ..Job::default() }).unwrap().remove(0);
    let told = keep();
    assert!(!told.again && told.number != asked, "taken for what a caller had asked: {told:?}");
    // Each is itself kept once.
    assert!(keep().again);
    assert_eq!(ward.act("bed 3", "nurse", mark(), &hold).unwrap(), asked);
}

/// Temperature at which the calibration of the warm scene holds, °C.
const REFERENCE_C: f64 = 21.0;
/// Zero of each cell by temperature, kg/°C. Source: OIML R 60-1:2021, 5.6.1.3: the minimum dead load output of a class C cell may change by p_LC v_min per 5 °C, with p_LC = 0.7 of a single cell
/// and v_min = E_max / 10 000 of an invented cell of 75 kg.
const ZERO_KG_C: f64 = 0.7 * 75.0 / 10_000.0 / 5.0;
/// Share of all gains by temperature, 1/°C: 0.1 % for 10 °C.
const SPAN_PER_C: f64 = 1e-4;

/// The cells of the scene warm by so much from the first to the eleventh minute, and a thermometer says so.
fn warmed(mut scene: Scene, by_c: f64) -> Scene {
    let lines: Vec<(f64, f64)> =
        scene.setup.calibration.cells.iter().map(|c| (c.zero_counts.unwrap(), c.kg_per_count.unwrap())).collect();
    for frame in &mut scene.frames {
        let t_s = frame.t_ms as f64 / 1e3;
        let warmer_c = by_c * ((t_s - 60.0) / 600.0).clamp(0.0, 1.0);
        frame.temperature_c = Some(REFERENCE_C + warmer_c);
        for (counts, (zero, kg_per_count)) in frame.counts.iter_mut().zip(&lines) {
            let by = |cold: f64| (cold - zero) * SPAN_PER_C * warmer_c + ZERO_KG_C / kg_per_count * warmer_c;
            #[allow(clippy::cast_possible_truncation)]
            let warm = |cold: i32| (f64::from(cold) + by(f64::from(cold))).round() as i32;
            *counts = counts.map(warm);
        }
    }
    scene
}

/// The calibration of the scene says what its cells do, or that it knows nothing of it.
fn told(mut scene: Scene, known: bool) -> Scene {
    let calibration = &mut scene.setup.calibration;
    let detail = calibration.detail.as_mut().unwrap();
    detail.temperature_c = Some(REFERENCE_C);
    detail.span_per_c = known.then_some(SPAN_PER_C);
    detail.u_span_per_c = known.then_some(0.02 * SPAN_PER_C);
    for (cell, line) in detail.cells.iter_mut().zip(&calibration.cells) {
        cell.zero_counts_per_c = known.then(|| ZERO_KG_C / line.kg_per_count.unwrap());
        cell.u_zero_counts_per_c = known.then(|| 0.02 * ZERO_KG_C / line.kg_per_count.unwrap());
    }
    scene
}

/// A room that warms by 8 °C under a patient, through the service's own engine, and killed in the middle of it: the live weight stays what it was, where the calibration
/// knows what warmth does.
#[test]
fn a_room_that_warms_leaves_the_live_weight_where_the_calibration_knows_it() {
    let cold = run(&told(warmed(scene(), 0.0), true), &[]).0;
    let n_cells = scene().setup.calibration.cells.len() as f64;
    let (patient_kg, tare_kg) = (cold.patient_kg.unwrap(), cold.tare_kg.unwrap());
    let off = |live: &Live| live.patient_kg.unwrap() - patient_kg;
    // By hand: every cell's zero, and the gains' share of all that lies there.
    let expected_kg = 8.0 * (n_cells * ZERO_KG_C + SPAN_PER_C * (patient_kg + tare_kg + cold.items_kg));
    let blind = run(&told(warmed(scene(), 8.0), false), &[]).0;
    assert!((off(&blind) - expected_kg).abs() < 0.1 * expected_kg, "{} by hand {expected_kg}", off(&blind));
    for kills in [vec![], vec![4_000, 9_000]] {
        let seeing = run(&told(warmed(scene(), 8.0), true), &kills).0;
        // The engine lets its cells follow the thermometer within ten minutes, 29 of which have gone since it stood still: 3 % of what is taken off.
        assert!(off(&seeing).abs() < 0.06 * expected_kg, "{kills:?}: {} of {expected_kg}", off(&seeing));
        assert_eq!((seeing.open_kg.to_bits(), seeing.state), (cold.open_kg.to_bits(), cold.state), "{kills:?}");
        assert!(seeing.u_kg.unwrap() < blind.u_kg.unwrap(), "{:?} {:?}", seeing.u_kg, blind.u_kg);
    }
}
