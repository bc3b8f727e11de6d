//! Readings at an angle, against those without.

use super::{Instrument, same_load};
use crate::changeover::error_g;
use crate::error::VerifyError;
use crate::report::{Row, TestReport};
use deck::oiml::r76;
use formats::deck::AccuracyClass;
use formats::tests::Test;

/// Angles are the same within this, °.
const SAME_TILT_DEG: f64 = 0.05;

pub(super) fn judge(instrument: Instrument, tests: &[&Test]) -> Result<TestReport, VerifyError> {
    let e_g = instrument.e_g();
    let class = instrument.deck.class;
    for test in tests {
        if test.tilt_deg.is_none() {
            return Err(VerifyError::Missing { line: test.line, test: "tilt", what: "tilt_deg" });
        }
    }
    let tilt = |t: &Test| t.tilt_deg.unwrap_or_default();
    let reading = |like: &Test, load_kg: f64, deg: f64| {
        let found = tests.iter().find(|t| {
            t.plate == like.plate && same_load(t.load_kg, load_kg, e_g) && (tilt(t) - deg).abs() <= SAME_TILT_DEG
        });
        found.map(|t| error_g(t, e_g))
    };
    let mut rows = Vec::new();
    let mut without_flat = 0;
    for test in tests {
        let error = error_g(test, e_g);
        let flat = reading(test, test.load_kg, 0.0);
        without_flat += usize::from(flat.is_none());
        let judged = if test.load_kg == 0.0 {
            error - flat.unwrap_or(0.0)
        } else {
            // Zeroed at each tilt: the zero readings of both angles come off where they were taken.
            let here = error - reading(test, 0.0, tilt(test)).unwrap_or(0.0);
            here - flat.map_or(0.0, |f| f - reading(test, 0.0, 0.0).unwrap_or(0.0))
        };
        if test.load_kg == 0.0 && class != AccuracyClass::II {
            rows.push(Row::new(test, error, judged, r76::tilt_zero_limit_g(e_g)).of("no load"));
        } else if test.load_kg > 0.0 {
            rows.push(Row::new(test, error, judged, instrument.mpe_g(test.load_kg)).of("loaded"));
        }
    }
    let judged = "indication at the angle less that at 0° (loaded: both zeroed at their angle), or its error where there is none at 0°";
    let mut report = TestReport::new("tilt", judged, rows);
    if without_flat > 0 {
        report.gaps.push(format!("{without_flat} rows have no fellow at 0°: their whole error is judged"));
    }
    report.gaps.extend(gaps(instrument, tests));
    Ok(report)
}

/// Sections whose steepest angles were not reached under load. A row without a plate tilts the whole deck.
fn gaps(instrument: Instrument, tests: &[&Test]) -> Vec<String> {
    let deck = instrument.deck;
    let mut gaps = Vec::new();
    for section in &deck.sections {
        let on_section = |t: &&&Test| {
            let plate = t.plate.as_deref().and_then(|name| deck.plate(name));
            t.load_kg > 0.0 && plate.is_none_or(|p| p.section == section.name)
        };
        let angles: Vec<f64> = tests.iter().filter(on_section).filter_map(|t| t.tilt_deg).collect();
        let steepest = |sign: f64| angles.iter().map(|deg| sign * deg).fold(0.0, f64::max);
        for (limit, reached) in [(section.angle_deg[1], steepest(1.0)), (-section.angle_deg[0], steepest(-1.0))] {
            if limit > reached + 1.0 {
                gaps.push(format!(
                    "section {} goes to {limit:.0}°, tested under load up to {reached:.0}° that way",
                    section.name
                ));
            }
        }
    }
    gaps
}
