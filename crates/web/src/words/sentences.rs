//! Sentences with holes in the reader's language: what the weigher and the balance say is English text; a table holds each sentence with
//! holes, `{}`, and its like with the same holes in the same order.

use std::borrow::Cow;

/// English with holes, and the same in German.
pub(crate) type Table = &'static [(&'static str, &'static str)];

/// What stands in the holes of a pattern, where a text fits it.
pub(crate) fn holes<'a>(pattern: &str, text: &'a str) -> Option<Vec<&'a str>> {
    let mut parts = pattern.split("{}");
    let mut rest = text.strip_prefix(parts.next()?)?;
    let parts: Vec<&str> = parts.collect();
    let mut found = Vec::new();
    for (i, part) in parts.iter().enumerate() {
        // The last part ends the text: a note may hold anything, full stops too.
        let at = if i + 1 == parts.len() { rest.len().checked_sub(part.len())? } else { rest.find(part)? };
        if !rest.is_char_boundary(at) || !rest[at..].starts_with(part) {
            return None;
        }
        found.push(&rest[..at]);
        rest = &rest[at + part.len()..];
    }
    rest.is_empty().then_some(found)
}

/// A pattern with its holes filled.
pub(crate) fn filled<'a>(pattern: &str, found: impl IntoIterator<Item = Cow<'a, str>>) -> String {
    let mut parts = pattern.split("{}");
    let mut out = parts.next().unwrap_or_default().to_owned();
    for (hole, part) in found.into_iter().zip(parts) {
        out += &hole;
        out += part;
    }
    out
}

/// A text in German by a table; where the whole is not known, its sentences with "; " between them, each by itself.
pub(crate) fn told(table: Table, text: &str) -> Option<String> {
    told_with(table, text, with_comma)
}

/// The same with `leaf` for what stands in a hole and is no sentence.
pub(crate) fn told_with(table: Table, text: &str, leaf: fn(&str) -> String) -> Option<String> {
    // A number, or one with its unit, says itself.
    if !text.chars().any(char::is_alphabetic) {
        return Some(leaf(text));
    }
    let fits = |(en, de): &(&str, &str), may_hold_an_end: bool| {
        let found = holes(en, text)?;
        // A hole holds no end of a sentence: what comes after it is looked up by itself, and only then whether the hole is a text of its own.
        let is_known =
            |hole: &&str| !hole.contains("; ") || (may_hold_an_end && told_with(table, hole, leaf).is_some());
        if !found.iter().all(is_known) {
            return None;
        }
        // What stands in a hole may be a sentence too.
        let own = |hole| Cow::Owned(told_with(table, hole, leaf).unwrap_or_else(|| leaf(hole)));
        Some(filled(de, found.into_iter().map(own)))
    };
    if let Some(whole) = table.iter().find_map(|entry| fits(entry, false)) {
        return Some(whole);
    }
    let in_parts = text.split_once("; ").and_then(|(first, rest)| {
        let (first, rest) = (told_with(table, first, leaf)?, told_with(table, rest, leaf)?);
        Some(format!("{first}; {rest}"))
    });
    in_parts.or_else(|| table.iter().find_map(|entry| fits(entry, true)))
}

/// Numbers of a text with the decimal comma. What has more than one point, or a letter or point before it, is a clause or an address; one
/// of two figures is called `Abschnitt`.
pub(crate) fn with_comma(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    let mut before = ' ';
    while let Some(from) = rest.find(|c: char| c.is_ascii_digit() || c == '.') {
        out += &rest[..from];
        before = rest[..from].chars().next_back().unwrap_or(before);
        let run = &rest[from..];
        let run = &run[..run.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(run.len())];
        let number = run.trim_end_matches('.');
        // A day and a month stand before their time of day.
        let mut after = rest[from + run.len()..].chars();
        let is_date =
            number.len() < run.len() && after.next() == Some(' ') && after.next().is_some_and(|c| c.is_ascii_digit());
        match number.split_once('.') {
            Some((whole, part))
                if !whole.is_empty()
                    && !part.contains('.')
                    && !before.is_alphanumeric()
                    && !is_date
                    && !out.ends_with("Abschnitt ") =>
            {
                out += whole;
                out.push(',');
                out += part;
                out += &run[number.len()..];
            }
            _ => out += run,
        }
        before = '.';
        rest = &rest[from + run.len()..];
    }
    out + rest
}

/// What is read of a page through a change of its texts: not its tags, scripts, listings and code.
pub(crate) fn in_page(html: &str, change: impl Fn(&str) -> String) -> String {
    let mut out = String::with_capacity(html.len());
    let mut rest = html;
    while let Some(from) = rest.find('<') {
        out += &change(&rest[..from]);
        rest = &rest[from..];
        let name = rest[1..].split(|c: char| !c.is_ascii_alphanumeric()).next().unwrap_or_default();
        let end = match name {
            "script" | "pre" | "code" | "textarea" | "style" => rest.find(&format!("</{name}>")),
            _ => rest.find('>'),
        };
        let end = end.unwrap_or(rest.len() - 1) + 1;
        out += &rest[..end];
        rest = &rest[end..];
    }
    out + &change(rest)
}

#[cfg(test)]
pub(crate) mod sources {
    //! The sentences of a crate, out of its sources.

    /// Every text of a source that stands before its tests, with `7` in its holes, comments left out.
    pub(crate) fn texts(source: &str) -> Vec<String> {
        let code = source.split("#[cfg(test)]").next().unwrap();
        let code: String =
            code.lines().filter(|l| !l.trim_start().starts_with("//")).fold(String::new(), |all, l| all + l + "\n");
        let mut found = Vec::new();
        // A mark in a text is none at its end.
        for text in code.replace("\\\"", "\u{1}").split('"').skip(1).step_by(2) {
            let mut text = text.replace('\u{1}', "\"");
            while let Some(at) = text.find("\\\n") {
                let rest = text[at + 2..].trim_start().to_owned();
                text.replace_range(at.., &rest);
            }
            while let (Some(from), Some(to)) = (text.find('{'), text.find('}')) {
                text.replace_range(from..=to, "7");
            }
            found.push(text);
        }
        found
    }
}

#[cfg(test)]
mod tests {
    use super::{in_page, with_comma};

    #[test]
    fn only_the_point_of_a_number_becomes_a_comma() {
        assert_eq!(with_comma("1.5 kg. Table 2. 0.25"), "1,5 kg. Table 2. 0,25");
        assert_eq!(
            with_comma("(A.4.4) 3.6.2, 192.0.2.7:4000, v0.1, ±0.5 g. 6.11. 05:14"),
            "(A.4.4) 3.6.2, 192.0.2.7:4000, v0.1, ±0,5 g. 6.11. 05:14"
        );
        assert_eq!(with_comma("Abschnitt 3.6: in 3.6 kg"), "Abschnitt 3.6: in 3,6 kg");
    }

    #[test]
    fn a_page_takes_the_comma_where_it_is_read_and_nowhere_else() {
        let page = "<p data-kg=\"1.5\">1.5 kg <code>1.5</code> 2.5</p><script>{\"x\":1.5}</script><text>0.5</text>";
        let german = "<p data-kg=\"1.5\">1,5 kg <code>1.5</code> 2,5</p><script>{\"x\":1.5}</script><text>0,5</text>";
        assert_eq!(in_page(page, with_comma), german);
    }
}
