//! The least-squares fit and what it knows.

use super::FitError;
use super::extremes::extreme_eigenvalues;
use super::leverages::leverages;
use super::qr::{PivotedQr, norm, scale_of};
use super::reduce::Triangle;
use super::vector::{add_scaled, dot};
use crate::distribution::f_sf;
use nalgebra::DMatrix;

/// A coefficient whose unit vector reaches less than this into the null space is determined. The null space itself is
/// known to about the machine precision times the condition of the independent columns.
const NULL_SPACE_TOLERANCE: f64 = 1e-9;

/// A constant lies in the column space if less than this share of it sticks out.
const CONSTANT_TOLERANCE: f64 = 1e-10;

/// Below this the ratio of the squared singular values is right to 1e-6 or better.
const SQUARED_CONDITION_MAX: f64 = 1e8;

/// How the covariance is scaled.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Variance {
    /// The weights are 1/variance: C = (XᵀWX)⁻¹.
    Known,
    /// The weights are relative (or absent): C = s² (XᵀWX)⁻¹ with s² from the residuals.
    FromResiduals,
}

/// Settings of [`fit_with`].
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct FitOptions {
    /// A column that keeps less than this share of its norm beside the columns before it counts as dependent on them.
    /// `None`: 8 ε max(n_rows, n_cols), the size of rounding.
    pub rank_tolerance: Option<f64>,
}

/// A value with its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The estimate.
    pub value: f64,
    /// Its standard uncertainty.
    pub u: f64,
}

/// Analysis of variance of a fit: regression against residuals.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Anova {
    /// Sum of squares of the fitted values, about the mean where the model holds a constant.
    pub regression_ss: f64,
    /// Its degrees of freedom.
    pub regression_df: usize,
    /// Weighted sum of squared residuals.
    pub residual_ss: f64,
    /// Its degrees of freedom.
    pub residual_df: usize,
    /// Ratio of the mean squares.
    pub f: f64,
    /// Probability of a greater F if every coefficient (but the constant) were zero.
    pub p: f64,
}

/// A weighted least-squares fit. Made by [`fit`], [`fit_with`] or [`fit_rows`].
#[derive(Debug, Clone)]
pub struct Fit {
    coefficients: Vec<f64>,
    determined: Vec<bool>,
    /// Coefficients with the dependent columns' set to 0: good for predictions, not to be shown.
    basic: Vec<f64>,
    /// Their covariance with s² = 1.
    basic_covariance: DMatrix<f64>,
    null_space: Vec<Vec<f64>>,
    norms: Vec<f64>,
    r: DMatrix<f64>,
    fitted: Vec<f64>,
    residuals: Vec<f64>,
    weights: Option<Vec<f64>>,
    leverages: Vec<f64>,
    residual_ss: f64,
    regression_ss: f64,
    total_ss: f64,
    has_constant: bool,
    n_effective: usize,
}

/// Fits `y` on the columns of `design` with `weights` (1/variance; `None`: all equal) and default settings.
///
/// # Errors
/// Empty or non-finite input, lengths that do not match, a negative weight. Deficient rank is no error.
pub fn fit(design: &DMatrix<f64>, y: &[f64], weights: Option<&[f64]>) -> Result<Fit, FitError> {
    fit_with(design, y, weights, FitOptions::default())
}

/// As [`fit`], for a design given row by row.
///
/// # Errors
/// As [`fit`], and rows of different length.
pub fn fit_rows<R: AsRef<[f64]>>(rows: &[R], y: &[f64], weights: Option<&[f64]>) -> Result<Fit, FitError> {
    let n_cols = rows.first().map_or(0, |r| r.as_ref().len());
    if let Some(row) = rows.iter().find(|r| r.as_ref().len() != n_cols) {
        return Err(FitError::Length { what: "a row of the design", found: row.as_ref().len(), expected: n_cols });
    }
    fit(&DMatrix::from_fn(rows.len(), n_cols, |i, j| rows[i].as_ref()[j]), y, weights)
}

/// As [`fit`], with settings.
///
/// # Errors
/// As [`fit`].
pub fn fit_with(
    design: &DMatrix<f64>,
    y: &[f64],
    weights: Option<&[f64]>,
    options: FitOptions,
) -> Result<Fit, FitError> {
    validate(design, y, weights)?;
    let (n_rows, n_cols) = design.shape();
    let roots: Option<Vec<f64>> = weights.map(|w| w.iter().map(|w| w.sqrt()).collect());
    let weighted = |values: &mut [f64]| {
        if let Some(roots) = &roots {
            values.iter_mut().zip(roots).for_each(|(v, s)| *v *= s);
        }
    };

    let norms = column_norms(design.as_slice(), n_rows, roots.as_deref());
    let scales: Vec<f64> = norms.iter().map(|&n| scale_of(n)).collect();
    // Carried along: y, the constant, and y about its mean, so that a large mean does not swallow the digits of R² and F.
    let mean = weighted_mean(y, weights);
    let mut carried = [y.to_vec(), vec![1.0; n_rows], y.iter().map(|v| v - mean).collect()];
    carried.iter_mut().for_each(|column| weighted(column));
    let triangle =
        Triangle::reduce_many(design.as_slice(), n_rows, roots.as_deref(), &scales, carried.each_ref().map(|c| &c[..]));

    let tolerance = options.rank_tolerance.unwrap_or(8.0 * f64::EPSILON * n_rows.max(n_cols) as f64);
    let left = triangle.n_rows;
    let mut columns = Vec::with_capacity(left * n_cols);
    for k in 0..n_cols {
        columns.extend((0..left).map(|i| triangle.at(i, k)));
    }
    let qr = PivotedQr::new(columns, left, norms, tolerance);
    let rank = qr.rank();
    // In and outside the space of the columns: coordinates and sum of squares.
    let split = |e: usize| {
        let mut rotated = triangle.carried(e);
        qr.apply_q_transposed(&mut rotated);
        let outside = triangle.outside[e] + dot(&rotated[rank..], &rotated[rank..]);
        rotated.truncate(rank);
        (rotated, outside)
    };
    let (mut solved, residual_ss) = split(0);
    let raw_regression_ss = dot(&solved, &solved);
    let mut basic = vec![0.0; n_cols];
    qr.solve_r(&mut solved);
    for (k, value) in solved.into_iter().enumerate() {
        let j = qr.pivots()[k];
        basic[j] = value / qr.norm(j);
    }
    let (_, outside) = split(1);
    let has_constant = outside <= dot(&carried[1], &carried[1]) * CONSTANT_TOLERANCE * CONSTANT_TOLERANCE;
    let (regression_ss, total_ss) = if has_constant {
        let (inside, _) = split(2);
        (dot(&inside, &inside), dot(&carried[2], &carried[2]))
    } else {
        (raw_regression_ss, dot(&carried[0], &carried[0]))
    };

    let mut fitted = vec![0.0; n_rows];
    for (column, &b) in design.as_slice().chunks_exact(n_rows).zip(&basic) {
        add_scaled(&mut fitted, b, column);
    }
    let residuals = y.iter().zip(&fitted).map(|(y, f)| y - f).collect();
    let null_space = qr.null_space();
    let determined: Vec<bool> =
        (0..n_cols).map(|j| null_space.iter().all(|v| v[j].abs() <= NULL_SPACE_TOLERANCE)).collect();
    let coefficients = basic.iter().zip(&determined).map(|(&b, &known)| if known { b } else { f64::NAN }).collect();
    Ok(Fit {
        coefficients,
        determined,
        basic_covariance: covariance(&qr, n_cols),
        basic,
        null_space,
        norms: (0..n_cols).map(|j| qr.norm(j)).collect(),
        r: DMatrix::from_fn(rank, rank, |i, k| if i <= k { qr.r(i, k) } else { 0.0 }),
        fitted,
        residuals,
        weights: weights.map(<[f64]>::to_vec),
        leverages: leverages(design.as_slice(), n_rows, roots.as_deref(), &qr),
        residual_ss,
        regression_ss,
        total_ss,
        has_constant,
        n_effective: weights.map_or(n_rows, |w| w.iter().filter(|&&w| w > 0.0).count()),
    })
}

impl Fit {
    /// The coefficients; NaN where the data do not determine one.
    pub fn coefficients(&self) -> &[f64] {
        &self.coefficients
    }

    /// Coefficient `j`, or `None` where the data do not determine it (or there is no such column).
    pub fn coefficient(&self, j: usize) -> Option<f64> {
        self.coefficients.get(j).copied().filter(|b| !b.is_nan())
    }

    /// Whether the data determine each coefficient.
    pub fn determined(&self) -> &[bool] {
        &self.determined
    }

    /// Columns whose coefficients the data leave open.
    pub fn undetermined(&self) -> Vec<usize> {
        (0..self.determined.len()).filter(|&j| !self.determined[j]).collect()
    }

    /// Directions in coefficient space that do not change a single fitted value: one vector for each missing rank.
    pub fn null_space(&self) -> Vec<Vec<f64>> {
        let unscale =
            |v: &Vec<f64>| v.iter().zip(&self.norms).map(|(v, n)| if *n > 0.0 { v / n } else { *v }).collect();
        self.null_space.iter().map(unscale).collect()
    }

    /// Number of independent columns.
    pub fn rank(&self) -> usize {
        self.r.nrows()
    }

    /// Rows of positive weight less the rank.
    pub fn degrees_of_freedom(&self) -> usize {
        self.n_effective.saturating_sub(self.rank())
    }

    /// Fitted values, in the unit of y.
    pub fn fitted(&self) -> &[f64] {
        &self.fitted
    }

    /// Observed − fitted, in the unit of y, not weighted.
    pub fn residuals(&self) -> &[f64] {
        &self.residuals
    }

    /// Weights as given; `None` where all were equal.
    pub fn weights(&self) -> Option<&[f64]> {
        self.weights.as_deref()
    }

    /// Weight of row `i`.
    pub fn weight(&self, i: usize) -> f64 {
        self.weights.as_ref().map_or(1.0, |w| w[i])
    }

    /// Leverages hᵢ: the pull of observation i on its own fitted value.
    pub fn leverages(&self) -> &[f64] {
        &self.leverages
    }

    /// Σ w r².
    pub fn residual_ss(&self) -> f64 {
        self.residual_ss
    }

    /// √(Σ w r²/ν); `None` without a degree of freedom. With weights 1/variance it should be near 1.
    pub fn residual_sd(&self) -> Option<f64> {
        let nu = self.degrees_of_freedom();
        (nu > 0).then(|| (self.residual_ss / nu as f64).sqrt())
    }

    /// Whether a constant lies in the space of the columns; R² and F are then taken about the mean.
    pub fn has_constant(&self) -> bool {
        self.has_constant
    }

    /// Share of the variation (about the mean where the model holds a constant) that the fit explains.
    pub fn r_squared(&self) -> f64 {
        1.0 - self.residual_ss / self.total_ss
    }

    /// Regression against residuals.
    ///
    /// # Errors
    /// [`FitError::NoFreedom`] where no residual degree of freedom is left.
    pub fn anova(&self) -> Result<Anova, FitError> {
        let residual_df = self.degrees_of_freedom();
        let regression_df = self.rank() - usize::from(self.has_constant && self.rank() > 0);
        if residual_df == 0 {
            return Err(self.no_freedom());
        }
        let f = self.regression_ss / regression_df as f64 / (self.residual_ss / residual_df as f64);
        Ok(Anova {
            regression_ss: self.regression_ss,
            regression_df,
            residual_ss: self.residual_ss,
            residual_df,
            f,
            p: f_sf(f, regression_df as f64, residual_df as f64),
        })
    }

    /// Full covariance of the coefficients; rows and columns of undetermined ones are NaN.
    ///
    /// # Errors
    /// [`FitError::NoFreedom`] where the scale is to come from residuals and no degree of freedom is left.
    pub fn covariance(&self, variance: Variance) -> Result<DMatrix<f64>, FitError> {
        let mut covariance = &self.basic_covariance * self.scale(variance)?;
        for j in self.undetermined() {
            covariance.row_mut(j).fill(f64::NAN);
            covariance.column_mut(j).fill(f64::NAN);
        }
        Ok(covariance)
    }

    /// Standard uncertainties of the coefficients; NaN where undetermined.
    ///
    /// # Errors
    /// As [`Fit::covariance`].
    pub fn standard_errors(&self, variance: Variance) -> Result<Vec<f64>, FitError> {
        let scale = self.scale(variance)?;
        let error = |j: usize| {
            if self.determined[j] { (self.basic_covariance[(j, j)] * scale).sqrt() } else { f64::NAN }
        };
        Ok((0..self.determined.len()).map(error).collect())
    }

    /// The combination Σ aⱼ βⱼ with its uncertainty (of the mean, not of a new observation), or `None` where the data
    /// do not determine it. A combination can be determined although its coefficients one by one are not.
    ///
    /// # Errors
    /// [`FitError::Length`] for a combination of the wrong length, else as [`Fit::covariance`].
    pub fn estimate(&self, combination: &[f64], variance: Variance) -> Result<Option<Estimate>, FitError> {
        if combination.len() != self.basic.len() {
            return Err(FitError::Length {
                what: "the combination",
                found: combination.len(),
                expected: self.basic.len(),
            });
        }
        let scale = self.scale(variance)?;
        let scaled: Vec<f64> =
            combination.iter().zip(&self.norms).map(|(a, n)| if *n > 0.0 { a / n } else { *a }).collect();
        let size = dot(&scaled, &scaled).sqrt();
        if self.null_space.iter().any(|v| dot(v, &scaled).abs() > NULL_SPACE_TOLERANCE * size) {
            return Ok(None);
        }
        let spread = DMatrix::from_column_slice(combination.len(), 1, combination);
        let square = (spread.transpose() * &self.basic_covariance * &spread)[(0, 0)];
        Ok(Some(Estimate { value: dot(combination, &self.basic), u: (square.max(0.0) * scale).sqrt() }))
    }

    /// Ratio of the largest to the smallest singular value of the column-scaled design; ∞ where the rank is deficient.
    /// Below about 10 every coefficient stands on its own, above about 10³ the data hardly tell some apart.
    pub fn condition_number(&self) -> f64 {
        if self.rank() < self.determined.len() {
            return f64::INFINITY;
        }
        // The squares are the eigenvalues of RᵀR, found in a third of the time; where squaring would cost more than half of
        // the smallest one's digits, the singular values themselves.
        let [least, most] = extreme_eigenvalues(self.r.tr_mul(&self.r));
        let ratio = most / least;
        if ratio > 0.0 && ratio < SQUARED_CONDITION_MAX {
            return ratio.sqrt();
        }
        let singular = self.r.singular_values();
        singular.max() / singular.min()
    }

    /// The factor on (XᵀWX)⁻¹.
    fn scale(&self, variance: Variance) -> Result<f64, FitError> {
        match variance {
            Variance::Known => Ok(1.0),
            Variance::FromResiduals => self.residual_sd().map(|s| s * s).ok_or_else(|| self.no_freedom()),
        }
    }

    fn no_freedom(&self) -> FitError {
        FitError::NoFreedom { n_rows: self.n_effective, rank: self.rank() }
    }
}

fn validate(design: &DMatrix<f64>, y: &[f64], weights: Option<&[f64]>) -> Result<(), FitError> {
    let (n_rows, n_cols) = design.shape();
    if n_rows == 0 || n_cols == 0 {
        return Err(FitError::Empty { n_rows, n_cols });
    }
    for (what, values) in [("y", Some(y)), ("the weights", weights)] {
        if let Some(values) = values
            && values.len() != n_rows
        {
            return Err(FitError::Length { what, found: values.len(), expected: n_rows });
        }
    }
    let odd = |values: &[f64]| values.iter().position(|v| !v.is_finite());
    if let Some(index) = odd(design.as_slice()) {
        return Err(FitError::NotFinite { what: "design row", index: index % n_rows });
    }
    if let Some(index) = odd(y) {
        return Err(FitError::NotFinite { what: "y", index });
    }
    let Some(weights) = weights else { return Ok(()) };
    if let Some(index) = odd(weights) {
        return Err(FitError::NotFinite { what: "weight", index });
    }
    match weights.iter().position(|&w| w < 0.0) {
        Some(index) => Err(FitError::NegativeWeight { index, value: weights[index] }),
        None => Ok(()),
    }
}

/// Euclidean norms of the weighted columns.
fn column_norms(design: &[f64], n_rows: usize, roots: Option<&[f64]>) -> Vec<f64> {
    let columns = design.chunks_exact(n_rows);
    match roots {
        None => columns.map(norm).collect(),
        Some(roots) => {
            let mut weighted = vec![0.0; n_rows];
            columns
                .map(|column| {
                    weighted.iter_mut().zip(column).zip(roots).for_each(|((w, x), root)| *w = x * root);
                    norm(&weighted)
                })
                .collect()
        }
    }
}

fn weighted_mean(y: &[f64], weights: Option<&[f64]>) -> f64 {
    match weights {
        None => y.iter().sum::<f64>() / y.len() as f64,
        Some(w) => {
            let sum: f64 = w.iter().sum();
            if sum > 0.0 { dot(w, y) / sum } else { 0.0 }
        }
    }
}

/// (XᵀWX)⁻¹ of the independent columns in original units, zero elsewhere: D⁻¹ P R⁻¹ R⁻ᵀ Pᵀ D⁻¹.
fn covariance(qr: &PivotedQr, n_cols: usize) -> DMatrix<f64> {
    let rank = qr.rank();
    let inverse = qr.inverse_r();
    // Row i of R⁻¹ laid down contiguously, so that C_ij is a dot product of two rows from their later start on.
    let mut rows = vec![0.0; rank * rank];
    for (k, column) in inverse.chunks_exact(rank.max(1)).enumerate() {
        for (i, value) in column.iter().enumerate() {
            rows[i * rank + k] = *value;
        }
    }
    let mut covariance = DMatrix::zeros(n_cols, n_cols);
    for i in 0..rank {
        for k in i..rank {
            let (a, b) = (qr.pivots()[i], qr.pivots()[k]);
            let product = dot(&rows[i * rank + k..(i + 1) * rank], &rows[k * rank + k..(k + 1) * rank]);
            let value = product / (qr.norm(a) * qr.norm(b));
            covariance[(a, b)] = value;
            covariance[(b, a)] = value;
        }
    }
    covariance
}
