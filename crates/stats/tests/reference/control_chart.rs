//! Control charts against the worked examples of the NIST/SEMATECH e-Handbook.

use bedplate_stats::control_chart::{AverageOptions, Process, RANGE_OF_TWO, individuals, moving_average};

use published::within;

/// Source: NIST/SEMATECH e-Handbook 6.3.2.2 (from memory; the arithmetic agrees): flow of ten batches, mean 50.81, mean
/// moving range 1.8778, limits 45.8159 and 55.8041 with d₂ = 1.128; no batch outside.
#[test]
fn flow_of_ten_batches_gives_the_published_limits() {
    let flow = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1];
    let chart = individuals(&flow, 3.0).unwrap();
    within(chart.limits.centre, 50.81, 5e-3);
    within(chart.mean_moving_range, 1.877_8, 5e-5);
    // The handbook's d₂ is rounded; with 2/√π = 1.128379 the limits stand 0.0017 nearer.
    let with_rounded = |limit: f64| chart.limits.centre + (limit - chart.limits.centre) * RANGE_OF_TWO / 1.128;
    within(with_rounded(chart.limits.upper), 55.804_1, 6e-5);
    within(with_rounded(chart.limits.lower), 45.815_9, 6e-5);
    within(chart.limits.upper, 55.804_1 - 0.001_7, 6e-5);
    assert!(chart.outside.is_empty() && chart.range_outside.is_empty());
}

/// Source: NIST/SEMATECH e-Handbook 6.3.2.4 (from memory; the arithmetic agrees): target 50, s = 2.0539, λ = 0.3, settled
/// limits 47.4115 and 52.5884, twenty readings and their moving averages to two places.
#[test]
fn twenty_readings_give_the_published_moving_averages() {
    let readings = [
        52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4,
        53.6, 52.1,
    ];
    let averages = [
        50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38, 49.92,
        50.73, 51.23, 51.94, 51.99,
    ];
    let process = Process { target: 50.0, sd: 2.053_9 };
    let points = moving_average(&readings, process, AverageOptions { weight: 0.3, reach: 3.0 }).unwrap();
    for (point, printed) in points.iter().zip(averages) {
        within(point.average, printed, 5.001e-3);
        assert!(point.in_control());
    }
    // Printed with √(0.3/1.7) = 0.4201; after twenty readings the limits are settled to 7e-7 of their width.
    within(points[19].limits.upper, 52.588_4, 5e-4);
    within(points[19].limits.lower, 47.411_5, 5e-4);
    // The first limits are those of 0.3 times one reading.
    within(points[0].limits.upper, 50.0 + 3.0 * 0.3 * 2.053_9, 1e-9);
}
