//! No text makes a reader panic: arbitrary text, and files that are right but for some slips.

use bedplate_formats::deck::{self, Deck, Edit};
use bedplate_formats::recording::{Reader, Sample};
use bedplate_formats::{
    Problems, actions, answers, calibration, certificate, chart, checks, events, masses, pairs, patient, plans,
    removals, run, tests, ward, weights,
};
use proptest::prelude::*;
use proptest::sample::select;

use super::config;

const DECK: &str = include_str!("../data/deck.toml");

/// Files that are right, to be spoilt.
const RIGHT: [&str; 19] = [
    DECK,
    include_str!("../data/patient.toml"),
    include_str!("../data/calibration.json"),
    include_str!("../data/run.csv"),
    include_str!("../data/recording.csv"),
    include_str!("../data/actions.csv"),
    include_str!("../data/weights.csv"),
    include_str!("../data/tests.csv"),
    include_str!("../data/pairs.csv"),
    include_str!("../data/chart.csv"),
    include_str!("../../data/examples/answers.csv"),
    include_str!("../../data/examples/certificate.toml"),
    include_str!("../../data/examples/chart.csv"),
    include_str!("../../data/examples/checks.csv"),
    include_str!("../../data/examples/events.json"),
    include_str!("../../data/examples/masses.csv"),
    include_str!("../../data/examples/plans.toml"),
    include_str!("../../data/examples/removals.csv"),
    include_str!("../../data/examples/ward.toml"),
];

/// Snippets that are likely to hit a weak place.
const SNIPPETS: [&str; 24] = [
    "",
    "\"",
    "\"\"",
    ",",
    "\n",
    "\r",
    "\r\n\r\n",
    "=",
    "[",
    "]",
    "[[",
    "{",
    "}",
    "nan",
    "inf",
    "-",
    "1e999",
    "0",
    "-0.0",
    "1,5",
    "\u{feff}",
    "ä\u{301}",
    "\0",
    "'''",
];

/// One spoilt place: at a share of the length, so many characters are replaced by a snippet.
type Slip = (f64, usize, &'static str);

fn spoilt(text: &str, slips: &[Slip]) -> String {
    let mut chars: Vec<char> = text.chars().collect();
    for &(share, n_removed, snippet) in slips {
        let start = (share * chars.len() as f64) as usize;
        let end = (start + n_removed).min(chars.len());
        chars.splice(start..end, snippet.chars());
    }
    chars.into_iter().collect()
}

/// What is wrong must be told, with a place that the file has.
fn judge<T>(text: &str, read: Result<T, Problems>) -> Option<T> {
    let problems = match read {
        Ok(data) => return Some(data),
        Err(problems) => problems,
    };
    assert!(!problems.0.is_empty());
    assert!(!problems.to_string().is_empty());
    let n_lines = text.split('\n').count();
    for problem in &problems.0 {
        assert!(problem.line.is_none_or(|line| line >= 1 && line <= n_lines), "{problem}");
        if let (Some(column), Some(line)) = (problem.column, &problem.line_text) {
            // One behind the end is where something is missing.
            assert!(column >= 1 && column <= line.chars().count() + 2, "{problem}");
        }
    }
    None
}

fn read_recording(text: &[u8], deck: &Deck) -> Result<Vec<Sample>, Problems> {
    let mut reader = Reader::new("r", text, deck)?;
    let mut sample = Sample::default();
    let mut samples = Vec::new();
    while reader.next_sample(&mut sample)? {
        samples.push(sample.clone());
    }
    Ok(samples)
}

/// Reads a text as every kind of file; what is accepted as a deck must read back when it is written.
fn read_as_everything(text: &str) {
    let right = deck::read("deck.toml", DECK).unwrap();
    if let Some(deck) = judge(text, deck::read("d", text)) {
        assert_eq!(deck::read("d", &deck::write(&deck)).unwrap(), deck);
    }
    if let Some(patient) = judge(text, patient::read("p", text)) {
        assert_eq!(patient::read("p", &patient::write(&patient)).unwrap(), patient);
    }
    if let Some(calibration) = judge(text, calibration::read("c", text)) {
        assert_eq!(calibration::read("c", &calibration::write(&calibration)).unwrap(), calibration);
    }
    judge(text, run::read("r", text, &right));
    judge(text, read_recording(text.as_bytes(), &right));
    judge(text, actions::read("a", text));
    judge(text, weights::read("w", text));
    judge(text, tests::read("t", text, &right));
    judge(text, masses::read("m", text));
    judge(text, pairs::read("p", text));
    judge(text, chart::read("c", text));
    judge(text, chart::corrections("c", text));
    judge(text, answers::read("a", text));
    judge(text, certificate::read("c", text));
    judge(text, checks::read("c", text));
    judge(text, events::read("e", text));
    judge(text, plans::read("p", text));
    judge(text, removals::read("r", text));
    judge(text, ward::read("w", text));
}

proptest! {
    #![proptest_config(config(1000))]

    #[test]
    fn arbitrary_text_is_read_or_refused(text in prop_oneof![any::<String>(), "[a-z_,;\"\\[\\]{}=.0-9 \r\n\t-]{0,200}"]) {
        read_as_everything(&text);
    }

    #[test]
    fn a_spoilt_file_is_read_or_refused(
        right in select(RIGHT.to_vec()),
        slips in prop::collection::vec((0.0..1.0f64, 0..6usize, select(SNIPPETS.to_vec())), 1..4),
    ) {
        read_as_everything(&spoilt(right, &slips));
    }

    /// The workbench changes texts that are on their way to be right.
    #[test]
    fn a_figure_is_changed_in_a_spoilt_deck_or_the_change_refused(
        slips in prop::collection::vec((0.0..1.0f64, 0..6usize, select(SNIPPETS.to_vec())), 0..3),
        mm in any::<f64>(),
        name in select(vec!["H1", "F2", "head", "foot", "", "H9"]),
        layer in 0..4usize,
    ) {
        let text = spoilt(DECK, &slips);
        let name = name.to_owned();
        let edits = [
            Edit::Cell { cell: name.clone(), at_mm: [mm, 1.0] },
            Edit::Thickness { plate: name.clone(), layer, mm },
            Edit::Clearance { plate: name, mm },
        ];
        for edit in edits {
            if let Ok(changed) = deck::edit(&text, &edit) {
                // The same change once more changes nothing.
                prop_assert_eq!(deck::edit(&changed, &edit), Ok(changed));
            }
        }
    }

    #[test]
    fn arbitrary_bytes_are_no_recording(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
        let right = deck::read("deck.toml", DECK).unwrap();
        let head = b"t_s,H1,H2,H3,H4,F1,F2,F3\n";
        // Seven numbers with commas between them do not come about by chance; empty lines at the end are welcome.
        let blank = bytes.iter().all(|b| b"\r\n\t ,".contains(b));
        let read = read_recording(&[head, bytes.as_slice()].concat(), &right);
        prop_assert!(blank || read.is_err(), "{:?}", read);
    }
}
