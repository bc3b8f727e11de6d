//! Means, variances and covariances, by two passes so that a large mean costs no digits.

/// Mean; `None` without values.
pub fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}

/// Sum of squared deviations from the mean; 0 without values.
pub fn deviation_ss(values: &[f64]) -> f64 {
    cross_ss(values, values)
}

/// Sum of products of the deviations of two rows of equal length from their means; 0 without values.
pub fn cross_ss(x: &[f64], y: &[f64]) -> f64 {
    let (Some(x_mean), Some(y_mean)) = (mean(x), mean(y)) else { return 0.0 };
    let (mut products, mut x_left, mut y_left) = (0.0, 0.0, 0.0);
    for (x, y) in x.iter().zip(y) {
        products += (x - x_mean) * (y - y_mean);
        x_left += x - x_mean;
        y_left += y - y_mean;
    }
    // What rounding left in the mean (Chan, Golub & LeVeque 1983, corrected two-pass algorithm).
    products - x_left * y_left / x.len() as f64
}

/// Standard deviation with divisor n − 1; `None` below two values.
pub fn sd(values: &[f64]) -> Option<f64> {
    (values.len() > 1).then(|| (deviation_ss(values) / (values.len() - 1) as f64).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_large_mean_costs_no_digits() {
        // 10⁹ + (1, 2, 3, 4): the variance is 5/3 whatever the mean.
        let values: Vec<f64> = (1..=4).map(|i| 1e9 + f64::from(i)).collect();
        assert!((sd(&values).unwrap() - (5.0f64 / 3.0).sqrt()).abs() < 1e-15);
        assert_eq!(sd(&[1.0]), None);
        assert_eq!(mean(&[]), None);
    }
}
