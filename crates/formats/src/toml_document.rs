//! A TOML text: its tree with places, what is not TOML in it, and all that was noted about it.

use std::cell::RefCell;
use std::ops::Range;

use toml::Spanned;
use toml::de::DeTable;

use crate::limits::{self, quoted};
use crate::{Problem, Problems};

/// One TOML text with all that was found wrong with it so far.
pub(crate) struct Document<'t> {
    file: &'t str,
    text: &'t str,
    problems: RefCell<Vec<Problem>>,
    warnings: RefCell<Vec<Problem>>,
}

/// The text without a byte-order mark.
pub(crate) fn without_bom(text: &str) -> &str {
    text.strip_prefix('\u{feff}').unwrap_or(text)
}

impl<'t> Document<'t> {
    /// A document and its tree, or what is not TOML in it.
    pub(crate) fn parse(file: &'t str, text: &'t str) -> Result<(Self, Spanned<DeTable<'t>>), Problems> {
        let text = without_bom(text);
        let doc = Self { file, text, problems: RefCell::default(), warnings: RefCell::default() };
        let (tree, errors) = DeTable::parse_recoverable(text);
        if errors.is_empty() { Ok((doc, tree)) } else { Err(Problems(doc.syntax_problems(&errors))) }
    }

    /// Every decimal comma, and the first of the other errors: those behind it are often its echo.
    fn syntax_problems(&self, errors: &[toml::de::Error]) -> Vec<Problem> {
        let mut problems: Vec<Problem> = Vec::new();
        let mut first_other = None;
        for error in errors {
            let span = error.span().unwrap_or(0..0);
            let Some((comma, point)) = self.decimal_comma(span.start) else {
                first_other.get_or_insert_with(|| self.syntax_problem(error, &span));
                continue;
            };
            let problem = self.problem(quoted(&self.text[comma.clone()]), decimal_point(&point));
            let problem = self.place(&comma, problem);
            if !problems.contains(&problem) {
                problems.push(problem);
            }
        }
        if problems.is_empty() {
            problems.extend(first_other);
        }
        sorted(problems)
    }

    fn syntax_problem(&self, error: &toml::de::Error, span: &Range<usize>) -> Problem {
        let there = self.text.get(span.clone()).unwrap_or_default();
        let message = error.message();
        let problem = if message == "duplicate key" {
            self.problem(format!("the key {} a second time", quoted(there)), "each key once in its table")
        } else if self.is_bare_word(span.start) || message.starts_with("string values must be quoted") {
            let expected = "a number alone, or a text between quotation marks; several values want commas between them";
            self.problem(quoted(self.value_at(span.start)), expected)
        } else if let Some((found, expected)) = message.split_once(", expected ") {
            self.problem(format!("text that is not TOML ({found})"), expected)
        } else {
            self.problem(format!("text that is not TOML ({message})"), "valid TOML")
        };
        self.place(span, problem)
    }

    /// Start of the line of a byte, and the line.
    fn line_at(&self, index: usize) -> (usize, &'t str) {
        let start = self.text[..floor(self.text, index)].rfind('\n').map_or(0, |i| i + 1);
        (start, self.text[start..].lines().next().unwrap_or_default())
    }

    /// The first number with a decimal comma behind an equals sign of the line: its bytes, and how to write it.
    fn decimal_comma(&self, index: usize) -> Option<(Range<usize>, String)> {
        let (line_start, line) = self.line_at(index);
        line.match_indices('=').find_map(|(equals, _)| {
            let value = line[equals + 1..].trim_start();
            let length = value.bytes().take_while(|b| b.is_ascii_digit() || b"+-,".contains(b)).count();
            let number = value[..length].trim_end_matches(',');
            let start = line_start + line.len() - value.len();
            Some((start..start + number.len(), limits::with_point(number)?))
        })
    }

    /// What stands from a byte to the end of its value.
    fn value_at(&self, index: usize) -> &'t str {
        let (line_start, line) = self.line_at(index);
        let rest = line.get(index.saturating_sub(line_start)..).unwrap_or_default();
        rest.split([',', '}', ']', '#']).next().unwrap_or_default().trim()
    }

    /// Whether a text without quotation marks stands behind the equals sign before a byte.
    fn is_bare_word(&self, index: usize) -> bool {
        let (line_start, line) = self.line_at(index);
        let before = line.get(..index.saturating_sub(line_start)).unwrap_or_default();
        before.trim_end().ends_with('=') && self.value_at(index).starts_with(char::is_alphabetic)
    }

    /// A problem of this file, still without its place.
    pub(crate) fn problem(&self, found: impl Into<String>, expected: impl Into<String>) -> Problem {
        Problem::new(self.file, found, expected)
    }

    /// Adds line, column and the line's text of a byte range to a problem.
    pub(crate) fn place(&self, span: &Range<usize>, problem: Problem) -> Problem {
        let start = floor(self.text, span.start);
        let (line_start, shown) = self.line_at(start);
        let line = self.text[..start].bytes().filter(|&b| b == b'\n').count() + 1;
        problem.line(line, shown).column(Some(self.text[line_start..start].chars().count() + 1))
    }

    /// Keeps what is wrong.
    pub(crate) fn note(&self, problem: Problem) {
        self.problems.borrow_mut().push(problem);
    }

    /// Keeps what is allowed but should be looked at.
    pub(crate) fn warn(&self, problem: Problem) {
        self.warnings.borrow_mut().push(problem);
    }

    /// The data, if nothing was found wrong, and what should be looked at even so.
    pub(crate) fn finish<T>(self, data: T) -> Result<(T, Vec<Problem>), Problems> {
        let problems = self.problems.into_inner();
        if problems.is_empty() {
            Ok((data, sorted(self.warnings.into_inner())))
        } else {
            Err(Problems(sorted(problems)))
        }
    }
}

fn decimal_point(point: &str) -> String {
    format!("a number with a decimal point: `{point}`")
}

/// By line and column; those without a line first.
fn sorted(mut problems: Vec<Problem>) -> Vec<Problem> {
    problems.sort_by_key(|p| (p.line, p.column));
    problems
}

/// The nearest character boundary at or before the index.
fn floor(text: &str, index: usize) -> usize {
    (0..=index.min(text.len())).rev().find(|&i| text.is_char_boundary(i)).unwrap_or(0)
}
