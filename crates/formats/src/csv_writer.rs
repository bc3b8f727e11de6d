//! Writing CSV: numbers in the shortest form that reads back the same, quotation marks where a text needs them.

use std::fmt::Write as _;

/// One line of CSV while it is written; its buffer is used again.
#[derive(Default)]
pub(crate) struct Line {
    text: String,
    n_fields: usize,
    ended: bool,
}

impl Line {
    fn next_field(&mut self) {
        if self.ended {
            self.text.clear();
            self.n_fields = 0;
            self.ended = false;
        }
        if self.n_fields > 0 {
            self.text.push(',');
        }
        self.n_fields += 1;
    }

    pub(crate) fn field(&mut self, field: &str) {
        self.next_field();
        if field.contains(['"', ',', '\n', '\r']) {
            self.text.push('"');
            for c in field.chars() {
                if c == '"' {
                    self.text.push('"');
                }
                self.text.push(c);
            }
            self.text.push('"');
        } else {
            self.text.push_str(field);
        }
    }

    pub(crate) fn number(&mut self, value: f64) {
        self.value(&value);
    }

    /// A value whose text needs no quotation marks.
    pub(crate) fn value(&mut self, value: &impl std::fmt::Display) {
        self.next_field();
        // Writing to a `String` cannot fail.
        let _ = write!(self.text, "{value}");
    }

    pub(crate) fn number_opt(&mut self, value: Option<f64>) {
        match value {
            Some(value) => self.number(value),
            None => self.field(""),
        }
    }

    /// Ends the line; the next field begins a new one.
    pub(crate) fn end(&mut self) -> &str {
        self.text.push('\n');
        self.ended = true;
        &self.text
    }
}

/// A whole CSV text.
#[derive(Default)]
pub(crate) struct Rows {
    text: String,
    line: Line,
}

impl Rows {
    pub(crate) fn new() -> Self {
        Self::default()
    }

    pub(crate) fn row<'a>(&mut self, fields: impl IntoIterator<Item = &'a str>) {
        for field in fields {
            self.line.field(field);
        }
        self.end_row();
    }

    pub(crate) fn field(&mut self, field: &str) {
        self.line.field(field);
    }

    pub(crate) fn number(&mut self, value: f64) {
        self.line.number(value);
    }

    pub(crate) fn number_opt(&mut self, value: Option<f64>) {
        self.line.number_opt(value);
    }

    pub(crate) fn end_row(&mut self) {
        self.text.push_str(self.line.end());
    }

    pub(crate) fn finish(self) -> String {
        self.text
    }
}
