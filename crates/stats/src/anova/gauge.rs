//! Gauge repeatability and reproducibility: how much of what is read comes from the parts, how much from the measuring.
//!
//! Components of variance from the table of a balanced study with parts and appraisers drawn at random. With p parts,
//! a appraisers and r trials,
//! σ²_trial = MS_error, σ²_inter = (MS_inter − MS_error)/r, σ²_appraiser = (MS_appraiser − MS_inter)/(p r),
//! σ²_part = (MS_part − MS_inter)/(a r); what comes out below zero is set to zero.
//!
//! Pooling rule: where the interaction's F against the error has a p-value above `pool_above`, interaction and error are
//! pooled into one mean square that takes both their places, and the interaction's component is zero. The default 0.25
//! is the level of AIAG, Measurement Systems Analysis, 4th ed. (from memory; its example's interaction has p = 0.974).

use super::{AnovaError, Source, TwoWay, VarianceRatio, two_way};

/// Standard deviations of parts over that of the gauge that make one distinct category: 97 % intervals that do not
/// overlap, √2 rounded as AIAG prints it.
const CATEGORY_FACTOR: f64 = 1.41;

/// Settings of [`gauge`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GaugeOptions {
    /// The interaction is pooled with the error where its p-value is above this: 0 always pools, 1 never.
    pub pool_above: f64,
}

impl Default for GaugeOptions {
    fn default() -> Self {
        Self { pool_above: 0.25 }
    }
}

/// One part of the total variation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Share {
    /// Standard deviation, in the unit of the readings.
    pub sd: f64,
    /// Share of the total variance, 0 to 1. These add up.
    pub of_variance: f64,
    /// Share of the total standard deviation, 0 to 1. These do not add up.
    pub of_sd: f64,
}

/// Result of a study of a measuring system.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gauge {
    /// The table the components come from.
    pub table: TwoWay,
    /// Whether interaction and error were pooled.
    pub pooled: bool,
    /// Interaction against error; `None` without repeated trials.
    pub interaction_f: Option<VarianceRatio>,
    /// Parts against the interaction, or against the pooled error.
    pub part_f: VarianceRatio,
    /// Appraisers against the interaction, or against the pooled error.
    pub appraiser_f: VarianceRatio,
    /// Mean square of trials: the error, or the pooled one.
    pub trials: Source,
    /// Repeatability (equipment variation): trials of one appraiser on one part.
    pub repeatability: Share,
    /// Appraisers (appraiser variation), without their interaction.
    pub appraiser: Share,
    /// Interaction of appraisers and parts.
    pub interaction: Share,
    /// Reproducibility: appraisers and interaction together.
    pub reproducibility: Share,
    /// The gauge: repeatability and reproducibility together.
    pub gauge: Share,
    /// Part to part.
    pub part: Share,
    /// Standard deviation of all readings together.
    pub total_sd: f64,
    /// 1.41 part/gauge, not yet rounded down; infinite for a gauge without variation.
    pub category_ratio: f64,
}

impl Gauge {
    /// Distinct categories the gauge tells apart: the ratio rounded down, at least 1.
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a float cast saturates at the ends")]
    pub fn distinct_categories(&self) -> usize {
        self.category_ratio.max(1.0) as usize
    }
}

/// Analyses the readings `value` of each `part` by each `appraiser`, row by row.
///
/// # Errors
/// As [`two_way`], where the part is the first factor and the appraiser the second.
pub fn gauge(part: &[usize], appraiser: &[usize], value: &[f64], options: GaugeOptions) -> Result<Gauge, AnovaError> {
    let table = two_way(part, appraiser, value)?;
    #[expect(clippy::cast_precision_loss, reason = "numbers of readings are far below 2^52")]
    let [parts, appraisers, trials] = [table.n_first, table.n_second, table.replicates].map(|n| n as f64);
    let interaction_f = table.interaction.map(|i| i.against(&table.error));
    // Of nothing to nothing (NaN) there is no sign of an interaction either.
    let stands = interaction_f.is_some_and(|f| f.p <= options.pool_above);
    let (inter, error) = match table.interaction {
        Some(inter) if stands => (inter, table.error),
        Some(inter) => (inter.pooled(&table.error), inter.pooled(&table.error)),
        None => (table.error, table.error),
    };
    let component = |above: &Source, below: &Source, readings: f64| ((above.ms - below.ms) / readings).max(0.0);
    let repeat = error.ms;
    let interaction = component(&inter, &error, trials);
    let by_appraiser = component(&table.second, &inter, parts * trials);
    let by_part = component(&table.first, &inter, appraisers * trials);
    let total = repeat + interaction + by_appraiser + by_part;
    let share =
        |variance: f64| Share { sd: variance.sqrt(), of_variance: variance / total, of_sd: (variance / total).sqrt() };
    let gauge = repeat + by_appraiser + interaction;
    Ok(Gauge {
        table,
        pooled: table.interaction.is_some() && !stands,
        interaction_f,
        part_f: table.first.against(&inter),
        appraiser_f: table.second.against(&inter),
        trials: error,
        repeatability: share(repeat),
        appraiser: share(by_appraiser),
        interaction: share(interaction),
        reproducibility: share(by_appraiser + interaction),
        gauge: share(gauge),
        part: share(by_part),
        total_sd: total.sqrt(),
        category_ratio: CATEGORY_FACTOR * (by_part / gauge).sqrt(),
    })
}
