//! Allan family of deviations against the test suites of NIST SP 1065.

use bedplate_stats::allan::{AllanError, Deviation, Record};

use published::within;

/// Source: NIST SP 1065 (2008), pp. 107–108, table of nine frequency values.
const SMALL: [f64; 9] = [892., 809., 823., 798., 671., 644., 883., 903., 677.];

/// Source: the same, p. 108: n ← 16807 n mod (2³¹ − 1) from 1234567890, divided by 2³¹ − 1.
pub(crate) fn thousand() -> Vec<f64> {
    let mut n = 1_234_567_890_u64;
    (0..1000)
        .map(|_| {
            let value = n as f64 / 2_147_483_647.0;
            n = 16_807 * n % 2_147_483_647;
            value
        })
        .collect()
}

type Statistic = fn(&Record, usize) -> Result<Deviation, AllanError>;

const STATISTICS: [Statistic; 4] = [Record::allan, Record::overlapping, Record::modified, Record::time];

/// Half of the last of seven printed digits.
fn half_a_digit(printed: f64) -> f64 {
    0.500_1 * 10f64.powi(printed.log10().floor() as i32 - 6)
}

#[test]
fn nine_values_give_the_published_deviations() {
    let record = Record::from_frequency(&SMALL, 1.0).unwrap();
    let published: [[f64; 2]; 4] =
        [[91.22945, 115.8082], [91.22945, 85.95287], [91.22945, 74.78849], [52.67135, 86.35831]];
    for (statistic, printed) in STATISTICS.iter().zip(published) {
        for (factor, printed) in [1, 2].into_iter().zip(printed) {
            within(statistic(&record, factor).unwrap().value, printed, half_a_digit(printed));
        }
    }
}

#[test]
pub(crate) fn thousand_values_give_the_published_deviations() {
    let values = thousand();
    // The published start of the series, from its second member on, and its moments.
    within(values[1], 395_529_916.0 / 2_147_483_647.0, 1e-15);
    within(values[2], 1_209_410_747.0 / 2_147_483_647.0, 1e-15);
    within(values[3], 633_705_974.0 / 2_147_483_647.0, 1e-15);
    within(values.iter().sum::<f64>() / 1000.0, 0.489_774_5, 5e-8);
    let record = Record::from_frequency(&values, 1.0).unwrap();
    let published: [[f64; 3]; 4] = [
        [0.292_231_9, 0.099_657_36, 0.038_978_04],
        [0.292_231_9, 0.091_599_53, 0.032_413_43],
        [0.292_231_9, 0.061_723_76, 0.021_709_21],
        [0.168_720_2, 0.356_362_3, 1.253_382],
    ];
    for (statistic, printed) in STATISTICS.iter().zip(published) {
        for (factor, printed) in [1, 10, 100].into_iter().zip(printed) {
            let found = statistic(&record, factor).unwrap();
            within(found.value, printed, half_a_digit(printed));
            within(found.tau_s, factor as f64, 1e-12);
        }
    }
}

/// The published phase of the nine values, after removal of their mean, gives the same as the values.
#[test]
fn phase_and_frequency_agree() {
    let phase = [0., 103.11111, 123.22222, 157.33333, 166.44444, 48.55555, -96.33333, -2.22222, 111.88889, 0.];
    let steps: Vec<f64> = phase.windows(2).map(|x| x[1] - x[0]).collect();
    let from_phase = Record::from_frequency(&steps, 1.0).unwrap();
    let from_frequency = Record::from_frequency(&SMALL, 1.0).unwrap();
    for statistic in STATISTICS {
        for factor in [1, 2] {
            let (a, b) = (statistic(&from_phase, factor).unwrap(), statistic(&from_frequency, factor).unwrap());
            // Phases are printed to 5e-6 and differenced four to eight times over.
            within(a.value, b.value, 4e-5);
            assert_eq!(a.terms, b.terms);
        }
    }
}
