//! Polynomials in one variable, fitted in a scaled variable and told in the original one.
//!
//! y = Σ bⱼ xʲ is fitted as Σ gⱼ zʲ, z = (x − c)/h. The powers of z are far less alike than those of x: raw loads of 10⁶
//! cost a quadratic half of its digits. Then b = T g and Cov b = T (Cov g) Tᵀ hold exactly, with
//! T[i][j] = binom(j, i) (−c)^{j−i} / hʲ.

use super::{Estimate, Fit, FitError, Variance, fit};
use nalgebra::DMatrix;

/// A fitted polynomial.
#[derive(Debug, Clone)]
pub struct Polynomial {
    fit: Fit,
    centre: f64,
    half_width: f64,
    x_range: (f64, f64),
}

/// Fits a polynomial of `degree` to `y` over `x`, with `weights` (1/variance; `None`: all equal).
///
/// # Errors
/// As [`fit`], and [`FitError::TooFewDistinct`] where there are not more distinct x than the degree.
pub fn fit_polynomial(x: &[f64], y: &[f64], weights: Option<&[f64]>, degree: usize) -> Result<Polynomial, FitError> {
    if let Some(index) = x.iter().position(|v| !v.is_finite()) {
        return Err(FitError::NotFinite { what: "x", index });
    }
    if x.len() != y.len() {
        return Err(FitError::Length { what: "x", found: x.len(), expected: y.len() });
    }
    let mut sorted = x.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.dedup();
    if sorted.len() <= degree {
        return Err(FitError::TooFewDistinct { degree, found: sorted.len() });
    }
    let (low, high) = (sorted[0], sorted[sorted.len() - 1]);
    // Centring far data keeps their powers apart; centring data that reach near 0 gains nothing and makes the
    // coefficients in x a difference of larger ones.
    let near_zero = low.min(high.abs()) <= low.abs().max(high.abs()) / 3.0 || low <= 0.0 && high >= 0.0;
    let centre = if near_zero { 0.0 } else { 0.5 * (low + high) };
    let half_width = (high - centre).abs().max((low - centre).abs());
    let half_width = if half_width > 0.0 { half_width } else { 1.0 };
    let mut design = DMatrix::zeros(x.len(), degree + 1);
    for (i, x) in x.iter().enumerate() {
        let row = powers((x - centre) / half_width, degree + 1);
        row.enumerate().for_each(|(j, power)| design[(i, j)] = power);
    }
    Ok(Polynomial { fit: fit(&design, y, weights)?, centre, half_width, x_range: (low, high) })
}

impl Polynomial {
    /// The fit in powers of z = (x − centre)/half-width.
    pub fn fit(&self) -> &Fit {
        &self.fit
    }

    /// Degree of the polynomial.
    pub fn degree(&self) -> usize {
        self.fit.coefficients().len() - 1
    }

    /// Smallest and largest x that the fit has seen.
    pub fn x_range(&self) -> (f64, f64) {
        self.x_range
    }

    /// Coefficients of 1, x, x², …
    pub fn coefficients(&self) -> Vec<f64> {
        let scaled = DMatrix::from_column_slice(self.degree() + 1, 1, self.fit.coefficients());
        (self.transform() * scaled).as_slice().to_vec()
    }

    /// Covariance of the coefficients of 1, x, x², …
    ///
    /// # Errors
    /// As [`Fit::covariance`].
    pub fn covariance(&self, variance: Variance) -> Result<DMatrix<f64>, FitError> {
        let transform = self.transform();
        Ok(&transform * self.fit.covariance(variance)? * transform.transpose())
    }

    /// Standard uncertainties of the coefficients of 1, x, x², …
    ///
    /// # Errors
    /// As [`Fit::covariance`].
    pub fn standard_errors(&self, variance: Variance) -> Result<Vec<f64>, FitError> {
        Ok(self.covariance(variance)?.diagonal().iter().map(|v| v.sqrt()).collect())
    }

    /// The polynomial at `x`.
    pub fn value(&self, x: f64) -> f64 {
        let z = (x - self.centre) / self.half_width;
        self.fit.coefficients().iter().rev().fold(0.0, |sum, g| sum * z + g)
    }

    /// The polynomial at `x` with the uncertainty of the curve (not of a new observation).
    ///
    /// # Errors
    /// As [`Fit::covariance`].
    pub fn estimate(&self, x: f64, variance: Variance) -> Result<Estimate, FitError> {
        let row: Vec<f64> = powers((x - self.centre) / self.half_width, self.degree() + 1).collect();
        let estimate = self.fit.estimate(&row, variance)?;
        // Distinct x were asked for, so the powers are independent; should rounding say otherwise, say "unknown".
        Ok(estimate.unwrap_or(Estimate { value: f64::NAN, u: f64::NAN }))
    }

    /// T of b = T g.
    fn transform(&self) -> DMatrix<f64> {
        let n = self.degree() + 1;
        let mut transform = DMatrix::zeros(n, n);
        let shifts: Vec<f64> = powers(-self.centre, n).collect();
        for (j, scale) in powers(1.0 / self.half_width, n).enumerate() {
            let mut binomial = 1.0;
            for i in (0..=j).rev() {
                transform[(i, j)] = binomial * shifts[j - i] * scale;
                binomial *= i as f64 / (j - i + 1) as f64;
            }
        }
        transform
    }
}

/// 1, z, z², … of `n` terms.
fn powers(z: f64, n: usize) -> impl Iterator<Item = f64> {
    std::iter::successors(Some(1.0), move |power| Some(power * z)).take(n)
}
