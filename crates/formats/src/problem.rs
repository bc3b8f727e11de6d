//! What is wrong with an input: where, what was found, what was expected.

use std::fmt::{self, Write as _};

/// One thing wrong with one file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// File name as the user gave it.
    pub file: String,
    /// Line, from 1, where one can be named.
    pub line: Option<usize>,
    /// Column in characters, from 1, where one can be named.
    pub column: Option<usize>,
    /// Key or column name, such as `plate[1].layers[0].thickness_mm`.
    pub key: Option<String>,
    /// What stands there.
    pub found: String,
    /// What should stand there.
    pub expected: String,
    /// The offending line, to be shown.
    pub line_text: Option<String>,
}

impl Problem {
    /// A problem with a whole file; its place is added by the other methods.
    #[must_use]
    pub fn new(file: &str, found: impl Into<String>, expected: impl Into<String>) -> Self {
        Self {
            file: file.to_owned(),
            line: None,
            column: None,
            key: None,
            found: found.into(),
            expected: expected.into(),
            line_text: None,
        }
    }

    /// Names the key or column.
    #[must_use]
    pub fn key(mut self, key: impl Into<String>) -> Self {
        self.key = Some(key.into());
        self
    }

    /// Names the line, shown as it stands (only its first line, should a quoted field run over several).
    #[must_use]
    pub fn line(mut self, line: usize, text: &str) -> Self {
        self.line = Some(line);
        self.line_text = Some(text.lines().next().unwrap_or_default().to_owned());
        self
    }

    /// Names the column, in characters from 1.
    #[must_use]
    pub fn column(mut self, column: Option<usize>) -> Self {
        self.column = column;
        self
    }
}

/// Longest part of a line that is shown, in characters: it should not wrap on a common terminal.
const SHOWN_WIDTH: usize = 100;

/// A character as it may be shown: a file can say what it likes, but must not move the cursor, colour what follows or turn the
/// direction of writing on whoever reads the message. Tabs become spaces, other control characters their pictures.
///
/// Source: The Unicode Standard, block Control Pictures (U+2400 to U+2421), and UAX #9, 2 (directional formatting characters).
pub(crate) fn visible(c: char) -> char {
    match c {
        '\t' => ' ',
        '\u{0}'..='\u{1f}' => char::from_u32(0x2400 + u32::from(c)).unwrap_or(char::REPLACEMENT_CHARACTER),
        '\u{7f}' => '\u{2421}',
        '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' => {
            char::REPLACEMENT_CHARACTER
        }
        c if c.is_control() => char::REPLACEMENT_CHARACTER,
        c => c,
    }
}

/// The part of a line around a column that is shown, and where in it the column stands, from 0.
///
/// Each character stays one, so that the caret stays below its place.
fn excerpt(text: &str, column: Option<usize>) -> (String, Option<usize>) {
    let chars: Vec<char> = text.chars().map(visible).collect();
    let at = column.map(|c| c.saturating_sub(1).min(chars.len()));
    if chars.len() <= SHOWN_WIDTH {
        return (chars.iter().collect(), at);
    }
    let start = at.unwrap_or(0).saturating_sub(SHOWN_WIDTH / 2).min(chars.len() - SHOWN_WIDTH);
    let end = start + SHOWN_WIDTH;
    let mut shown: String = chars[start..end].iter().collect();
    if start > 0 {
        shown.insert(0, '…');
    }
    if end < chars.len() {
        shown.push('…');
    }
    (shown, at.map(|c| c - start + usize::from(start > 0)))
}

/// What a message quotes, with nothing in it that acts on a terminal. A message may have several lines of its own.
struct Quoted<'a>(&'a str);

impl fmt::Display for Quoted<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.chars().try_for_each(|c| f.write_char(if c == '\n' { c } else { visible(c) }))
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", Quoted(&self.file))?;
        if let Some(line) = self.line {
            write!(f, ":{line}")?;
            if let Some(column) = self.column {
                write!(f, ":{column}")?;
            }
        }
        write!(f, ": ")?;
        if let Some(key) = &self.key {
            write!(f, "{}: ", Quoted(key))?;
        }
        write!(f, "found {}, expected {}", Quoted(&self.found), Quoted(&self.expected))?;
        if let (Some(line), Some(text)) = (self.line, &self.line_text) {
            let (shown, at) = excerpt(text, self.column);
            write!(f, "\n  {line:>5} | {shown}")?;
            if let Some(at) = at {
                write!(f, "\n        | {:at$}^", "")?;
            }
        }
        Ok(())
    }
}

/// Everything found wrong with a file; never empty.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problems(pub Vec<Problem>);

/// How many problems are shown; the rest is counted.
const SHOWN_PROBLEMS: usize = 12;

impl fmt::Display for Problems {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, problem) in self.0.iter().take(SHOWN_PROBLEMS).enumerate() {
            if i > 0 {
                writeln!(f)?;
            }
            write!(f, "{problem}")?;
        }
        match self.0.len().saturating_sub(SHOWN_PROBLEMS) {
            0 => Ok(()),
            1 => write!(f, "\n… and 1 more problem"),
            n => write!(f, "\n… and {n} more problems"),
        }
    }
}

impl std::error::Error for Problems {}

impl From<Problem> for Problems {
    fn from(problem: Problem) -> Self {
        Self(vec![problem])
    }
}

#[cfg(test)]
mod unit {
    use super::*;

    #[test]
    fn the_caret_stands_below_its_column() {
        let problem = Problem::new("run.csv", "`x`", "a number").key("x_mm").line(7, "ä,\tx,2").column(Some(4));
        assert_eq!(
            problem.to_string(),
            "run.csv:7:4: x_mm: found `x`, expected a number\n      7 | ä, x,2\n        |    ^"
        );
    }

    #[test]
    fn nothing_in_a_file_acts_on_the_terminal_that_its_message_is_read_on() {
        // ECMA-48, 8.3.117: ESC [ 3 1 m asks for red. UAX #9: U+202E writes what follows backwards.
        let spoilt = "\u{1b}[31m9\u{7f}\u{9b}\u{202e}\r";
        let problem =
            Problem::new(spoilt, format!("`{spoilt}`"), "a number").key(spoilt).line(1, spoilt).column(Some(6));
        let shown = problem.to_string();
        assert!(shown.chars().all(|c| c == '\n' || visible(c) == c), "{shown:?}");
        assert!(shown.contains("␛[31m9␡��") && shown.ends_with("\n        |      ^"), "{shown:?}");
    }

    #[test]
    fn a_long_line_is_cut_around_its_column() {
        let text = format!("{}X{}", "a".repeat(300), "b".repeat(300));
        let shown = Problem::new("f", "x", "y").line(1, &text).column(Some(301)).to_string();
        let lines: Vec<&str> = shown.lines().collect();
        let x = lines[1].chars().position(|c| c == 'X');
        assert_eq!(x, lines[2].chars().position(|c| c == '^'));
        assert!(lines[1].chars().count() < 120, "{}", lines[1]);
    }

    #[test]
    fn many_problems_are_counted() {
        let problems = Problems(vec![Problem::new("f", "x", "y"); 15]);
        assert!(problems.to_string().ends_with("\n… and 3 more problems"));
    }
}
