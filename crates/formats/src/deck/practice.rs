//! `[practice]`: how a deck is calibrated and used.

use std::fmt::{self, Write as _};

use crate::limits::Limits;
use crate::toml_reader::Table;
use crate::toml_writer::number;

/// How the deck is calibrated and used, where it differs from what `check` takes for granted; every key may be absent.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Practice {
    /// Time over which a settled weight is averaged, s.
    pub averaging_s: Option<f64>,
    /// Standard uncertainty of a section's angle, °.
    pub angle_u_deg: Option<f64>,
    /// Standard deviation with which the bed comes back to an angle, °.
    pub angle_again_deg: Option<f64>,
    /// Standard uncertainty of the calibration masses, mg/kg.
    pub masses_u_mg_kg: Option<f64>,
    /// Mass put on each cell to calibrate it, kg.
    pub calibration_kg: Option<f64>,
    /// Placements near each cell in the calibration.
    pub placements: Option<f64>,
    /// Tolerance of the cells' rated output, ± %, of a deck whose cells are not calibrated one by one.
    pub output_tolerance_pct: Option<f64>,
    /// Half-width of the air pressure about its mean, hPa.
    pub pressure_hpa: Option<f64>,
    /// Error of a cell per side force on it, %.
    pub side_sensitivity_pct: Option<f64>,
    /// Mattress and linen on the deck, tared, kg.
    pub tare_kg: Option<f64>,
    /// Share of the load that a turn in bed moves to other cells, %.
    pub moved_pct: Option<f64>,
    /// Time over which the ward's temperature forgets itself, h.
    pub room_h: Option<f64>,
    /// Time since the zero was taken with nothing on the deck, h; absent: so long that the temperature has forgotten it.
    pub zero_h: Option<f64>,
    /// Range of loads that the first zero takes off, kg.
    pub zero_range_kg: Option<f64>,
    /// Longest cable from a cell to the converter over its cross-section, m/mm².
    pub cable_m_mm2: Option<f64>,
}

/// A key, its limits, and its place.
type Key = (&'static str, Limits, fn(&mut Practice) -> &mut Option<f64>);

const PERCENT: Limits = Limits::between(0.0, 100.0);

/// All keys, in the order in which they are written.
const KEYS: [Key; 15] = [
    ("averaging_s", Limits::POSITIVE, |p| &mut p.averaging_s),
    ("angle_u_deg", Limits::between(0.0, 10.0), |p| &mut p.angle_u_deg),
    ("angle_again_deg", Limits::between(0.0, 10.0), |p| &mut p.angle_again_deg),
    ("masses_u_mg_kg", Limits::NOT_NEGATIVE, |p| &mut p.masses_u_mg_kg),
    ("calibration_kg", Limits::POSITIVE, |p| &mut p.calibration_kg),
    ("placements", Limits::between(1.0, 1000.0), |p| &mut p.placements),
    ("output_tolerance_pct", PERCENT, |p| &mut p.output_tolerance_pct),
    ("pressure_hPa", Limits::NOT_NEGATIVE, |p| &mut p.pressure_hpa),
    ("side_sensitivity_pct", PERCENT, |p| &mut p.side_sensitivity_pct),
    ("tare_kg", Limits::NOT_NEGATIVE, |p| &mut p.tare_kg),
    ("moved_pct", PERCENT, |p| &mut p.moved_pct),
    ("room_h", Limits::POSITIVE, |p| &mut p.room_h),
    ("zero_h", Limits::NOT_NEGATIVE, |p| &mut p.zero_h),
    ("zero_range_kg", Limits::NOT_NEGATIVE, |p| &mut p.zero_range_kg),
    ("cable_m_mm2", Limits::POSITIVE, |p| &mut p.cable_m_mm2),
];

pub(super) fn read_practice(t: Table<'_>) -> Practice {
    let mut practice = Practice::default();
    for (key, limits, place) in KEYS {
        *place(&mut practice) = t.number_opt(key, limits);
    }
    t.finish();
    practice
}

pub(super) fn write_practice(out: &mut String, practice: &Practice) -> fmt::Result {
    if *practice == Practice::default() {
        return Ok(());
    }
    let mut practice = *practice;
    writeln!(out, "\n[practice]")?;
    for (key, _, place) in KEYS {
        if let Some(value) = *place(&mut practice) {
            writeln!(out, "{key} = {}", number(value))?;
        }
    }
    Ok(())
}
