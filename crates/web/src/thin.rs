//! A long curve thinned out for the eye: what is drawn keeps every peak and dip that a screen can show.

/// The lowest and the highest point of each of `n_buckets` equal stretches of the curve, in their order. A curve of no more
/// than two points a stretch stays as it is; a gap (`None`) stays a gap where a stretch has nothing else.
#[must_use]
pub(crate) fn thin<T: Copy>(points: &[(T, Option<f64>)], n_buckets: usize) -> Vec<(T, Option<f64>)> {
    if points.len() <= 2 * n_buckets.max(1) {
        return points.to_vec();
    }
    let mut out = Vec::with_capacity(2 * n_buckets);
    for bucket in 0..n_buckets {
        let (from, to) = (bucket * points.len() / n_buckets, (bucket + 1) * points.len() / n_buckets);
        let known = || (from..to).filter_map(|i| points[i].1.map(|y| (i, y)));
        let lowest = known().min_by(|a, b| a.1.total_cmp(&b.1));
        let highest = known().max_by(|a, b| a.1.total_cmp(&b.1));
        match (lowest, highest) {
            (Some((a, _)), Some((b, _))) => {
                out.push(points[a.min(b)]);
                if a != b {
                    out.push(points[a.max(b)]);
                }
            }
            _ => out.push((points[from].0, None)),
        }
    }
    out
}

/// One point for each of `n_buckets` equal stretches: the middle of what is known in it by size (the lower one of two), where it
/// stood. For a curve whose peaks say nothing. Short curves and gaps as in [`thin`].
#[must_use]
pub(crate) fn medians<T: Copy>(points: &[(T, Option<f64>)], n_buckets: usize) -> Vec<(T, Option<f64>)> {
    if points.len() <= n_buckets.max(1) {
        return points.to_vec();
    }
    let middle = |bucket: usize| {
        let (from, to) = (bucket * points.len() / n_buckets, (bucket + 1) * points.len() / n_buckets);
        let mut known: Vec<(f64, usize)> = (from..to).filter_map(|i| points[i].1.map(|y| (y, i))).collect();
        known.sort_by(|a, b| a.0.total_cmp(&b.0));
        let found = known.get(known.len().saturating_sub(1) / 2);
        found.map_or((points[from].0, None), |(_, i)| points[*i])
    };
    (0..n_buckets).map(middle).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_day_of_seconds_keeps_its_extremes_in_a_few_thousand_points() {
        let day: Vec<(usize, Option<f64>)> = (0..86_400)
            .map(|s| (s, Some(70.0 + f64::from(u32::from(s == 43_210)) - 0.5 * f64::from(u32::from(s == 80_001)))))
            .collect();
        let thinned = thin(&day, 1200);
        assert!(thinned.len() <= 2400, "{}", thinned.len());
        assert!(thinned.contains(&(43_210, Some(71.0))) && thinned.contains(&(80_001, Some(69.5))));
        assert!(thinned.windows(2).all(|w| w[0].0 < w[1].0), "in order");
    }

    #[test]
    fn gaps_stay_and_short_curves_are_left_alone() {
        let short = [(1, Some(2.0)), (2, None), (3, Some(1.0))];
        assert_eq!(thin(&short, 10), short);
        let mut day: Vec<(usize, Option<f64>)> = (0..10_000).map(|s| (s, Some(1.0))).collect();
        day[4000..6000].iter_mut().for_each(|p| p.1 = None);
        let gap = thin(&day, 100).iter().filter(|p| p.1.is_none()).count();
        assert_eq!(gap, 20, "a fifth of the stretches has nothing");
    }

    #[test]
    fn a_median_of_a_stretch_heeds_no_peak_and_keeps_gaps() {
        let mut day: Vec<(usize, Option<f64>)> = (0..10_000).map(|s| (s, Some(70.0))).collect();
        (0..10_000).step_by(50).for_each(|i| day[i].1 = Some(140.0));
        day[4000..6000].iter_mut().for_each(|p| p.1 = None);
        let found = medians(&day, 100);
        assert_eq!(found.len(), 100);
        assert!(found.iter().all(|p| p.1.is_none_or(|y| (y - 70.0).abs() < 1e-12)));
        assert_eq!(found.iter().filter(|p| p.1.is_none()).count(), 20, "a fifth of the stretches has nothing");
    }
}
