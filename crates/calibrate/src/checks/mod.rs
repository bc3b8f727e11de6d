//! A body kept at hand and weighed again and again between calibrations: is the deck still what it was?
//!
//! The first checks of each body, the baseline, say what is usual; every check is then held against three limits, at `reach`
//! standard deviations each:
//!
//! | chart | signal | sees |
//! |---|---|---|
//! | Shewhart's, of single checks | `beyond-limits` | one check far off |
//! | of the moving range | `jump` | a step from one check to the next |
//! | EWMA, exponentially weighted moving average | `drifted` | a small shift that stays |
//!
//! The standard deviation is MR/d₂ of the baseline ([`stats::control_chart`]), which is deaf to slow drift within it. Source:
//! NIST/SEMATECH e-Handbook 6.3.2.2 and 6.3.2.4; that a check standard is charted so, 2.2.2 and 2.3.5 (from memory).
//!
//! `trend` tells the drift of all checks and, with a deck, by when to calibrate again.
//! Not here: what a check must show by law; that is `verify`.

mod chart;
mod trend;

pub use trend::Trend;

use formats::calibration::Due;
use formats::checks::Check;
use formats::deck::Deck;
use serde::Serialize;
use stats::control_chart::ChartError;

/// Settings of the charts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CheckOptions {
    /// Checks of each body that say what is usual, the first ones; all where there are fewer.
    pub baseline: usize,
    /// Weight λ of the newest check in the moving average, above 0 to 1.
    pub weight: f64,
    /// Half width of the limits in standard deviations.
    pub reach: f64,
}

impl Default for CheckOptions {
    /// Twenty checks for the baseline, λ = 0.2, three standard deviations (common practice, no source).
    fn default() -> Self {
        Self { baseline: 20, weight: 0.2, reach: 3.0 }
    }
}

/// Fewest checks that a chart is drawn from: with four ranges between them the spread is known to some 40 %.
pub const LEAST_CHECKS: usize = 5;
/// Fewer checks in the baseline than these leave the limits themselves loose (common practice, no source).
const SOUND_BASELINE: usize = 15;
/// Variance of MR/d₂ over n readings times n, in units of σ² (relative efficiency 0.605 of the plain standard deviation, from
/// memory): 1/(2 · 0.605).
const RANGE_VARIANCE: f64 = 0.826;

/// Why no chart could be drawn.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum CheckError {
    /// An option is out of range.
    #[error("option {name} is {found}, expected {expected}")]
    BadOption {
        /// Name.
        name: &'static str,
        /// Value found.
        found: f64,
        /// What is allowed.
        expected: &'static str,
    },
    /// Too few checks of a body.
    #[error("{found} checks of \"{standard}\", expected at least {LEAST_CHECKS}: fewer do not say what is usual")]
    TooFew {
        /// The body.
        standard: String,
        /// Its checks.
        found: usize,
    },
    /// All checks of the baseline show the same.
    #[error(
        "the first {n} checks of \"{standard}\" all show {shown_kg} kg, expected readings finer than their scatter: write down \
         what the deck shows before rounding"
    )]
    Alike {
        /// The body.
        standard: String,
        /// Checks of the baseline.
        n: usize,
        /// What they show, kg.
        shown_kg: f64,
    },
    /// The numbers could not be charted.
    #[error("the checks of \"{standard}\" could not be charted: {source}")]
    Chart {
        /// The body.
        standard: String,
        /// Why.
        source: ChartError,
    },
}

/// What the checks say.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CheckReport {
    /// One chart a body, in the order of the file.
    pub charts: Vec<CheckChart>,
    /// Whether no chart has a signal.
    pub in_control: bool,
    /// Weight of the newest check in the moving average.
    pub weight: f64,
    /// Half width of the limits in standard deviations.
    pub reach: f64,
}

/// Charts of one body.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CheckChart {
    /// The body.
    pub standard: String,
    /// Its conventional mass, kg, where known.
    pub mass_kg: Option<f64>,
    /// What the values are counted from, kg: the mass where known, else the mean of the baseline.
    pub from_kg: f64,
    /// Checks of the baseline.
    pub baseline: usize,
    /// Mean of the baseline, g from `from_kg`; the error of the deck where the mass is known.
    pub centre_g: f64,
    /// Standard deviation of a check, g.
    pub sd_g: f64,
    /// Lower and upper limit of a check, g.
    pub limits_g: [f64; 2],
    /// Largest usual step from one check to the next, g.
    pub range_limit_g: f64,
    /// The checks.
    pub points: Vec<CheckPoint>,
    /// What is out of control, in the order of time.
    pub signals: Vec<Signal>,
    /// Drift over all checks; `None` where they span no time.
    pub trend: Option<Trend>,
    /// By when to calibrate again, where a deck was given.
    pub due: Option<Due>,
    /// What the reader should know of the chart.
    pub notes: Vec<String>,
}

/// One check on the charts.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CheckPoint {
    /// Line of the file.
    pub line: usize,
    /// When, RFC 3339.
    pub time: String,
    /// What the deck showed, kg.
    pub shown_kg: f64,
    /// The same from `from_kg`, g.
    pub value_g: f64,
    /// Step from the check before, g; `None` of the first.
    pub range_g: Option<f64>,
    /// Moving average, g.
    pub average_g: f64,
    /// Its limits, g.
    pub average_limits_g: [f64; 2],
    /// Whether it belongs to the baseline.
    pub is_baseline: bool,
}

/// What kind of signal.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum SignalKind {
    /// One check outside the limits.
    BeyondLimits,
    /// A step larger than usual.
    Jump,
    /// The moving average outside its limits.
    Drifted,
}

/// Something out of control.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Signal {
    /// Which chart shows it.
    pub kind: SignalKind,
    /// Line of the file, the first where it lasts.
    pub line: usize,
    /// The last line where it lasts, else the same.
    pub last_line: usize,
    /// When it began, RFC 3339.
    pub time: String,
    /// What it is, in a sentence.
    pub text: String,
}

/// Charts the checks of every body; with a deck also says by when to calibrate again.
///
/// # Errors
/// Options out of range, too few checks of a body, checks that show no scatter.
pub fn checks(checks: &[Check], deck: Option<&Deck>, options: &CheckOptions) -> Result<CheckReport, CheckError> {
    options.check()?;
    let mut names: Vec<&str> = Vec::new();
    for check in checks {
        if !names.contains(&check.standard.as_str()) {
            names.push(&check.standard);
        }
    }
    let charts = names
        .into_iter()
        .map(|name| {
            let own: Vec<&Check> = checks.iter().filter(|c| c.standard == name).collect();
            let mut drawn = chart::chart(name, &own, options)?;
            drawn.trend = trend::trend(&own, &drawn);
            drawn.due = deck.and_then(|deck| trend::due(deck, &own, &drawn));
            Ok(drawn)
        })
        .collect::<Result<Vec<CheckChart>, CheckError>>()?;
    let in_control = charts.iter().all(|c| c.signals.is_empty());
    Ok(CheckReport { charts, in_control, weight: options.weight, reach: options.reach })
}

impl CheckOptions {
    fn check(&self) -> Result<(), CheckError> {
        let bad = |name, found, expected| Err(CheckError::BadOption { name, found, expected });
        if self.baseline < LEAST_CHECKS {
            return bad("baseline", self.baseline as f64, "at least 5 checks");
        }
        if !(self.weight > 0.0 && self.weight <= 1.0) {
            return bad("weight", self.weight, "above 0 and at most 1");
        }
        if !(self.reach > 0.0 && self.reach.is_finite()) {
            return bad("reach", self.reach, "above 0");
        }
        Ok(())
    }
}
