//! Care between hold and release.

use super::*;

#[test]
fn care_goes_to_the_items_also_when_a_hand_stays_on_after_release() {
    for (hand_from, hand_to) in [(210.0, 240.0), (210.0, 300.0)] {
        let mut night = begun(700.0);
        night.deeds.push(Deed::Restless { from: 205.0, to: 245.0, kg: 1.5 });
        night.deeds.push(Deed::Push { from: hand_from, to: hand_to, kg: 7.0, wobble_kg: 0.0, x: 900.0, y: 800.0 });
        night.deeds.push(Deed::Thing { at: 215.0, over: 2.0, kg: -0.42, x: 900.0, y: 440.0 });
        night.deeds.push(Deed::Thing { at: 230.0, over: 2.0, kg: 0.15, x: 900.0, y: 440.0 });
        night.actions.extend([(200.0, Hold, None), (260.0, Release, None)]);
        let out = weigh(&night);
        assert!(out.false_settled().is_empty() || hand_to > 260.0);
        // A hand that is still when the release is entered cannot be told from linen until it lets go; the weight stands meanwhile.
        assert!(out.worst(100.0, 700.0) < 0.04, "{}", out.worst(100.0, 700.0));
        assert!(out.settled(320.0, 700.0).len() > 360);
        assert!((out.report.items_kg + 0.27).abs() < 0.03, "{}", out.report.items_kg);
        assert!(out.rows.iter().filter(|r| (201.0..260.0).contains(&r.t_s)).all(|r| r.state == State::Held));
        let held = out.rows.iter().find(|r| r.state == State::Held).unwrap().patient_kg.unwrap();
        assert!((held - out.truth(200.0)).abs() < 0.02);
    }
}

#[test]
fn what_is_stated_in_care_is_told_apart_from_the_rest() {
    let mut night = begun(600.0);
    night.deeds.push(Deed::Restless { from: 205.0, to: 245.0, kg: 1.5 });
    night.deeds.push(Deed::Thing { at: 215.0, over: 2.0, kg: 0.9, x: 900.0, y: 440.0 });
    night.deeds.push(Deed::Thing { at: 230.0, over: 2.0, kg: -0.27, x: 900.0, y: 440.0 });
    night.actions.extend([(200.0, Hold, None), (216.0, Add, Some(0.9)), (260.0, Release, None)]);
    let out = weigh(&night);
    assert!(out.worst(100.0, 600.0) < 0.04, "{}", out.worst(100.0, 600.0));
    assert!((out.report.items_kg - 0.63).abs() < 0.03, "{}", out.report.items_kg);
    let sizes: Vec<f64> = out.report.events.iter().filter_map(|e| e.kg).skip(1).collect();
    assert!(sizes.len() == 2 && (sizes[0] - 0.9).abs() < 1e-9 && (sizes[1] + 0.27).abs() < 0.03, "{sizes:?}");
}

/// A dialysis that takes 1.2 L/h, a bolus of 1.5 L/h: a quarter of an hour of care moves as much as linen weighs, and at a pace that was seen before.
#[test]
fn what_flows_in_a_long_care_stays_the_patients_and_linen_does_not() {
    for (loss_kg_h, linen_kg) in [(1.2, 0.0), (-1.5, 0.0), (1.2, -0.4)] {
        let mut night = Night { loss_kg_h, ..begun(2400.0) };
        night.deeds.push(Deed::Restless { from: 705.0, to: 1500.0, kg: 1.5 });
        if linen_kg != 0.0 {
            night.deeds.push(Deed::Thing { at: 1100.0, over: 2.0, kg: linen_kg, x: 900.0, y: 440.0 });
        }
        night.actions.extend([(700.0, Hold, None), (1510.0, Release, None)]);
        let out = weigh(&night);
        assert!(out.worst(100.0, 2400.0) < 0.04, "{loss_kg_h} {linen_kg}: {}", out.worst(100.0, 2400.0));
        assert!((out.report.items_kg - linen_kg).abs() < 0.03, "{loss_kg_h} {linen_kg}: {}", out.report.items_kg);
    }
}

/// Something jams the gap of a plate; in care half of that load comes back and 0.25 kg of linen go, after care the other half comes back.
#[test]
fn a_jam_that_care_moves_leaves_no_question_and_no_kilograms_behind() {
    let mut night = begun(900.0);
    let place = |at, kg| Deed::Thing { at, over: 1.0, kg, x: 300.0, y: 440.0 };
    night.deeds.extend([place(200.0, -9.0), place(290.0, 4.75), place(450.0, 4.0)]);
    night.deeds.push(Deed::Restless { from: 250.0, to: 320.0, kg: 1.0 });
    night.actions.extend([(248.0, Hold, None), (322.0, Release, None)]);
    let out = weigh(&night);
    assert!(out.kinds().contains(&EventKind::Shunt), "{:?}", out.report.events);
    assert!(out.settled(201.0, 450.0).len() < 5, "load passes the cells by");
    assert!(out.settled(470.0, 900.0).len() > 420, "{:?}", out.report.events);
    assert!(out.worst(470.0, 900.0) < 0.06, "{}", out.worst(470.0, 900.0));
    assert!((out.report.items_kg + 0.25).abs() < 0.06 && out.report.open_kg.abs() < 1e-12, "{}", out.report.items_kg);
}

/// The nurse releases, turns round and holds again before the load has rested: one care, in which nothing is settled and nothing asked about.
#[test]
fn care_that_goes_on_before_the_load_rests_is_one_care() {
    let mut night = begun(700.0);
    night.deeds.push(Deed::Restless { from: 205.0, to: 232.0, kg: 1.5 });
    // Rest within the second care, a pad on it, and hands again.
    night.deeds.push(Deed::Thing { at: 260.0, over: 2.0, kg: 0.4, x: 900.0, y: 440.0 });
    night.deeds.push(Deed::Restless { from: 285.0, to: 305.0, kg: 1.5 });
    night.actions.extend([(200.0, Hold, None), (225.0, Release, None), (229.0, Hold, None), (315.0, Release, None)]);
    let out = weigh(&night);
    assert!(out.rows.iter().filter(|r| (230.0..315.0).contains(&r.t_s)).all(|r| r.state == State::Held));
    assert!(out.report.open_kg.abs() < 1e-12, "{:?}", out.report.events);
    assert!((out.report.items_kg - 0.4).abs() < 0.03, "{}", out.report.items_kg);
    assert!(out.worst(100.0, 700.0) < 0.04 && out.settled(330.0, 700.0).len() > 350);
}

/// The patient is lifted out of bed in care, and a lifting sheet of 1.2 kg that nobody tells of stays there: the deck is bare then, and the sheet is none of the patient who
/// comes back.
#[test]
fn what_lies_on_a_deck_that_care_leaves_bare_is_not_the_patient() {
    let mut night = begun(1200.0);
    night.deeds.extend([
        Deed::Thing { at: 220.0, over: 2.0, kg: 1.2, x: 900.0, y: 440.0 },
        Deed::Patient { from: 260.0, over: 8.0, up: true },
        Deed::Patient { from: 700.0, over: 8.0, up: false },
        Deed::Restless { from: 205.0, to: 275.0, kg: 1.0 },
    ]);
    night.actions.extend([(200.0, Hold, None), (300.0, Release, None), (702.0, PatientOn, None)]);
    let out = weigh(&night);
    let bare = out.rows.iter().filter(|row| (320.0..700.0).contains(&row.t_s));
    assert!(bare.clone().count() > 370 && bare.clone().all(|row| row.state == State::Empty), "{:?}", out.report.events);
    assert!((out.report.items_kg - 1.2).abs() < 0.03, "{:?}", out.report.items);
    assert!(out.settled(730.0, 1200.0).len() > 450, "{:?}", out.report.events);
    assert!(out.worst(730.0, 1200.0) < 0.03, "{}", out.worst(730.0, 1200.0));
}
