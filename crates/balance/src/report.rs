//! What a balance reports. Field names in JSON are the contract's; more fields stand beside them.

use jiff::Timestamp;
use serde::{Serialize, Serializer};

use crate::answers::Answer;
use crate::clinical::water::Ledgers;
use crate::diagnostics::Diagnostics;
use crate::insensible::Insensible;
use crate::ledger::hours;

/// Said with every clinical result.
pub const CAUTION: &str = "not for dosing or treatment decisions on its own; local codes, the manufacturer of the bed \
                           and licensed practice come first";

/// The fluid balance of one patient over one record.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BalanceReport {
    /// One a whole hour.
    pub rows: Vec<Row>,
    /// Percent fluid overload.
    pub overload_pct: Overload,
    /// Uncharted loss rate of the patient: water through skin and lungs, and the net mass of breathed gas.
    #[serde(rename = "insensible_mL_h")]
    pub insensible_ml_h: Estimate,
    /// What comes next under the plan.
    pub forecast: Vec<ForecastRow>,
    /// Smallest change of mass over 24 h that can be told (`stats::resolvable`), mL; `None` of a record shorter than that.
    #[serde(rename = "resolvable_mL_24h")]
    pub resolvable_ml_24h: Option<f64>,
    /// What asks for a look, in order of time.
    pub alerts: Vec<Alert>,
    /// Alerts that were answered, with the answer.
    pub answered: Vec<AnsweredAlert>,
    /// Net balance over windows that end with the record.
    pub windows: Vec<Window>,
    /// The same in a physician's words, and what follows.
    pub answers: Vec<Answer>,
    /// Mass and water over the record, and over its last 24 h where it is longer.
    pub ledgers: Vec<Ledgers>,
    /// What comes next under other plans.
    pub alternatives: Vec<Alternative>,
    /// Whether the model fits.
    pub diagnostics: Diagnostics,
    /// What the uncharted loss was taken to be before the weights spoke.
    pub insensible_prior: Insensible,
    /// Noise levels that the record shows.
    pub noise: Noise,
    /// What was done with the input, and what a figure rests on.
    pub notes: Vec<String>,
    /// Said with every clinical result.
    pub caution: &'static str,
}

impl BalanceReport {
    /// What of `unexplained_ml` of the last row is the loss to be expected, mL, and its standard deviation; `None` without rows.
    #[must_use]
    pub fn expected_loss_ml(&self) -> Option<[f64; 2]> {
        let (first, last) = (self.rows.first()?, self.rows.last()?);
        Some(self.insensible_prior.over_ml(hours(first.time, last.time)))
    }
}

/// One whole hour. Totals run from the first row.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Row {
    /// The hour.
    #[serde(serialize_with = "to_second")]
    pub time: Timestamp,
    /// Body mass, fused, kg; without what lies on the deck.
    pub mass_kg: f64,
    /// Its standard uncertainty, kg.
    pub u_kg: f64,
    /// Change of body mass by weights and chart together, 1 mL for 1 g unless densities are given.
    #[serde(rename = "weighed_mL")]
    pub weighed_ml: f64,
    /// Intake less output by the chart.
    #[serde(rename = "charted_mL")]
    pub charted_ml: f64,
    /// Weighed less charted.
    #[serde(rename = "unexplained_mL")]
    pub unexplained_ml: f64,
    /// Standard uncertainty of the unexplained fluid, of weights and chart together.
    #[serde(rename = "u_unexplained_mL")]
    pub u_unexplained_ml: f64,
    /// Standard uncertainty of the change of body mass alone.
    #[serde(rename = "u_weighed_mL")]
    pub u_weighed_ml: f64,
    /// Fluid that left the patient and lies on the deck, mL.
    #[serde(rename = "on_deck_mL")]
    pub on_deck_ml: f64,
}

/// Net balance over a window.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Window {
    /// Its start.
    #[serde(serialize_with = "to_second")]
    pub from: Timestamp,
    /// Its end.
    #[serde(serialize_with = "to_second")]
    pub to: Timestamp,
    /// Length, h.
    pub hours: f64,
    /// Intake less output by the chart.
    #[serde(rename = "charted_mL")]
    pub charted_ml: f64,
    /// Last weight less the weight nearest to the start; `None` where none lies within an hour of either end.
    #[serde(rename = "weighed_mL")]
    pub weighed_ml: Option<f64>,
    /// Change of the smoothed mass.
    #[serde(rename = "fused_mL")]
    pub fused_ml: f64,
    /// Standard uncertainty of `fused_mL`.
    #[serde(rename = "u_fused_mL")]
    pub u_fused_ml: f64,
    /// Fused less charted.
    #[serde(rename = "unexplained_mL")]
    pub unexplained_ml: f64,
}

/// Percent fluid overload over the admission weight.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Overload {
    /// By intake less output.
    pub charted: f64,
    /// By the last weight.
    pub weighed: f64,
    /// By the smoothed mass.
    pub fused: f64,
    /// Standard uncertainty of `fused`.
    pub u_fused: f64,
}

/// A value and its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Estimate {
    /// Value.
    pub value: f64,
    /// Standard uncertainty.
    pub u: f64,
}

/// One hour to come.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ForecastRow {
    /// When.
    #[serde(serialize_with = "to_second")]
    pub time: Timestamp,
    /// Hours after the end of the record.
    pub ahead_h: f64,
    /// Body mass, kg.
    pub mass_kg: f64,
    /// Lower end of the 95 % interval, kg.
    pub low_kg: f64,
    /// Upper end, kg.
    pub high_kg: f64,
}

/// A forecast under another plan.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Alternative {
    /// Name of the plan.
    pub name: String,
    /// What comes next under it.
    pub forecast: Vec<ForecastRow>,
}

/// Something that asks for a look.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Alert {
    /// When it was found.
    #[serde(serialize_with = "to_second")]
    pub time: Timestamp,
    /// What it is.
    pub kind: AlertKind,
    /// What was seen, with its evidence.
    pub text: String,
    /// The line of the chart entry that it is about: two entries of one minute are two alerts.
    #[serde(skip)]
    pub line: Option<usize>,
}

/// An alert that was answered.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AnsweredAlert {
    /// The alert.
    #[serde(flatten)]
    pub alert: Alert,
    /// What was said to it.
    pub answer: String,
}

/// Kinds of alert.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum AlertKind {
    /// Mass went that neither chart nor insensible loss explains.
    UnexplainedLoss,
    /// Mass came that the chart does not explain.
    UnexplainedGain,
    /// The mass changed at once, and no entry says why.
    Step,
    /// An entry that cannot be meant as it stands.
    ImplausibleEntry,
    /// An entry that the deck contradicts.
    ContradictedEntry,
    /// Overload has reached a band.
    Overload,
    /// The mass goes another way than the plan.
    OffPlan,
    /// No weight for longer than the estimate can bridge.
    WeightNotChecked,
}

impl AlertKind {
    /// The word by which it is printed and answered.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::UnexplainedLoss => "unexplained-loss",
            Self::UnexplainedGain => "unexplained-gain",
            Self::Step => "step",
            Self::ImplausibleEntry => "implausible-entry",
            Self::ContradictedEntry => "contradicted-entry",
            Self::Overload => "overload",
            Self::OffPlan => "off-plan",
            Self::WeightNotChecked => "weight-not-checked",
        }
    }
}

/// Noise levels as the record's last week shows them, each with the standard error of its logarithm.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Noise {
    /// Fast noise of one weight, g.
    pub fast_g: f64,
    /// Standard error of ln `fast_g`.
    pub fast_ln_se: f64,
    /// Error that lasts until the patient lies otherwise, g.
    pub posture_g: f64,
    /// Standard error of ln `posture_g`.
    pub posture_ln_se: f64,
    /// Constant error that no change shows but every weight may have, g.
    pub constant_g: f64,
    /// Factor on the assumed uncertainty of charted volumes.
    pub chart_factor: f64,
    /// Standard error of ln `chart_factor`.
    pub chart_ln_se: f64,
    /// Change of the loss rate in 24 h (one standard deviation), g/h.
    pub rate_change_24h_g_h: f64,
    /// Standard error of ln `rate_change_24h_g_h`.
    pub rate_ln_se: f64,
    /// Logarithm of the likelihood at these levels, of the record's last week.
    pub log_likelihood: f64,
    /// Whether the search for them came to rest.
    pub converged: bool,
}

/// A time to the second in RFC 3339, as the files have it.
pub(crate) fn to_second<S: Serializer>(time: &Timestamp, serializer: S) -> Result<S::Ok, S::Error> {
    let rounded = time.round(jiff::Unit::Second).unwrap_or(*time);
    serializer.collect_str(&rounded)
}
