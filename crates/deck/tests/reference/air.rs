use deck::air::density_kg_m3;
use deck::buoyancy::indication_kg;
use published::{within, within_share};

/// Source: Picard et al., Metrologia 45 (2008) 149 (CIPM-2007), computed independently from the published constants to the six
/// decimals shown.
#[test]
fn moist_air() {
    // t/°C, p/hPa, h/%, CIPM-2007.
    let table = [
        (20.0, 1013.25, 50.0, 1.199_314),
        (20.0, 1013.25, 0.0, 1.204_557),
        (15.0, 1013.25, 50.0, 1.221_631),
        (25.0, 1013.25, 50.0, 1.177_315),
        (22.0, 1000.0, 40.0, 1.176_009),
        (20.0, 850.0, 40.0, 1.006_230),
    ];
    for (t, hpa, h, cipm) in table {
        // Half the last printed place, and a little for the printed value's own rounding.
        within(density_kg_m3(t, hpa * 100.0, h / 100.0), cipm, 6e-7);
    }
}

/// Source: NIST IR 6969, SOP 2, test values (mmHg; an equation of 1978, so met to 1e-4 relative only).
#[test]
fn the_older_test_values_are_near() {
    for (t, mmhg, h, printed) in [(22.3, 748.1, 0.37, 1.171_94), (23.4, 612.3, 0.23, 0.956_32)] {
        let computed = density_kg_m3(t, mmhg * 133.322_387, h);
        within_share(computed, printed, 1e-4);
    }
}

/// Source: CIPM-2007, relative sensitivities at 20 °C, 1013.25 hPa, 50 %: −3.69e-3/°C, 9.916e-6/Pa, −8.73e-3 per unit of humidity.
#[test]
fn air_density_sensitivities() {
    let rho = |t, p, h| density_kg_m3(t, p, h);
    let base = rho(20.0, 101_325.0, 0.5);
    let slope = |up: f64, down: f64, step: f64| (up - down) / (2.0 * step) / base;
    let dt = slope(rho(20.1, 101_325.0, 0.5), rho(19.9, 101_325.0, 0.5), 0.1);
    let dp = slope(rho(20.0, 101_425.0, 0.5), rho(20.0, 101_225.0, 0.5), 100.0);
    let dh = slope(rho(20.0, 101_325.0, 0.51), rho(20.0, 101_325.0, 0.49), 0.01);
    assert!((dt + 3.69e-3).abs() < 5e-6, "{dt}");
    within(dp, 9.916e-6, 5e-10);
    assert!((dh + 8.73e-3).abs() < 5e-6, "{dh}");
}

/// Source: R 111-1 definition of conventional mass, worked for 80 kg of several densities.
#[test]
fn indication_of_an_80_kg_body() {
    // density, air density, indication − true mass, g.
    let table = [
        (1000.0, 1.2, -84.01),
        (1000.0, 1.1, -76.01),
        (985.0, 1.2, -85.47),
        (1060.0, 1.2, -78.58),
        (2700.0, 1.2, -23.56),
        (7850.0, 1.2, -0.23),
    ];
    for (density, air, printed_g) in table {
        let g = (indication_kg(80.0, density, air) - 80.0) * 1000.0;
        within(g, printed_g, 0.006);
    }
}
