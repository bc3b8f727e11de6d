//! A small load more must show.
//!
//! Two ways to write it. With `added_g`: the additional load at which the indication changed by one d; it must not be
//! above 1.4 d. Without: two rows of one step, the later with the additional load in `load_kg`; an addition of 1.4 d or
//! more must change the indication by one d.

use super::Instrument;
use crate::changeover::error_g;
use crate::error::VerifyError;
use crate::report::{Row, TestReport};
use deck::oiml::r76;
use formats::tests::Test;

/// Decimal rounding of an addition, g.
const ROUNDING_G: f64 = 1e-6;

pub(super) fn judge(instrument: Instrument, tests: &[&Test]) -> Result<TestReport, VerifyError> {
    let d_g = instrument.e_g();
    let enough_g = r76::discrimination_load_g(d_g);
    let mut rows = Vec::new();
    for (i, test) in tests.iter().enumerate() {
        if let Some(added_g) = test.added_g {
            rows.push(Row::new(test, error_g(test, d_g), added_g, enough_g).of("addition that showed"));
            continue;
        }
        let before = tests[..i].iter().rev().find(|t| t.step == test.step && t.added_g.is_none());
        if let Some(before) = before {
            let addition_g = (test.load_kg - before.load_kg) * 1000.0;
            if addition_g < enough_g - ROUNDING_G {
                let (what, expected) = ("load_kg", "1.4 e or more above the row before it of the same step");
                return Err(VerifyError::BadNumber { line: test.line, what, found: test.load_kg, expected });
            }
            let change_g = (test.indication_kg - before.indication_kg) * 1000.0;
            let shortfall_g = (d_g - change_g).max(0.0);
            rows.push(Row::new(test, error_g(test, d_g), shortfall_g, 0.0).of("what the change lacks"));
        }
    }
    if rows.is_empty() {
        let line = tests.first().map_or(0, |t| t.line);
        return Err(VerifyError::Missing {
            line,
            test: "discrimination",
            what: "added_g, or a second row of its step",
        });
    }
    let judged =
        "additional load that changed the indication by one d (with added_g), or what the change lacks of one d";
    let mut report = TestReport::new("discrimination", judged, rows);
    let wanted = [
        (instrument.min_kg().unwrap_or(0.0), "Min"),
        (instrument.deck.max_kg / 2.0, "half Max"),
        (instrument.deck.max_kg, "Max"),
    ];
    for (kg, name) in wanted {
        if !tests.iter().any(|t| super::about(t.load_kg, kg)) {
            report.gaps.push(format!("no load near {kg:.3} kg, {name}"));
        }
    }
    Ok(report)
}
