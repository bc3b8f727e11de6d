//! Touch checks of the twin: sound decks give no finding, and each fault is named for what it is.

use calibrate::touch::{TouchError, TouchReport, touch, touch_places};
use formats::calibration::FindingKind;
use formats::deck::Deck;
use formats::recording::Sample;
use twin::{BenchFault, BenchOptions, Press, touch_recording};

fn decks() -> [Deck; 3] {
    [
        formats::deck::read("deck.toml", twin::demo::DECK_TOML).unwrap(),
        formats::deck::read("deck.toml", include_str!("data/plan_mixed_deck.toml")).unwrap(),
        formats::deck::read("deck.toml", include_str!("data/bench_deck.toml")).unwrap(),
    ]
}

fn presses(deck: &Deck) -> Vec<Press> {
    let plate = |name: &str| deck.plates.iter().position(|p| p.name == name).unwrap();
    touch_places(deck).iter().map(|p| Press { plate: plate(&p.plate), at_mm: [p.x_mm, p.y_mm] }).collect()
}

fn recorded(deck: &Deck, seed: u64, faults: Vec<BenchFault>) -> Vec<Sample> {
    let options = BenchOptions { faults, ..BenchOptions::default() };
    touch_recording(deck, seed, &options, &presses(deck)).unwrap().1
}

fn found(report: &TouchReport) -> Vec<(FindingKind, &str)> {
    report.findings.iter().map(|f| (f.kind, f.cell.as_deref().unwrap())).collect()
}

fn name(deck: &Deck, i: usize) -> String {
    deck.cells().nth(i).unwrap().1.name.clone()
}

#[test]
fn a_sound_deck_answers_place_by_place_without_a_finding() {
    for deck in decks() {
        for seed in 1..=3 {
            let report = touch(&deck, &recorded(&deck, seed, Vec::new())).unwrap();
            assert!(report.findings.is_empty(), "{}, seed {seed}: {:?}", deck.name, report.findings);
            for row in &report.places {
                assert_eq!(row.answered.as_ref(), Some(&row.place.cell), "{}", deck.name);
                // A hand presses with 6 to 15 kg; cells differ by a tenth from their sheet, and share with their fellows.
                assert!((3.0..17.0).contains(&row.moved_kg), "{row:?}");
            }
        }
    }
}

#[test]
fn every_cell_is_found_reversed_or_dead_by_name() {
    for deck in decks() {
        for i in 0..deck.cells().count() {
            let cell = name(&deck, i);
            let reversed =
                touch(&deck, &recorded(&deck, 7, vec![BenchFault::Reversed { cell: cell.clone() }])).unwrap();
            assert_eq!(
                found(&reversed),
                [(FindingKind::Reversed, cell.as_str())],
                "{}: {:?}",
                deck.name,
                reversed.findings
            );
            let dead = touch(&deck, &recorded(&deck, 8, vec![BenchFault::Dead { cell: cell.clone() }])).unwrap();
            assert_eq!(found(&dead), [(FindingKind::Dead, cell.as_str())], "{}: {:?}", deck.name, dead.findings);
            assert!(dead.findings[0].text.contains(&format!("Cell {cell} on plate ")), "{}", dead.findings[0].text);
        }
    }
}

#[test]
fn every_exchanged_pair_is_named_with_both_cells() {
    for deck in decks() {
        let n = deck.cells().count();
        for i in 0..n {
            // A neighbour, and a cell of another plate.
            for j in [(i + 1) % n, (i + 7) % n] {
                let (cell, with) = (name(&deck, i), name(&deck, j));
                let faults = vec![BenchFault::Swapped { cell: cell.clone(), with: with.clone() }];
                let report = touch(&deck, &recorded(&deck, 9, faults)).unwrap();
                let mut expected = [(FindingKind::Swapped, cell.as_str()), (FindingKind::Swapped, with.as_str())];
                expected.sort_by_key(|e| deck.cells().position(|(_, c)| c.name == e.1));
                assert_eq!(found(&report), expected, "{}: {:?}", deck.name, report.findings);
                assert!(report.findings.iter().all(|f| f.text.contains(&cell) && f.text.contains(&with)));
            }
        }
    }
}

#[test]
fn faults_together_are_told_apart() {
    let [deck, ..] = decks();
    let faults = vec![
        BenchFault::Swapped { cell: "B2".into(), with: "S3".into() },
        BenchFault::Reversed { cell: "B7".into() },
        BenchFault::Dead { cell: "L2".into() },
    ];
    let report = touch(&deck, &recorded(&deck, 11, faults)).unwrap();
    let expected = [
        (FindingKind::Swapped, "B2"),
        (FindingKind::Reversed, "B7"),
        (FindingKind::Swapped, "S3"),
        (FindingKind::Dead, "L2"),
    ];
    assert_eq!(found(&report), expected, "{:?}", report.findings);
}

#[test]
fn lost_samples_are_a_silent_cell_and_a_forgotten_place_is_said() {
    let [deck, ..] = decks();
    let mut samples = recorded(&deck, 12, Vec::new());
    samples.iter_mut().for_each(|s| s.counts[4] = None);
    let report = touch(&deck, &samples).unwrap();
    assert_eq!(found(&report), [(FindingKind::Dead, "B5")], "{:?}", report.findings);
    assert!(report.findings[0].text.contains("100 % of its samples are lost"));

    let mut forgotten = presses(&deck);
    forgotten.remove(3);
    let samples = touch_recording(&deck, 13, &BenchOptions::default(), &forgotten).unwrap().1;
    let report = touch(&deck, &samples).unwrap();
    assert_eq!(found(&report), [(FindingKind::NotDetermined, "B4")], "{:?}", report.findings);
}

#[test]
fn what_is_no_touch_check_is_refused_with_what_was_found() {
    let [deck, ..] = decks();
    let samples = recorded(&deck, 14, Vec::new());
    assert!(matches!(touch(&deck, &samples[..20]), Err(TouchError::TooShort { n_samples: 20, .. })));
    assert!(matches!(touch(&deck, &[]), Err(TouchError::TooShort { n_samples: 0, .. })));
    let half = touch(&deck, &samples[..samples.len() / 2]).unwrap_err();
    assert!(matches!(half, TouchError::OtherPresses { expected: 18, found: 6..=12, .. }), "{half}");
}
