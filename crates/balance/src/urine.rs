//! Hours over which urine is known: an hour that nobody charted is no hour without urine.

use crate::ledger::{Flow, distribute};

/// A bladder may be left so long between two volumes of a patient whose urine is not measured by the hour, h; a longer silence is taken for a
/// chart that was not kept. Common practice, no source.
const SILENT_H: f64 = 8.0;
/// One or two rounds that were missed are passed over; after a longer gap the hours are counted anew, h. Own choice: half of the six hours that
/// the first stage asks for.
const PASSED_OVER_H: f64 = 3.0;

/// A stretch of hours in which urine was charted; hours that were missed within it are left out.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Span {
    /// Beginning of the first whole hour, h since the origin.
    pub(crate) from_h: f64,
    /// End of the last entry, h.
    pub(crate) to_h: f64,
    /// Urine of each hour, mL.
    pub(crate) hourly_ml: Vec<f64>,
}

/// The stretches in order of time. `flows` are those of urine that count, in any order, none of them running on; `end_h` is the record's end.
pub(crate) fn spans(flows: &[Flow], end_h: f64) -> Vec<Span> {
    let mut sorted: Vec<&Flow> = flows.iter().filter(|flow| flow.stamp_h <= end_h).collect();
    sorted.sort_by(|a, b| a.end_h.total_cmp(&b.end_h));
    let mut known: Vec<(f64, f64)> = Vec::new();
    for flow in sorted {
        // Without a pace a volume is what came since the one before.
        let reach_h = if flow.pace_h.is_some() { 0.0 } else { SILENT_H };
        match known.last_mut() {
            Some((_, to_h)) if flow.start_h <= *to_h + 1e-6 || flow.end_h - *to_h <= reach_h => {
                *to_h = to_h.max(flow.end_h);
            }
            _ => known.push((flow.start_h.max(0.0), flow.end_h)),
        }
    }
    // Stages are of volume; a mass is what flows are spread by.
    let g_per_ml = flows.iter().find(|f| f.signed_ml != 0.0).map_or(1.0, |f| f.body_g / f.signed_ml);
    let span = |(from_h, to_h): (f64, f64)| {
        let n = (to_h - from_h + 1e-6).floor().max(0.0) as usize;
        // Whole hours that end with the last entry.
        let times: Vec<f64> = (0..=n).map(|k| to_h - (n - k) as f64).collect();
        let hourly_ml = distribute(flows, &times).iter().map(|step| -step.body_g / g_per_ml).collect();
        Span { from_h: times[0], to_h, hourly_ml }
    };
    let mut out: Vec<Span> = Vec::new();
    for next in known.into_iter().map(span) {
        match out.last_mut() {
            Some(last) if next.from_h - last.to_h <= PASSED_OVER_H => {
                last.to_h = next.to_h;
                last.hourly_ml.extend(next.hourly_ml);
            }
            _ => out.push(next),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn flow(start_h: f64, end_h: f64, ml: f64, pace_h: Option<f64>) -> Flow {
        Flow {
            entry_idx: 0,
            stamp_h: end_h,
            start_h,
            end_h,
            signed_ml: -ml,
            body_g: -1.01 * ml,
            pool_g: 0.0,
            var_g2: 0.0,
            timing_g2: 0.0,
            pace_h,
        }
    }

    #[test]
    fn hours_before_the_first_entry_and_of_a_night_uncharted_are_not_known() {
        let hourly = |from: u32, to: u32| (from..to).map(|h| flow(f64::from(h), f64::from(h + 1), 60.0, Some(1.0)));
        let flows: Vec<Flow> = hourly(16, 30).chain(hourly(38, 44)).collect();
        let found = spans(&flows, 50.0);
        let ends: Vec<(f64, f64, usize)> = found.iter().map(|s| (s.from_h, s.to_h, s.hourly_ml.len())).collect();
        assert_eq!(ends, [(16.0, 30.0, 14), (38.0, 44.0, 6)]);
        assert!(found.iter().flat_map(|s| &s.hourly_ml).all(|ml| (ml - 60.0).abs() < 1e-9), "{found:?}");
    }

    #[test]
    fn a_round_that_was_missed_is_passed_over() {
        let ends = (1..=12).filter(|h| *h != 7).map(f64::from);
        let flows: Vec<Flow> = ends.map(|h| flow(h - 1.0, h, 60.0, Some(1.0))).collect();
        let found = spans(&flows, 12.0);
        assert_eq!(found.len(), 1);
        assert!(found[0].hourly_ml.len() == 11 && found[0].hourly_ml.iter().all(|ml| (ml - 60.0).abs() < 1e-9));
    }

    #[test]
    fn without_a_pace_a_volume_reaches_back_to_the_one_before_within_reason() {
        // A bottle at 2, 8, 13 and then at 30 h; each window is short, for the volume came at once.
        let flows: Vec<Flow> = [2.0, 8.0, 13.0, 30.0].map(|end| flow(end - 1.0, end, 300.0, None)).to_vec();
        let found = spans(&flows, 40.0);
        let ends: Vec<(f64, f64)> = found.iter().map(|s| (s.from_h, s.to_h)).collect();
        assert_eq!(ends, [(1.0, 13.0), (29.0, 30.0)]);
        let total: f64 = found[0].hourly_ml.iter().sum();
        assert!((total - 900.0).abs() < 1e-9, "{total}");
    }
}
