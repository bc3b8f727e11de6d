//! Total body water, L, from age, height in cm and weight in kg.

use formats::deck::Sex;

use super::formula::{Formula, Status};
use super::{DoseError, Within};

/// A formula for total body water.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BodyWater {
    /// Watson 1980, adults.
    Watson,
    /// Hume & Weyers 1971, adults.
    HumeWeyers,
    /// Mellits & Cheek 1970, children.
    MellitsCheek,
}

impl BodyWater {
    /// Every formula.
    pub const ALL: [Self; 3] = [Self::Watson, Self::HumeWeyers, Self::MellitsCheek];

    /// Facts.
    pub fn facts(self) -> Formula {
        match self {
            Self::Watson => Formula {
                name: "total body water (Watson 1980)",
                formula: "men 2.447 − 0.09516·age + 0.1074·H + 0.3362·W; women −2.097 + 0.1069·H + 0.2466·W",
                source: "Watson, Am J Clin Nutr 1980;33:27",
                status: Status::Read,
                range: "adults",
                caution: "residual SD 3.76 L (men), 3.60 L (women); many pages misprint the age term as 0.09156",
            },
            Self::HumeWeyers => Formula {
                name: "total body water (Hume-Weyers 1971)",
                formula: "men 0.194786·H + 0.296785·W − 14.012934; women 0.344547·H + 0.183809·W − 35.270121",
                source: "Hume & Weyers, J Clin Pathol 1971;24:234",
                status: Status::ReadSecondary,
                range: "adults",
                caution: "sixth digit of the women's height term from memory",
            },
            Self::MellitsCheek => Formula {
                name: "total body water (Mellits-Cheek 1970)",
                formula: "boys H≤132.7: −1.927 + 0.465·W + 0.045·H, above: −21.993 + 0.406·W + 0.209·H; \
                          girls H≤110.8: 0.076 + 0.507·W + 0.013·H, above: −10.313 + 0.252·W + 0.154·H",
                source: "Mellits & Cheek, Monogr Soc Res Child Dev 1970;35:12",
                status: Status::ReadSecondary,
                range: "children",
                caution: "jumps at the cut height: girls by 0.39 L at 19 kg",
            },
        }
    }

    /// Total body water, L.
    ///
    /// # Errors
    /// Adult formulas: age outside 17–90, height outside 130–220 cm, weight outside 30–250 kg.
    /// Children: age outside 0.1–18 years, height outside 45–190 cm, weight outside 2.5–100 kg.
    pub fn litres(self, sex: Sex, age_y: f64, height_cm: f64, weight_kg: f64) -> Result<f64, DoseError> {
        let check = Within::new(self.facts().name);
        let (ages, heights, weights) = match self {
            Self::MellitsCheek => ((0.1, 18.0), (45.0, 190.0), (2.5, 100.0)),
            _ => ((17.0, 90.0), (130.0, 220.0), (30.0, 250.0)),
        };
        check.of("age_y", age_y, ages.0, ages.1)?.of("height_cm", height_cm, heights.0, heights.1)?.of(
            "weight_kg",
            weight_kg,
            weights.0,
            weights.1,
        )?;
        let (h, w) = (height_cm, weight_kg);
        Ok(match (self, sex) {
            (Self::Watson, Sex::Male) => 2.447 - 0.095_16 * age_y + 0.1074 * h + 0.3362 * w,
            (Self::Watson, Sex::Female) => -2.097 + 0.1069 * h + 0.2466 * w,
            (Self::HumeWeyers, Sex::Male) => 0.194_786 * h + 0.296_785 * w - 14.012_934,
            (Self::HumeWeyers, Sex::Female) => 0.344_547 * h + 0.183_809 * w - 35.270_121,
            (Self::MellitsCheek, Sex::Male) if h <= 132.7 => -1.927 + 0.465 * w + 0.045 * h,
            (Self::MellitsCheek, Sex::Male) => -21.993 + 0.406 * w + 0.209 * h,
            (Self::MellitsCheek, Sex::Female) if h <= 110.8 => 0.076 + 0.507 * w + 0.013 * h,
            (Self::MellitsCheek, Sex::Female) => -10.313 + 0.252 * w + 0.154 * h,
        })
    }
}
