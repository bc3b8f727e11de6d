//! Factors from the units of the deck file to SI; the file is in millimetres, megapascals and N/mm.

/// Metres in a millimetre.
pub const MM: f64 = 1e-3;
/// Pascals in a megapascal.
pub const MPA: f64 = 1e6;
/// N/m in a N/mm.
pub const N_PER_MM: f64 = 1e3;

/// A pair of lengths in mm, in m.
pub fn m2([a_mm, b_mm]: [f64; 2]) -> [f64; 2] {
    [a_mm * MM, b_mm * MM]
}
