//! Helpers of the reference tests.

/// The numeric columns of a comma-separated text with `#` comments and one heading.
pub(crate) fn columns(text: &str) -> Vec<Vec<f64>> {
    let mut rows = text.lines().filter(|l| !l.starts_with('#') && !l.trim().is_empty());
    let n = rows.next().map_or(0, |heading| heading.split(',').count());
    let mut columns = vec![Vec::new(); n];
    for row in rows {
        for (column, cell) in columns.iter_mut().zip(row.split(',')) {
            column.push(cell.trim().parse().expect("a number"));
        }
    }
    columns
}

/// Asserts that `found` is within `relative` of `expected`.
#[track_caller]
pub(crate) fn close_rel(found: f64, expected: f64, relative: f64) {
    let off = ((found - expected) / expected).abs();
    assert!(off <= relative, "found {found:.16e}, expected {expected:.16e}, off by {off:.1e} relative");
}

/// Asserts that `found` is within `absolute` of `expected`.
#[track_caller]
pub(crate) fn close_abs(found: f64, expected: f64, absolute: f64) {
    let off = (found - expected).abs();
    assert!(off <= absolute, "found {found}, expected {expected}, off by {off:.1e}");
}
