//! What is written reads back the same, to the last bit of every number.

use bedplate_formats::calibration::{
    Calibration, CellCalibration, CellStatus, Covariance, Finding, FindingKind, FoundLoad,
};
use bedplate_formats::recording::{Reader, Sample, Writer};
use bedplate_formats::{actions, calibration, chart, deck, pairs, patient, run, tests, weights};
use proptest::prelude::*;

use super::any_data;
use super::config;

fn test_deck() -> deck::Deck {
    deck::read("deck.toml", include_str!("../data/deck.toml")).unwrap()
}

proptest! {
    #![proptest_config(config(200))]

    #[test]
    fn a_deck_reads_back(deck in any_data::deck()) {
        let text = deck::write(&deck);
        match deck::read("deck.toml", &text) {
            Ok(back) => prop_assert_eq!(back, deck),
            Err(problems) => prop_assert!(false, "{}\n{}", problems, text),
        }
    }

    #[test]
    fn a_run_reads_back(rows in any_data::run_rows()) {
        let deck = test_deck();
        let cells = deck.cells().map(|(_, c)| c.name.clone()).collect();
        let written = run::Run { cells, rows };
        let mut back = run::read("run.csv", &run::write(&written), &deck).unwrap();
        back.rows.iter_mut().for_each(|r| r.line = 0);
        prop_assert_eq!(back, written);
    }

    #[test]
    fn a_recording_reads_back((header, samples) in any_data::recording()) {
        let mut writer = Writer::new(Vec::new(), &header).unwrap();
        for sample in &samples {
            writer.write(sample).unwrap();
        }
        let text = writer.finish().unwrap();
        let deck = test_deck();
        let mut reader = Reader::new("recording.csv", text.as_slice(), &deck).unwrap();
        prop_assert_eq!(reader.header(), &header);
        let mut sample = Sample::default();
        for written in &samples {
            prop_assert!(reader.next_sample(&mut sample).unwrap());
            prop_assert_eq!(&sample, written);
        }
        prop_assert!(!reader.next_sample(&mut sample).unwrap());
    }

    #[test]
    fn actions_read_back(written in any_data::actions()) {
        let mut back = actions::read("a.csv", &actions::write(&written)).unwrap();
        back.iter_mut().for_each(|a| a.line = 0);
        prop_assert_eq!(back, written);
    }

    #[test]
    fn weights_read_back(written in any_data::weights()) {
        prop_assert_eq!(weights::read("w.csv", &weights::write(&written)).unwrap(), written);
    }

    #[test]
    fn tests_read_back(written in any_data::tests()) {
        let mut back = tests::read("t.csv", &tests::write(&written), &test_deck()).unwrap();
        back.iter_mut().for_each(|t| t.line = 0);
        prop_assert_eq!(back, written);
    }

    #[test]
    fn pairs_read_back(written in any_data::pairs()) {
        let mut back = pairs::read("p.csv", &pairs::write(&written)).unwrap();
        back.iter_mut().for_each(|p| p.line = 0);
        prop_assert_eq!(back, written);
    }

    #[test]
    fn a_chart_reads_back(written in any_data::chart()) {
        let mut back = chart::read("c.csv", &chart::write(&written)).unwrap();
        back.iter_mut().for_each(|e| e.line = 0);
        prop_assert_eq!(back, written);
    }

    #[test]
    fn a_patient_reads_back(written in any_data::patient()) {
        prop_assert_eq!(patient::read("p.toml", &patient::write(&written)).unwrap(), written);
    }

    #[test]
    fn a_calibration_reads_back(numbers in prop::collection::vec(any_data::finite(), 20), name in any_data::text()) {
        let u = |x: f64| Some(x.abs());
        let written = Calibration {
            deck: name.clone(),
            made_at: "2031-03-01T10:15:00Z".to_owned(),
            gravity_m_s2: 9.805,
            cells: vec![CellCalibration {
                name: name.clone(),
                zero_counts: Some(numbers[0]),
                u_zero_counts: u(numbers[1]),
                // A count that weighs nothing is refused.
                kg_per_count: Some(numbers[2]).filter(|kg| kg.abs() > 0.0).or(Some(1e-5)),
                u_kg_per_count: u(numbers[3]),
                status: CellStatus::Suspect,
            }],
            residual_sd_g: numbers[4],
            degrees_of_freedom: 7,
            lack_of_fit_p: None,
            max_residual_g: numbers[5],
            loads: vec![FoundLoad { label: name.clone(), kg: numbers[6], u_kg: numbers[7].abs() }],
            covariance: Covariance {
                parameters: vec!["zero:a".to_owned(), "gain:a".to_owned()],
                matrix: vec![numbers[8..10].to_vec(), numbers[10..12].to_vec()],
            },
            findings: vec![Finding { kind: FindingKind::Noisy, cell: None, text: name }],
            residuals: Vec::new(),
            detail: None,
        };
        prop_assert_eq!(calibration::read("c.json", &calibration::write(&written)).unwrap(), written);
    }
}
