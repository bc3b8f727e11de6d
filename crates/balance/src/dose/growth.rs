//! Weight for age against a growth table, by the LMS method.
//!
//! | symbol | name        | unit |
//! |--------|-------------|------|
//! | z      | standard score, ((x/M)^L − 1)/(L·S), and ln(x/M)/S where L is 0 | – |
//! | L, M, S | Box-Cox power, median, coefficient of variation at that age | –, kg, – |
//!
//! Source of the method: Cole & Green, Stat Med 1992;11:1305. Source of the table: Centers for Disease Control and
//! Prevention, growth charts of 2000 (United States, public domain), weight for age, boys and girls, from birth to
//! 20 years. A row stands in the middle of its month: an age of 48.0 to 48.99 months is read at 48.5, the newborn's
//! row at the day of birth.
//! Not here: the World Health Organization's standard of 2006, preferred under two years, and Fenton's preterm
//! tables of 2013: their terms of use are not settled. [`Lms`] takes their rows from a caller.

use formats::deck::Sex;

use super::formula::{Formula, Status};
use super::{DoseError, Within};

/// Weight for age, sex by sex, in order of age.
const CDC_2000_WEIGHT: &str = include_str!("../../data/cdc2000_weight_for_age.csv");

/// Facts of the standard score.
pub const WEIGHT_FOR_AGE_Z: Formula = Formula {
    name: "weight for age, standard score (CDC 2000)",
    formula: "((W/M)^L − 1)/(L·S), L, M, S by sex and completed month of age",
    source: "CDC growth charts 2000; method of Cole & Green, Stat Med 1992;11:1305",
    status: Status::Read,
    range: "birth to 20 years; born preterm: by age from the expected date of birth, to two years",
    caution: "a reference of United States children; the WHO standard of 2006 is preferred under two years",
};
/// Facts of the same as a percentile.
pub const WEIGHT_FOR_AGE_PERCENTILE: Formula = Formula {
    name: "weight for age, percentile (CDC 2000)",
    formula: "share of the reference below the standard score, normal law",
    ..WEIGHT_FOR_AGE_Z
};
/// Facts of the median as an estimate.
pub const MEDIAN_FOR_AGE: Formula = Formula {
    name: "growth table median (CDC 2000)",
    formula: "M by sex and completed month of age",
    caution: "half of all children weigh more; an emergency only: a measured weight always wins",
    ..WEIGHT_FOR_AGE_Z
};

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

/// The row of the CDC 2000 weight table for a child, kg.
///
/// # Errors
/// Age outside 0 to 240 months.
pub fn cdc_weight_for_age(sex: Sex, age_mo: f64) -> Result<Lms, DoseError> {
    let refused = DoseError::OutOfRange {
        formula: WEIGHT_FOR_AGE_Z.name,
        quantity: "age_mo",
        found: age_mo,
        low: 0.0,
        high: 240.0,
    };
    if !(0.0..=240.0).contains(&age_mo) {
        return Err(refused);
    }
    // Half a month after the last completed one; both ends of the table are rows of their own.
    let at_mo = if age_mo <= 0.0 || age_mo >= 240.0 { age_mo } else { (age_mo + 1e-9).floor() + 0.5 };
    rows().find(|(row_sex, row_mo, _)| *row_sex == sex && (row_mo - at_mo).abs() < 1e-6).map(|row| row.2).ok_or(refused)
}

/// Rows of the table: sex, age in months, L, M and S.
fn rows() -> impl Iterator<Item = (Sex, f64, Lms)> {
    CDC_2000_WEIGHT.lines().skip(1).filter_map(|line| {
        let (sex, numbers) = line.split_once(',')?;
        let mut numbers = numbers.split(',').map_while(|number| number.parse::<f64>().ok());
        let sex = if sex == "male" { Sex::Male } else { Sex::Female };
        let (age_mo, l, m, s) = (numbers.next()?, numbers.next()?, numbers.next()?, numbers.next()?);
        Some((sex, age_mo, Lms { l, m, s }))
    })
}

/// Age by which a child is set against the table, months: in a child born before 37 weeks counted from 40 weeks,
/// until two years. Common practice, from memory.
pub fn table_age_mo(age_mo: f64, gestation_weeks: Option<f64>) -> f64 {
    let early_mo = gestation_weeks.filter(|weeks| *weeks < 37.0).map_or(0.0, |weeks| (40.0 - weeks) * 12.0 / 52.18);
    if age_mo < 24.0 { age_mo - early_mo } else { age_mo }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_row_is_read_and_no_month_is_missing() {
        assert_eq!(rows().count(), CDC_2000_WEIGHT.lines().count() - 1);
        for sex in [Sex::Male, Sex::Female] {
            for month in 0..=240 {
                assert!(cdc_weight_for_age(sex, f64::from(month)).is_ok(), "{sex:?} {month}");
            }
        }
        assert!(cdc_weight_for_age(Sex::Male, 240.1).is_err() && cdc_weight_for_age(Sex::Male, f64::NAN).is_err());
    }

    #[test]
    fn a_preterm_child_is_counted_from_its_expected_birth() {
        // Born ten weeks early: 2.3 months.
        assert!((table_age_mo(6.0, Some(30.0)) - 3.70).abs() < 0.01);
        assert!((table_age_mo(6.0, Some(38.0)) - 6.0).abs() < 1e-12);
        assert!((table_age_mo(30.0, Some(30.0)) - 30.0).abs() < 1e-12);
    }
}
