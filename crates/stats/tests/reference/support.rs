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
