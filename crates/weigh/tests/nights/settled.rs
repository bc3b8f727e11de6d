//! Settled weights: right, soon, and none where there can be none.

use super::*;

#[test]
fn a_quiet_patient_is_weighed_within_20_g_and_15_s() {
    let out = weigh(&begun(300.0));
    // Straight cells and 1.5 g of noise a cell: 20 g is far above noise and far below any mistake of a term.
    assert!(out.worst(0.0, 300.0) < 0.02, "{}", out.worst(0.0, 300.0));
    let first = out.settled(80.0, 300.0)[0].t_s;
    assert!(first <= 80.0 + 15.0, "settled first at {first}");
    assert!((out.report.tare_kg.unwrap() - 15.0).abs() < 0.01);
    assert_eq!(out.kinds(), [EventKind::PatientOn]);
}

#[test]
fn who_leaves_and_comes_back_is_weighed_on_whatever_lies_there_then() {
    let mut night = begun(900.0);
    night.deeds.extend([
        Deed::Patient { from: 200.0, over: 6.0, up: true },
        Deed::Thing { at: 300.0, over: 5.0, kg: -1.3, x: 900.0, y: 440.0 },
        Deed::Thing { at: 330.0, over: 5.0, kg: 1.7, x: 900.0, y: 440.0 },
        Deed::Patient { from: 500.0, over: 8.0, up: false },
    ]);
    for told in [true, false] {
        if told {
            night.actions.extend([(203.0, PatientOff, None), (505.0, PatientOn, None)]);
        } else {
            night.actions.truncate(2);
        }
        let out = weigh(&night);
        assert!(out.worst(70.0, 900.0) < 0.03, "{told}: {}", out.worst(70.0, 900.0));
        assert!(
            out.rows
                .iter()
                .filter(|r| (215.0..498.0).contains(&r.t_s))
                .all(|r| r.state == State::Empty && r.patient_kg.is_none())
        );
        // Who came and was not announced is not weighed.
        assert_eq!(out.settled(500.0, 900.0).is_empty(), !told);
        assert!(out.kinds().contains(&EventKind::PatientOff));
    }
}

#[test]
fn without_a_tare_nothing_is_settled() {
    let mut night = begun(300.0);
    night.actions.remove(0);
    let out = weigh(&night);
    assert_eq!(out.report.settled, 0);
    assert_eq!(out.report.tare_kg, None);
    assert!(out.rows.iter().all(|r| r.state != State::Settled && r.patient_kg.is_none()));
}

#[test]
fn a_tare_with_the_patient_on_is_refused() {
    let mut night = begun(400.0);
    night.actions.push((200.0, Tare, None));
    let out = weigh(&night);
    assert!((out.report.tare_kg.unwrap() - 15.0).abs() < 0.01);
    assert!(out.worst(100.0, 400.0) < 0.02);
}

/// The load does not rest: a tare that finds rest in time is taken, one that does not is told and forgotten, whoever lies there by then; so is one that was
/// taken back.
#[test]
fn a_tare_waits_two_minutes_for_rest_and_no_longer() {
    let weighed = |until_s: f64, more: Option<(f64, formats::actions::ActionKind, Option<f64>)>| {
        let deeds = vec![Deed::Restless { from: 20.0, to: until_s, kg: 1.0 }];
        let actions = std::iter::once((30.0, Tare, None)).chain(more).collect();
        weigh(&Night { end: 400.0, deeds, actions, ..Night::default() }).report
    };
    let in_time = weighed(130.0, None);
    assert!((in_time.tare_kg.unwrap() - 15.0).abs() < 0.01 && in_time.events.is_empty(), "{:?}", in_time.events);
    let late = weighed(170.0, None);
    assert_eq!(late.tare_kg, None);
    let [told] = late.events.as_slice() else { panic!("{:?}", late.events) };
    assert!(told.text.contains("did not rest within 120 s: not taken") && (told.t_s - 150.0).abs() < 1.0, "{told:?}");
    let taken_back = weighed(130.0, Some((60.0, Withdraw, None)));
    assert_eq!(taken_back.tare_kg, None);
    assert!(taken_back.events[0].text.contains("taken back before the load rested"), "{:?}", taken_back.events);
}

#[test]
fn fluid_is_followed_and_a_pour_is_asked_about() {
    // 1.5 kg/h gained, an infusion far above the usual.
    let night = Night { loss_kg_h: -1.5, ..begun(1200.0) };
    let out = weigh(&night);
    assert!(out.worst(100.0, 1200.0) < 0.03, "{}", out.worst(100.0, 1200.0));
    assert!(out.settled(100.0, 1200.0).len() > 1080);
    let mut night = begun(600.0);
    night.deeds.push(Deed::Thing { at: 200.0, over: 90.0, kg: 0.5, x: 900.0, y: 440.0 });
    let out = weigh(&night);
    assert!((out.report.open_kg - 0.5).abs() < 0.06, "{:?}", out.report);
    assert!(out.worst(100.0, 600.0) < 0.08, "{}", out.worst(100.0, 600.0));
}

/// A bolus of 3.6 L/h brings 40 g while hands are on the bed for 40 s: that it flows is known by then, and is the patient's.
#[test]
fn what_flows_while_a_hand_leans_is_not_asked_about() {
    for seed in 1..4 {
        let mut night = Night { seed, loss_kg_h: -3.6, patient_kg: 120.0, ..begun(900.0) };
        for at in [300.0, 380.0, 460.0, 540.0, 620.0, 700.0] {
            night.deeds.push(Deed::Push { from: at, to: at + 45.0, kg: 2.5, wobble_kg: 1.0, x: 700.0, y: 60.0 });
        }
        let out = weigh(&night);
        let asked: Vec<_> = out.report.events.iter().filter(|e| e.kind == EventKind::Step).collect();
        assert!(asked.is_empty(), "{seed}: {asked:?}");
        assert!(out.worst(100.0, 900.0) < 0.04, "{seed}: {}", out.worst(100.0, 900.0));
    }
}

#[test]
fn spikes_lost_samples_and_pauses_do_no_harm() {
    let mut night = begun(600.0);
    night.jitter = 0.6;
    for i in 0..40 {
        let at = 150.0 + 9.3 * f64::from(i);
        night.deeds.push(Deed::Spike { cell: (i % 12) as usize, at, counts: if i % 2 == 0 { 4e6 } else { -3e5 } });
        night.deeds.push(Deed::Lost { cell: ((i + 5) % 12) as usize, from: at + 3.0, to: at + 3.9 });
    }
    night.deeds.push(Deed::Gap { from: 300.0, to: 330.0 });
    let out = weigh(&night);
    assert!(out.worst(100.0, 600.0) < 0.03, "{}", out.worst(100.0, 600.0));
    assert!(out.report.faults.is_empty(), "{:?}", out.report.faults);
    assert!(out.settled(100.0, 600.0).len() > 430, "{}", out.settled(100.0, 600.0).len());
}

#[test]
fn too_much_is_overload() {
    let night = Night { patient_kg: 205.0, ..begun(300.0) };
    let out = weigh(&night);
    assert!(out.settled(0.0, 300.0).is_empty());
    assert_eq!(out.rows.last().unwrap().state, State::Overload);
}
