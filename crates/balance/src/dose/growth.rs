//! Standard scores by the LMS method: z = ((x/M)^L − 1)/(L·S), and ln(x/M)/S where L is 0.
//!
//! Source: Cole & Green, Stat Med 1992;11:1305. The tables themselves (WHO 2006, CDC 2000, Fenton 2013)
//! are not carried here: their terms of use differ; the caller brings L, M and S.

use super::{DoseError, Within};

/// One row of a growth table: skewness L, median M, coefficient of variation S.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lms {
    /// Box-Cox power.
    pub l: f64,
    /// Median, in the unit of the measure.
    pub m: f64,
    /// Coefficient of variation.
    pub s: f64,
}

impl Lms {
    /// Standard score of a measure.
    ///
    /// # Errors
    /// A measure, median or variation that is not above zero.
    pub fn z(self, measure: f64) -> Result<f64, DoseError> {
        Within::new("LMS standard score")
            .of("measure", measure, f64::MIN_POSITIVE, f64::MAX)?
            .of("M", self.m, f64::MIN_POSITIVE, f64::MAX)?
            .of("S", self.s, f64::MIN_POSITIVE, f64::MAX)?;
        let ratio = measure / self.m;
        // Below 1e-8 the power form has lost its digits to cancellation; the limit is the logarithm.
        Ok(if self.l.abs() < 1e-8 { ratio.ln() / self.s } else { (ratio.powf(self.l) - 1.0) / (self.l * self.s) })
    }
}
