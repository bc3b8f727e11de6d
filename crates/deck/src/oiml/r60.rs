//! OIML R 60-1:2021, load cells: permissible errors and the terms of a certificate.
//!
//! v = E_max / n_LC is the load cell's verification interval; all masses in kilograms.

/// Apportionment factor when a certificate states none (R 60-1, 5.3.2).
pub const P_LC_DEFAULT: f64 = 0.7;

pub use formats::deck::CellClass;

/// Maximum permissible error of a cell, ± kg, at a load (R 60-1, 5.3.1 and 5.3.2): linearity, hysteresis and temperature on span together.
pub fn mpe_kg(class: CellClass, v_kg: f64, load_kg: f64, p_lc: f64) -> f64 {
    let [low, mid] = match class {
        CellClass::A => [50_000.0, 200_000.0],
        CellClass::B => [5_000.0, 20_000.0],
        CellClass::C => [500.0, 2_000.0],
        CellClass::D => [50.0, 200.0],
    };
    // Band ends are inclusive; the margin takes up rounding of load/v.
    let intervals = load_kg.abs() / v_kg / (1.0 + 1e-9);
    let factor = if intervals <= low {
        0.5
    } else if intervals <= mid {
        1.0
    } else {
        1.5
    };
    p_lc * factor * v_kg
}
