//! Density of moist air: the CIPM-2007 equation.
//!
//! ρ = p M_a / (Z R T) · [1 − x_v (1 − M_v / M_a)], with x_v = h f p_sv / p.
//!
//! | symbol | name              | unit  |
//! |--------|-------------------|-------|
//! | p      | `pressure_pa`     | Pa    |
//! | t, T   | `temperature_c`, T | °C, K |
//! | h      | `humidity` (0–1)  | –     |
//! | x_v    | mole fraction of water vapour | – |
//! | Z      | compressibility   | –     |
//!
//! Source: A. Picard et al., Revised formula for the density of moist air (CIPM-2007), Metrologia 45 (2008) 149.
//! Holds for 600–1100 hPa and 15–27 °C. Carbon dioxide at 400 µmol/mol.

/// Molar gas constant R used by CIPM-2007, J/(mol K).
const GAS_CONSTANT: f64 = 8.314_472;
/// Molar mass of dry air at 400 µmol/mol of carbon dioxide, kg/mol.
const DRY_AIR_KG_MOL: f64 = 28.965_46e-3;
/// Molar mass of water, kg/mol.
const WATER_KG_MOL: f64 = 18.015_28e-3;
/// 0 °C in kelvin.
const ZERO_C_K: f64 = 273.15;

/// Air density by CIPM-2007, kg/m³. `humidity` is relative, 0 to 1.
pub fn density_kg_m3(temperature_c: f64, pressure_pa: f64, humidity: f64) -> f64 {
    let kelvin = temperature_c + ZERO_C_K;
    let saturation_pa =
        (1.237_884_7e-5 * kelvin * kelvin - 1.912_131_6e-2 * kelvin + 33.937_110_47 - 6.343_164_5e3 / kelvin).exp();
    let enhancement = 1.000_62 + 3.14e-8 * pressure_pa + 5.6e-7 * temperature_c * temperature_c;
    let x_v = humidity * enhancement * saturation_pa / pressure_pa;
    let p_t = pressure_pa / kelvin;
    let z = 1.0
        - p_t
            * (1.581_23e-6 - 2.933_1e-8 * temperature_c
                + 1.104_3e-10 * temperature_c * temperature_c
                + (5.707e-6 - 2.051e-8 * temperature_c) * x_v
                + (1.989_8e-4 - 2.376e-6 * temperature_c) * x_v * x_v)
        + p_t * p_t * (1.83e-11 - 0.765e-8 * x_v * x_v);
    p_t * DRY_AIR_KG_MOL / (z * GAS_CONSTANT) * (1.0 - x_v * (1.0 - WATER_KG_MOL / DRY_AIR_KG_MOL))
}

/// Mean air pressure at an altitude, Pa: the standard atmosphere p₀ (1 − 2.25577e-5 h)^5.25588 (ISO 2533, from memory).
pub fn pressure_at_pa(altitude_m: f64) -> f64 {
    101_325.0 * (1.0 - 2.255_77e-5 * altitude_m).powf(5.255_88)
}
