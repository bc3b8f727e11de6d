//! A bed over an invented night, without and with kills at random instants.

use std::path::Path;

use bedplate_ward::bed::{BedError, Engine, Live, Setup};
use bedplate_ward::clock::Stood;
use bedplate_ward::memory::Memory;
use bedplate_ward::records::ActionBody;
use bedplate_ward::service::Ward;
use formats::actions::{Action, ActionKind};
use formats::recording::Sample;
use formats::weights::State;
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

/// What became of a scene.
struct Ran {
    live: Live,
    /// In force at the end.
    entries: Vec<Entry>,
    rows: usize,
}

/// Runs the scene; before each sample whose number is in `kills` all that is not in the memory is lost.
fn run(scene: &Scene, kills: &[usize]) -> Ran {
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
    Ran { live: engine.live().clone(), entries, rows }
}

#[test]
fn a_kill_at_any_sample_costs_no_tare_and_changes_no_weight_by_more_than_its_doubt() {
    let scene = scene();
    let Ran { live: through, entries, rows } = run(&scene, &[]);
    assert!(through.tare_kg.is_some() && through.patient_kg.is_some(), "the scene proves nothing: {through:?}");
    assert!(entries.iter().any(|e| e.new.kind == Kind::Weight), "no settled weight went on record");
    assert!(rows + 2 > SAMPLES / 10, "{rows} rows of {SAMPLES} samples at 10 Hz");
    // Kills by the multiples of an odd number: in every phase of the row, before, at and after actions.
    for kills in [vec![SAMPLES - 600], (1..24).map(|i| i * 997).collect()] {
        let killed = run(&scene, &kills).live;
        let same = |a: Option<f64>, b: Option<f64>| a.unwrap().to_bits() == b.unwrap().to_bits();
        assert!(same(through.tare_kg, killed.tare_kg), "{:?} became {:?}", through.tare_kg, killed.tare_kg);
        assert!((through.items_kg - killed.items_kg).abs() < 0.1, "{} became {}", through.items_kg, killed.items_kg);
        let (one, two) = (through.patient_kg.unwrap(), killed.patient_kg.unwrap());
        let doubt = through.u_kg.unwrap().hypot(killed.u_kg.unwrap());
        assert!((one - two).abs() < 3.0 * doubt, "{one} became {two}, with {doubt}");
    }
}

#[test]
fn an_event_that_is_put_right_after_a_restart_stands_once_on_record() {
    const MORE_KG: f64 = 1.5;
    let scene = scene();
    // Somebody lies there and rests; then somebody leans on the bed, evenly on all cells, and lets go after the restart.
    let begin = SAMPLES - 4_000;
    let (_, _, mut engine) = weigh(&scene, begin, |number| set_back(&scene, number, begin, 0));
    let calibration = &scene.setup.calibration;
    let more: Vec<f64> = calibration
        .cells
        .iter()
        .map(|cell| MORE_KG / calibration.cells.len() as f64 / cell.kg_per_count.unwrap())
        .collect();
    let folder = tempfile::tempdir().unwrap();
    let kept = memory(folder.path());
    let go_on = |engine: &mut Engine, numbers: std::ops::Range<usize>, leans: bool| {
        for number in numbers {
            let mut frame = scene.frames[number].clone();
            for (counts, more) in frame.counts.iter_mut().zip(&more) {
                *counts = counts.map(|counts| counts + if leans { more.round() as i32 } else { 0 });
            }
            if let Some(job) = engine.take(&frame, set_back(&scene, number, 0, 0)).unwrap() {
                kept.keep(job).unwrap();
            }
        }
    };
    let restart = begin + 30;
    go_on(&mut engine, begin..restart, true);
    assert_eq!(engine.live().questions.len(), 1, "the scene proves nothing");
    let states = kept.look(|tx| states::find(tx, "bed 3")).unwrap();
    let mut engine = Engine::new(scene.setup.clone(), &states, &[], set_back(&scene, restart, 0, 0)).unwrap();
    go_on(&mut engine, restart..restart + 10, true);
    go_on(&mut engine, restart + 10..restart + 200, false);
    assert!(engine.live().questions.is_empty(), "the scene proves nothing");
    let entries = |history| {
        let query = Query { kind: Some(Kind::Event), history, ..Query::default() };
        kept.look(|tx| journal::entries(tx, &query)).unwrap()
    };
    let numbers = |entries: &[Entry]| entries.iter().map(|e| e.new.subject.clone()).collect::<Vec<_>>();
    let (all, in_force) = (entries(true), entries(false));
    let once: std::collections::BTreeSet<String> = numbers(&all).into_iter().collect();
    assert!(all.len() > once.len(), "nothing was put right: the scene proves nothing");
    assert_eq!(in_force.len(), once.len(), "one stands beside what puts it right: {:?}", numbers(&in_force));
}

#[test]
fn what_is_weighed_and_told_goes_on_record_where_the_state_is_too_long_to_be_kept() {
    let mut scene = scene();
    let all = |scene: &Scene| {
        let mut engine = Engine::new(scene.setup.clone(), &[], &[], START_US).unwrap();
        let mut actions = scene.actions.iter().peekable();
        let (mut rows, mut told, mut states) = (0, Vec::new(), 0);
        for frame in &scene.frames {
            let now_us = START_US + i64::try_from(frame.t_ms).unwrap() * 1_000;
            while let Some(action) = actions.next_if(|a| START_US + micros(a.t_s) <= now_us) {
                engine.act(START_US + micros(action.t_s), action);
            }
            if let Some(job) = engine.take(frame, now_us).ok().flatten() {
                (rows, states) =
                    (rows + job.readings.len(), states + job.states.iter().filter(|s| !s.record.is_empty()).count());
                told.extend(job.entries.into_iter().map(|e| (e.kind, e.body)));
            }
        }
        (rows, told, states, engine.unkept().map(ToString::to_string))
    };
    let (rows, told, states, unkept) = all(&scene);
    assert!(states > 0 && unkept.is_none());
    // A body of a record has at most 65 535 bytes; the calibration's time is part of it.
    scene.setup.calibration.made_at = "x".repeat(66_000);
    let (without, told_without, states, unkept) = all(&scene);
    assert_eq!(states, 0, "the scene proves nothing");
    assert_eq!((without, told_without.len()), (rows, told.len()));
    assert_eq!(told_without, told);
    assert!(unkept.unwrap().contains("bed 3"));
}

#[test]
fn where_the_state_became_too_long_to_be_kept_a_restart_does_not_go_on_from_an_older_one() {
    let scene = scene();
    // Somebody lies there and rests.
    let begin = SAMPLES - 4_000;
    let at = |number| set_back(&scene, number, 0, 0);
    let (_, _, mut engine) = weigh(&scene, begin, at);
    let mut newest: std::collections::BTreeMap<i64, store::states::State> = std::collections::BTreeMap::new();
    let mut go_on = |engine: &mut Engine, numbers: std::ops::Range<usize>| {
        for number in numbers {
            let job = engine.take(&scene.frames[number], at(number)).unwrap();
            newest.extend(job.into_iter().flat_map(|job| job.states).map(|state| (state.slot, state)));
        }
        newest.values().cloned().collect::<Vec<_>>()
    };
    let before = go_on(&mut engine, begin..begin + 300);
    assert!(Engine::new(scene.setup.clone(), &before, &[], at(begin + 300)).is_ok(), "the scene proves nothing");
    // A record has at most 65 535 bytes beside its head: things with long names are entered until it has more.
    for item in 0..80 {
        let note = format!("{item} {}", "ä".repeat(490));
        let add = Action { line: 0, t_s: 0.0, kind: ActionKind::Add, kg: Some(0.1), note, asked_s: None };
        engine.act(at(begin + 300) + item, &add);
    }
    let kept = go_on(&mut engine, begin + 300..begin + 500);
    assert!(engine.unkept().is_some(), "the scene proves nothing");
    let refused = Engine::new(scene.setup.clone(), &kept, &[], at(begin + 500)).err();
    assert!(refused.expect("it goes on from an old state").to_string().contains("a new tare is needed"));
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
fn a_cell_that_flickers_does_not_fill_the_record() {
    let scene = scene();
    let name = scene.setup.deck.cells().nth(5).unwrap().1.name.clone();
    let mut engine = Engine::new(scene.setup.clone(), &[], &[], START_US).unwrap();
    let (mut failed, mut told) = (0, Vec::new());
    for (number, frame) in scene.frames[..9_000].iter().enumerate() {
        let mut frame = frame.clone();
        // Gone for ten seconds and there for ten, but for twenty minutes in the midst, in which all is well.
        if number % 20 < 10 && !(4_000..5_200).contains(&number) {
            frame.counts[5] = None;
        }
        let at_us = set_back(&scene, number, 0, 0);
        let was_well = engine.live().faults.is_empty();
        for entry in engine.take(&frame, at_us).unwrap().into_iter().flat_map(|job| job.entries) {
            let body: serde_json::Value = serde_json::from_str(&entry.body).unwrap();
            told.extend((body["cell"] == name.as_str()).then_some(number));
        }
        failed += u32::from(was_well && !engine.live().faults.is_empty());
    }
    assert!(failed > 300, "{failed} times: the scene proves nothing");
    let [first, again] = told.as_slice() else { panic!("told {} times", told.len()) };
    assert!(*first < 60 && (5_200..5_260).contains(again), "{told:?}");
}

/// Our clock at the sample of a number, where it is set back by `back_us` from sample `from` on.
fn set_back(scene: &Scene, number: usize, from: usize, back_us: i64) -> i64 {
    let t_us = i64::try_from(scene.frames[number].t_ms).unwrap() * 1_000;
    START_US + t_us - if number < from { 0 } else { back_us }
}

/// When a sample comes, by our clock, and from it on what people did; gives the times of rows and what they say.
fn weigh(scene: &Scene, many: usize, at_us: impl Fn(usize) -> i64) -> (Vec<i64>, Vec<String>, Engine) {
    let mut engine = Engine::new(scene.setup.clone(), &[], &[], START_US).unwrap();
    let mut actions = scene.actions.iter().peekable();
    let (mut times, mut said) = (Vec::new(), Vec::new());
    for (number, frame) in scene.frames[..many].iter().enumerate() {
        while let Some(action) = actions.next_if(|a| micros(a.t_s) <= i64::try_from(frame.t_ms).unwrap() * 1_000) {
            engine.act(at_us(number), action);
        }
        for row in engine.take(frame, at_us(number)).unwrap().into_iter().flat_map(|job| job.readings) {
            times.push(row.at_us);
            said.push(format!("{:?} {:?} {}", row.kg.map(f64::to_bits), row.u_kg.map(f64::to_bits), row.state));
        }
    }
    (times, said, engine)
}

#[test]
fn weighing_goes_on_at_the_decks_pace_where_our_clock_is_set_back() {
    let scene = scene();
    let (many, from) = (SAMPLES, SAMPLES - 4_000);
    let (times, straight, _) = weigh(&scene, many, |number| set_back(&scene, number, many, 0));
    assert!(straight.iter().any(|row| row.contains("settled")), "the scene proves nothing");
    // The first is shorter than what was weighed before, so that its times come again; then an hour, and half a day.
    for back_us in [100_000_000, 3_600_000_000, 43_200_000_000] {
        let (set, said, engine) = weigh(&scene, many, |number| set_back(&scene, number, from, back_us));
        assert_eq!(said.len(), straight.len(), "{back_us} µs back");
        // The microsecond that keeps times apart moves a figure by less than anybody sees: states are the same.
        let states =
            |rows: &[String]| rows.iter().map(|r| r.rsplit(' ').next().unwrap().to_owned()).collect::<Vec<_>>();
        let apart = states(&said).iter().zip(states(&straight)).filter(|(a, b)| **a != *b).count();
        assert_eq!(apart, 0, "{back_us} µs back");
        let distinct: std::collections::BTreeSet<i64> = set.iter().copied().collect();
        assert_eq!(distinct.len(), set.len(), "a row has the time of another and would be passed over");
        // Rows before have the time of then, rows after it the time that our clock shows now.
        let moved = set.iter().zip(&times).filter(|(a, b)| (*b - *a - back_us).abs() < 100).count();
        assert_eq!(set.iter().zip(&times).take_while(|(a, b)| a == b).count() + moved, set.len());
        assert!(moved > 350, "{moved}");
        assert!(!engine.live().is_silent(set_back(&scene, many - 1, from, back_us)), "{back_us} µs back");
    }
}

#[test]
fn a_clock_set_back_and_forward_again_leaves_the_weighers_time_where_it_was() {
    let scene = scene();
    let many = 12_000;
    let (times, straight, _) = weigh(&scene, many, |number| set_back(&scene, number, many, 0));
    let (set, said, _) = weigh(&scene, many, |number| {
        let back_us = if (2_000..4_000).contains(&number) { 3_600_000_000 } else { 0 };
        set_back(&scene, number, 0, back_us)
    });
    assert_eq!(said.len(), straight.len(), "a row a second of the deck's clock");
    // The link believes a clock that was put forward after some minutes.
    assert!((times[times.len() - 1] - set[set.len() - 1]).abs() < 100, "the last row is not of now");
}

#[test]
fn actions_are_known_again_after_a_restart_where_the_clock_was_set_back() {
    let scene = scene();
    let back_us = 100_000_000;
    // Somebody lies there and rests; 1,500 samples later our clock is set back.
    let begin = SAMPLES - 4_000;
    let at = |number| set_back(&scene, number, begin + 1_500, back_us);
    let (_, _, mut engine) = weigh(&scene, begin, at);
    let action = |kind| Action { line: 0, t_s: 0.0, kind, kg: None, note: String::new(), asked_s: None };
    let (hold, release) = (action(ActionKind::Hold), action(ActionKind::Release));
    let mut states = Vec::new();
    let mut go_on = |engine: &mut Engine, numbers: std::ops::Range<usize>, acts: &[(usize, &Action)]| {
        for number in numbers.start + begin..numbers.end + begin {
            for (_, action) in acts.iter().filter(|(when, _)| *when + begin == number) {
                engine.act(at(number), action);
            }
            let job = engine.take(&scene.frames[number], at(number)).unwrap();
            states.extend(job.into_iter().flat_map(|job| job.states));
        }
        states.clone()
    };
    // Care 50 s before the clock is set back by 100 s, and 5 s after it.
    let acts = [(1_000, &hold), (1_100, &release), (1_550, &hold), (1_600, &release)];
    let kept = go_on(&mut engine, 0..1_700, &acts);
    assert_ne!(engine.live().state, Some(State::Held));
    let newest: Vec<_> = (0..3).filter_map(|slot| kept.iter().rev().find(|s| s.slot == slot).cloned()).collect();
    // As the record gives them, by time on our clock: another is on record, but the kill came before it was done.
    let mut on_record: Vec<(i64, Action)> =
        acts.iter().map(|(number, a)| (at(*number + begin), (*a).clone())).collect();
    on_record.push((at(1_701 + begin), hold.clone()));
    on_record.sort_by_key(|(at_us, _)| *at_us);
    let mut engine = Engine::new(scene.setup.clone(), &newest, &on_record, at(1_702 + begin)).unwrap();
    go_on(&mut engine, 1_702..1_730, &[]);
    assert_eq!(engine.live().state, Some(State::Held), "an action that was not done yet is lost");
    // The first hold and release are still ahead of the new time; when it gets there, they must not be done again.
    go_on(&mut engine, 1_730..2_300, &[]);
    assert_eq!(engine.live().state, Some(State::Held), "a release was done twice");
    go_on(&mut engine, 2_300..3_000, &[(2_300, &release)]);
    assert_ne!(engine.live().state, Some(State::Held), "a hold was done twice");
}

#[test]
fn what_is_entered_while_our_clock_stands_ahead_is_done_once_it_is_right_and_holds_nothing_up() {
    let scene = scene();
    let begin = SAMPLES - 4_000;
    let action = |kind| Action { line: 0, t_s: 0.0, kind, kg: None, note: String::new(), asked_s: None };
    let (hold, release) = (action(ActionKind::Hold), action(ActionKind::Release));
    // Our clock stands an hour ahead for two minutes, in which somebody holds: the link does not believe it so soon.
    let at = |number: usize| {
        let is_ahead = (begin..begin + 120).contains(&number);
        set_back(&scene, number, 0, if is_ahead { -3_600_000_000 } else { 0 })
    };
    for restarts in [false, true] {
        let (_, _, mut engine) = weigh(&scene, begin, at);
        let mut states = Vec::new();
        let mut go_on = |engine: &mut Engine, numbers: std::ops::Range<usize>| {
            for number in numbers.start + begin..numbers.end + begin {
                let job = engine.take(&scene.frames[number], at(number)).unwrap();
                states.extend(job.into_iter().flat_map(|job| job.states));
            }
            states.clone()
        };
        go_on(&mut engine, 0..60);
        engine.act(at(begin + 60), &hold);
        go_on(&mut engine, 60..120);
        assert_ne!(engine.live().state, Some(State::Held), "the scene proves nothing");
        let kept = go_on(&mut engine, 120..125);
        assert_eq!(engine.live().state, Some(State::Held), "it waits for an hour");
        if restarts {
            let newest: Vec<_> =
                (0..3).filter_map(|slot| kept.iter().rev().find(|s| s.slot == slot).cloned()).collect();
            let on_record = [(at(begin + 60), hold.clone())];
            engine = Engine::new(scene.setup.clone(), &newest, &on_record, at(125 + begin)).unwrap();
        }
        engine.act(at(begin + 130), &release);
        go_on(&mut engine, 130..3_900);
        assert_ne!(engine.live().state, Some(State::Held), "the hold was done again as its hour came");
    }
    // A word that comes before the next sample takes what waits with it, in the order in which they were said.
    let (_, _, mut engine) = weigh(&scene, begin, at);
    engine.act(at(begin), &release);
    engine.act(at(begin + 121), &hold);
    for number in begin + 121..begin + 130 {
        engine.take(&scene.frames[number], at(number)).unwrap();
    }
    assert_eq!(engine.live().state, Some(State::Held));
}

#[test]
fn what_is_entered_once_our_clock_was_put_forward_is_done_with_the_next_samples() {
    let scene = scene();
    let begin = SAMPLES - 4_000;
    let action = |kind| Action { line: 0, t_s: 0.0, kind, kg: None, note: String::new(), asked_s: None };
    // An hour, for good: by the samples alone the link believes it after some minutes.
    let at = |number: usize| set_back(&scene, number, begin, -3_600_000_000);
    let (_, _, mut engine) = weigh(&scene, begin, at);
    engine.our_clock_was_set(3_600_000_000);
    for number in begin..begin + 60 {
        engine.take(&scene.frames[number], at(number)).unwrap();
    }
    let now_us = at(begin + 60);
    assert!(!engine.live().is_silent(now_us), "the rows are not of now");
    engine.act(now_us, &action(ActionKind::Hold));
    for number in begin + 60..begin + 90 {
        engine.take(&scene.frames[number], at(number)).unwrap();
    }
    assert_eq!(engine.live().state, Some(State::Held), "half a minute later it waits still");
}

#[test]
fn a_clock_of_ours_that_was_put_forward_while_the_service_was_down_is_known_at_the_start() {
    let scene = scene();
    let (begin, hour_us) = (SAMPLES - 4_000, 3_600_000_000);
    let at = |number: usize| set_back(&scene, number, begin, -hour_us);
    let stood = |boot: &str, number: usize| Stood {
        boot: Some(boot.to_owned()),
        since_boot_us: set_back(&scene, number, 0, 0) - START_US,
        now_us: at(number),
    };
    for (boot, is_known) in [("this start", true), ("another start", false)] {
        let (_, _, mut engine) = weigh(&scene, begin - 100, at);
        engine.our_clock_stands(stood("this start", begin - 100), 0);
        let mut kept = Vec::new();
        for number in begin - 100..begin {
            kept.extend(engine.take(&scene.frames[number], at(number)).unwrap().into_iter().flat_map(|job| job.states));
        }
        let newest: Vec<_> = (0..3).filter_map(|slot| kept.iter().rev().find(|s| s.slot == slot).cloned()).collect();
        assert_eq!(newest.len(), 3, "the scene proves nothing");
        let mut engine = Engine::new(scene.setup.clone(), &newest, &[], at(begin)).unwrap();
        engine.our_clock_stands_again(stood(boot, begin));
        for number in begin..begin + 60 {
            engine.take(&scene.frames[number], at(number)).unwrap();
        }
        assert_eq!(engine.live().is_silent(at(begin + 60)), !is_known, "{boot}");
    }
}

#[test]
fn a_deck_that_died_looks_silent_whichever_way_our_clock_was_set() {
    let scene = scene();
    let (_, _, engine) = weigh(&scene, 100, |number| set_back(&scene, number, 100, 0));
    assert!(Engine::new(scene.setup.clone(), &[], &[], START_US).unwrap().live().is_silent(START_US));
    let now_us = set_back(&scene, 100, 100, 0);
    assert!(!engine.live().is_silent(now_us));
    for set_us in [20_000_000, -20_000_000, -3_600_000_000] {
        assert!(engine.live().is_silent(now_us + set_us), "{set_us} µs");
    }
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
