//! Digit preference: the step to which the volumes of one kind are rounded.

/// Steps that people round to, mL.
const STEPS_ML: [f64; 9] = [500.0, 250.0, 200.0, 100.0, 50.0, 25.0, 20.0, 10.0, 5.0];
/// Distinct volumes needed before a step is believed: equal volumes say nothing about rounding, for a
/// pump that runs at 100 mL/h is charted as 100 again and again and is right.
const N_DISTINCT_MIN: usize = 5;

/// Few guesses do not show a coarser step than this, mL.
const GUESS_STEP_ML_MAX: f64 = 50.0;

/// The largest step of which nine in ten of the distinct volumes are multiples, mL; 1 where none is.
///
/// Where volumes are `guessed` (cups, stool) even a single one shows its step, though none above
/// 50 mL: a litre in one bottle is no guess to the next 500.
pub fn digit_step_ml(volumes_ml: &[f64], guessed: bool) -> f64 {
    let mut distinct: Vec<f64> = volumes_ml.iter().copied().filter(|v| v.is_finite() && *v > 0.0).collect();
    distinct.sort_by(f64::total_cmp);
    distinct.dedup_by(|a, b| (*a - *b).abs() < 1e-9);
    let few = distinct.len() < N_DISTINCT_MIN;
    if distinct.is_empty() || (few && !guessed) {
        return 1.0;
    }
    let is_multiple = |volume: f64, step: f64| (volume / step - (volume / step).round()).abs() < 1e-6;
    STEPS_ML
        .into_iter()
        .filter(|step| !few || *step <= GUESS_STEP_ML_MAX)
        .find(|&step| {
            let n_fit = distinct.iter().filter(|&&volume| is_multiple(volume, step)).count();
            10 * n_fit >= 9 * distinct.len()
        })
        .unwrap_or(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn volumes_read_to_the_next_5_ml_show_a_step_of_5() {
        let step = digit_step_ml(&[35.0, 70.0, 85.0, 80.0, 95.0, 40.0, 55.0], false);
        assert!((step - 5.0).abs() < 1e-12);
    }

    #[test]
    fn one_odd_volume_in_ten_does_not_hide_the_step() {
        let mut volumes: Vec<f64> = (1..=10).map(|i| 50.0 * f64::from(i)).collect();
        volumes.push(43.0);
        assert!((digit_step_ml(&volumes, false) - 50.0).abs() < 1e-12);
    }

    #[test]
    fn one_guess_of_150_is_a_guess_to_the_next_50() {
        assert!((digit_step_ml(&[150.0], true) - 50.0).abs() < 1e-12);
        assert!((digit_step_ml(&[500.0], true) - 50.0).abs() < 1e-12);
    }

    #[test]
    fn a_steady_pump_is_not_taken_for_rounding() {
        assert!((digit_step_ml(&[100.0; 40], false) - 1.0).abs() < 1e-12);
    }
}
