//! One module a kind of test (or two that share their reading).

mod creep;
mod discrimination;
mod eccentricity;
mod repeatability;
mod temperature;
mod tilt;
mod weighing;
mod zero;

use crate::changeover::{error_g, gives_zero_error};
use crate::error::VerifyError;
use crate::report::{Phase, Row, TestReport};
use crate::rules::{FINE, rules};
use deck::oiml::r76;
use formats::deck::Deck;
use formats::tests::{Test, TestKind};

/// The instrument that is judged.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Instrument<'a> {
    pub(crate) deck: &'a Deck,
    pub(crate) phase: Phase,
    /// Whether it was read on an indication in steps of e/5 or finer where no changeover point was sought.
    pub(crate) is_fine: bool,
}

impl Instrument<'_> {
    pub(crate) fn e_g(self) -> f64 {
        self.deck.e_g
    }

    /// Permissible error at a load, g.
    pub(crate) fn mpe_g(self, load_kg: f64) -> f64 {
        r76::mpe_g(self.deck.class, self.deck.e_g, load_kg, self.phase.is_in_service())
    }

    /// Min, kg.
    pub(crate) fn min_kg(self) -> Option<f64> {
        r76::class_limits(self.deck.class, self.deck.e_g).map(|l| l.min_capacity_e * self.deck.e_g / 1000.0)
    }
}

/// Judges the rows of one kind, in the order of the file.
pub(crate) fn judge(kind: TestKind, instrument: Instrument, tests: &[&Test]) -> Result<TestReport, VerifyError> {
    let mut report = match kind {
        TestKind::Weighing => weighing::judge(instrument, tests),
        TestKind::Eccentricity => eccentricity::judge(instrument, tests),
        TestKind::Repeatability => repeatability::judge(instrument, tests),
        TestKind::Discrimination => discrimination::judge(instrument, tests)?,
        TestKind::Zero => zero::zero(instrument, tests),
        TestKind::Tare => zero::tare(instrument, tests),
        TestKind::Creep => creep::creep(instrument, tests)?,
        TestKind::ZeroReturn => creep::zero_return(instrument, tests),
        TestKind::Tilt => tilt::judge(instrument, tests)?,
        TestKind::Temperature => temperature::judge(instrument, tests)?,
    };
    report.rules = rules(kind);
    if instrument.is_fine {
        report.rules.push(FINE);
    }
    Ok(report)
}

/// E of each row and E_c = E − E0 beside it, E0 from the latest row before (or the row itself) that gives it; without
/// one E_c = E.
fn zero_corrected(instrument: Instrument, tests: &[&Test]) -> Vec<(f64, f64)> {
    let e_g = instrument.e_g();
    let mut zero_error_g = 0.0;
    tests
        .iter()
        .map(|test| {
            let error = error_g(test, e_g);
            if gives_zero_error(test, e_g, instrument.is_fine) {
                zero_error_g = error;
            }
            (error, error - zero_error_g)
        })
        .collect()
}

/// Rows whose E_c is held against the permissible error of their load.
fn rows_within_mpe(instrument: Instrument, tests: &[&Test]) -> Vec<Row> {
    let errors = zero_corrected(instrument, tests);
    tests
        .iter()
        .zip(errors)
        .map(|(t, (error, judged))| Row::new(t, error, judged, instrument.mpe_g(t.load_kg)))
        .collect()
}

/// Whether two loads are the same for a test: within a tenth of e, or a millionth.
fn same_load(a_kg: f64, b_kg: f64, e_g: f64) -> bool {
    (a_kg - b_kg).abs() <= (1e-4 * e_g).max(1e-6 * b_kg.abs())
}

/// A load that stands for another in the recommendation's "about": within 10 % of it.
pub(crate) fn about(load_kg: f64, wanted_kg: f64) -> bool {
    (load_kg - wanted_kg).abs() <= 0.1 * wanted_kg
}
