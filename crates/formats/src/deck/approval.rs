//! `approval = { … }` of a cell type and of the converter: what their certificates state, for the conditions of module
//! compatibility (OIML R 76-1, Annex F).

use super::AccuracyClass;
use super::read::CLASSES;
use crate::limits::Limits;
use crate::toml_reader::Table;
use crate::toml_writer::{number, pair, text};
use crate::words;

/// Class of a load cell (OIML R 60).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CellClass {
    /// A, for instruments of class I.
    A,
    /// B, for class II.
    B,
    /// C, for class III.
    C,
    /// D, for class IIII.
    D,
}

/// What a cell's certificate states; every key may be absent.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct CellApproval {
    /// Class.
    pub class: Option<CellClass>,
    /// Largest number of verification intervals, n_LC.
    pub n_max: Option<f64>,
    /// Smallest verification interval v_min, g.
    pub v_min_g: Option<f64>,
    /// Minimum dead load E_min, kg.
    pub dead_min_kg: Option<f64>,
    /// Share of the maximum permissible error, p_LC.
    pub error_share: Option<f64>,
    /// Range of temperature, °C.
    pub temperature_c: Option<[f64; 2]>,
    /// Input resistance R_LC, Ω.
    pub input_ohm: Option<f64>,
}

/// What the converter's certificate states; every key may be absent.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct ConverterApproval {
    /// Class.
    pub class: Option<AccuracyClass>,
    /// Largest number of verification intervals, n_ind.
    pub n_max: Option<f64>,
    /// Smallest voltage of a verification interval Δu_min, µV.
    pub step_min_uv: Option<f64>,
    /// Smallest input voltage U_min, mV.
    pub input_min_mv: Option<f64>,
    /// Share of the maximum permissible error, p_ind.
    pub error_share: Option<f64>,
    /// Range of temperature, °C.
    pub temperature_c: Option<[f64; 2]>,
    /// Range of the bridge's resistance, R_Lmin to R_Lmax, Ω.
    pub bridge_ohm: Option<[f64; 2]>,
    /// Longest cable over its cross-section, m/mm².
    pub cable_m_mm2: Option<f64>,
}

pub(super) const CELL_CLASSES: &words::Words<CellClass> =
    &[("A", CellClass::A), ("B", CellClass::B), ("C", CellClass::C), ("D", CellClass::D)];

/// Beyond these stands a slip or another unit.
const TEMPERATURE_C: Limits = Limits::between(-60.0, 120.0);
const SHARE: Limits = Limits::between(0.0, 1.0);

pub(super) fn read_cell_approval(t: Table<'_>) -> CellApproval {
    let approval = CellApproval {
        class: t.word_opt("class", CELL_CLASSES),
        n_max: t.number_opt("n_max", Limits::POSITIVE),
        v_min_g: t.number_opt("v_min_g", Limits::POSITIVE),
        dead_min_kg: t.number_opt("dead_min_kg", Limits::NOT_NEGATIVE),
        error_share: t.number_opt("error_share", SHARE),
        temperature_c: t.range_opt("temperature_C", TEMPERATURE_C),
        input_ohm: t.number_opt("input_ohm", Limits::POSITIVE),
    };
    t.finish();
    approval
}

pub(super) fn read_converter_approval(t: Table<'_>) -> ConverterApproval {
    let approval = ConverterApproval {
        class: t.word_opt("class", CLASSES),
        n_max: t.number_opt("n_max", Limits::POSITIVE),
        step_min_uv: t.number_opt("step_min_uV", Limits::NOT_NEGATIVE),
        input_min_mv: t.number_opt("input_min_mV", Limits::ANY),
        error_share: t.number_opt("error_share", SHARE),
        temperature_c: t.range_opt("temperature_C", TEMPERATURE_C),
        bridge_ohm: t.range_opt("bridge_ohm", Limits::POSITIVE),
        cable_m_mm2: t.number_opt("cable_m_mm2", Limits::POSITIVE),
    };
    t.finish();
    approval
}

/// `approval = { … }` and the end of the line, or nothing.
pub(super) fn cell_approval(a: &CellApproval) -> String {
    line([
        a.class.map(|c| format!("class = {}", text(words::word(CELL_CLASSES, &c)))),
        stated("n_max", a.n_max),
        stated("v_min_g", a.v_min_g),
        stated("dead_min_kg", a.dead_min_kg),
        stated("error_share", a.error_share),
        a.temperature_c.map(|range| format!("temperature_C = {}", pair(range))),
        stated("input_ohm", a.input_ohm),
    ])
}

/// The same of the converter.
pub(super) fn converter_approval(a: &ConverterApproval) -> String {
    line([
        a.class.map(|c| format!("class = {}", text(words::word(CLASSES, &c)))),
        stated("n_max", a.n_max),
        stated("step_min_uV", a.step_min_uv),
        stated("input_min_mV", a.input_min_mv),
        stated("error_share", a.error_share),
        a.temperature_c.map(|range| format!("temperature_C = {}", pair(range))),
        a.bridge_ohm.map(|range| format!("bridge_ohm = {}", pair(range))),
        stated("cable_m_mm2", a.cable_m_mm2),
    ])
}

fn stated(key: &str, value: Option<f64>) -> Option<String> {
    value.map(|v| format!("{key} = {}", number(v)))
}

fn line<const N: usize>(keys: [Option<String>; N]) -> String {
    let stated: Vec<String> = keys.into_iter().flatten().collect();
    if stated.is_empty() { String::new() } else { format!("approval = {{ {} }}\n", stated.join(", ")) }
}
