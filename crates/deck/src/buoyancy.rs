//! Conventional mass and the buoyancy of air.
//!
//! A balance compares forces m (1 − ρ_a/ρ) g. The conventional mass m_c of a body is the mass of a weight of
//! 8000 kg/m³ that balances it in air of 1.2 kg/m³ at 20 °C: m (1 − 1.2/ρ) = m_c (1 − 1.2/8000).
//!
//! Source: JCGM 101:2008, 9.3.1.2 (definition and model); OIML R 111-1:2004 (reference densities).
//! Densities in kg/m³, masses in kg. All densities must be positive, and a body denser than air.

/// Reference density of weights, kg/m³.
pub const WEIGHT_DENSITY_KG_M3: f64 = 8000.0;
/// Reference density of air, kg/m³.
pub const AIR_DENSITY_KG_M3: f64 = 1.2;
/// Density of a human body with half-filled lungs, kg/m³: 985 (full breath) to 1060 (exhaled) is usual (memory).
pub const BODY_DENSITY_KG_M3: f64 = 1010.0;

/// Indication, in kg, of an instrument that was adjusted with weights of 8000 kg/m³ in air of 1.2 kg/m³, when a body of
/// true mass and density lies on it in air of density `air_kg_m3`.
pub fn indication_kg(true_kg: f64, density_kg_m3: f64, air_kg_m3: f64) -> f64 {
    true_kg * (1.0 - air_kg_m3 / density_kg_m3) / (1.0 - AIR_DENSITY_KG_M3 / WEIGHT_DENSITY_KG_M3)
}
