//! What stands in for a cell that fails, and what it may cost.

use super::*;

/// A plate of sheet bends: what comes down near its failed corner is hardly seen by the other three. Whoever moves 1.5 kg from the legs to there loses nothing, and is said to have lost nothing.
#[test]
fn a_move_onto_the_corner_of_a_failed_cell_is_no_question() {
    for seed in 1..5 {
        let mut night = Night { seed, bends: 0.25, ..begun(700.0) };
        night.deeds.extend([
            Deed::Lost { cell: 0, from: 150.0, to: 500.0 },
            Deed::Thing { at: 300.0, over: 3.0, kg: 1.5, x: 60.0, y: 70.0 },
            Deed::Thing { at: 300.0, over: 3.0, kg: -1.5, x: 1500.0, y: 440.0 },
        ]);
        let out = weigh(&night);
        assert!(out.report.open.is_empty() && !out.kinds().contains(&EventKind::Step), "{:?}", out.report.events);
        assert!(out.settled(320.0, 500.0).len() > 170, "{}", out.settled(320.0, 500.0).len());
        for row in out.settled(0.0, 700.0) {
            let error = (row.patient_kg.unwrap() - out.truth(row.t_s)).abs();
            assert!(error < 3.0 * row.u_kg.unwrap(), "{row:?}: {error}");
        }
        // All cells give again: it weighs as before.
        assert!(out.settled(520.0, 700.0).len() > 170 && out.worst(520.0, 700.0) < 0.03, "{}", out.worst(520.0, 700.0));
    }
}

/// Towels lie right above a cell that fails, and are taken away and entered as gone without their mass while it gives nothing: the other cells see next to none of it. When it gives again the
/// load says what they weighed.
#[test]
fn what_was_entered_and_only_the_failed_cell_bore_is_booked_when_it_gives_again() {
    let mut night = Night { bends: 1.0, ..begun(800.0) };
    night.deeds.extend([
        Deed::Thing { at: 100.0, over: 2.0, kg: 0.6, x: 60.0, y: 70.0 },
        Deed::Lost { cell: 0, from: 150.0, to: 500.0 },
        Deed::Thing { at: 300.0, over: 2.0, kg: -0.6, x: 60.0, y: 70.0 },
    ]);
    night.actions.extend([(104.0, Add, Some(0.6)), (303.0, Remove, None)]);
    night.notes = vec![(104.0, "towels"), (303.0, "towels")];
    let out = weigh(&night);
    assert!(out.report.open.is_empty() && out.settled(520.0, 800.0).len() > 270, "{:?}", out.report.events);
    assert!(out.worst(520.0, 800.0) < 0.03 && out.report.items_kg.abs() < 0.03, "{:?}", out.report.items);
    // Two such entries, or none, and nobody can tell: it is asked about.
    night.actions.pop();
    let out = weigh(&night);
    assert!((out.report.open_kg + 0.6).abs() < 0.03, "{:?}", out.report.open);
}

/// The same towels, entered as gone with their mass: asked about while the cell gives nothing, and answered by the load when it gives again, whether they left or lie there still.
#[test]
fn a_stated_mass_that_only_the_failed_cell_bore_is_no_question_once_it_gives_again() {
    for (left, items_kg) in [(true, 0.0), (false, 0.6)] {
        let mut night = Night { bends: 1.0, ..begun(900.0) };
        night.deeds.extend([
            Deed::Thing { at: 100.0, over: 2.0, kg: 0.6, x: 60.0, y: 70.0 },
            Deed::Lost { cell: 0, from: 150.0, to: 600.0 },
        ]);
        if left {
            night.deeds.push(Deed::Thing { at: 300.0, over: 2.0, kg: -0.6, x: 60.0, y: 70.0 });
        }
        night.actions.extend([(104.0, Add, Some(0.6)), (303.0, Remove, Some(0.6))]);
        night.notes = vec![(104.0, "towels"), (303.0, "towels")];
        let out = weigh(&night);
        let asked = out.report.events.iter().filter(|e| e.text.contains("was entered, and the load did not change"));
        assert_eq!(asked.count(), 1, "{:?}", out.report.events);
        assert!(out.report.open.is_empty() && out.settled(620.0, 900.0).len() > 270, "{:?}", out.report.events);
        assert!(out.worst(620.0, 900.0) < 0.03, "{left}: {}", out.worst(620.0, 900.0));
        assert!((out.report.items_kg - items_kg).abs() < 0.05, "{left}: {:?}", out.report.items);
    }
}

#[test]
fn on_three_cells_a_failed_one_is_held_as_it_was_until_the_load_moves() {
    let mut night = begun(900.0);
    night.deck = deck(&[("back", 900.0), ("rest", 1060.0)], 2, 3, 50.0);
    night.deeds.extend([
        Deed::Lost { cell: 3, from: 200.0, to: 260.0 },
        Deed::Stuck { cell: 7, from: 400.0, to: 460.0 },
        Deed::Lost { cell: 3, from: 600.0, to: 900.0 },
        Deed::Turn { at: 700.0, share: 0.7 },
        Deed::Restless { from: 700.0, to: 710.0, kg: 1.0 },
    ]);
    let out = weigh(&night);
    let names = &out.made.header.cells;
    let faults: Vec<_> = out.report.faults.iter().map(|f| (f.cell.clone(), f.kind)).collect();
    let lost = || (names[3].clone(), FaultKind::Lost);
    assert_eq!(faults, [lost(), (names[7].clone(), FaultKind::Stuck), lost()]);
    // Nothing moves: the weight goes on, and is right.
    assert!(out.worst(100.0, 700.0) < 0.05, "{}", out.worst(100.0, 700.0));
    assert!(out.settled(610.0, 700.0).len() > 60 && out.settled(280.0, 400.0).len() > 110);
    for row in out.settled(100.0, 900.0) {
        let error = (row.patient_kg.unwrap() - out.truth(row.t_s)).abs();
        assert!(error < 3.0 * row.u_kg.unwrap(), "{row:?}: {error}");
    }
    // After the turn the weight is either far more uncertain, or none.
    let after: Vec<_> = out.rows.iter().filter(|r| r.t_s > 730.0).collect();
    assert!(after.iter().all(|r| r.state == State::Fault || r.u_kg.unwrap() > 0.1), "{:?}", after.last());
}

#[test]
fn on_four_cells_the_others_stand_in_until_the_load_moves_too_far() {
    let mut night = begun(900.0);
    night.deeds.extend([
        Deed::Lost { cell: 1, from: 200.0, to: 900.0 },
        Deed::Turn { at: 500.0, share: 0.7 },
        Deed::Restless { from: 500.0, to: 510.0, kg: 1.0 },
    ]);
    let out = weigh(&night);
    assert_eq!(out.report.faults.len(), 1);
    let before = out.settled(220.0, 500.0);
    // The patient breathes and loses water; the shares stay, and so does the weight.
    assert!(before.len() > 270 && out.worst(220.0, 500.0) < 0.05, "{} {}", before.len(), out.worst(220.0, 500.0));
    for row in out.settled(220.0, 900.0) {
        let error = (row.patient_kg.unwrap() - out.truth(row.t_s)).abs();
        assert!(error < 3.0 * row.u_kg.unwrap(), "{row:?}: {error}");
    }
    // After the turn the weight is either far more uncertain, or none.
    let after: Vec<_> = out.rows.iter().filter(|r| r.t_s > 530.0).collect();
    assert!(after.iter().all(|r| r.state == State::Fault || r.u_kg.unwrap() > 0.1), "{:?}", after.last());
}

#[test]
fn a_cell_that_wanders_alone_is_named_before_it_costs_150_g() {
    let mut night = begun(1500.0);
    // 0.7 kg in twenty minutes, as slow as fluid runs.
    night.deeds.push(Deed::Drift { cell: 6, from: 200.0, to: 1400.0, kg_s: 6e-4 });
    let out = weigh(&night);
    let faults: Vec<_> = out.report.faults.iter().map(|f| (f.cell.clone(), f.kind)).collect();
    assert_eq!(faults, [(out.made.header.cells[6].clone(), FaultKind::Drifting)]);
    assert!(out.worst(100.0, 1500.0) < 0.15, "{}", out.worst(100.0, 1500.0));
    assert!(out.settled(500.0, 1500.0).len() > 900);
    // Fluid that runs away is spread over many cells and is no drift.
    let out = weigh(&Night { loss_kg_h: 1.2, ..begun(1500.0) });
    assert!(out.report.faults.is_empty());
}

/// Its zero wanders off by 0.2 kg and comes back at once, as of a plug that is pushed home; then the patient turns, which no stand-in sees to 30 g.
#[test]
fn a_cell_that_comes_back_from_a_drift_is_believed_again() {
    let mut night = begun(2900.0);
    night.deeds.push(Deed::Drift { cell: 1, from: 200.0, to: 600.0, kg_s: 5e-4 });
    night.deeds.push(Deed::Drift { cell: 1, from: 900.0, to: 900.001, kg_s: -200.0 });
    night.deeds.push(Deed::Turn { at: 2500.0, share: 1.0 });
    let out = weigh(&night);
    assert!(out.report.faults.iter().any(|f| f.kind == FaultKind::Drifting), "{:?}", out.report.faults);
    assert!(
        out.settled(2520.0, 2900.0).len() > 360,
        "{:?} {:?} {:?}",
        out.report.events,
        out.report.faults,
        out.rows.last()
    );
    assert!(out.worst(2520.0, 2900.0) < 0.05, "{}", out.worst(2520.0, 2900.0));
    assert!(out.rows.last().unwrap().u_kg.unwrap() < 0.04, "{:?}", out.rows.last());
}

/// A cell wanders by 1.8 kg/h while hands cut every plateau short: by 0.4 kg before a plateau lasts long enough to name it. When it gives again at its old zero, what it had wandered is
/// put right and told, and the weight is as uncertain as a quarter of it. What leaves meanwhile, so much that the cell cannot have wandered by it, is asked about.
#[test]
fn what_a_cell_wandered_before_it_was_named_is_put_right_when_it_gives_again() {
    for left_kg in [0.0, 8.0] {
        let mut night = Night { loss_kg_h: 0.0, ..begun(3600.0) };
        night.deeds.push(Deed::Drift { cell: 1, from: 200.0, to: 1300.0, kg_s: 5e-4 });
        night.deeds.push(Deed::Drift { cell: 1, from: 1500.0, to: 1500.001, kg_s: -550.0 });
        for i in 0..11 {
            let from = 250.0 + 80.0 * f64::from(i);
            night.deeds.push(Deed::Push { from, to: from + 10.0, kg: 3.0, wobble_kg: 2.0, x: 1500.0, y: 60.0 });
        }
        night.deeds.push(Deed::Turn { at: 1600.0, share: 1.0 });
        if left_kg > 0.0 {
            night.deeds.push(Deed::Thing { at: 1400.0, over: 2.0, kg: -left_kg, x: 60.0, y: 400.0 });
        }
        let out = weigh(&night);
        assert!(out.report.faults.iter().any(|f| f.kind == FaultKind::Drifting), "{:?}", out.report.faults);
        assert_eq!(out.report.open.is_empty(), left_kg <= 0.0, "{:?}", out.report.events);
        if left_kg <= 0.0 {
            let put_right = out.report.events.iter().find(|e| e.text.contains("before it was named"));
            assert!(put_right.is_some(), "{:?}", out.report.events);
            assert!(out.settled(3300.0, 3600.0).len() > 280 && out.worst(3300.0, 3600.0) < 0.05);
            let u_kg = out.rows.last().unwrap().u_kg.unwrap();
            assert!((0.05..0.2).contains(&u_kg), "{u_kg}");
        }
    }
}

/// The zero that it wandered to is taken with the tare.
#[test]
fn a_tare_takes_the_zero_of_a_cell_that_drifted() {
    let mut night = begun(1300.0);
    night.deeds.push(Deed::Drift { cell: 1, from: 200.0, to: 600.0, kg_s: 5e-4 });
    night.deeds.push(Deed::Patient { from: 700.0, over: 8.0, up: true });
    night.deeds.push(Deed::Patient { from: 900.0, over: 8.0, up: false });
    night.actions.extend([(702.0, PatientOff, None), (800.0, Tare, None), (902.0, PatientOn, None)]);
    let out = weigh(&night);
    assert!(out.report.faults.iter().any(|f| f.kind == FaultKind::Drifting), "{:?}", out.report.faults);
    assert!(out.settled(930.0, 1300.0).len() > 350);
    assert!(out.worst(930.0, 1300.0) < 0.03, "{}", out.worst(930.0, 1300.0));
    assert!(out.rows.last().unwrap().u_kg.unwrap() < 0.04, "{:?}", out.rows.last());
}

/// A plate that bends more than its stand-in allows for: a move onto the failed cell's corner seems to take something away, and is asked about. When the cell gives again nothing is
/// missing, and nothing is asked any longer.
#[test]
fn what_was_asked_about_for_a_stand_ins_error_is_dropped_when_the_cell_gives_again() {
    let mut night = Night { bends: 0.8, ..begun(800.0) };
    night.deeds.extend([
        Deed::Lost { cell: 0, from: 150.0, to: 500.0 },
        Deed::Thing { at: 300.0, over: 3.0, kg: 1.5, x: 60.0, y: 70.0 },
        Deed::Thing { at: 300.0, over: 3.0, kg: -1.5, x: 1500.0, y: 440.0 },
    ]);
    let out = weigh(&night);
    assert!(out.settled(310.0, 500.0).is_empty() && out.kinds().contains(&EventKind::Step), "{:?}", out.report.events);
    assert!(out.report.open.is_empty() && out.settled(520.0, 800.0).len() > 270, "{:?}", out.report.open);
    assert!(out.worst(520.0, 800.0) < 0.03, "{}", out.worst(520.0, 800.0));
    assert!(out.report.events.iter().any(|e| e.text.starts_with("All cells give again")), "{:?}", out.report.events);
}

/// In care 0.4 kg of linen come to lie right above a failed cell. When it gives again the load has grown by that: as likely the cell had wandered before it failed. It is put with what came
/// in care, and half of its square is in the uncertainty: 0.28 kg.
#[test]
fn what_a_failed_cell_bears_more_after_care_is_linen_and_stays_uncertain() {
    let mut night = Night { bends: 1.0, ..begun(800.0) };
    night.deeds.extend([
        Deed::Lost { cell: 0, from: 150.0, to: 500.0 },
        Deed::Thing { at: 300.0, over: 2.0, kg: 0.4, x: 60.0, y: 70.0 },
        Deed::Restless { from: 300.0, to: 320.0, kg: 1.0 },
    ]);
    night.actions.extend([(280.0, Hold, None), (340.0, Release, None)]);
    let out = weigh(&night);
    let after = out.settled(520.0, 800.0);
    assert!(after.len() > 270 && out.report.open.is_empty(), "{:?}", out.report.events);
    assert!((out.report.items_kg - 0.4).abs() < 0.03 && out.worst(520.0, 800.0) < 0.03, "{:?}", out.report.items);
    for row in after {
        let u_kg = row.u_kg.unwrap();
        assert!((0.27..0.31).contains(&u_kg), "{u_kg}");
    }
}

/// The patient turns while a cell gives nothing, and turns back. The cells that give bear what they bore, so what stands in is sure of itself again; what it left open in the accounts
/// is not: the deck stays at fault until the cell gives.
#[test]
fn what_a_stand_in_left_open_keeps_the_deck_at_fault() {
    let mut night = begun(900.0);
    night.deck = deck(&[("back", 760.0), ("seat", 400.0), ("legs", 800.0)], 1, 3, 50.0);
    night.deeds.push(Deed::Lost { cell: 1, from: 200.0, to: 600.0 });
    for (at, share) in [(300.0, 0.7), (400.0, -0.7)] {
        night.deeds.push(Deed::Turn { at, share });
        night.deeds.push(Deed::Restless { from: at, to: at + 10.0, kg: 1.0 });
    }
    let out = weigh(&night);
    assert!(out.settled(220.0, 300.0).len() > 70, "as it was while nothing moves");
    let back: Vec<&Weight> = out.rows.iter().filter(|r| (430.0..600.0).contains(&r.t_s)).collect();
    assert!(back.iter().all(|r| r.state == State::Fault), "{:?}", back.iter().find(|r| r.state != State::Fault));
    assert!(out.settled(620.0, 900.0).len() > 270 && out.worst(620.0, 900.0) < 0.03, "{:?}", out.report.events);
}

/// A pump comes onto the plate of a failed cell and is known to 0.2 kg there; then a book of less than three times that elsewhere, of which nobody tells. When the cell gives again the
/// accounts agree with the book and not without: it is still asked about, and not made the patient's.
#[test]
fn a_light_thing_that_came_while_a_cell_failed_is_not_explained_away() {
    let mut night = begun(1300.0);
    night.deeds.extend([
        Deed::Lost { cell: 0, from: 150.0, to: 600.0 },
        Deed::Thing { at: 250.0, over: 2.0, kg: 1.0, x: 400.0, y: 440.0 },
        Deed::Thing { at: 400.0, over: 2.0, kg: 0.4, x: 1500.0, y: 440.0 },
        Deed::Thing { at: 900.0, over: 2.0, kg: -0.4, x: 1500.0, y: 440.0 },
    ]);
    night.actions.push((252.0, Add, Some(1.0)));
    let out = weigh(&night);
    let open: Vec<_> = out.rows.iter().filter(|row| (620.0..900.0).contains(&row.t_s)).collect();
    assert!(open.len() > 270 && open.iter().all(|row| row.state != State::Settled), "{:?}", out.report.events);
    assert!(out.settled(917.0, 1300.0).len() > 370 && out.report.open.is_empty(), "{:?}", out.report.events);
    assert!(out.worst(917.0, 1300.0) < 0.1, "{}", out.worst(917.0, 1300.0));
}
