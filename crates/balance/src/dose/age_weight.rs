//! A child's weight from its age. For an emergency only: a measured weight always wins.

use super::formula::{Formula, Status};
use super::{DoseError, Within};

/// A rule from age to weight.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AgeRule {
    /// Advanced paediatric life support since 2011: three pieces.
    LifeSupport2011,
    /// Luscombe & Owens 2007.
    LuscombeOwens,
    /// The older life-support rule.
    LifeSupportOld,
}

impl AgeRule {
    /// Every rule.
    pub const ALL: [Self; 3] = [Self::LifeSupport2011, Self::LuscombeOwens, Self::LifeSupportOld];

    /// Facts.
    pub fn facts(self) -> Formula {
        match self {
            Self::LifeSupport2011 => Formula {
                name: "age rule (life support 2011)",
                formula: "1–12 mo 0.5·months + 4; 1–5 y 2·years + 8; 6–12 y 3·years + 7",
                source: "Marikar, BMJ Innov 2015",
                status: Status::Read,
                range: "1 month to 12 years",
                caution: "jumps from 18 to 25 kg between 5 and 6 years; 20 % above the 2000 medians at 6 to 8",
            },
            Self::LuscombeOwens => Formula {
                name: "age rule (Luscombe-Owens 2007)",
                formula: "3·years + 7",
                source: "Luscombe & Owens, Arch Dis Child 2007;92:412",
                status: Status::Read,
                range: "1 to 10 years",
                caution: "within 10 % in 45 of 100 children",
            },
            Self::LifeSupportOld => Formula {
                name: "age rule (old life support)",
                formula: "2·(years + 4)",
                source: "BMC Emerg Med 2012;12:9",
                status: Status::Read,
                range: "1 to 10 years",
                caution: "too low by 18.8 % on average in 17 000 children",
            },
        }
    }

    /// Weight, kg, at a whole or part age in years.
    ///
    /// # Errors
    /// Age outside the rule's range.
    pub fn kg(self, age_y: f64) -> Result<f64, DoseError> {
        let check = Within::new(self.facts().name);
        match self {
            Self::LifeSupport2011 => {
                check.of("age_y", age_y, 1.0 / 12.0 - 1e-9, 12.99)?;
                // Ages are completed years from one year on, completed months before.
                Ok(if age_y < 1.0 {
                    0.5 * (age_y * 12.0 + 1e-9).floor() + 4.0
                } else if age_y < 6.0 {
                    2.0 * age_y.floor() + 8.0
                } else {
                    3.0 * age_y.floor() + 7.0
                })
            }
            Self::LuscombeOwens => {
                check.of("age_y", age_y, 1.0, 10.99)?;
                Ok(3.0 * age_y.floor() + 7.0)
            }
            Self::LifeSupportOld => {
                check.of("age_y", age_y, 1.0, 10.99)?;
                Ok(2.0 * (age_y.floor() + 4.0))
            }
        }
    }
}
