//! All tests of a file, judged.

use crate::changeover::{error_g, is_fine};
use crate::error::VerifyError;
use crate::kinds::{Instrument, judge};
use crate::report::{Deviation, Permissible, Phase, VerifyReport};
use crate::rules::{BEYOND, EDITION, STATEMENT};
use deck::oiml::r76;
use formats::calibration::Calibration;
use formats::deck::{AccuracyClass, Deck};
use formats::tests::{Test, TestKind};

/// The kinds of test in the order of the recommendation.
const KINDS: [TestKind; 10] = [
    TestKind::Weighing,
    TestKind::Eccentricity,
    TestKind::Repeatability,
    TestKind::Discrimination,
    TestKind::Zero,
    TestKind::Tare,
    TestKind::Creep,
    TestKind::ZeroReturn,
    TestKind::Tilt,
    TestKind::Temperature,
];

/// Judges the rows of a test file by OIML R 76-1.
///
/// # Errors
/// [`VerifyError`] where there is no row, the calibration is another deck's, or a row lacks what its test needs. A limit
/// that is not met is no error: it is reported.
pub fn verify(
    deck: &Deck,
    calibration: &Calibration,
    tests: &[Test],
    phase: Phase,
) -> Result<VerifyReport, VerifyError> {
    if calibration.deck != deck.name {
        return Err(VerifyError::OtherDeck { found: calibration.deck.clone(), expected: deck.name.clone() });
    }
    if tests.is_empty() {
        return Err(VerifyError::NoTests);
    }
    for test in tests {
        check(deck, test)?;
    }
    let instrument = Instrument { deck, phase, is_fine: is_fine(tests, deck.e_g) };
    let mut reports = Vec::new();
    let mut not_tested = Vec::new();
    for kind in KINDS {
        let of_kind: Vec<&Test> = tests.iter().filter(|t| t.kind == kind).collect();
        if of_kind.is_empty() {
            not_tested.push(kind.word());
        } else {
            reports.push(judge(kind, instrument, &of_kind)?);
        }
    }
    Ok(VerifyReport {
        deck: deck.name.clone(),
        calibrated_at: calibration.made_at.clone(),
        class: class_word(deck.class),
        e_g: deck.e_g,
        max_kg: deck.max_kg,
        phase,
        deviation_pct: deviation(tests, deck.e_g),
        passed: reports.iter().all(|r| r.passed),
        tests: reports,
        not_tested,
        permissible: permissible(instrument),
        beyond: BEYOND,
        edition: EDITION,
        statement: STATEMENT,
    })
}

/// Bands of the permissible error up to Max.
fn permissible(instrument: Instrument) -> Vec<Permissible> {
    let deck = instrument.deck;
    let mut ends = r76::mpe_steps_kg(deck.class, deck.e_g, deck.max_kg);
    ends.retain(|kg| *kg < deck.max_kg);
    ends.push(deck.max_kg);
    ends.into_iter().map(|up_to_kg| Permissible { up_to_kg, limit_g: instrument.mpe_g(up_to_kg) }).collect()
}

/// A class as R 76-1 writes it.
pub(crate) fn class_word(class: AccuracyClass) -> &'static str {
    match class {
        AccuracyClass::I => "I",
        AccuracyClass::II => "II",
        AccuracyClass::III => "III",
        AccuracyClass::IIII => "IIII",
    }
}

fn check(deck: &Deck, test: &Test) -> Result<(), VerifyError> {
    let bad = |what, found, expected| Err(VerifyError::BadNumber { line: test.line, what, found, expected });
    if !(test.load_kg.is_finite() && test.load_kg >= 0.0) {
        return bad("load_kg", test.load_kg, "a finite number of 0 or more");
    }
    if !test.indication_kg.is_finite() {
        return bad("indication_kg", test.indication_kg, "a finite number");
    }
    if let Some(added) = test.added_g.filter(|a| !(a.is_finite() && *a >= 0.0)) {
        return bad("added_g", added, "a finite number of 0 or more, or nothing");
    }
    for (what, value) in [("minutes", test.minutes), ("temperature_C", test.temperature_c), ("tilt_deg", test.tilt_deg)]
    {
        if let Some(found) = value.filter(|v| !v.is_finite()) {
            return bad(what, found, "a finite number, or nothing");
        }
    }
    match &test.plate {
        Some(plate) if deck.plate(plate).is_none() => {
            Err(VerifyError::UnknownPlate { line: test.line, plate: plate.clone() })
        }
        _ => Ok(()),
    }
}

/// |E| / L × 100 over the weighing rows of non-zero load.
fn deviation(tests: &[Test], e_g: f64) -> Option<Deviation> {
    let shares: Vec<f64> = tests
        .iter()
        .filter(|t| t.kind == TestKind::Weighing && t.load_kg > 0.0)
        .map(|t| error_g(t, e_g).abs() / (t.load_kg * 1000.0) * 100.0)
        .collect();
    let max = shares.iter().copied().reduce(f64::max)?;
    Some(Deviation { mean: shares.iter().sum::<f64>() / shares.len() as f64, max })
}
