//! Where in a JSON text a value stands, for messages about what it means.
//!
//! The library that reads JSON keeps no places. This walks a text that it has already read, so that every bracket and
//! quotation mark is known to be in order, along a path such as `cells[3].u_zero_counts`.

/// Byte offset of the value at `path`; where the path leads nowhere, of the deepest value on the way that is there.
pub(crate) fn offset_of(text: &str, path: &str) -> usize {
    let bytes = text.as_bytes();
    let mut at = skip_blank(bytes, 0);
    for step in steps(path) {
        let inside = match step {
            Step::Key(key) => member(bytes, at, key),
            Step::Index(index) => item(bytes, at, index),
        };
        match inside {
            Some(next) => at = next,
            None => break,
        }
    }
    at
}

enum Step<'a> {
    Key(&'a str),
    Index(usize),
}

fn steps(path: &str) -> impl Iterator<Item = Step<'_>> {
    path.split(['.', '[']).filter(|part| !part.is_empty()).map(|part| {
        let index = part.strip_suffix(']').and_then(|digits| digits.parse().ok());
        index.map_or(Step::Key(part), Step::Index)
    })
}

/// The value of a key of the object at `at`.
fn member(bytes: &[u8], at: usize, key: &str) -> Option<usize> {
    let mut here = enter(bytes, at, b'{')?;
    while bytes.get(here)? != &b'}' {
        let name = here;
        here = skip_value(bytes, here)?;
        let is_it = bytes.get(name + 1..here - 1) == Some(key.as_bytes());
        // Past the colon.
        here = skip_blank(bytes, skip_blank(bytes, here) + 1);
        if is_it {
            return Some(here);
        }
        here = next(bytes, skip_value(bytes, here)?);
    }
    None
}

/// An item of the array at `at`.
fn item(bytes: &[u8], at: usize, index: usize) -> Option<usize> {
    let mut here = enter(bytes, at, b'[')?;
    for _ in 0..index {
        if bytes.get(here)? == &b']' {
            return None;
        }
        here = next(bytes, skip_value(bytes, here)?);
    }
    (bytes.get(here)? != &b']').then_some(here)
}

fn enter(bytes: &[u8], at: usize, bracket: u8) -> Option<usize> {
    (bytes.get(at) == Some(&bracket)).then(|| skip_blank(bytes, at + 1))
}

/// Past a comma, if there is one.
fn next(bytes: &[u8], at: usize) -> usize {
    let at = skip_blank(bytes, at);
    if bytes.get(at) == Some(&b',') { skip_blank(bytes, at + 1) } else { at }
}

fn skip_blank(bytes: &[u8], at: usize) -> usize {
    at + bytes.get(at..).unwrap_or_default().iter().take_while(|b| b.is_ascii_whitespace()).count()
}

/// Just behind the value at `at`.
fn skip_value(bytes: &[u8], at: usize) -> Option<usize> {
    let mut depth = 0_usize;
    let mut here = at;
    loop {
        match bytes.get(here)? {
            b'"' => here = text_end(bytes, here)?,
            b'{' | b'[' => {
                depth += 1;
                here += 1;
            }
            b'}' | b']' => {
                depth = depth.checked_sub(1)?;
                here += 1;
            }
            b',' | b':' => here += 1,
            b if b.is_ascii_whitespace() => here += 1,
            _ => here += bytes[here..].iter().take_while(|b| !b",]}:".contains(b) && !b.is_ascii_whitespace()).count(),
        }
        if depth == 0 {
            return Some(here);
        }
    }
}

/// Just behind the text that begins at `at`.
fn text_end(bytes: &[u8], at: usize) -> Option<usize> {
    let mut here = at + 1;
    loop {
        match bytes.get(here)? {
            b'"' => return Some(here + 1),
            b'\\' => here += 2,
            _ => here += 1,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str =
        r#"{ "deck": "a \"}, [", "cells": [ {"u": 1.5}, { "x" : [1, 2], "u":-2e3 } ], "m": [[1], [22, 3]], "e": [] }"#;

    fn at(path: &str) -> &'static str {
        &TEXT[offset_of(TEXT, path)..]
    }

    #[test]
    fn values_are_found_along_their_path() {
        assert!(at("deck").starts_with("\"a"));
        assert!(at("cells[1].u").starts_with("-2e3"));
        assert!(at("cells[0]").starts_with("{\"u\": 1.5"));
        assert!(at("m[1][0]").starts_with("22"));
        assert!(at("m[1]").starts_with("[22"));
    }

    #[test]
    fn a_path_that_leads_nowhere_ends_where_it_can() {
        assert!(at("cells[7].u").starts_with("[ {"));
        assert!(at("cells[0].none").starts_with("{\"u\""));
        assert!(at("none").starts_with("{ \"deck\""));
        assert!(at("e[0]").starts_with("[]"));
        assert_eq!(offset_of("", "a"), 0);
    }
}
