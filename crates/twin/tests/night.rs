//! Nights: statics, determinism, truth that fits the recording.

use bedplate_twin::cell::CellSpread;
use bedplate_twin::night::TrueKind;
use bedplate_twin::scenario::{Angle, Bed, Cells, Fault, Fluid, Planned, Room, Ward};
use bedplate_twin::{BuiltDeck, Night, Scenario, demo};
use formats::deck::Deck;
use formats::recording::{Sample, Writer};

fn deck() -> Deck {
    formats::deck::read("deck.toml", demo::DECK_TOML).unwrap()
}

/// A bed on which nothing happens but what a test says, with ideal cells.
fn quiet(hours: f64) -> Scenario {
    let ward = Ward {
        turn_every_h: 0.0,
        contacts_per_h: 0.0,
        wash_at_clock_h: Vec::new(),
        pads_every_h: 0.0,
        items_per_day: 0.0,
        sitters_per_day: 0.0,
        ..Ward::default()
    };
    let mut scenario = Scenario {
        hours,
        rate_hz: 1.0,
        ward,
        cells: Cells { sheet: 0.0, wander_g_sqrt_h: 0.0, hum_nv: 0.0 },
        fluid: Fluid { story: None, ..Fluid::default() },
        bed: Bed { slip: 0.0, angle_error_deg: 0.0, ..Bed::default() },
        room: Room { floor_mm_s2: 0.0, ..Room::default() },
        ..Scenario::default()
    };
    scenario.patient.restless_per_h = 0.0;
    scenario.patient.coughs_per_h = 0.0;
    scenario.patient.breaths_min = 0.0;
    scenario.patient.pulse_min = 0.0;
    scenario
}

fn build(deck: &Deck, scenario: &Scenario, seed: u64) -> BuiltDeck {
    BuiltDeck::build(deck, &scenario.cell_spread(), seed).unwrap()
}

/// Normal force on each section, N, as ideal cells show it.
fn section_newton(deck: &Deck, built: &BuiltDeck, sample: &Sample) -> Vec<f64> {
    let mut newton = vec![0.0; deck.sections.len()];
    for ((plate, _), (cell, counts)) in deck.cells().zip(built.cells.iter().zip(&sample.counts)) {
        let section = deck.sections.iter().position(|s| s.name == deck.plates[plate].section).unwrap();
        newton[section] += (counts.unwrap() - cell.zero_counts) / cell.counts_per_newton;
    }
    newton
}

/// Runs to a time and gives the mean of the next minute.
fn mean_at(deck: &Deck, built: &BuiltDeck, scenario: &Scenario, t_s: f64) -> (Vec<f64>, f64) {
    let mut night = Night::new(deck, built, scenario, 1).unwrap();
    let mut sample = Sample::default();
    let mut sums = vec![0.0; deck.sections.len()];
    let (mut n, mut kg) = (0, 0.0);
    while night.next_sample(&mut sample).unwrap() && sample.t_s < t_s + 60.0 {
        if sample.t_s >= t_s {
            n += 1;
            let now = night.now();
            kg += now.patient_kg * now.aboard + now.pad_kg + now.items_kg + now.tare_kg;
            for (sum, newton) in sums.iter_mut().zip(section_newton(deck, built, &sample)) {
                *sum += newton;
            }
        }
    }
    (sums.iter().map(|s| s / f64::from(n)).collect(), kg / f64::from(n))
}

/// A minute's mean of 18 cells of 0.4 counts' worth of noise a sample is right to far below this.
const MEAN_NEWTON: f64 = 0.01;

/// A cable over the back's plate: what the cells lack is what the truth says that it takes, and after the back was up and down again friction has left its
/// whole force behind (by hand: drawn by 60 mm · sin 30° at 5 N/mm, far past the 4 N that it holds).
#[test]
fn a_cable_takes_part_of_the_load_and_friction_leaves_some_behind_when_the_back_moves() {
    let deck = deck();
    let plate = deck.plates.iter().find(|p| p.section == deck.sections[0].name).unwrap();
    let mut scenario = quiet(1.0);
    let back = |at_h: f64, deg: f64| Angle { at_h, section: Some(deck.sections[0].name.clone()), deg, over_s: 20.0 };
    scenario.bed.angle = vec![back(0.3, 30.0), back(0.6, 0.0)];
    scenario.fault.push(Fault::Cable {
        plate: plate.name.clone(),
        from_h: 0.15,
        to_h: Some(0.9),
        at_mm: plate.size_mm.map(|mm| 0.5 * mm),
        stiffness_newton_mm: 5.0,
        friction_newton: 4.0,
        reach_mm: 60.0,
    });
    let built = build(&deck, &scenario, 1);
    let mut night = Night::new(&deck, &built, &scenario, 1).unwrap();
    let (mut sample, mut means) = (Sample::default(), vec![[0.0; 3]; 4]);
    while night.next_sample(&mut sample).unwrap() {
        let now = night.now();
        let kg = now.patient_kg * now.aboard + now.pad_kg + now.items_kg + now.tare_kg;
        let lacks = kg * built.gravity_m_s2 - section_newton(&deck, &built, &sample).iter().sum::<f64>();
        // Flat and before it is laid, laid, after up and down, taken away.
        let stretches = [(400.0, 500.0), (700.0, 1000.0), (2500.0, 3200.0), (3300.0, 3590.0)];
        for (mean, (from, to)) in means.iter_mut().zip(stretches) {
            if (from..to).contains(&sample.t_s) {
                *mean = [mean[0] + lacks, mean[1] + 9.806_65 * now.shunted_kg, mean[2] + 1.0];
            }
        }
    }
    let [before, laid, after, gone] = [0, 1, 2, 3].map(|i: usize| means[i].map(|sum| sum / means[i][2]));
    for [lacks, takes, _] in [before, laid, after, gone] {
        assert!((lacks - takes).abs() < MEAN_NEWTON, "cells lack {lacks} N, the cable takes {takes} N");
    }
    assert!(laid[1].abs() < 0.2 && (after[1] + 4.0).abs() < 0.5, "{laid:?} {after:?}");
    assert!(before[1].abs() < 1e-12 && gone[1].abs() < 1e-12);
    let [shunt] = &night.truth().shunts[..] else { panic!("{:?}", night.truth().shunts) };
    assert!(shunt.plate == plate.name && (shunt.largest_kg - 4.0 / 9.8).abs() < 0.1, "{shunt:?}");
}

/// Statics: after the move the floor slopes by 0.4°, and ΣN = W cos 0.4°; on the way all angles swing together, and all plates feel it.
#[test]
fn a_bed_that_is_rolled_shakes_everything_and_weighs_the_same_after_it() {
    let deck = deck();
    let mut scenario = quiet(0.5);
    scenario.rate_hz = 10.0;
    scenario.happening.push(Planned::BedMoved { at_h: 0.25, for_s: 60.0, slope_deg: 0.4 });
    let built = build(&deck, &scenario, 1);
    let mut night = Night::new(&deck, &built, &scenario, 1).unwrap();
    let truth = night.truth().clone();
    let [event] = truth.events.iter().filter(|e| e.kind == TrueKind::BedMoved).collect::<Vec<_>>()[..] else {
        panic!()
    };
    assert!((event.t_s - 900.0).abs() < 1e-9 && (event.until_s - 960.0).abs() < 1e-9 && !event.told);
    assert!(truth.disturbed.iter().any(|d| d.why == TrueKind::BedMoved && d.to_s >= 960.0));
    let (mut sample, mut sums) = (Sample::default(), [(0.0, 0.0); 3]);
    let (mut widest, mut spread) = (0.0_f64, 0.0_f64);
    while night.next_sample(&mut sample).unwrap() {
        let now = night.now();
        let kg = now.patient_kg * now.aboard + now.pad_kg + now.items_kg + now.tare_kg;
        let newton: f64 = section_newton(&deck, &built, &sample).iter().sum();
        let of = |t: f64| {
            if t < 900.0 {
                0
            } else if t < 960.0 {
                1
            } else {
                2
            }
        };
        if sample.t_s > 400.0 {
            let (sum, n) = &mut sums[of(sample.t_s)];
            (*sum, *n) = (*sum + newton / kg, *n + 1.0);
        }
        if (900.0..960.0).contains(&sample.t_s) {
            let (low, high) = sample.tilt_deg.iter().fold((f64::MAX, f64::MIN), |(l, h), d| (l.min(*d), h.max(*d)));
            widest = widest.max(low.abs());
            spread = spread.max(high - low);
        }
    }
    let [before, during, after] = sums.map(|(sum, n)| sum / n);
    assert!(widest > 1.5 && spread < 0.2, "all angles swing together: {widest}° apart by {spread}°");
    assert!((after / before - 0.4_f64.to_radians().cos()).abs() < 2e-5, "{}", after / before);
    assert!((during / before - 1.0).abs() < 0.01);
    // A night without the move is the same to the bit until it begins.
    let mut still = scenario.clone();
    still.happening.clear();
    let (mut a, mut b) =
        (Night::new(&deck, &built, &scenario, 1).unwrap(), Night::new(&deck, &built, &still, 1).unwrap());
    let mut other = Sample::default();
    while a.next_sample(&mut sample).unwrap() && b.next_sample(&mut other).unwrap() && sample.t_s < 900.0 {
        assert_eq!(sample, other);
    }
}

#[test]
fn reactions_of_a_flat_bed_carry_the_whole_weight() {
    let (deck, scenario) = (deck(), quiet(0.3));
    let built = build(&deck, &scenario, 1);
    let (newton, kg) = mean_at(&deck, &built, &scenario, 600.0);
    assert!((newton.iter().sum::<f64>() - kg * built.gravity_m_s2).abs() < MEAN_NEWTON, "{newton:?} {kg}");
}

/// Vertical reactions: each section feels W cosθ of what lies on it (statics of the inclined plane).
#[test]
fn a_raised_back_feels_the_cosine_of_its_load() {
    let deck = deck();
    let mut scenario = quiet(0.5);
    scenario.bed.angle = vec![Angle { at_h: 0.3, section: Some("back".into()), deg: 30.0, over_s: 10.0 }];
    let built = build(&deck, &scenario, 1);
    let (flat, flat_kg) = mean_at(&deck, &built, &scenario, 900.0);
    let (tilted, kg) = mean_at(&deck, &built, &scenario, 1500.0);
    // What evaporated in ten minutes is spread like the body.
    let scale = kg / flat_kg;
    assert!((tilted[0] - scale * flat[0] * 30f64.to_radians().cos()).abs() < 0.05, "{flat:?} {tilted:?}");
    assert!((tilted[1] - scale * flat[1]).abs() < 0.05);
}

/// By hand, statics of the inclined plane: with 60 N of 200 N of a trunk's along-slope force (400 N at 30°) taken by the seat,
/// the seat gains V = 30 N and Σ N/cosθ is 30 N too high over a flat seat.
#[test]
fn a_sliding_trunk_presses_the_seat_as_the_worked_example_has_it() {
    let deck = deck();
    let tilt = |slip: f64| {
        let mut scenario = quiet(0.5);
        scenario.bed.slip = slip;
        scenario.bed.angle = vec![Angle { at_h: 0.3, section: Some("back".into()), deg: 30.0, over_s: 10.0 }];
        let built = build(&deck, &scenario, 1);
        mean_at(&deck, &built, &scenario, 1500.0)
    };
    let (held, kg) = tilt(0.0);
    let (slid, _) = tilt(0.3);
    // The trunk is what the back carries less the mattress and linen there (790 of 2000 mm of 13.6 kg).
    let trunk = held[0] / 30f64.to_radians().cos() - 13.6 * 790.0 / 2000.0 * 9.807;
    let expected = 0.3 * trunk * 30f64.to_radians().sin().powi(2);
    assert!((slid[1] - held[1] - expected).abs() < 0.01 * expected, "{held:?} {slid:?} {expected} {kg}");
    assert!((slid[0] - held[0]).abs() < 0.05);
    // The example's own numbers through the same formula: 0.3 · 400 · sin²30° = 30 N.
    assert!((0.3 * 400.0 * 30f64.to_radians().sin().powi(2) - 30.0_f64).abs() < 1e-9);
}

#[test]
fn a_thing_adds_its_mass_and_its_moment_and_goes_again() {
    let deck = deck();
    let mut scenario = quiet(0.6);
    scenario.happening = vec![Planned::Add {
        at_h: 0.2,
        name: "bag of sand".into(),
        kg: 2.0,
        at_mm: [1000.0, 300.0],
        size_mm: [200.0, 200.0],
        until_h: Some(0.4),
        told: true,
    }];
    let built = build(&deck, &scenario, 1);
    let (before, kg0) = mean_at(&deck, &built, &scenario, 600.0);
    let (with, kg1) = mean_at(&deck, &built, &scenario, 1000.0);
    let (after, kg2) = mean_at(&deck, &built, &scenario, 1800.0);
    assert!((kg1 - kg0 - 2.0).abs() < 0.02 && (kg2 - kg0).abs() < 0.05);
    // All of it on the seat, which spans 790 to 1240 mm.
    assert!((with[1] - before[1] - 2.0 * built.gravity_m_s2).abs() < 0.2, "{before:?} {with:?}");
    assert!((after[1] - before[1]).abs() < 0.3);
}

fn bytes(seed: u64) -> Vec<u8> {
    let (deck, scenario) = (deck(), Scenario { hours: 1.0, rate_hz: 2.0, ..Scenario::default() });
    let built = build(&deck, &scenario, seed);
    let mut night = Night::new(&deck, &built, &scenario, seed).unwrap();
    let mut writer = Writer::new(Vec::new(), night.header()).unwrap();
    let mut sample = Sample::default();
    while night.next_sample(&mut sample).unwrap() {
        writer.write(&sample).unwrap();
    }
    let mut all = writer.finish().unwrap();
    all.extend(formats::actions::write(night.actions()).into_bytes());
    all.extend(formats::chart::write(night.chart()).into_bytes());
    all.extend(serde_json::to_vec(night.truth()).unwrap());
    all
}

#[test]
fn one_number_gives_one_night_to_the_byte_and_another_number_another() {
    let first = bytes(5);
    assert!(first == bytes(5), "two nights of one number differ");
    assert!(first != bytes(6));
}

#[test]
fn files_are_read_back_by_the_public_readers() {
    let (deck, scenario) = (deck(), Scenario { hours: 24.0, rate_hz: 0.05, ..Scenario::default() });
    let built = build(&deck, &scenario, 3);
    let mut night = Night::new(&deck, &built, &scenario, 3).unwrap();
    let mut writer = Writer::new(Vec::new(), night.header()).unwrap();
    let mut sample = Sample::default();
    let mut written = Vec::new();
    while night.next_sample(&mut sample).unwrap() {
        writer.write(&sample).unwrap();
        written.push(sample.clone());
    }
    let text = writer.finish().unwrap();
    let mut reader = formats::recording::Reader::new("recording.csv", text.as_slice(), &deck).unwrap();
    for expected in &written {
        assert!(reader.next_sample(&mut sample).unwrap());
        assert_eq!(&sample, expected);
    }
    assert!(!reader.next_sample(&mut sample).unwrap());
    let actions = formats::actions::write(night.actions());
    assert_eq!(formats::actions::read("actions.csv", &actions).unwrap(), night.actions());
    let chart = formats::chart::write(night.chart());
    assert_eq!(formats::chart::read("chart.csv", &chart).unwrap().len(), night.chart().len());
    let patient = formats::patient::write(night.patient_file());
    assert_eq!(&formats::patient::read("patient.toml", &patient).unwrap(), night.patient_file());
}

#[test]
fn faults_reach_the_counts_they_name() {
    let deck = deck();
    let mut scenario = quiet(0.5);
    scenario.fault = vec![
        Fault::Lost { cell: "S1".into(), from_h: 0.1, to_h: Some(0.2), share: None },
        Fault::Stuck { cell: "B2".into(), from_h: 0.1, to_h: Some(0.2) },
        Fault::Saturated { cell: "L3".into(), from_h: 0.1, to_h: Some(0.2) },
        Fault::PowerCut { from_h: 0.3, for_s: 100.0 },
    ];
    let built = build(&deck, &scenario, 1);
    let index = |name: &str| built.cells.iter().position(|c| c.name == name).unwrap();
    let mut night = Night::new(&deck, &built, &scenario, 1).unwrap();
    let mut sample = Sample::default();
    let (mut stuck, mut times) = (Vec::new(), Vec::new());
    while night.next_sample(&mut sample).unwrap() {
        times.push(sample.t_s);
        let failing = (360.0..720.0).contains(&sample.t_s);
        assert_eq!(sample.counts[index("S1")].is_none(), failing);
        if failing {
            stuck.push(sample.counts[index("B2")].unwrap());
            assert_eq!(sample.counts[index("L3")], Some(8_388_607.0));
        }
    }
    assert!(stuck.windows(2).all(|w| w[0].to_bits() == w[1].to_bits()));
    assert!(!times.iter().any(|t| (1080.0..1180.0).contains(t)) && times.len() == 1700);
}

#[test]
fn a_jam_takes_its_share_of_the_plate_and_nothing_elsewhere() {
    let deck = deck();
    let sound = quiet(0.5);
    let mut jammed = sound.clone();
    let jam = Fault::Jam {
        plate: "seat".into(),
        from_h: 0.1,
        to_h: None,
        gap_mm: None,
        share: Some(0.08),
        at_mm: [200.0, 400.0],
    };
    jammed.fault = vec![jam];
    let built = build(&deck, &sound, 1);
    let (whole, _) = mean_at(&deck, &built, &sound, 900.0);
    let (less, _) = mean_at(&deck, &built, &jammed, 900.0);
    assert!((less[1] / whole[1] - 0.92).abs() < 1e-4, "{whole:?} {less:?}");
    assert!((less[0] - whole[0]).abs() < 1e-9 && (less[2] - whole[2]).abs() < 1e-9);
}

/// What the cells do not feel of a load is what the truth says passed them by.
#[test]
fn what_jams_the_gap_carries_what_the_cells_miss() {
    let deck = deck();
    let sound = quiet(0.5);
    let mut jammed = sound.clone();
    let at_mm = [215.0, 430.0];
    jammed.fault =
        vec![Fault::Jam { plate: "seat".into(), from_h: 0.2, to_h: Some(0.4), gap_mm: Some(0.2), share: None, at_mm }];
    let built = build(&deck, &sound, 1);
    let (whole, _) = mean_at(&deck, &built, &sound, 900.0);
    let (less, _) = mean_at(&deck, &built, &jammed, 900.0);
    let (after, _) = mean_at(&deck, &built, &jammed, 1600.0);
    let missing = whole[1] - less[1];
    assert!(missing > 5.0 && missing < 0.9 * whole[1], "{whole:?} {less:?}");
    assert!((less[0] - whole[0]).abs() < 1e-9 && (less[2] - whole[2]).abs() < 1e-9);
    let mut night = Night::new(&deck, &built, &jammed, 1).unwrap();
    let mut sample = Sample::default();
    let (mut shunted, mut n) = (0.0, 0);
    while night.next_sample(&mut sample).unwrap() {
        if (900.0..960.0).contains(&sample.t_s) {
            shunted += night.now().shunted_kg * 9.806_65;
            n += 1;
        }
        assert_eq!(night.now().shunted_kg > 0.0, (720.0..1440.0).contains(&sample.t_s), "{}", sample.t_s);
    }
    assert!((shunted / f64::from(n) - missing).abs() < 0.02, "{shunted} {missing}");
    // Afterwards all is felt again, but for what evaporated.
    assert!((after[1] - whole[1]).abs() < 0.3);
    let shunts = &night.truth().shunts;
    assert!(shunts.len() == 1 && shunts[0].plate == "seat", "{shunts:?}");
    assert!((shunts[0].from_s - 720.0).abs() < 1.5 && (shunts[0].to_s - 1440.0).abs() < 1.5, "{shunts:?}");
    assert!(night.truth().events.windows(2).all(|w| w[0].t_s <= w[1].t_s));
}

/// A soft deck touches its base under someone who kneels on it, and not under the patient.
#[test]
fn who_kneels_on_a_soft_plate_presses_it_onto_its_base() {
    let mut deck = deck();
    for plate in &mut deck.plates {
        plate.layers.truncate(2);
        plate.layers[1].thickness_mm = 6.5;
        plate.clearance_mm = 5.0;
    }
    let mut scenario = quiet(0.4);
    scenario.happening = vec![Planned::Lean { at_h: 0.3, for_s: 60.0, kg: 80.0, at_mm: [390.0, 222.0] }];
    let built = build(&deck, &scenario, 1);
    let mut night = Night::new(&deck, &built, &scenario, 1).unwrap();
    let mut sample = Sample::default();
    while night.next_sample(&mut sample).unwrap() {
        assert!(night.now().shunted_kg <= 0.0 || (1079.0..1141.0).contains(&sample.t_s), "{:?}", night.now());
    }
    let shunts = &night.truth().shunts;
    assert!(shunts.len() == 1 && shunts[0].plate == "back-right" && shunts[0].largest_kg > 1.0, "{shunts:?}");
}

#[test]
fn a_jam_says_one_thing() {
    for (keys, good) in [
        ("gap_mm = 0.1", true),
        ("share = 0.2", true),
        ("", false),
        ("gap_mm = 0.1\nshare = 0.2", false),
        ("share = 2.0", false),
    ] {
        let text =
            format!("[[fault]]\nwhat = \"jam\"\nplate = \"seat\"\nfrom_h = 1.0\nat_mm = [100.0, 100.0]\n{keys}\n");
        let read = Scenario::read("s.toml", &text);
        assert_eq!(read.is_ok(), good, "{keys}: {read:?}");
    }
}

#[test]
fn names_that_the_deck_does_not_have_are_refused() {
    let deck = deck();
    let mut scenario = quiet(0.5);
    let built = build(&deck, &scenario, 1);
    scenario.fault = vec![Fault::Stuck { cell: "X9".into(), from_h: 0.1, to_h: None }];
    let message = Night::new(&deck, &built, &scenario, 1).err().unwrap().to_string();
    assert!(message.contains("X9"), "{message}");
    scenario.fault.clear();
    scenario.bed.angle = vec![Angle { at_h: 0.1, section: Some("wing".into()), deg: 5.0, over_s: 1.0 }];
    let message = Night::new(&deck, &built, &scenario, 1).err().unwrap().to_string();
    assert!(message.contains("wing"), "{message}");
}

/// The default spread of cells is what a bench run assumes, so that its calibration fits the default night.
#[test]
fn bench_and_night_have_the_same_cells() {
    assert_eq!(Scenario::default().cell_spread(), CellSpread::default());
}
