//! Grubbs' test against its tables.

use bedplate_stats::outliers::{Side, grubbs, grubbs_critical};

use published::within;

const N: [usize; 16] = [3, 4, 5, 6, 7, 8, 9, 10, 12, 15, 20, 25, 30, 40, 50, 100];

/// Source: critical values of Grubbs' test as tabled (LibreTexts, Analytical Chemistry, appendix 7, two-sided, to three
/// places; a one-sided table of the DIN kind), recomputed to four places with scipy 1.17.1. Two misprints of the printed
/// table are set right: n = 7 at 5 % is 2.020 (not 2.202), n = 15 at 1 % is 2.806 (not 2.755).
#[test]
fn critical_values_are_those_of_the_tables() {
    let one_5 = [
        1.1531, 1.4625, 1.6714, 1.8221, 1.9381, 2.0317, 2.1096, 2.1761, 2.2850, 2.4090, 2.5566, 2.6629, 2.7451, 2.8675,
        2.9570, 3.2095,
    ];
    let one_1 = [
        1.1546, 1.4925, 1.7489, 1.9442, 2.0973, 2.2208, 2.3231, 2.4097, 2.5494, 2.7049, 2.8838, 3.0086, 3.1029, 3.2395,
        3.3366, 3.6002,
    ];
    let two_5 = [
        1.1543, 1.4813, 1.7150, 1.8871, 2.0200, 2.1266, 2.2150, 2.2900, 2.4116, 2.5483, 2.7082, 2.8217, 2.9085, 3.0361,
        3.1282, 3.3841,
    ];
    let two_1 = [
        1.1547, 1.4962, 1.7637, 1.9728, 2.1391, 2.2744, 2.3868, 2.4821, 2.6357, 2.8061, 3.0008, 3.1353, 3.2361, 3.3807,
        3.4825, 3.7540,
    ];
    for (side, alpha, table) in
        [(Side::Upper, 0.05, one_5), (Side::Lower, 0.01, one_1), (Side::Both, 0.05, two_5), (Side::Both, 0.01, two_1)]
    {
        for (n, printed) in N.into_iter().zip(table) {
            within(grubbs_critical(n, side, alpha).unwrap(), printed, 5.1e-5);
        }
    }
}

/// Source: NIST/SEMATECH e-Handbook 1.3.5.17 (from memory; recomputed): mass spectrometer readings, G = 2.468765 against
/// 2.032 on the upper side at 5 %.
#[test]
fn the_handbook_example_has_one_outlier() {
    let values = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57];
    let found = grubbs(&values, Side::Upper, 0.05).unwrap();
    assert!(found.outlier && found.index == 7);
    within(found.g, 2.468_765, 5e-7);
    within(found.critical, 2.031_7, 5e-5);
    assert!(!grubbs(&values[..7], Side::Both, 0.05).unwrap().outlier);
}
