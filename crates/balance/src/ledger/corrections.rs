//! Corrections: which entries of a chart still count.
//!
//! A record is never overwritten. A correction is an entry of its own that names the one whose place it
//! takes; a correction may itself be corrected.

use formats::chart::Entry;

use crate::error::BalanceError;
use crate::options::Correction;

/// The entries that no other has taken the place of.
///
/// # Errors
/// A correction that names a line the chart does not have, an entry that is corrected twice, or one that
/// corrects itself, directly or around a ring.
pub(crate) fn standing(entries: &[Entry], corrections: &[Correction]) -> Result<Vec<Entry>, BalanceError> {
    let bad = |correction: &Correction, why| BalanceError::BadCorrection {
        line: correction.line,
        corrected: correction.corrects,
        why,
    };
    let has = |line: usize| entries.iter().any(|entry| entry.line == line);
    for (k, correction) in corrections.iter().enumerate() {
        if !has(correction.line) || !has(correction.corrects) {
            return Err(bad(correction, "the chart has no such line"));
        }
        if corrections[..k].iter().any(|earlier| earlier.corrects == correction.corrects) {
            return Err(bad(correction, "that entry is corrected already: correct the correction"));
        }
        if in_ring(corrections, correction) {
            return Err(bad(correction, "the corrections go round in a ring"));
        }
    }
    let struck = |entry: &Entry| corrections.iter().any(|correction| correction.corrects == entry.line);
    Ok(entries.iter().filter(|entry| !struck(entry)).cloned().collect())
}

/// Whether following the corrections from one leads back to it.
fn in_ring(corrections: &[Correction], start: &Correction) -> bool {
    let mut line = start.line;
    for _ in 0..=corrections.len() {
        if line == start.corrects {
            return true;
        }
        match corrections.iter().find(|correction| correction.corrects == line) {
            Some(next) => line = next.line,
            None => return false,
        }
    }
    true
}

#[cfg(test)]
mod tests {
    use formats::chart::{Direction, Route};

    use super::*;

    fn chart() -> Vec<Entry> {
        (2..6)
            .map(|line| Entry {
                line,
                time: "2031-03-04T10:00:00Z".parse().unwrap(),
                direction: Direction::Intake,
                route: Route::Iv,
                volume_ml: 10.0 * line as f64,
                leaves_deck: true,
                note: String::new(),
            })
            .collect()
    }

    fn lines(corrections: &[Correction]) -> Result<Vec<usize>, BalanceError> {
        Ok(standing(&chart(), corrections)?.iter().map(|entry| entry.line).collect())
    }

    fn by(line: usize, corrects: usize) -> Correction {
        Correction { line, corrects }
    }

    #[test]
    fn the_last_of_a_chain_of_corrections_counts() {
        assert_eq!(lines(&[by(4, 2), by(5, 4)]).unwrap(), [3, 5]);
    }

    #[test]
    fn corrections_that_cannot_be_meant_are_refused() {
        for corrections in [vec![by(9, 2)], vec![by(3, 2), by(4, 2)], vec![by(2, 2)], vec![by(3, 2), by(2, 3)]] {
            assert!(matches!(lines(&corrections), Err(BalanceError::BadCorrection { .. })), "{corrections:?}");
        }
    }
}
