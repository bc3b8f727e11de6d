//! Agreement of two methods on the same subjects, as the file contract tells it.
//!
//! Difference = method − reference. Where subjects carry repeats, the overall figures take every row as a pair, as the
//! contract asks, and `repeatability` says what the repeats of a subject add: the within-subject spread of each method
//! and limits for single measurements (Bland & Altman 1999).
//!
//! Not here: whether the agreement is good enough; the statistics themselves (`stats::agreement`).

mod gauge;

pub use gauge::{GaugeStudy, Part};

use std::collections::BTreeMap;

use formats::pairs::Pair;
use serde::Serialize;
use stats::agreement::{
    AgreementError, BlandAltman, Deming, PassingBablok, Repeated, RepeatedVarying, bland_altman, concordance, deming,
    pairs_for_limit_width, passing_bablok, proportional_bias, repeated, repeated_varying, share_within,
    weighted_deming,
};

/// Coverage of every interval.
const COVERAGE: f64 = 0.95;

/// How to compare.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AgreeOptions {
    /// Variance of the method's error over that of the reference's, for the Deming line.
    pub variance_ratio: f64,
    /// Whether errors grow in proportion to what is measured: a weighted line with errors in both is drawn too.
    pub proportional: bool,
    /// Whole width wanted of the 95 % interval of a limit of agreement, in the unit of the pairs.
    pub width: Option<f64>,
}

impl Default for AgreeOptions {
    fn default() -> Self {
        Self { variance_ratio: 1.0, proportional: false, width: None }
    }
}

/// Agreement of two methods. Unit: that of the pairs.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AgreeReport {
    /// Pairs.
    pub n: usize,
    /// Mean difference, method − reference.
    pub bias: f64,
    /// Standard deviation of the differences.
    pub sd: f64,
    /// Limits of agreement, 95 % of differences.
    pub limits: [f64; 2],
    /// 95 % intervals of the lower and the upper limit, √(3 s²/n) and Student's t.
    pub limits_ci: [[f64; 2]; 2],
    /// The same by the noncentral t distribution.
    pub limits_ci_exact: [[f64; 2]; 2],
    /// 95 % interval of the bias.
    pub bias_ci: [f64; 2],
    /// Slope of the difference over the mean of both.
    pub proportional_slope: f64,
    /// Two-sided p-value of that slope.
    pub proportional_p: Option<f64>,
    /// The line of the difference over the mean, for a bias that grows with size; absent where the means do not spread.
    pub proportional: Option<Proportional>,
    /// Lin's concordance; absent where a method does not spread.
    pub concordance: Option<f64>,
    /// Its 95 % interval.
    pub concordance_ci: Option<[f64; 2]>,
    /// Line with errors in both methods; absent where the pairs allow none.
    pub deming: Option<Line>,
    /// The same with errors of their own size in each pair: as the pairs state them, where all do, else, where asked for, in
    /// proportion to the mean of both. Absent where neither is so, where a mean is not above 0, and where the pairs allow none or
    /// are too many to leave each out once.
    pub deming_weighted: Option<Line>,
    /// What the errors of that line were taken from.
    pub weighted_by: Option<WeightedBy>,
    /// Line by ranks of slopes; absent where the pairs allow none or are too many to compare every two.
    pub passing_bablok: Option<RankLine>,
    /// Share of pairs with the method within 5 % of the reference, 0 to 1.
    pub within_5_pct: f64,
    /// Share within 10 %, 0 to 1.
    pub within_10_pct: f64,
    /// What repeats say; absent where no subject has any.
    pub repeatability: Option<Repeatability>,
    /// Repeatability and reproducibility of the method, where operators are named and the study is balanced.
    pub gauge: Option<GaugeStudy>,
    /// Why there is no such study although operators are named.
    pub gauge_missing: Option<String>,
    /// How many pairs narrower intervals of the limits would take.
    pub pairs_needed: Vec<PairsNeeded>,
}

/// Where the errors of each pair come from in a weighted line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum WeightedBy {
    /// Standard uncertainties stated with each pair; the variance ratio has no part in it.
    Stated,
    /// In proportion to the mean of both.
    Size,
}

/// Pairs that an interval of a limit of agreement of some width takes, at the standard deviation found.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PairsNeeded {
    /// Whole width of the 95 % interval of a limit, in the unit of the pairs.
    pub width: f64,
    /// Pairs.
    pub pairs: usize,
}

/// The difference as a straight line over the mean of both methods.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Proportional {
    /// Slope.
    pub slope: f64,
    /// 95 % interval of the slope.
    pub slope_ci: [f64; 2],
    /// Two-sided p-value of no slope.
    pub p: f64,
    /// Intercept, in the unit of the pairs.
    pub intercept: f64,
    /// Standard deviation about the line.
    pub residual_sd: f64,
}

/// A line with errors in both methods.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Line {
    /// Slope.
    pub slope: f64,
    /// Intercept.
    pub intercept: f64,
    /// Standard error of the slope, by the jackknife.
    pub slope_se: f64,
    /// Standard error of the intercept.
    pub intercept_se: f64,
    /// 95 % interval of the slope.
    pub slope_ci: [f64; 2],
    /// 95 % interval of the intercept.
    pub intercept_ci: [f64; 2],
    /// Variance ratio it was drawn at.
    pub variance_ratio: f64,
}

/// A line by ranks of slopes; an end of an interval that has no bound is absent.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct RankLine {
    /// Slope.
    pub slope: f64,
    /// 95 % interval of the slope.
    pub slope_ci: [Option<f64>; 2],
    /// Intercept.
    pub intercept: f64,
    /// 95 % interval of the intercept.
    pub intercept_ci: [Option<f64>; 2],
}

/// What the repeats of subjects say.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Repeatability {
    /// Subjects.
    pub subjects: usize,
    /// Within-subject standard deviation of the reference.
    pub reference_sd: f64,
    /// Within-subject standard deviation of the method.
    pub method_sd: f64,
    /// 95 % of two repeats of the reference differ by less.
    pub reference_coefficient: f64,
    /// 95 % of two repeats of the method differ by less.
    pub method_coefficient: f64,
    /// Standard deviation of differences of single measurements.
    pub single_sd: f64,
    /// Limits of agreement of single measurements.
    pub single_limits: [f64; 2],
    /// Standard deviation of single differences where the true value may change between the pairs of a subject.
    pub varying_sd: Option<f64>,
    /// Limits of agreement in that case.
    pub varying_limits: Option<[f64; 2]>,
}

/// Widths of the limits' intervals that [`AgreeReport::pairs_needed`] tells, in standard deviations of the differences.
const WIDTHS_SD: [f64; 3] = [1.0, 0.5, 0.25];

/// Why methods cannot be compared.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error(transparent)]
pub struct AgreeError(#[from] AgreementError);

/// Compares the methods of the pairs.
///
/// # Errors
/// Fewer than 3 pairs, a variance ratio that is not positive.
pub fn agree(pairs: &[Pair], options: &AgreeOptions) -> Result<AgreeReport, AgreeError> {
    let reference: Vec<f64> = pairs.iter().map(|p| p.reference).collect();
    let method: Vec<f64> = pairs.iter().map(|p| p.method).collect();
    let BlandAltman { n, bias, sd, bias_ci, limits, limits_ci, limits_ci_exact, proportional_slope, proportional_p } =
        bland_altman(&reference, &method, COVERAGE)?;
    let (gauge, gauge_missing) = match gauge::study(pairs) {
        Some(Ok(study)) => (Some(study), None),
        Some(Err(reason)) => (None, Some(reason)),
        None => (None, None),
    };
    let weighted = weighted_line(pairs, &reference, &method, options)?;
    let rho = unless_posed_badly(concordance(&reference, &method, COVERAGE))?;
    Ok(AgreeReport {
        n,
        bias,
        sd,
        limits,
        limits_ci,
        limits_ci_exact,
        bias_ci,
        proportional_slope,
        proportional_p,
        proportional: unless_posed_badly(proportional_bias(&reference, &method, COVERAGE))?.map(|line| Proportional {
            slope: line.slope,
            slope_ci: line.slope_ci,
            p: line.slope_p,
            intercept: line.intercept,
            residual_sd: line.residual_sd,
        }),
        concordance: rho.map(|c| c.value),
        concordance_ci: rho.and_then(|c| c.ci),
        deming: unless_posed_badly(deming(&reference, &method, options.variance_ratio, COVERAGE))?
            .map(|d| line(&d, options.variance_ratio)),
        weighted_by: weighted.map(|(by, _)| by),
        deming_weighted: weighted.map(|(_, drawn)| drawn),
        passing_bablok: unless_posed_badly(passing_bablok(&reference, &method, COVERAGE))?.map(|p| rank_line(&p)),
        within_5_pct: share_within(&reference, &method, 5.0),
        within_10_pct: share_within(&reference, &method, 10.0),
        repeatability: repeats(pairs)?,
        gauge,
        gauge_missing,
        pairs_needed: pairs_needed(sd, options.width)?,
    })
}

/// Differences without spread need no pairs for any width.
fn pairs_needed(sd: f64, wanted: Option<f64>) -> Result<Vec<PairsNeeded>, AgreementError> {
    if let Some(found) = wanted.filter(|w| !(*w > 0.0 && w.is_finite())) {
        return Err(AgreementError::Parameter { what: "width", found, expected: "above 0" });
    }
    if sd <= 0.0 {
        return Ok(Vec::new());
    }
    let widths = wanted.map_or_else(|| WIDTHS_SD.map(|share| share * sd).to_vec(), |width| vec![width]);
    widths
        .into_iter()
        .map(|width| Ok(PairsNeeded { width, pairs: pairs_for_limit_width(sd, width, COVERAGE)? }))
        .collect()
}

/// The line with errors of their own size in each pair.
fn weighted_line(
    pairs: &[Pair],
    reference: &[f64],
    method: &[f64],
    options: &AgreeOptions,
) -> Result<Option<(WeightedBy, Line)>, AgreementError> {
    let stated: Option<Vec<[f64; 2]>> = pairs.iter().map(|p| Some([p.u_reference?, p.u_method?])).collect();
    let (by, found) = match stated {
        Some(u) => {
            let [u_reference, u_method] = [0, 1].map(|i| u.iter().map(|u| u[i]).collect::<Vec<f64>>());
            let found = weighted_deming(reference, method, &u_reference, &u_method, COVERAGE);
            (WeightedBy::Stated, unless_posed_badly(found)?)
        }
        None if options.proportional => (WeightedBy::Size, by_size(reference, method, options.variance_ratio)?),
        None => return Ok(None),
    };
    Ok(found.map(|d| (by, line(&d, options.variance_ratio))))
}

/// The line with errors that grow with size: the standard deviations of a pair are as its mean to the others'.
fn by_size(reference: &[f64], method: &[f64], ratio: f64) -> Result<Option<Deming>, AgreementError> {
    let u_reference: Vec<f64> = reference.iter().zip(method).map(|(x, y)| f64::midpoint(*x, *y)).collect();
    if u_reference.iter().any(|mean| *mean <= 0.0) {
        return Ok(None);
    }
    let u_method: Vec<f64> = u_reference.iter().map(|u| ratio.sqrt() * u).collect();
    unless_posed_badly(weighted_deming(reference, method, &u_reference, &u_method, COVERAGE))
}

/// Pairs that are too few, too many or do not spread have no line, which is no error of the user's; anything else is.
fn unless_posed_badly<T>(found: Result<T, AgreementError>) -> Result<Option<T>, AgreementError> {
    match found {
        Ok(found) => Ok(Some(found)),
        Err(AgreementError::NoSpread | AgreementError::TooFew { .. } | AgreementError::TooMany { .. }) => Ok(None),
        Err(e) => Err(e),
    }
}

fn line(d: &Deming, variance_ratio: f64) -> Line {
    let Deming { slope, intercept, slope_se, intercept_se, slope_ci, intercept_ci } = *d;
    Line { slope, intercept, slope_se, intercept_se, slope_ci, intercept_ci, variance_ratio }
}

fn rank_line(p: &PassingBablok) -> RankLine {
    let bounded = |ends: [f64; 2]| ends.map(|end| Some(end).filter(|e| e.is_finite()));
    RankLine {
        slope: p.slope,
        slope_ci: bounded(p.slope_ci),
        intercept: p.intercept,
        intercept_ci: bounded(p.intercept_ci),
    }
}

fn repeats(pairs: &[Pair]) -> Result<Option<Repeatability>, AgreementError> {
    let mut subjects: BTreeMap<&str, (Vec<f64>, Vec<f64>)> = BTreeMap::new();
    for pair in pairs {
        let (reference, method) = subjects.entry(&pair.subject).or_default();
        reference.push(pair.reference);
        method.push(pair.method);
    }
    if subjects.values().all(|(reference, _)| reference.len() < 2) {
        return Ok(None);
    }
    let groups: Vec<(Vec<f64>, Vec<f64>)> = subjects.into_values().collect();
    let varying: Option<RepeatedVarying> = unless_posed_badly(repeated_varying(&groups, COVERAGE))?;
    Ok(unless_posed_badly(repeated(&groups, COVERAGE))?.map(|r: Repeated| Repeatability {
        subjects: r.subjects,
        reference_sd: r.within_reference,
        method_sd: r.within_method,
        reference_coefficient: r.repeatability_reference,
        method_coefficient: r.repeatability_method,
        single_sd: r.sd,
        single_limits: r.limits,
        varying_sd: varying.map(|v| v.sd),
        varying_limits: varying.map(|v| v.limits),
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pair(subject: &str, reference: f64, method: f64) -> Pair {
        Pair {
            line: 0,
            subject: subject.into(),
            reference,
            method,
            repeat: None,
            operator: None,
            u_reference: None,
            u_method: None,
        }
    }

    /// Source: Bland & Altman, Lancet 1986;i:307–310, Table 1, first readings; printed bias −2.1 and SD 38.8 L/min.
    #[test]
    fn peak_flow_pairs_give_the_published_bias_and_spread() {
        let large =
            [494., 395., 516., 434., 476., 557., 413., 442., 650., 433., 417., 656., 267., 478., 178., 423., 427.];
        let mini =
            [512., 430., 520., 428., 500., 600., 364., 380., 658., 445., 432., 626., 260., 477., 259., 350., 451.];
        let pairs: Vec<Pair> = (0..17).map(|i| pair(&i.to_string(), mini[i], large[i])).collect();
        let report = agree(&pairs, &AgreeOptions::default()).unwrap();
        assert!((report.bias + 2.1).abs() < 0.05 && (report.sd - 38.8).abs() < 0.05, "{report:?}");
        assert!(report.repeatability.is_none());
        assert!((report.concordance.unwrap() - 0.942_742_431_4).abs() < 1e-9);
    }

    #[test]
    fn pairs_without_spread_have_a_bias_and_no_line() {
        let pairs: Vec<Pair> = (0..5).map(|i| pair(&i.to_string(), 20.0, 20.0 + 0.01 * f64::from(i))).collect();
        let report = agree(&pairs, &AgreeOptions::default()).unwrap();
        assert!((report.bias - 0.02).abs() < 1e-12);
        assert!(report.deming.is_none() && report.concordance.is_none(), "{report:?}");
        serde_json::to_string(&report).unwrap();
    }

    #[test]
    fn repeats_of_a_subject_are_told() {
        let pairs: Vec<Pair> = (0..4)
            .flat_map(|i| {
                let kg = 40.0 + 10.0 * f64::from(i);
                [pair(&i.to_string(), kg, kg + 0.03), pair(&i.to_string(), kg, kg - 0.03)]
            })
            .collect();
        let r = agree(&pairs, &AgreeOptions::default()).unwrap().repeatability.unwrap();
        assert_eq!(r.subjects, 4);
        // Two values 0.06 apart have a standard deviation of 0.06/√2.
        assert!((r.method_sd - 0.06 / 2f64.sqrt()).abs() < 1e-12 && r.reference_sd.abs() < 1e-12, "{r:?}");
    }

    #[test]
    fn a_variance_ratio_of_zero_is_refused() {
        let pairs: Vec<Pair> = (0..5).map(|i| pair(&i.to_string(), f64::from(i), f64::from(i * i))).collect();
        let error = agree(&pairs, &AgreeOptions { variance_ratio: 0.0, ..AgreeOptions::default() }).unwrap_err();
        assert!(error.to_string().contains("variance ratio is 0"), "{error}");
    }

    #[test]
    fn a_wanted_width_takes_its_pairs_and_none_below_zero_is_taken() {
        let pairs: Vec<Pair> =
            (0..9).map(|i| pair(&i.to_string(), f64::from(i), f64::from(i) + 0.1 * f64::from(i % 3))).collect();
        let with = |width| agree(&pairs, &AgreeOptions { width: Some(width), ..AgreeOptions::default() });
        let needed = with(0.05).unwrap().pairs_needed;
        // n = 3 (2 t s/W)² with s = 0.0866 and t near 1.97: 143 at t = 1.98.
        assert!(needed.len() == 1 && (139..=145).contains(&needed[0].pairs), "{needed:?}");
        for width in [0.0, -1.0, f64::NAN] {
            assert!(with(width).unwrap_err().to_string().contains("width"), "{width}");
        }
    }

    /// Errors in proportion to size: pairs along y = 1.02 x + 0.1 with 1 % on each, the large ones off the line by more.
    #[test]
    fn errors_in_proportion_weigh_the_small_pairs_more() {
        let pairs: Vec<Pair> = (1..=20)
            .map(|i| {
                let x = f64::from(i * i);
                let off = if i % 2 == 0 { 1.01 } else { 0.99 };
                pair(&i.to_string(), x, (1.02 * x + 0.1) * off)
            })
            .collect();
        let options = AgreeOptions { proportional: true, ..AgreeOptions::default() };
        let found = agree(&pairs, &options).unwrap();
        let (weighted, plain) = (found.deming_weighted.unwrap(), found.deming.unwrap());
        assert!((weighted.intercept - 0.1).abs() < 0.02, "{weighted:?}");
        assert!(weighted.intercept_se < 0.2 * plain.intercept_se, "{weighted:?} {plain:?}");
        assert!(agree(&pairs, &AgreeOptions::default()).unwrap().deming_weighted.is_none());
        let below = [pairs.clone(), vec![pair("0", -1.0, 0.5)]].concat();
        assert!(agree(&below, &options).unwrap().deming_weighted.is_none());
    }

    /// Every two of a hundred thousand pairs would not fit into a machine; the rest of the report needs each pair once.
    #[test]
    fn very_many_pairs_have_all_but_a_line_by_ranks() {
        let pairs: Vec<Pair> = (0..100_000)
            .map(|i| {
                let reference = 40.0 + f64::from(i % 977) / 10.0;
                pair(&i.to_string(), reference, 1.01 * reference + f64::from(i % 7) / 100.0)
            })
            .collect();
        let found = agree(&pairs, &AgreeOptions::default()).unwrap();
        assert!(found.passing_bablok.is_none() && found.n == 100_000);
        assert!((found.deming.unwrap().slope - 1.01).abs() < 1e-3);
    }
}
