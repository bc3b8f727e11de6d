//! Location and scale that a few wild values do not move.

/// Ratio of the standard deviation to the median absolute deviation of a normal distribution, 1/Φ⁻¹(3/4).
pub const MAD_TO_SD: f64 = 1.482_602_218_505_602;

/// The median; `None` without values. NaN sorts above all numbers and is the caller's to keep out.
pub fn median(values: &[f64]) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    median_of_sorted(&sorted)
}

/// The median of values in rising order; `None` without values.
pub fn median_of_sorted(sorted: &[f64]) -> Option<f64> {
    let n = sorted.len();
    match n {
        0 => None,
        n if n % 2 == 1 => Some(sorted[n / 2]),
        _ => Some(0.5 * (sorted[n / 2 - 1] + sorted[n / 2])),
    }
}

/// Median absolute deviation from the median, times [`MAD_TO_SD`]: estimates the standard deviation of normal values
/// and stands up to nearly half of them being wild. `None` without values.
pub fn mad_sd(values: &[f64]) -> Option<f64> {
    let centre = median(values)?;
    let deviations: Vec<f64> = values.iter().map(|v| (v - centre).abs()).collect();
    median(&deviations).map(|m| MAD_TO_SD * m)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn median_and_mad_of_small_sets() {
        assert_eq!(median(&[]), None);
        assert_eq!(median(&[3.0, 1.0, 2.0]), Some(2.0));
        assert_eq!(median(&[4.0, 1.0, 2.0, 3.0]), Some(2.5));
        // Deviations from the median 2 of 1, 1, 2, 2, 4, 6, 9 are 1, 1, 0, 0, 2, 4, 7; their median is 1.
        assert_eq!(mad_sd(&[1.0, 1.0, 2.0, 2.0, 4.0, 6.0, 9.0]), Some(MAD_TO_SD));
    }

    #[test]
    fn one_wild_value_does_not_matter() {
        assert_eq!(mad_sd(&[1.0, 2.0, 3.0, 4.0, 5.0]), mad_sd(&[1.0, 2.0, 3.0, 4.0, 1e9]));
    }
}
