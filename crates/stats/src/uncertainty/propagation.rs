//! The law of propagation of uncertainty, degrees of freedom and coverage factors (JCGM 100:2008).
//!
//! u²(y) = Σᵢ Σⱼ cᵢ cⱼ u(xᵢ, xⱼ) (eq. 13); several results at once with their covariance, C U Cᵀ (H.2.3).
//! Sensitivities are the changes of the result for steps of ± u(xᵢ), over 2 u(xᵢ) (5.1.3, note 2): they follow the model over
//! the range that matters. Holds where the model is nearly straight over ± u; [`second_order_variance`] tells how nearly.

use crate::distribution::t_quantile;
use nalgebra::DMatrix;

/// Step of the higher derivatives in standard uncertainties: the error of a difference falls with its square, what rounding
/// does to a third one grows with its cube; at a tenth both are far below a percent of u.
const STEP: f64 = 0.1;

/// Why an uncertainty could not be propagated.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum UncertaintyError {
    /// Inputs and their covariance or uncertainties do not match.
    #[error("{what} is of {found} inputs, expected {expected}")]
    Length {
        /// What is too long or too short.
        what: &'static str,
        /// Inputs found.
        found: usize,
        /// Inputs expected.
        expected: usize,
    },
    /// A variance or standard uncertainty below zero or not a number.
    #[error("{what} of input {index} is {value}, expected 0 or more")]
    NotAVariance {
        /// Which quantity.
        what: &'static str,
        /// Its input, from 0.
        index: usize,
        /// The value found.
        value: f64,
    },
    /// The model gave no finite number near the estimates.
    #[error("the model gives no finite result within one standard uncertainty of input {index}")]
    NotFinite {
        /// The input that was moved, from 0.
        index: usize,
    },
}

/// Results with covariance.
#[derive(Debug, Clone, PartialEq)]
pub struct Propagated<const M: usize> {
    /// Results at the estimates.
    pub values: [f64; M],
    /// Sensitivities, results by inputs; of an input without uncertainty 0, as it is not moved.
    pub sensitivities: DMatrix<f64>,
    /// Covariance of the results.
    pub covariance: DMatrix<f64>,
}

impl<const M: usize> Propagated<M> {
    /// Combined standard uncertainty of a result.
    pub fn u(&self, result: usize) -> f64 {
        // Rounding may leave a result that does not depend on anything a hair below zero.
        self.covariance[(result, result)].max(0.0).sqrt()
    }

    /// Correlation of two results; 0 where one is certain.
    pub fn correlation(&self, a: usize, b: usize) -> f64 {
        let scale = self.u(a) * self.u(b);
        if scale > 0.0 { self.covariance[(a, b)] / scale } else { 0.0 }
    }
}

/// Propagates a covariance through a model of M results (eq. 13 and H.2.3).
///
/// # Errors
/// A covariance of another size, a negative variance, a model without finite results within ± u of the estimates.
pub fn propagate<const M: usize>(
    model: impl Fn(&[f64]) -> [f64; M],
    x: &[f64],
    covariance: &DMatrix<f64>,
) -> Result<Propagated<M>, UncertaintyError> {
    for found in [covariance.nrows(), covariance.ncols()] {
        if found != x.len() {
            return Err(UncertaintyError::Length { what: "the covariance", found, expected: x.len() });
        }
    }
    let mut sensitivities = DMatrix::zeros(M, x.len());
    for index in 0..x.len() {
        let variance = covariance[(index, index)];
        if !(variance >= 0.0 && variance.is_finite()) {
            return Err(UncertaintyError::NotAVariance { what: "the variance", index, value: variance });
        }
        let u = variance.sqrt();
        let [up, down] = [u, -u].map(|step| model(&moved(x, &[(index, step)])));
        for result in 0..M {
            let change = up[result] - down[result];
            if !change.is_finite() {
                return Err(UncertaintyError::NotFinite { index });
            }
            if u > 0.0 {
                sensitivities[(result, index)] = change / (2.0 * u);
            }
        }
    }
    let covariance = &sensitivities * covariance * sensitivities.transpose();
    Ok(Propagated { values: model(x), sensitivities, covariance })
}

/// What the second order adds to the variance of a result of independent inputs with symmetric, nearly normal distributions:
/// Σᵢ Σⱼ [½ f²ᵢⱼ + fᵢ fᵢⱼⱼ] u²(xᵢ) u²(xⱼ) (5.1.2, note), with the derivatives as differences over a tenth of u.
///
/// # Errors
/// As many uncertainties as inputs are expected, none negative; a model without finite results there.
pub fn second_order_variance(model: impl Fn(&[f64]) -> f64, x: &[f64], u: &[f64]) -> Result<f64, UncertaintyError> {
    if u.len() != x.len() {
        return Err(UncertaintyError::Length { what: "the row of uncertainties", found: u.len(), expected: x.len() });
    }
    if let Some((index, &value)) = u.iter().enumerate().find(|(_, u)| !(**u >= 0.0 && u.is_finite())) {
        return Err(UncertaintyError::NotAVariance { what: "the standard uncertainty", index, value });
    }
    // In steps of u, so that every derivative has the unit of the result.
    let f = |steps: &[(usize, f64)]| {
        let steps: Vec<(usize, f64)> = steps.iter().map(|&(i, n)| (i, n * STEP * u[i])).collect();
        model(&moved(x, &steps))
    };
    let mut sum = 0.0;
    for i in 0..x.len() {
        let [up, down] = [f(&[(i, 1.0)]), f(&[(i, -1.0)])];
        let first = (up - down) / (2.0 * STEP);
        let second = (up - 2.0 * f(&[]) + down) / STEP.powi(2);
        let third = (f(&[(i, 2.0)]) / 2.0 - up + down - f(&[(i, -2.0)]) / 2.0) / STEP.powi(3);
        sum += second * second / 2.0 + first * third;
        for j in (0..x.len()).filter(|j| *j != i) {
            let corner = |a, b| f(&[(i, a), (j, b)]);
            let [pp, pm, mp, mm] = [corner(1.0, 1.0), corner(1.0, -1.0), corner(-1.0, 1.0), corner(-1.0, -1.0)];
            let mixed = (pp - pm - mp + mm) / (4.0 * STEP.powi(2));
            let mixed_third = (pp + pm - 2.0 * up - (mp + mm - 2.0 * down)) / (2.0 * STEP.powi(3));
            sum += mixed * mixed / 2.0 + first * mixed_third;
        }
        if !sum.is_finite() {
            return Err(UncertaintyError::NotFinite { index: i });
        }
    }
    Ok(sum)
}

fn moved(x: &[f64], steps: &[(usize, f64)]) -> Vec<f64> {
    let mut x = x.to_vec();
    for &(index, step) in steps {
        x[index] += step;
    }
    x
}

/// An independent contribution to a result.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Component {
    /// |c| u(x), in the unit of the result.
    pub u: f64,
    /// Degrees of freedom of u(x); `f64::INFINITY` for one that is known exactly.
    pub dof: f64,
}

/// Combined standard uncertainty of independent contributions (eq. 10).
pub fn combined(components: &[Component]) -> f64 {
    components.iter().map(|c| c.u * c.u).sum::<f64>().sqrt()
}

/// Effective degrees of freedom after Welch and Satterthwaite: u⁴ / Σ uᵢ⁴/νᵢ (G.2b); ∞ where all contributions are known exactly.
pub fn effective_dof(components: &[Component]) -> f64 {
    let spread: f64 = components.iter().filter(|c| c.u.abs() > 0.0).map(|c| c.u.powi(4) / c.dof).sum();
    if spread > 0.0 { combined(components).powi(4) / spread } else { f64::INFINITY }
}

/// Degrees of freedom of an uncertainty that is itself known to a relative share: ½ (Δu/u)⁻² (G.3).
pub fn dof_of_reliability(relative: f64) -> f64 {
    0.5 / (relative * relative)
}

/// Coverage factor k = t_p(ν) (G.6.4), of ν cut to the whole number below; NaN below one degree of freedom.
pub fn coverage_factor(coverage: f64, dof: f64) -> f64 {
    if dof < 1.0 { f64::NAN } else { t_quantile((1.0 + coverage) / 2.0, dof.floor()) }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked by hand: y = a b at (3, 4), u = (0.1, 0.2), r = 0.5: 16·0.01 + 9·0.04 + 2·12·0.5·0.02.
    #[test]
    fn a_product_of_correlated_inputs() {
        let covariance = DMatrix::from_row_slice(2, 2, &[0.01, 0.01, 0.01, 0.04]);
        let y = propagate(|x| [x[0] * x[1], x[0]], &[3.0, 4.0], &covariance).unwrap();
        assert!((y.covariance[(0, 0)] - 0.76).abs() < 1e-12);
        assert!((y.covariance[(0, 1)] - (4.0 * 0.01 + 3.0 * 0.01)).abs() < 1e-12);
        // The second order of a product is u²(a) u²(b), without correlation.
        let second = second_order_variance(|x| x[0] * x[1], &[3.0, 4.0], &[0.1, 0.2]).unwrap();
        assert!((second - 0.01 * 0.04).abs() < 1e-12);
    }

    /// Worked by hand: y = x³ at 1 with u = 0.1: ½·6²·u⁴ + 3·6·u⁴.
    #[test]
    fn second_order_of_a_cube() {
        let second = second_order_variance(|x| x[0].powi(3), &[1.0], &[0.1]).unwrap();
        // The slope over ± u/10 is 3 + u²/100, not 3: 6 u⁶/100 above.
        assert!((second - (18.0 + 18.0) * 1e-4 - 6e-8).abs() < 1e-11, "{second}");
    }

    #[test]
    fn an_exact_input_takes_no_part() {
        let y = propagate(|x| [x[0] / x[1]], &[1.0, 0.0], &DMatrix::zeros(2, 2));
        assert_eq!(y.unwrap_err(), UncertaintyError::NotFinite { index: 0 });
        let y =
            propagate(|x| [x[0] + x[1]], &[1.0, 2.0], &DMatrix::from_row_slice(2, 2, &[0.0, 0.0, 0.0, 4.0])).unwrap();
        assert!((y.u(0) - 2.0).abs() < 1e-15 && y.sensitivities[(0, 0)].abs() < 1e-15);
    }

    #[test]
    fn what_does_not_fit_is_named() {
        let wrong = propagate(|x| [x[0]], &[1.0], &DMatrix::zeros(2, 2)).unwrap_err();
        assert_eq!(wrong.to_string(), "the covariance is of 2 inputs, expected 1");
        let negative = propagate(|x| [x[0]], &[1.0], &DMatrix::from_element(1, 1, -1.0)).unwrap_err();
        assert_eq!(negative.to_string(), "the variance of input 0 is -1, expected 0 or more");
        assert!(second_order_variance(|x| x[0], &[1.0], &[f64::NAN]).is_err());
        assert!(coverage_factor(0.95, 0.5).is_nan());
    }

    #[test]
    fn freedom_of_one_contribution_is_its_own() {
        let one = [Component { u: 2.0, dof: 7.0 }, Component { u: 0.0, dof: 0.0 }];
        assert!((effective_dof(&one) - 7.0).abs() < 1e-12);
        assert!(effective_dof(&[Component { u: 2.0, dof: f64::INFINITY }]).is_infinite());
    }
}
