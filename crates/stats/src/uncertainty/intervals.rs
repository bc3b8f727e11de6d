//! Coverage intervals from draws (JCGM 101:2008, 7.7). Order statistics count from 1 there, from 0 here.

/// Draws that an interval of coverage p spans: q = pM to the nearest whole number (7.7.1), and one step at least.
fn spanned(n: usize, coverage: f64) -> usize {
    ((coverage * n as f64).round() as usize).clamp(1, n.saturating_sub(1).max(1))
}

/// Probabilistically symmetric interval y(r) to y(r + q), r = (M − q)/2 (7.7.2); reorders the draws. `None` for fewer than two.
pub fn symmetric_interval(draws: &mut [f64], coverage: f64) -> Option<[f64; 2]> {
    if draws.len() < 2 {
        return None;
    }
    let covered = spanned(draws.len(), coverage);
    let below = (draws.len() - covered).div_ceil(2).max(1);
    let low = *draws.select_nth_unstable_by(below - 1, f64::total_cmp).1;
    // All that lies above is behind that place by now.
    let high = *draws[below..].select_nth_unstable_by(covered - 1, f64::total_cmp).1;
    Some([low, high])
}

/// Shortest interval y(r) to y(r + q) of all r (7.7.3); sorts the draws. `None` for fewer than two.
pub fn shortest_interval(draws: &mut [f64], coverage: f64) -> Option<[f64; 2]> {
    if draws.len() < 2 {
        return None;
    }
    let covered = spanned(draws.len(), coverage);
    draws.sort_unstable_by(f64::total_cmp);
    let ends = draws.iter().zip(&draws[covered..]).map(|(low, high)| [*low, *high]);
    ends.min_by(|a, b| (a[1] - a[0]).total_cmp(&(b[1] - b[0])))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked by hand: of 1 to 100, q = 95 and r = 3: the third and the 98th value.
    #[test]
    fn the_symmetric_interval_leaves_as_many_on_both_sides() {
        let mut draws: Vec<f64> = (1..=100).rev().map(f64::from).collect();
        assert_eq!(symmetric_interval(&mut draws, 0.95), Some([3.0, 98.0]));
    }

    /// Worked by hand: squares of 1 to 100 lie densest at the low end.
    #[test]
    fn the_shortest_interval_lies_where_draws_are_densest() {
        let mut draws: Vec<f64> = (1..=100).rev().map(|i| f64::from(i * i)).collect();
        assert_eq!(shortest_interval(&mut draws, 0.95), Some([1.0, 96.0 * 96.0]));
    }

    #[test]
    fn one_draw_spans_nothing() {
        assert_eq!(symmetric_interval(&mut [1.0], 0.95), None);
        assert_eq!(shortest_interval(&mut [], 0.95), None);
        assert_eq!(symmetric_interval(&mut [2.0, 1.0], 0.95), Some([1.0, 2.0]));
    }
}
