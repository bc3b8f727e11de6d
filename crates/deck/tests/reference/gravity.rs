use deck::gravity::{Ellipsoid, WGS84, gravity_m_s2};
use formats::deck::Site;
use published::within;

/// Geodetic Reference System 1980.
const GRS80: Ellipsoid = Ellipsoid {
    semi_major_m: 6_378_137.0,
    inverse_flattening: 298.257_222_101,
    gm_m3_s2: 3.986_005e14,
    omega_rad_s: 7.292_115e-5,
    equator_m_s2: 9.780_326_771_5,
    pole_m_s2: 9.832_186_368_5,
};

/// Source: Moritz, Geodetic Reference System 1980, J. Geodesy 74 (2000) 128: normal gravity at 0°, 45° and 90°.
#[test]
fn somigliana_gives_the_printed_gravity_of_grs80() {
    for (latitude_deg, printed) in [(0.0, 9.780_326_771_5), (45.0, 9.806_199_203), (90.0, 9.832_186_368_5)] {
        let computed = GRS80.gravity_m_s2(latitude_deg, 0.0);
        // Half the last printed place of the 45° value; k enters through printed end values only.
        within(computed, printed, 5.1e-10);
    }
}

/// Source: WGS 84 at sea level, computed independently (Python package boule 0.6.0, agreeing to 1e-12).
#[test]
fn somigliana_gives_wgs84_at_sea_level() {
    let table = [
        (15.0, 9.783_784_96),
        (30.0, 9.793_247_27),
        (45.0, 9.806_197_769),
        (48.0, 9.808_908_78),
        (50.0, 9.810_702_14),
        (52.0, 9.812_474_08),
        (54.0, 9.814_215_95),
        (60.0, 9.819_176_95),
        (75.0, 9.828_696_63),
    ];
    for (latitude_deg, expected) in table {
        let computed = WGS84.gravity_m_s2(latitude_deg, 0.0);
        // Half the last printed place.
        within(computed, expected, 5e-9);
    }
}

/// Source: WGS 84 with the second-order height term, computed independently for 45° and 1000 m.
#[test]
fn height_lowers_gravity() {
    let computed = WGS84.gravity_m_s2(45.0, 1000.0);
    within(computed, 9.803_112_9, 5e-8);
    // Free-air gradient at 45°: −3.0855e-6 s⁻²; 5e-10 is half its last place.
    let gradient = WGS84.gravity_m_s2(45.0, 1.0) - WGS84.gravity_m_s2(45.0, 0.0);
    assert!((gradient + 3.0855e-6).abs() < 5e-10, "{gradient}");
}

/// Source: WGS 84, computed independently: change of indication of an instrument that is moved.
#[test]
fn moving_an_instrument_changes_its_indication() {
    let place = |latitude_deg, altitude_m| Site::Place { latitude_deg, altitude_m };
    let table = [
        (place(60.17, 15.0), place(41.90, 20.0), -1.6221e-3),
        (place(52.52, 34.0), place(48.14, 519.0), -5.494e-4),
        (place(51.5, 10.0), place(55.95, 50.0), 3.792e-4),
        (place(45.0, 0.0), place(45.0, 300.0), -9.44e-5),
    ];
    for (from, to, expected) in table {
        let computed = gravity_m_s2(&to) / gravity_m_s2(&from) - 1.0;
        within(computed, expected, 5.1e-8);
    }
}
