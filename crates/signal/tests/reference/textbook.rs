//! Textbook examples.

use bedplate_signal::change::glr;
use published::within;

/// Observations 1–20 from N(10, 1), 21–30 from N(11, 1).
///
/// Source: Montgomery, *Introduction to Statistical Quality Control*, tables 9.1 and 9.2, typed from memory: the sum C⁺₂₉ = 5.28
/// that the book prints comes out of these numbers, which vouches for 23 to 29.
const MONTGOMERY: [f64; 30] = [
    9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.20, 10.34, 9.03, 11.47, 10.51, 9.40, 10.08, 9.37, 10.62,
    10.31, 8.52, 10.84, 10.90, 9.33, 12.29, 11.50, 10.60, 11.08, 10.38, 11.62, 11.31, 10.52,
];

#[test]
fn the_shift_is_found_where_the_textbook_finds_it() {
    let mut upper = 0.0_f64;
    let mut since = 0;
    for x in &MONTGOMERY[..29] {
        upper = (upper + x - 10.5).max(0.0);
        since = if upper > 0.0 { since + 1 } else { 0 };
    }
    within(upper, 5.28, 1e-9);
    assert_eq!(since, 7, "the book's N⁺ at 29: the shift came between 22 and 23");

    let residuals = |n: usize| MONTGOMERY[..n].iter().rev().map(|x| x - 10.0);
    let found = glr(residuals(29), 1.0, 0.0);
    assert_eq!(found.since, since);
    // (2.29 + 1.50 + 0.60 + 1.08 + 0.38 + 1.62 + 1.31)² / (2 · 7), by hand.
    within(found.ratio, 8.78 * 8.78 / 14.0, 1e-9);
    // In the first twenty nothing reaches half of that.
    let most = (1..=20).map(|n| glr(residuals(n), 1.0, 0.0).ratio).fold(0.0, f64::max);
    assert!(most < found.ratio, "{most}");
}

#[test]
fn an_uncertain_level_lowers_the_ratio() {
    // By hand: four residuals of 2 at σ = 1: 8²/(2·4) = 8; with u = 1 the variance is 4 + 16, so 64/40.
    within(glr([2.0; 4].into_iter(), 1.0, 0.0).ratio, 8.0, 1e-12);
    within(glr([2.0; 4].into_iter(), 1.0, 1.0).ratio, 1.6, 1e-12);
}
