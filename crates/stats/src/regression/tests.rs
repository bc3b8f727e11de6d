use super::*;
use nalgebra::DMatrix;

fn close(found: f64, expected: f64, absolute: f64) {
    assert!((found - expected).abs() <= absolute, "found {found}, expected {expected}");
}

#[test]
fn bad_input_is_named() {
    let design = DMatrix::from_row_slice(3, 2, &[1.0, 0.0, 1.0, 1.0, 1.0, 2.0]);
    let y = [1.0, 2.0, 3.0];
    assert!(matches!(fit(&DMatrix::zeros(0, 2), &[], None), Err(FitError::Empty { n_rows: 0, n_cols: 2 })));
    assert!(matches!(fit(&design, &y[..2], None), Err(FitError::Length { what: "y", found: 2, expected: 3 })));
    assert!(matches!(fit(&design, &[1.0, f64::NAN, 0.0], None), Err(FitError::NotFinite { what: "y", index: 1 })));
    let weights = [1.0, -2.0, 1.0];
    assert!(matches!(fit(&design, &y, Some(&weights)), Err(FitError::NegativeWeight { index: 1, .. })));
    assert!(matches!(fit_rows(&[vec![1.0, 2.0], vec![1.0]], &y[..2], None), Err(FitError::Length { .. })));
    assert!(matches!(fit_polynomial(&[1.0, 1.0, 2.0], &y, None, 2), Err(FitError::TooFewDistinct { found: 2, .. })));
    let exact = fit(&design.rows(0, 2).into_owned(), &y[..2], None).unwrap();
    assert!(matches!(exact.covariance(Variance::FromResiduals), Err(FitError::NoFreedom { n_rows: 2, rank: 2 })));
    assert_eq!((exact.residual_sd(), exact.degrees_of_freedom()), (None, 0));
}

/// Two columns that are only ever seen together: their sum is determined, they are not; the third column is.
#[test]
fn undetermined_columns_are_named_and_the_rest_is_estimated() {
    let rows: Vec<[f64; 3]> = (0..9).map(|i| [f64::from(i % 4), 2.0 * f64::from(i % 4), f64::from(i)]).collect();
    let y: Vec<f64> =
        rows.iter().enumerate().map(|(i, r)| 5.0 * r[0] + 3.0 * r[2] + if i % 2 == 0 { 0.1 } else { -0.1 }).collect();
    let found = fit_rows(&rows, &y, None).unwrap();
    assert_eq!((found.rank(), found.undetermined()), (2, vec![0, 1]));
    assert!(found.coefficient(0).is_none() && found.coefficients()[1].is_nan());
    assert!(found.condition_number().is_infinite());
    // The same without the superfluous column.
    let slim: Vec<[f64; 2]> = rows.iter().map(|r| [r[0], r[2]]).collect();
    let slim = fit_rows(&slim, &y, None).unwrap();
    close(found.coefficient(2).unwrap(), slim.coefficient(1).unwrap(), 1e-13);
    close(found.residual_ss(), slim.residual_ss(), 1e-13);
    assert_eq!(found.degrees_of_freedom(), slim.degrees_of_freedom());
    let (a, b) = (
        found.standard_errors(Variance::FromResiduals).unwrap(),
        slim.standard_errors(Variance::FromResiduals).unwrap(),
    );
    assert!(a[0].is_nan() && a[1].is_nan());
    close(a[2], b[1], 1e-13);
    // β₀ + 2 β₁ is determined: it is the slim fit's coefficient.
    let sum = found.estimate(&[1.0, 2.0, 0.0], Variance::FromResiduals).unwrap().unwrap();
    close(sum.value, slim.coefficient(0).unwrap(), 1e-12);
    close(sum.u, b[0], 1e-12);
    assert_eq!(found.estimate(&[1.0, 0.0, 0.0], Variance::Known).unwrap(), None);
    let null = &found.null_space()[0];
    close(null[0] / null[1], -2.0, 1e-12);
    close(null[2], 0.0, 1e-12);
}

#[test]
fn a_column_of_zeros_is_undetermined_and_harmless() {
    let rows = [[1.0, 0.0], [2.0, 0.0], [3.0, 0.0]];
    let found = fit_rows(&rows, &[2.0, 4.0, 6.0], None).unwrap();
    assert_eq!(found.undetermined(), vec![1]);
    close(found.coefficient(0).unwrap(), 2.0, 1e-15);
    assert_eq!(fit_rows(&[[0.0], [0.0]], &[1.0, 2.0], None).unwrap().rank(), 0);
}

#[test]
fn fewer_rows_than_columns_settle_what_they_can() {
    let found = fit_rows(&[[1.0, 0.0, 0.0, 0.0], [0.0, 1.0, 1.0, 0.0]], &[7.0, 1.0], None).unwrap();
    assert_eq!((found.rank(), found.degrees_of_freedom()), (2, 0));
    assert_eq!(found.undetermined(), vec![1, 2, 3]);
    close(found.coefficient(0).unwrap(), 7.0, 1e-14);
}

/// Units must not decide the rank: a column in micro-units beside one in mega-units.
#[test]
fn scaling_of_columns_does_not_touch_the_rank() {
    let rows: Vec<[f64; 2]> = (0..6).map(|i| [1e9, 1e-9 * f64::from(i)]).collect();
    let y: Vec<f64> = (0..6).map(|i| 3.0 + 2.0 * f64::from(i)).collect();
    let found = fit_rows(&rows, &y, None).unwrap();
    assert_eq!(found.rank(), 2);
    close(found.coefficients()[0] / 3e-9, 1.0, 1e-13);
    close(found.coefficients()[1] / 2e9, 1.0, 1e-13);
    close(found.r_squared(), 1.0, 1e-14);
}

#[test]
fn a_constant_is_found_however_it_is_written() {
    // Two indicator columns add up to the constant.
    let rows = [[1.0, 0.0], [1.0, 0.0], [0.0, 1.0], [0.0, 1.0]];
    let found = fit_rows(&rows, &[1.0, 3.0, 5.0, 7.0], None).unwrap();
    assert!(found.has_constant());
    let anova = found.anova().unwrap();
    // Means 2 and 6 about 4: 16 between with 1 degree of freedom, 4 within with 2.
    assert_eq!((anova.regression_df, anova.residual_df), (1, 2));
    close(anova.regression_ss, 16.0, 1e-13);
    close(anova.residual_ss, 4.0, 1e-13);
    close(anova.f, 8.0, 1e-12);
    assert!(!fit_rows(&[[1.0], [2.0], [4.0]], &[1.0, 2.0, 3.0], None).unwrap().has_constant());
}

/// More rows than one band takes: the answer is that of the normal equations on a well-conditioned problem.
#[test]
fn bands_of_rows_are_one_problem() {
    let rows: Vec<[f64; 3]> = (0..700).map(f64::from).map(|i| [1.0, (0.37 * i).sin(), (1.1 * i).cos()]).collect();
    let y: Vec<f64> = (0..700).map(|i| (f64::from(i) * 0.7).sin()).collect();
    let weights: Vec<f64> = (0..700).map(|i| 1.0 + f64::from(i % 5)).collect();
    let found = fit_rows(&rows, &y, Some(&weights)).unwrap();
    let x = DMatrix::from_fn(700, 3, |i, j| rows[i][j]);
    let w = DMatrix::from_diagonal(&nalgebra::DVector::from_column_slice(&weights));
    let inverse = (x.transpose() * &w * &x).try_inverse().unwrap();
    let b = &inverse * x.transpose() * &w * DMatrix::from_column_slice(700, 1, &y);
    for j in 0..3 {
        close(found.coefficients()[j], b[j], 1e-13);
    }
    assert!((found.covariance(Variance::Known).unwrap() - &inverse).amax() < 1e-15);
    let hat = &x * inverse * x.transpose() * &w;
    for i in [0, 63, 64, 103, 104, 699] {
        close(found.leverages()[i], hat[(i, i)], 1e-14);
    }
}

#[test]
fn rows_without_weight_do_not_count() {
    let rows = [[1.0, 0.0], [1.0, 1.0], [1.0, 2.0], [1.0, 3.0], [1.0, 9.0]];
    let y = [0.1, 0.9, 2.2, 2.8, 77.0];
    let all = fit_rows(&rows, &y, Some(&[1.0, 1.0, 1.0, 1.0, 0.0])).unwrap();
    let four = fit_rows(&rows[..4], &y[..4], None).unwrap();
    close(all.coefficients()[1], four.coefficients()[1], 1e-14);
    assert_eq!(all.degrees_of_freedom(), 2);
    close(all.leverages()[4], 0.0, 0.0);
    assert!(externally_studentized(&all)[4].is_nan());
}

#[test]
fn lack_of_fit_needs_replicates_and_spare_groups() {
    let line = fit_polynomial(&[1.0, 2.0, 3.0, 4.0], &[1.0, 2.0, 3.1, 3.9], None, 1).unwrap();
    assert_eq!(lack_of_fit(line.fit(), &[0, 1, 2, 3]).unwrap(), None);
    assert_eq!(lack_of_fit(line.fit(), &[0, 0, 1, 1]).unwrap(), None);
    assert!(matches!(lack_of_fit(line.fit(), &[0]), Err(FitError::Length { .. })));
    let design = DMatrix::from_row_slice(4, 2, &[1.0, 0.0, 1.0, 5.0, 1.0, -0.0, 2.0, 5.0]);
    assert_eq!(replicate_groups(&design), [0, 1, 0, 2]);
}

#[test]
fn inverse_prediction_says_when_it_cannot() {
    let x = [0.0, 1.0, 2.0, 3.0, 4.0];
    let line = fit_polynomial(&x, &[0.0, 1.1, 1.9, 3.05, 4.0], None, 1).unwrap();
    assert!(matches!(inverse_prediction(&line, 50.0, 0.95), Err(InverseError::OutOfRange { .. })));
    assert!(matches!(inverse_prediction(&line, 2.0, 95.0), Err(InverseError::Confidence { .. })));
    let hill = fit_polynomial(&x, &[0.0, 3.0, 4.0, 3.1, 0.0], None, 2).unwrap();
    assert!(matches!(inverse_prediction(&hill, 2.0, 0.95), Err(InverseError::NotMonotone { .. })));
    let falling = fit_polynomial(&x, &[4.0, 3.05, 1.9, 1.1, 0.0], None, 1).unwrap();
    let found = inverse_prediction(&falling, 2.0, 0.95).unwrap();
    assert!(found.low < found.x && found.x < found.high, "{found:?}");
}

/// A line with small noise and three wild rows on one side, which pull the plain fit so far that they hide each other.
fn masked() -> (DMatrix<f64>, Vec<f64>) {
    let design = DMatrix::from_fn(30, 2, |i, j| if j == 0 { 1.0 } else { i as f64 });
    let mut y: Vec<f64> = (0..30).map(|i| 2.0 + 0.5 * f64::from(i) + 0.05 * (f64::from(i) * 2.3).sin()).collect();
    for row in [26, 27, 28] {
        y[row] += 6.0;
    }
    (design, y)
}

#[test]
fn outliers_that_mask_each_other_are_all_named() {
    let (design, y) = masked();
    let plain = externally_studentized(&fit(&design, &y, None).unwrap());
    // 0.01/30 two-sided with 27 degrees of freedom is 4.1: one by one, none of the three would be found.
    assert!(plain.iter().all(|t| t.abs() < 4.1), "{plain:?}");
    let search = find_outliers(&design, &y, None, 0.01).unwrap();
    let mut rows: Vec<usize> = search.outliers.iter().map(|o| o.row).collect();
    rows.sort_unstable();
    assert_eq!(rows, [26, 27, 28]);
    assert!(search.outliers.iter().all(|o| (o.deviation - 6.0).abs() < 0.2 && o.p < 1e-6));
    close(search.fit.coefficients()[1], 0.5, 0.01);
}

/// With a single outlier the test is that of its externally studentized residual.
#[test]
fn one_outlier_has_its_studentized_residual() {
    let (design, mut y) = masked();
    for row in [26, 27] {
        y[row] -= 6.0;
    }
    let plain = externally_studentized(&fit(&design, &y, None).unwrap());
    let search = find_outliers(&design, &y, None, 0.01).unwrap();
    assert_eq!(search.outliers.len(), 1);
    close(search.outliers[0].t / plain[28], 1.0, 1e-9);
}

#[test]
fn robust_fits_hold_where_plain_ones_are_pulled() {
    let (design, y) = masked();
    let plain = fit(&design, &y, None).unwrap();
    assert!((plain.coefficients()[1] - 0.5).abs() > 0.05);
    for loss in [RobustLoss::HUBER, RobustLoss::BISQUARE] {
        let robust = fit_robust(&design, &y, None, loss).unwrap();
        assert!(robust.converged, "{loss:?}");
        // Huber's weight never reaches zero: three rows of size 6 pull it by 1.345 scales each.
        close(robust.fit.coefficients()[1], 0.5, 0.01);
        assert!(robust.robust_weights[27] < 0.05 && robust.robust_weights[10] > 0.5);
    }
    // Rows met exactly leave no scale: the plain fit stands.
    let exact = fit_robust(&design, &(0..30).map(f64::from).collect::<Vec<_>>(), None, RobustLoss::HUBER).unwrap();
    close(exact.fit.coefficients()[1], 1.0, 1e-12);
}
