//! Repeatability and reproducibility of the method under test, where pairs say who measured and each subject was
//! measured by each operator equally often.

use std::collections::BTreeMap;

use formats::pairs::Pair;
use serde::Serialize;
use stats::anova::{AnovaError, GaugeOptions, Share, gauge};

/// What operators and repeats say of the method. Subjects stand for the parts, operators for the appraisers.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct GaugeStudy {
    /// Subjects.
    pub subjects: usize,
    /// Operators.
    pub operators: usize,
    /// Repeats of an operator on a subject.
    pub repeats: usize,
    /// Whether the interaction of operators and subjects was pooled with the error (p above 0.25).
    pub pooled: bool,
    /// P-value of the interaction; absent without repeats.
    pub interaction_p: Option<f64>,
    /// P-value of differences between operators; absent where the pairs show none to judge.
    pub operator_p: Option<f64>,
    /// Repeats of one operator on one subject.
    pub repeatability: Part,
    /// Operators, with their interaction.
    pub reproducibility: Part,
    /// Both together.
    pub gauge: Part,
    /// From subject to subject.
    pub subject: Part,
    /// Standard deviation of all readings, in the unit of the pairs.
    pub total_sd: f64,
    /// Distinct categories of subjects that the method tells apart.
    pub distinct_categories: usize,
}

/// A part of the variation.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Part {
    /// Standard deviation, in the unit of the pairs.
    pub sd: f64,
    /// Share of the total variance, 0 to 1; these add up.
    pub of_variance: f64,
    /// Share of the total standard deviation, 0 to 1; these do not add up.
    pub of_sd: f64,
}

impl From<Share> for Part {
    fn from(share: Share) -> Self {
        Self { sd: share.sd, of_variance: share.of_variance, of_sd: share.of_sd }
    }
}

/// The study, or why there is none; nothing at all where no pair names an operator.
pub(super) fn study(pairs: &[Pair]) -> Option<Result<GaugeStudy, String>> {
    if pairs.iter().all(|p| p.operator.is_none()) {
        return None;
    }
    if let Some(pair) = pairs.iter().find(|p| p.operator.is_none()) {
        return Some(Err(format!("line {} names no operator, other lines do", pair.line)));
    }
    let subjects = levels(pairs.iter().map(|p| p.subject.as_str()));
    let operators = levels(pairs.iter().filter_map(|p| p.operator.as_deref()));
    let part: Vec<usize> = pairs.iter().map(|p| subjects[p.subject.as_str()]).collect();
    let appraiser: Vec<usize> = pairs.iter().filter_map(|p| p.operator.as_deref().map(|o| operators[o])).collect();
    let value: Vec<f64> = pairs.iter().map(|p| p.method).collect();
    let found = match gauge(&part, &appraiser, &value, GaugeOptions::default()) {
        Ok(found) => found,
        Err(error) => return Some(Err(say(&error, &subjects, &operators))),
    };
    let finite = |p: f64| Some(p).filter(|p| p.is_finite());
    Some(Ok(GaugeStudy {
        subjects: found.table.n_first,
        operators: found.table.n_second,
        repeats: found.table.replicates,
        pooled: found.pooled,
        interaction_p: found.interaction_f.and_then(|f| finite(f.p)),
        operator_p: finite(found.appraiser_f.p),
        repeatability: found.repeatability.into(),
        reproducibility: found.reproducibility.into(),
        gauge: found.gauge.into(),
        subject: found.part.into(),
        total_sd: found.total_sd,
        distinct_categories: found.distinct_categories(),
    }))
}

/// A number for each name, in the order of the names.
fn levels<'a>(names: impl Iterator<Item = &'a str>) -> BTreeMap<&'a str, usize> {
    let mut levels: BTreeMap<&str, usize> = names.map(|n| (n, 0)).collect();
    levels.values_mut().enumerate().for_each(|(i, level)| *level = i);
    levels
}

/// The reason in the words of the pairs.
fn say(error: &AnovaError, subjects: &BTreeMap<&str, usize>, operators: &BTreeMap<&str, usize>) -> String {
    let name = |levels: &BTreeMap<&str, usize>, level: usize| {
        levels.iter().find(|(_, l)| **l == level).map_or_else(String::new, |(n, _)| (*n).to_owned())
    };
    match error {
        AnovaError::Unbalanced { first, second, found, expected } => format!(
            "subject {} was measured {found} times by operator {}, expected {expected} times as everywhere",
            name(subjects, *first),
            name(operators, *second)
        ),
        AnovaError::TooFewLevels { .. } => {
            format!("{} subjects and {} operators, expected at least 2 of each", subjects.len(), operators.len())
        }
        other => other.to_string(),
    }
}
