//! What comes and goes: told, asked about, found and placed.

use super::*;

#[test]
fn a_hand_that_presses_evenly_for_a_minute_is_a_contact() {
    for kg in [9.0, -4.0, 0.6] {
        let mut night = begun(500.0);
        night.deeds.push(Deed::Push { from: 200.0, to: 260.0, kg, wobble_kg: 0.0, x: 900.0, y: 100.0 });
        let out = weigh(&night);
        assert!(out.false_settled().is_empty(), "{kg}: {:?}", out.false_settled());
        assert!(out.worst(100.0, 500.0) < 0.03, "{kg}: {}", out.worst(100.0, 500.0));
        assert!(out.settled(275.0, 500.0).len() > 220, "{kg}: settles again");
        assert!(out.kinds().contains(&EventKind::Contact), "{kg}: {:?}", out.report.events);
        assert!(out.report.open_kg.abs() < 1e-12);
    }
}

#[test]
fn what_nobody_explains_stays_open_until_an_action_answers() {
    let mut night = begun(700.0);
    night.deeds.push(Deed::Thing { at: 200.0, over: 2.0, kg: 0.6, x: 1500.0, y: 300.0 });
    let open = weigh(&night);
    assert!(open.settled(206.0, 700.0).is_empty());
    assert!((open.report.open_kg - 0.6).abs() < 0.02, "{}", open.report.open_kg);
    let step = open.report.events.iter().find(|e| e.kind == EventKind::Step).unwrap();
    assert!((step.x_mm.unwrap() - 1500.0).abs() < 150.0 && (step.y_mm.unwrap() - 300.0).abs() < 150.0, "{step:?}");
    // The patient's weight does not take it in meanwhile.
    let last = open.rows.last().unwrap();
    assert!((last.patient_kg.unwrap() - open.truth(699.0)).abs() < 0.03);

    for answer in [Some(0.6), None] {
        night.actions = vec![(30.0, Tare, None), (62.0, PatientOn, None), (400.0, Add, answer)];
        let answered = weigh(&night);
        assert!(answered.settled(206.0, 400.0).is_empty());
        assert!(answered.settled(405.0, 700.0).len() > 280);
        assert!(answered.worst(100.0, 700.0) < 0.03);
    }
}

#[test]
fn items_are_booked_whether_their_mass_is_stated_or_measured() {
    for (early, kg) in [(-1.0, Some(0.8)), (25.0, Some(0.8)), (25.0, None), (-20.0, None), (1.0, Some(0.85))] {
        let mut night = begun(600.0);
        night.deeds.push(Deed::Thing { at: 200.0, over: 3.0, kg: 0.8, x: 1200.0, y: 450.0 });
        night.deeds.push(Deed::Thing { at: 400.0, over: 3.0, kg: -0.8, x: 1200.0, y: 450.0 });
        night.actions.push((200.0 - early, Add, kg));
        night.actions.push((400.0 - early, Remove, kg));
        let out = weigh(&night);
        assert!(out.worst(100.0, 600.0) < 0.04, "{early} {kg:?}: {}", out.worst(100.0, 600.0));
        assert!(out.settled(240.0, 600.0).len() > 270, "{early} {kg:?}");
        let sizes: Vec<f64> = out
            .report
            .events
            .iter()
            .filter(|e| matches!(e.kind, EventKind::Added | EventKind::Removed))
            .map(|e| e.kg.unwrap())
            .collect();
        assert_eq!(sizes.len(), 2, "{early} {kg:?}: {:?}", out.report.events);
        assert!((sizes[0] - 0.8).abs() < 0.05 && (sizes[1] + 0.8).abs() < 0.05, "{sizes:?}");
    }
}

#[test]
fn what_is_stated_and_what_is_seen_must_agree() {
    let mut night = begun(500.0);
    night.deeds.push(Deed::Thing { at: 200.0, over: 3.0, kg: 2.4, x: 1200.0, y: 450.0 });
    night.actions.push((201.0, Add, Some(0.8)));
    let out = weigh(&night);
    assert!(out.settled(206.0, 500.0).is_empty(), "2.4 kg seen, 0.8 kg stated");
    assert!(out.report.open_kg.abs() > 1.0);
}

/// Two things of like mass lie there, one told and one asked about: which of them left is known only once it is said.
#[test]
fn an_entry_that_names_what_left_reopens_the_question_it_seemed_to_end() {
    let mut night = begun(900.0);
    night.deeds.push(Deed::Thing { at: 150.0, over: 2.0, kg: 0.62, x: 1500.0, y: 300.0 });
    night.deeds.push(Deed::Thing { at: 350.0, over: 2.0, kg: 0.60, x: 900.0, y: 440.0 });
    night.deeds.push(Deed::Thing { at: 600.0, over: 2.0, kg: -0.62, x: 1500.0, y: 300.0 });
    night.actions.extend([(152.0, Add, Some(0.62)), (612.0, Remove, Some(0.62))]);
    night.notes = vec![(152.0, "towels"), (612.0, "towels")];
    let out = weigh(&night);
    assert!((out.report.open_kg - 0.60).abs() < 0.03, "{:?}", out.report);
    assert!(out.report.items.is_empty() && out.worst(100.0, 900.0) < 0.03, "{:?}", out.report.items);
    assert!(out.settled(640.0, 900.0).is_empty(), "the question is open");
    // What was asked about and left, and is named now, is dealt with.
    night.notes = vec![(152.0, "towels"), (612.0, "pillow")];
    let out = weigh(&night);
    assert!(out.report.open.is_empty() && out.report.items.len() == 1, "{:?}", out.report);
}

/// Two towels of one name are one item. One of them leaves and is told of: that is no answer to what nobody told of, which has nearly its mass and lies elsewhere.
#[test]
fn one_of_several_of_a_name_leaves_while_a_question_of_like_mass_is_open() {
    for (told_kg, told_s) in [(Some(0.62), 712.0), (None, 712.0), (None, 702.0)] {
        let mut night = begun(1100.0);
        night.deeds.push(Deed::Thing { at: 150.0, over: 2.0, kg: 0.62, x: 1500.0, y: 300.0 });
        night.deeds.push(Deed::Thing { at: 250.0, over: 2.0, kg: 0.80, x: 1500.0, y: 600.0 });
        night.deeds.push(Deed::Thing { at: 400.0, over: 2.0, kg: 0.60, x: 900.0, y: 440.0 });
        night.deeds.push(Deed::Thing { at: 700.0, over: 2.0, kg: -0.62, x: 1500.0, y: 300.0 });
        night.actions.extend([(152.0, Add, told_kg), (252.0, Add, Some(0.80)), (told_s, Remove, told_kg)]);
        night.notes = vec![(152.0, "towels"), (252.0, "towels"), (told_s, "towels")];
        let out = weigh(&night);
        assert!((out.report.open_kg - 0.60).abs() < 0.03, "{told_kg:?}: {:?}", out.report);
        assert!((out.report.items_kg - 0.80).abs() < 0.03, "{told_kg:?}: {:?}", out.report.items);
        assert!(out.settled(740.0, 1100.0).is_empty(), "{told_kg:?}: the question is open");
    }
}

/// An old question and something new of nearly its mass: the entry is about what came just now.
#[test]
fn an_entry_is_about_what_came_just_now_rather_than_about_an_old_question() {
    let mut night = begun(1300.0);
    night.deeds.push(Deed::Thing { at: 150.0, over: 2.0, kg: 0.65, x: 1500.0, y: 300.0 });
    night.deeds.push(Deed::Thing { at: 1000.0, over: 2.0, kg: 0.56, x: 900.0, y: 440.0 });
    night.actions.push((1001.0, Add, Some(0.56)));
    let out = weigh(&night);
    assert!((out.report.open_kg - 0.65).abs() < 0.03, "{:?}", out.report);
    assert!((out.report.items_kg - 0.56).abs() < 0.03, "{:?}", out.report.items);
    // Where nothing came, it answers the old one.
    night.deeds.pop();
    night.actions.pop();
    night.actions.push((1001.0, Add, Some(0.66)));
    let out = weigh(&night);
    assert!(out.report.open.is_empty() && (out.report.items_kg - 0.65).abs() < 0.03, "{:?}", out.report);
}

#[test]
fn what_came_first_and_leaves_first_ends_its_own_question() {
    let mut night = begun(600.0);
    night.deeds.push(Deed::Thing { at: 200.0, over: 2.0, kg: 0.6, x: 1500.0, y: 300.0 });
    night.deeds.push(Deed::Thing { at: 300.0, over: 2.0, kg: 0.9, x: 500.0, y: 440.0 });
    night.deeds.push(Deed::Thing { at: 400.0, over: 2.0, kg: -0.6, x: 1500.0, y: 300.0 });
    let out = weigh(&night);
    let open: Vec<f64> = out.report.open.iter().map(|open| open.kg).collect();
    assert!(open.len() == 1 && (open[0] - 0.9).abs() < 0.03, "{open:?}");
}

#[test]
fn an_entry_without_its_mass_waits_for_the_load_that_moves() {
    let mut night = begun(600.0);
    night.deeds.push(Deed::Thing { at: 200.0, over: 2.0, kg: 0.8, x: 1500.0, y: 300.0 });
    night.deeds.push(Deed::Thing { at: 300.0, over: 2.0, kg: 0.5, x: 500.0, y: 440.0 });
    night.actions.push((302.0, Add, None));
    let out = weigh(&night);
    let open: Vec<f64> = out.report.open.iter().map(|open| open.kg).collect();
    assert!(open.len() == 1 && (open[0] - 0.8).abs() < 0.03, "{open:?}");
    assert!((out.report.items_kg - 0.5).abs() < 0.03, "{}", out.report.items_kg);
}

/// An infant of 3.4 kg under a monitor of 3.4 kg, alone or beside another monitor: what left is not the infant because it weighs as much.
#[test]
fn a_thing_as_heavy_as_the_patient_may_leave_without_him() {
    for other_kg in [0.0, 2.6] {
        let mut night = Night { patient_kg: 3.4, loss_kg_h: 0.0, breath_kg: [0.01, 0.002], ..begun(800.0) };
        night.deeds.push(Deed::Thing { at: 200.0, over: 2.0, kg: 3.4, x: 1500.0, y: 300.0 });
        night.deeds.push(Deed::Thing { at: 500.0, over: 2.0, kg: -3.4, x: 1500.0, y: 300.0 });
        night.actions.extend([(205.0, Add, Some(3.4)), (506.0, Remove, Some(3.4))]);
        if other_kg > 0.0 {
            night.deeds.push(Deed::Thing { at: 300.0, over: 2.0, kg: other_kg, x: 1500.0, y: 600.0 });
            night.actions.push((305.0, Add, Some(other_kg)));
        }
        night.notes.extend([(205.0, "monitor"), (305.0, "monitor"), (506.0, "monitor")]);
        let out = weigh(&night);
        assert!(!out.kinds().contains(&EventKind::PatientOff), "{other_kg}: {:?}", out.report.events);
        assert!(out.settled(530.0, 800.0).len() > 260, "{other_kg}: {:?}", out.report.events);
        assert!(out.worst(100.0, 800.0) < 0.05, "{other_kg}: {}", out.worst(100.0, 800.0));
    }
}

/// Items of 100 g and more, put on and taken off a breathing patient's bed without a word, each asked about afterwards.
#[test]
fn items_from_100_g_are_found_and_placed() {
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(77);
    let (mut items, mut found, mut placed) = (0, 0, 0);
    for seed in 0..6 {
        let mut night = Night { seed, noise_g: 2.0, dt: 0.2, patient_kg: 60.0 + 8.0 * seed as f64, ..begun(0.0) };
        let mut truth = Vec::new();
        let mut t = 150.0;
        for _ in 0..18 {
            let (kg, x, y) =
                (rng.random_range(0.1..1.5), rng.random_range(80.0..1880.0), rng.random_range(60.0..820.0));
            for (at, kg, action) in [(t, kg, Add), (t + 45.0, -kg, Remove)] {
                night.deeds.push(Deed::Thing { at, over: 1.5, kg, x, y });
                night.actions.push((at + 20.0, action, None));
                truth.push((at, kg, x, y));
            }
            t += 100.0;
        }
        night.end = t;
        let out = weigh(&night);
        for (at, kg, x, y) in truth {
            items += 1;
            let event = out
                .report
                .events
                .iter()
                .find(|e| (e.t_s - at).abs() < 4.0 && e.kg.is_some_and(|seen| (seen - kg).abs() < 0.05));
            found += usize::from(event.is_some());
            placed += usize::from(
                event.is_some_and(|e| (e.x_mm.unwrap_or(f64::NAN) - x).hypot(e.y_mm.unwrap_or(f64::NAN) - y) < 150.0),
            );
        }
    }
    assert!(found * 100 >= items * 99, "{found} of {items}");
    assert!(placed * 100 >= items * 99, "{placed} of {items} within 150 mm");
}

/// Said to leave by mistake, and put right while the patient lies still: weighed on, without waiting for the next move.
#[test]
fn a_word_that_the_patient_leaves_can_be_taken_back_at_rest() {
    let mut night = begun(500.0);
    night.actions.extend([(200.0, PatientOff, None), (215.0, PatientOn, None)]);
    let out = weigh(&night);
    assert!(out.rows.iter().filter(|r| (201.0..215.0).contains(&r.t_s)).all(|r| r.state == State::Empty));
    assert!(out.settled(240.0, 500.0).len() > 250, "{:?}", out.report.events);
    assert!(out.worst(100.0, 500.0) < 0.03);
    assert_eq!(out.kinds().iter().filter(|kind| **kind == EventKind::PatientOn).count(), 1);
}

/// A blanket was entered and never came. Told so while the patient moves, the weight that is held is the patient's, not a blanket more.
#[test]
fn what_was_only_entered_moves_no_account_as_it_is_answered() {
    let mut night = begun(900.0);
    night.actions.push((200.0, Add, Some(2.0)));
    night.deeds.push(Deed::Restless { from: 500.0, to: 560.0, kg: 1.5 });
    night.actions.extend([(510.0, PatientStep, Some(2.0)), (520.0, Hold, None), (600.0, Release, None)]);
    let out = weigh(&night);
    let held = out.rows.iter().find(|r| r.state == State::Held).unwrap().patient_kg.unwrap();
    assert!((held - out.truth(520.0)).abs() < 0.03, "{held} {}", out.truth(520.0));
    assert!(out.worst(700.0, 900.0) < 0.03 && out.settled(700.0, 900.0).len() > 150);
}

/// An infant lies there for minutes before anybody says so, and was taken for a thing on the bare deck. The word comes, nothing else does: it was the infant.
#[test]
fn an_infant_that_was_laid_down_before_the_word_is_weighed() {
    let mut night = Night { patient_kg: 4.1, ..begun(900.0) };
    night.actions = vec![(30.0, Tare, None), (300.0, PatientOn, None)];
    let out = weigh(&night);
    assert!(out.settled(60.0, 300.0).is_empty());
    assert!(out.settled(500.0, 900.0).len() > 380, "{:?}", out.report.events);
    assert!((out.rows.last().unwrap().patient_kg.unwrap() - 4.1).abs() < 0.03);
    assert!(out.report.items_kg.abs() < 0.03, "{}", out.report.items_kg);
}

/// The same as bedding of as much that nobody told of, and a patient who comes a minute after the word: the bedding is none of the patient.
#[test]
fn what_lay_on_the_bare_deck_stays_a_thing_where_the_patient_comes_after_the_word() {
    let mut night = begun(900.0);
    night.deeds = vec![
        Deed::Thing { at: 60.0, over: 2.0, kg: 4.1, x: 900.0, y: 440.0 },
        Deed::Patient { from: 360.0, over: 8.0, up: false },
        Deed::Restless { from: 360.0, to: 380.0, kg: 1.0 },
    ];
    night.actions = vec![(30.0, Tare, None), (300.0, PatientOn, None)];
    let out = weigh(&night);
    assert!(out.settled(400.0, 900.0).len() > 450, "{:?}", out.report.events);
    assert!((out.rows.last().unwrap().patient_kg.unwrap() - 74.0).abs() < 0.03);
}

/// A pillow is entered after the patient was weighed, and never comes: the weight does not go down by it unasked.
#[test]
fn what_is_entered_after_a_settled_weight_and_never_comes_is_asked_about() {
    let mut night = begun(500.0);
    night.actions.push((120.0, Add, Some(1.2)));
    let out = weigh(&night);
    assert!(out.settled(100.0, 290.0).len() > 170);
    assert!(out.false_settled().is_empty() && out.worst(100.0, 290.0) < 0.03);
    assert!(out.settled(310.0, 500.0).is_empty(), "{:?}", out.report.events);
    assert!((out.report.open_kg - 1.2).abs() < 1e-9, "{}", out.report.open_kg);
}

/// The patient leaves during care that nobody ended, and another one lies down: no weight of the first stands for the second.
#[test]
fn a_held_weight_goes_with_the_patient() {
    let mut night = begun(900.0);
    night.deeds.push(Deed::Patient { from: 300.0, over: 8.0, up: true });
    night.deeds.push(Deed::Patient { from: 500.0, over: 8.0, up: false });
    night.actions.extend([(200.0, Hold, None), (298.0, PatientOff, None), (505.0, PatientOn, None)]);
    let out = weigh(&night);
    assert!(out.rows.iter().filter(|r| r.t_s > 299.0).all(|r| r.state != State::Held));
    assert!(out.rows.iter().filter(|r| (330.0..495.0).contains(&r.t_s)).all(|r| r.state == State::Empty));
    assert!(out.settled(560.0, 900.0).len() > 300);
}

/// Two things come and nobody says so; half an hour later each question is answered by its name, at once, as its own answer says.
#[test]
fn each_of_several_open_questions_is_answered_by_its_name_however_old_it_is() {
    let mut night = begun(2200.0);
    night.deeds.push(Deed::Thing { at: 200.0, over: 2.0, kg: 0.6, x: 1500.0, y: 300.0 });
    night.deeds.push(Deed::Thing { at: 300.0, over: 2.0, kg: 0.9, x: 500.0, y: 440.0 });
    let open = weigh(&night).report.open;
    assert_eq!(open.len(), 2);
    let [older, newer] = [open[0].t_s, open[1].t_s];
    // A linen of 0.6 kg was laid there; 0.9 kg were a drink.
    for answers in [[(older, Add), (newer, PatientStep)], [(newer, PatientStep), (older, Add)]] {
        night.actions.truncate(2);
        night.asked.clear();
        for (i, (asked_s, kind)) in (0..).zip(answers) {
            let at = 2000.0 + 5.0 * f64::from(i);
            night.actions.push((at, kind, None));
            night.asked.push((at, asked_s));
        }
        let out = weigh(&night);
        assert!(out.report.open.is_empty() && out.report.open_kg.abs() < 1e-12, "{:?}", out.report.open);
        assert!((out.report.items_kg - 0.6).abs() < 0.03, "{:?}", out.report.items);
        let last = out.rows.last().unwrap();
        // 0.9 kg were the patient's own.
        assert!((last.patient_kg.unwrap() - out.truth(2199.0) - 0.9).abs() < 0.04, "{last:?}");
        assert!(out.settled(2012.0, 2200.0).len() > 180, "{:?}", out.report.events);
    }
}

/// Two nurses answer the same question: the second answer is told, and is nothing that waits for a load to come.
#[test]
fn an_answer_to_a_question_that_is_not_open_any_more_does_nothing() {
    let mut night = begun(900.0);
    night.deeds.push(Deed::Thing { at: 200.0, over: 2.0, kg: 0.6, x: 1500.0, y: 300.0 });
    let asked_s = weigh(&night).report.open[0].t_s;
    night.actions.extend([
        (400.0, Add, Some(0.6)),
        (405.0, Add, Some(0.6)),
        (410.0, Remove, None),
        (415.0, PatientStep, None),
    ]);
    night.asked.extend([400.0, 405.0, 410.0, 415.0].map(|at| (at, asked_s)));
    let out = weigh(&night);
    assert!(out.report.open.is_empty() && (out.report.items_kg - 0.6).abs() < 0.03, "{:?}", out.report);
    let told = out.report.events.iter().filter(|e| e.text.contains("not open any more")).count();
    assert_eq!(told, 3, "{:?}", out.report.events);
    assert!(out.settled(420.0, 900.0).len() > 460 && out.worst(100.0, 900.0) < 0.03);
}

/// A blanket is entered and never comes: the question about it has a true answer of each kind.
#[test]
fn what_was_entered_and_did_not_come_is_withdrawn_or_lies_there() {
    let mut night = begun(1500.0);
    night.actions.push((500.0, Add, Some(1.2)));
    night.notes.push((500.0, "blanket"));
    let unanswered = weigh(&night);
    let [question] = unanswered.report.open.as_slice() else { panic!("{:?}", unanswered.report.open) };
    assert!(question.entered && question.note == "blanket" && (question.kg - 1.2).abs() < 1e-9, "{question:?}");
    let question = question.clone();
    for (kind, is_there) in [(Withdraw, false), (PatientStep, false), (Add, true)] {
        night.actions.truncate(3);
        night.actions.push((1000.0, kind, None));
        night.asked = vec![(1000.0, question.t_s)];
        let out = weigh(&night);
        assert!(out.report.open.is_empty(), "{kind:?}: {:?}", out.report.open);
        let items: Vec<(&str, f64)> = out.report.items.iter().map(|item| (item.name.as_str(), item.kg)).collect();
        let on_bed_kg = if is_there { 1.2 } else { 0.0 };
        assert!((out.report.items_kg - on_bed_kg).abs() < 1e-9, "{kind:?}: {items:?}");
        assert_eq!(items.first().map(|(name, _)| *name), is_there.then_some("blanket"), "{kind:?}");
        // The load did not change: without it the weight goes on as it was, with it the patient is lighter by it.
        let last = out.rows.last().unwrap();
        assert_eq!(last.state, State::Settled, "{kind:?}: {:?}", out.report.events);
        assert!((last.patient_kg.unwrap() - out.truth(1499.0) + on_bed_kg).abs() < 0.03, "{kind:?}: {last:?}");
    }
}

/// A second tare is asked for, and the patient comes before the load rests: there is a tare still, the one before, and that is what is told.
#[test]
fn who_asked_for_a_tare_that_was_not_taken_is_told_what_the_weight_rests_on() {
    let told = |actions: Vec<(f64, formats::actions::ActionKind, Option<f64>)>| {
        let mut night = begun(300.0);
        night.actions = actions;
        let out = weigh(&night);
        let texts: Vec<String> = out.report.events.iter().map(|e| e.text.clone()).collect();
        (
            texts.iter().any(|t| t.contains("rests on the tare before it")),
            texts.iter().any(|t| t.contains("there is no tare")),
        )
    };
    // The load does not rest within the first second after the word.
    assert_eq!(told(vec![(30.0, Tare, None), (61.5, Tare, None), (62.0, PatientOn, None)]), (true, false));
    assert_eq!(told(vec![(61.5, Tare, None), (62.0, PatientOn, None)]), (false, true));
}

/// A slip of the point: more was entered than lies there beside any patient. It is asked about, and no weight is settled meanwhile.
#[test]
fn an_item_that_leaves_no_patient_is_asked_about() {
    let mut night = begun(400.0);
    night.actions = vec![(30.0, Tare, None), (40.0, Add, Some(90.0)), (62.0, PatientOn, None)];
    let out = weigh(&night);
    assert!(out.settled(0.0, 400.0).is_empty(), "{:?}", out.settled(0.0, 400.0).len());
    assert!(out.report.open.len() == 1 && out.report.events.iter().any(|e| e.text.contains("does not bear it")));
    // Taken back, the patient is weighed.
    let asked_s = out.report.open[0].t_s;
    night.actions.push((200.0, Withdraw, None));
    night.asked = vec![(200.0, asked_s)];
    let out = weigh(&night);
    assert!(out.settled(0.0, 200.0).is_empty() && out.settled(215.0, 400.0).len() > 150, "{:?}", out.report.events);
    assert!(out.worst(215.0, 400.0) < 0.05, "{}", out.worst(215.0, 400.0));
}
