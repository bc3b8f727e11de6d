//! What to improve first: each source's share, and what the whole would be without it or with half of it.

use stats::resolvable::PER_U;

use super::COVERAGE_K;
use super::model::{Model, Source};
use crate::report::Improvement;

/// Sources that matter in a weight at max or in a change over a day, the largest gain in the change first.
pub fn tornado(at_max: &Model, over_a_day: &Model) -> Vec<Improvement> {
    let scaled = |model: &Model, source: Source, by: f64| {
        let own = model.u_of_g(source).powi(2);
        (model.u_g().powi(2) - own + by * by * own).max(0.0).sqrt()
    };
    let mut rows: Vec<Improvement> = Source::ALL
        .iter()
        .filter(|&&s| at_max.u_of_g(s) > 0.0 || over_a_day.u_of_g(s) > 0.0)
        .map(|&source| Improvement {
            source: source.name(),
            share_of_variance_pct: share_pct(at_max, source),
            share_of_change_variance_pct: share_pct(over_a_day, source),
            expanded_u_if_halved_g: COVERAGE_K * scaled(at_max, source, 0.5),
            expanded_u_without_g: COVERAGE_K * scaled(at_max, source, 0.0),
            resolvable_24h_if_halved_g: PER_U * scaled(over_a_day, source, 0.5),
            resolvable_24h_without_g: PER_U * scaled(over_a_day, source, 0.0),
        })
        .collect();
    rows.sort_by(|a, b| {
        b.share_of_change_variance_pct
            .total_cmp(&a.share_of_change_variance_pct)
            .then(b.share_of_variance_pct.total_cmp(&a.share_of_variance_pct))
    });
    rows
}

fn share_pct(model: &Model, source: Source) -> f64 {
    let whole = model.u_g().powi(2);
    if whole > 0.0 { 100.0 * model.u_of_g(source).powi(2) / whole } else { 0.0 }
}
