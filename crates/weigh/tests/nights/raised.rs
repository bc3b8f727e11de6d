//! Raised sections, and beds that are moved.

use super::*;

#[test]
fn turns_on_a_raised_back_are_covered_and_leave_nothing_behind_when_it_is_down() {
    let mut night = begun(1600.0);
    night.slip = 0.02;
    night.deeds.push(Deed::Tilt { section: 0, at: 200.0, over: 20.0, deg: 40.0 });
    for (i, share) in [0.5, 0.1, 0.6, 0.2].into_iter().enumerate() {
        let at = 300.0 + 200.0 * i as f64;
        night.deeds.push(Deed::Turn { at, share });
        night.deeds.push(Deed::Restless { from: at, to: at + 8.0, kg: 1.0 });
    }
    night.deeds.push(Deed::Tilt { section: 0, at: 1200.0, over: 20.0, deg: 0.0 });
    let out = weigh(&night);
    let errors = |from, to| {
        let rows = out.settled(from, to);
        let in_u = |r: &&Weight| (r.patient_kg.unwrap() - out.truth(r.t_s)).abs() / r.u_kg.unwrap();
        rows.iter().map(in_u).fold(0.0, f64::max)
    };
    assert!(errors(100.0, 1600.0) < 2.5, "{}", errors(100.0, 1600.0));
    assert!(out.worst(1230.0, 1600.0) < 0.03, "{}", out.worst(1230.0, 1600.0));
    assert!(out.report.open.is_empty(), "{:?}", out.report.events);
}

#[test]
fn a_raised_back_does_not_change_the_patient_even_where_it_leans() {
    for slip in [0.0, 0.1, 0.2] {
        let mut night = begun(900.0);
        night.slip = slip;
        night.deeds.push(Deed::Tilt { section: 0, at: 200.0, over: 20.0, deg: 30.0 });
        night.deeds.push(Deed::Tilt { section: 0, at: 600.0, over: 20.0, deg: 0.0 });
        let out = weigh(&night);
        assert!(out.worst(70.0, 900.0) < 0.03, "{slip}: {}", out.worst(70.0, 900.0));
        assert!(out.settled(240.0, 600.0).len() > 340, "{slip}");
        assert!(out.settled(203.0, 218.0).is_empty() && out.settled(603.0, 618.0).is_empty());
        assert!(out.settled(640.0, 900.0).len() > 240, "{slip}: {:?}", out.report.events);
    }
}

/// Floor and acceleration swing all sections together and back; a section that is raised, or the whole bed that stays tilted, is no move.
#[test]
fn a_bed_that_is_moved_is_told_with_what_it_did_to_the_load_and_a_tilted_one_is_not() {
    let moved = |out: &Weighed| {
        let is = |e: &&bedplate_weigh::Event| e.kind == EventKind::BedMoved;
        out.report.events.iter().filter(is).cloned().collect::<Vec<_>>()
    };
    for (gained_kg, said) in [(0.0, "The load is as before."), (0.6, "The load changed by +0.6")] {
        let mut night = begun(700.0);
        for section in 0..3 {
            for (at, deg) in [(300.0, 1.6), (310.0, -1.1), (325.0, 0.2)] {
                night.deeds.push(Deed::Tilt { section, at, over: 3.0, deg });
            }
        }
        night.deeds.push(Deed::Restless { from: 300.0, to: 329.0, kg: 1.0 });
        night.deeds.push(Deed::Push { from: 300.0, to: 329.0, kg: 3.0, wobble_kg: 1.0, x: 30.0, y: 400.0 });
        night.deeds.push(Deed::Thing { at: 315.0, over: 1.0, kg: gained_kg, x: 900.0, y: 400.0 });
        let out = weigh(&night);
        let [event] = moved(&out).try_into().unwrap_or_else(|events| panic!("{events:?}"));
        assert!((296.0..302.0).contains(&event.t_s) && event.x_mm.is_none() && event.text.contains(said), "{event:?}");
        assert!((event.kg.unwrap() - gained_kg).abs() < 3.0 * event.u_kg.unwrap(), "{event:?}");
        assert!(event.u_kg.unwrap() < 0.05, "{event:?}");
        assert!(
            !out.kinds().contains(&EventKind::Contact),
            "who pushes the bed is no contact: {:?}",
            out.report.events
        );
        assert!(out.false_settled().is_empty());
        assert_eq!(out.settled(345.0, 700.0).is_empty(), gained_kg > 0.0, "what came is asked about");
        assert!(gained_kg > 0.0 || out.worst(100.0, 700.0) < 0.03, "{}", out.worst(100.0, 700.0));
    }
    let mut night = begun(900.0);
    for (at, deg) in [(300.0, -8.0), (500.0, 0.0)] {
        (0..3).for_each(|section| night.deeds.push(Deed::Tilt { section, at, over: 20.0, deg }));
    }
    night.deeds.push(Deed::Tilt { section: 0, at: 700.0, over: 10.0, deg: 30.0 });
    let out = weigh(&night);
    assert!(moved(&out).is_empty(), "{:?}", out.report.events);
}

#[test]
fn a_patient_who_comes_onto_a_raised_back_is_weighed_with_the_lean_in_the_uncertainty() {
    let mut night = begun(700.0);
    night.slip = 0.15;
    night.deeds.push(Deed::Tilt { section: 0, at: 40.0, over: 10.0, deg: 35.0 });
    night.deeds.push(Deed::Tilt { section: 0, at: 400.0, over: 20.0, deg: 0.0 });
    let out = weigh(&night);
    let raised = out.settled(150.0, 390.0);
    let error =
        raised.iter().map(|r| (r.patient_kg.unwrap() - out.truth(r.t_s)).abs() / r.u_kg.unwrap()).fold(0.0, f64::max);
    assert!(!raised.is_empty() && error < 2.0, "within 2 u: {error}");
    assert!(raised[0].u_kg.unwrap() > 0.5);
    // Flat, it is known better.
    let flat = out.settled(450.0, 700.0);
    assert!(flat[0].u_kg.unwrap() < 0.1 && out.worst(450.0, 700.0) < 0.03, "{:?}", out.report.events);
}

/// While the back is up something seems to go, and to come back as the back goes down: cloth that hangs on the frame.
#[test]
fn what_seemed_to_go_on_a_raised_back_is_no_question_once_it_is_down() {
    let mut night = begun(1500.0);
    night.deeds.push(Deed::Tilt { section: 0, at: 200.0, over: 20.0, deg: 40.0 });
    night.deeds.push(Deed::Thing { at: 500.0, over: 2.0, kg: -0.6, x: 1200.0, y: 440.0 });
    night.deeds.push(Deed::Tilt { section: 0, at: 1000.0, over: 20.0, deg: 0.0 });
    night.deeds.push(Deed::Thing { at: 1005.0, over: 2.0, kg: 0.6, x: 1200.0, y: 440.0 });
    let out = weigh(&night);
    assert!(out.settled(506.0, 1000.0).is_empty(), "it is asked about");
    assert!(out.settled(1040.0, 1500.0).len() > 440, "{:?}", out.report.events);
    assert!(out.worst(1040.0, 1500.0) < 0.05, "{}", out.worst(1040.0, 1500.0));
}

/// Nights with a back that is raised to 45° and a patient who turns on it, each with an angle sensor that is off by a tenth of a degree and less. How far the
/// weight moves from what it was with the back down is the true spread of what the raised back leaves open.
#[test]
fn what_a_raised_back_leaves_open_is_stated_as_it_is() {
    let (mut spread_2, mut stated_2, mut n) = (0.0, 0.0, 0.0);
    for (i, tilt_error_deg) in (0_u32..).zip([-0.1, -0.07, -0.04, 0.0, 0.04, 0.07, 0.1, -0.1, 0.1, 0.05]) {
        let mut night =
            Night { seed: 40 + u64::from(i), slip: 0.02 * f64::from(i % 3), tilt_error_deg, ..begun(800.0) };
        night.deeds.push(Deed::Tilt { section: 0, at: 200.0, over: 20.0, deg: 45.0 });
        for (at, share) in [(400.0, 0.4), (550.0, 0.3)] {
            night.deeds.push(Deed::Turn { at, share });
            night.deeds.push(Deed::Restless { from: at, to: at + 8.0, kg: 1.0 });
        }
        let out = weigh(&night);
        let error = |row: &Weight| row.patient_kg.unwrap() - out.truth(row.t_s);
        let flat = out.settled(150.0, 199.0);
        let raised = out.settled(700.0, 800.0);
        let moved_kg = error(raised.last().unwrap()) - error(flat.last().unwrap());
        spread_2 += moved_kg * moved_kg;
        stated_2 += out.report.u_parts_kg.unwrap().lean.powi(2);
        n += 1.0;
    }
    let [spread_kg, stated_kg] = [spread_2, stated_2].map(|sum: f64| (sum / n).sqrt());
    let times = stated_kg / spread_kg;
    assert!((0.7..2.0).contains(&times), "{stated_kg} for {spread_kg}");
}
