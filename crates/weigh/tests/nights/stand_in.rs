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
