//! Zero setting and tare setting.

use super::{Instrument, zero_corrected};
use crate::changeover::error_g;
use crate::report::{Row, TestReport};
use deck::oiml::r76;
use formats::tests::Test;

/// Error after zero setting, within 0.25 e.
pub(super) fn zero(instrument: Instrument, tests: &[&Test]) -> TestReport {
    let limit = r76::zero_setting_limit_g(instrument.e_g());
    let rows = tests.iter().map(|t| {
        let error = error_g(t, instrument.e_g());
        Row::new(t, error, error, limit)
    });
    let mut report = TestReport::new("zero", "error after zero setting", rows.collect());
    note_rounding(instrument, tests, &mut report);
    report
}

/// Error after tare setting within 0.25 e, and net loads within the permissible error.
pub(super) fn tare(instrument: Instrument, tests: &[&Test]) -> TestReport {
    let e_g = instrument.e_g();
    let rows = tests.iter().zip(zero_corrected(instrument, tests)).map(|(t, (error, corrected))| {
        if t.load_kg == 0.0 {
            Row::new(t, error, error, r76::tare_setting_limit_g(e_g)).of("tare setting")
        } else {
            Row::new(t, error, corrected, instrument.mpe_g(t.load_kg)).of("net load")
        }
    });
    let mut report = TestReport::new("tare", "error of the net indication", rows.collect());
    note_rounding(instrument, tests, &mut report);
    if tests.iter().filter(|t| t.load_kg > 0.0).count() < 5 {
        report.gaps.push("fewer than 5 net loads, at least 5 are asked for".to_owned());
    }
    report
}

fn note_rounding(instrument: Instrument, tests: &[&Test], report: &mut TestReport) {
    if !instrument.is_fine && tests.iter().any(|t| t.load_kg == 0.0 && t.added_g.is_none()) {
        report.gaps.push(format!(
            "a zero without a changeover point: its rounding of ± {:.0} g hides an error of 0.25 e",
            instrument.e_g() / 2.0
        ));
    }
}
