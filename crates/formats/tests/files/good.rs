//! Files with a byte-order mark, CRLF, columns in another order, extra columns and empty lines at the end.

use bedplate_formats::calibration::{self, CellStatus};
use bedplate_formats::chart::{self, Direction, Route};
use bedplate_formats::deck::{self, Axis, Bond, MaterialCost, Section, Site};
use bedplate_formats::patient::Plan;
use bedplate_formats::recording::{Reader, Sample};
use bedplate_formats::run::{self, Load, Placement};
use bedplate_formats::weights::{self, State};
use bedplate_formats::{actions, pairs, patient, tests};

use super::{DECK, test_deck};

#[test]
fn a_deck_is_read_with_every_key_in_its_place() {
    let (deck, warnings) = deck::read_with_warnings("deck.toml", DECK).unwrap();
    assert_eq!(warnings, []);
    assert_eq!((deck.name.as_str(), deck.max_kg, deck.e_g), ("Hazel test deck", 180.0, 100.0));
    assert_eq!(deck.target.deflection_mm, Some(3.0));
    assert_eq!(deck.target.cost, None);
    assert_eq!(deck.site, Site::Place { latitude_deg: 47.5, altitude_m: 310.0 });
    assert_eq!(deck.calibration_site, Some(Site::Gravity { gravity_m_s2: 9.805 }));
    let rest = Section { name: "rest".to_owned(), length_mm: 1150.0, angle_deg: [-10.0, 20.0] };
    assert_eq!(deck.sections[1], rest);
    assert_eq!(deck.cells().map(|(p, c)| (p, c.name.as_str())).last(), Some((1, "F3")));
    assert_eq!(deck.plates[0].ribs[0].along, Axis::X);
    assert_eq!(deck.plates[1].bond, Bond::Loose);
    assert_eq!(deck.load_cases[0].patient.as_ref().unwrap().angles_deg, [("back".to_owned(), 30.0)]);
    assert_eq!(deck.explore.unwrap()["board_mm"].as_array().unwrap().len(), 3);
}

#[test]
fn a_material_of_the_file_stands_in_place_of_the_built_in_one() {
    let deck = test_deck();
    let of = |name: &str| deck.materials.iter().filter(|m| m.name == name).cloned().collect::<Vec<_>>();
    let [sheet] = of("aluminium 5052").try_into().unwrap();
    assert_eq!((sheet.e_mpa, sheet.cost), (70000.0, MaterialCost::Unknown));
    assert_eq!(of("board")[0].cost, MaterialCost::PerM2(22.5));
    assert_eq!(of("aluminium 6061").len(), 1);
}

#[test]
fn a_deck_may_have_crlf_and_a_mark_at_its_start() {
    let typed = format!("\u{feff}{}", DECK.replace('\n', "\r\n"));
    assert_eq!(deck::read("deck.toml", &typed).unwrap(), test_deck());
}

#[test]
fn a_run_is_read_by_the_names_of_its_columns() {
    let run = run::read("run.csv", include_str!("../data/run.csv"), &test_deck()).unwrap();
    assert_eq!(run.cells, ["H1", "H2", "H3", "H4", "F1", "F2", "F3"]);
    let loads: Vec<_> = run.rows.iter().map(|r| (r.line, r.step.as_str(), r.load.clone())).collect();
    let at = |plate: &str, x_mm, y_mm| Placement { plate: plate.to_owned(), x_mm, y_mm };
    let known =
        |at, mass_kg, label: Option<&str>| Load::Known { at, mass_kg, u_mass_g: 0.0, label: label.map(str::to_owned) };
    assert_eq!(
        loads,
        [
            (2, "z1", Load::Zero),
            (3, "2", known(at("head", 390.0, 430.0), 20.0, None)),
            (4, "3", Load::Unknown { at: at("head", 200.0, 430.0), label: "can".to_owned() }),
            (5, "4", known(at("foot", 0.0, 860.0), 5.0005, Some("brass 5"))),
        ]
    );
    assert_eq!(run.rows[0].counts, [70.0, 60.0, 50.0, 40.5, 30.0, 20.0, 10.0]);
    assert_eq!(run.rows[0].temperature_c, None);
}

#[test]
fn a_recording_keeps_the_tilt_and_loses_the_counts_that_are_not_there() {
    let deck = test_deck();
    let text = include_str!("../data/recording.csv").as_bytes();
    let mut reader = Reader::new("recording.csv", text, &deck).unwrap();
    assert_eq!(reader.header().tilts, ["back"]);
    assert!(!reader.header().has_temperature);
    let mut sample = Sample::default();
    let mut samples = Vec::new();
    while reader.next_sample(&mut sample).unwrap() {
        samples.push((reader.line(), sample.clone()));
    }
    assert_eq!(
        samples.iter().map(|(line, s)| (*line, s.t_s, s.tilt_deg[0])).collect::<Vec<_>>(),
        [(2, 0.0, 12.5), (3, 0.1, 12.5), (4, 0.2, 13.0)]
    );
    assert_eq!(samples[0].1.counts[2..5], [Some(300.25), Some(400.0), Some(-500.0)]);
    assert_eq!(samples[1].1.counts[..3], [Some(101.0), None, Some(301.0)]);
}

/// Rows of plain numbers are taken straight from the bytes; blanks before them send the same rows the careful way.
#[test]
fn both_ways_of_reading_a_recording_give_the_same_samples_and_the_same_mistakes() {
    let deck = test_deck();
    let text = |blank: &str, bad: &str| {
        let mut text = String::from("t_s,temperature_C,tilt_back_deg,H1,H2,H3,H4,F1,F2,F3\n");
        for i in 0..500 {
            let lost = if i % 7 == 3 { String::new() } else { format!("{blank}{}", 70_000 - 991 * i) };
            let tilt = if i % 3 == 1 { String::new() } else { format!("{blank}-{}.{}", i % 60, i % 10) };
            let t = format!("{}.{}", i / 10, i % 10);
            text +=
                &format!("{blank}{t},{blank}22.{},{tilt},{lost},{blank}8388607,{blank}-3,{blank}0.25,1,2,3\n", i % 10);
            if i == 400 {
                text += bad;
            }
        }
        text
    };
    let read = |text: &str| {
        // A small buffer: rows lie across its ends.
        let source = std::io::BufReader::with_capacity(300, text.as_bytes());
        let mut reader = Reader::new("recording.csv", source, &deck).unwrap();
        let (mut sample, mut samples) = (Sample::default(), Vec::new());
        loop {
            match reader.next_sample(&mut sample) {
                Ok(true) => samples.push((reader.line(), sample.clone())),
                Ok(false) => return (samples, String::new()),
                Err(problems) => return (samples, problems.to_string()),
            }
        }
    };
    let (samples, mistake) = read(&text("", ""));
    assert_eq!((samples.len(), mistake.as_str()), (500, ""));
    assert_eq!(read(&text(" ", "")).0, samples);
    for bad in [
        "40,22,1,1,2,3,4,5,6,7\n",
        "40.05,22,95,1,2,3,4,5,6,7\n",
        "40.05,22,1,1,2,3,4,5,6\n",
        "40.05,22,1,1,x,3,4,5,6,7\n",
    ] {
        let (plain, careful) = (read(&text("", bad)), read(&text(" ", bad)));
        assert_eq!(plain.0, careful.0);
        assert_eq!(plain.0.len(), 401);
        assert!(plain.1.contains("recording.csv:403"), "{}", plain.1);
        // The echoed line differs by the blanks alone, which stand only in the other rows.
        assert_eq!(plain.1, careful.1);
    }
}

#[test]
fn the_small_tables_are_read() {
    let actions = actions::read("actions.csv", include_str!("../data/actions.csv")).unwrap();
    let words: Vec<_> = actions.iter().map(|a| (a.line, a.kind.word(), a.kg, a.note.as_str())).collect();
    assert_eq!(words[0], (2, "tare", None, "linen and mattress"));
    assert_eq!(words[2], (4, "add", Some(0.85), "blanket, thick"));
    assert_eq!(words.len(), 5);

    let weights = weights::read("weights.csv", include_str!("../data/weights.csv")).unwrap();
    assert_eq!(
        weights.iter().map(|w| w.state).collect::<Vec<_>>(),
        [State::Empty, State::Settled, State::Moving, State::Held]
    );
    assert_eq!(weights[2].time, Some("2031-03-04T00:00:02Z".parse().unwrap()));
    assert_eq!((weights[1].patient_kg, weights[1].u_kg), (Some(70.055), Some(0.03)));

    let tests = tests::read("tests.csv", include_str!("../data/tests.csv"), &test_deck()).unwrap();
    assert_eq!(tests[2].at_mm, Some([10.0, 20.0]));
    assert_eq!((tests[3].plate.as_deref(), tests[3].at_mm), (Some("foot"), None));
    assert_eq!((tests[4].minutes, tests[5].tilt_deg), (Some(30.0), Some(2.5)));

    let pairs = pairs::read("pairs.csv", include_str!("../data/pairs.csv")).unwrap();
    assert_eq!((pairs[1].reference, pairs[1].method), (430.0, 395.0));
    assert_eq!((pairs[1].repeat.as_deref(), pairs[1].operator.as_deref()), (Some("b"), Some("night")));
    assert_eq!(pairs[0].operator, None);
}

#[test]
fn a_chart_is_put_in_the_order_of_time() {
    let chart = chart::read("chart.csv", include_str!("../data/chart.csv")).unwrap();
    let rows: Vec<_> = chart.iter().map(|e| (e.line, e.direction, e.route, e.volume_ml, e.leaves_deck)).collect();
    assert_eq!(
        rows,
        [
            (3, Direction::Intake, Route::Iv, 100.5, true),
            (4, Direction::Output, Route::Drain, 20.0, true),
            (2, Direction::Output, Route::Urine, 80.0, false),
        ]
    );
}

#[test]
fn a_patient_is_read_and_what_is_not_there_is_none() {
    let file = patient::read("patient.toml", include_str!("../data/patient.toml")).unwrap();
    assert_eq!((file.patient.age_y, file.patient.age_mo), (Some(61.0), None));
    assert_eq!(file.patient.arm_circumference_mm, Some(310.0));
    let plan = Plan { intake_ml_h: 110.0, output_ml_h: 70.0, ultrafiltration_ml_h: 0.0 };
    assert_eq!(file.plan, Some(plan));
}

#[test]
fn a_calibration_is_read_and_matched_with_its_deck() {
    let calibration = calibration::read("calibration.json", include_str!("../data/calibration.json")).unwrap();
    assert_eq!(calibration.cells[6].status, CellStatus::NotDetermined);
    assert_eq!(calibration.cells[6].kg_per_count, None);
    assert_eq!(calibration::check_matches(&calibration, "calibration.json", &test_deck()), Ok(()));
}
