//! Tables on a terminal: a heading line, columns that stand right where they hold numbers.

use comfy_table::{Cell, CellAlignment, Table};

/// A table under construction.
pub(crate) struct Sheet {
    table: Table,
}

impl Sheet {
    /// A table with those column headings; a heading that begins with `<` stands left, as words do.
    pub(crate) fn new(head: &[&str]) -> Self {
        let mut table = Table::new();
        table.load_preset("    ── ─            ");
        table.set_header(head.iter().map(|h| {
            let words = h.strip_prefix('<');
            Cell::new(words.unwrap_or(h)).set_alignment(side(words.is_some()))
        }));
        for (i, h) in head.iter().enumerate() {
            if let Some(column) = table.column_mut(i) {
                column.set_cell_alignment(side(h.starts_with('<')));
                column.set_padding((1, 1));
            }
        }
        Self { table }
    }

    /// Adds a row.
    pub(crate) fn row<I, S>(&mut self, cells: I)
    where
        I: IntoIterator<Item = S>,
        S: Into<String>,
    {
        self.table.add_row(cells.into_iter().map(Into::into));
    }

    /// The text, ending with a line break, no blanks at line ends.
    pub(crate) fn print(&self) -> String {
        let mut text = String::new();
        for line in self.table.lines() {
            text.push_str(line.trim_end());
            text.push('\n');
        }
        text
    }
}

fn side(words: bool) -> CellAlignment {
    if words { CellAlignment::Left } else { CellAlignment::Right }
}

/// Met or not, in words.
pub(crate) fn verdict(met: bool) -> &'static str {
    if met { "met" } else { "NOT MET" }
}

/// What may be said of a kind of test, in words.
pub(crate) fn standing(standing: verify::Standing) -> &'static str {
    match standing {
        verify::Standing::Missed => verdict(false),
        verify::Standing::Incomplete => "not complete",
        verify::Standing::Met => verdict(true),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_stand_right_and_words_left() {
        let mut sheet = Sheet::new(&["<cell", "N"]);
        sheet.row(["a", "1"]);
        sheet.row(["bb", "1000"]);
        let text = sheet.print();
        assert!(text.lines().any(|l| l.trim_end().ends_with("   1")), "{text}");
        assert!(text.lines().all(|l| !l.ends_with(' ')), "{text}");
    }
}
