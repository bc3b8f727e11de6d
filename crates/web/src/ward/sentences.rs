//! Sentences with holes in the reader's language: what the weigher and the balance say is English text; a table holds each sentence with
//! holes, `{}`, and its like with the same holes in the same order.

/// English with holes, and the same in German.
pub(super) type Table = &'static [(&'static str, &'static str)];

/// What stands in the holes of a pattern, where a text fits it.
pub(super) fn holes<'a>(pattern: &str, text: &'a str) -> Option<Vec<&'a str>> {
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
pub(super) fn filled<'a>(pattern: &str, found: impl IntoIterator<Item = std::borrow::Cow<'a, str>>) -> String {
    let mut parts = pattern.split("{}");
    let mut out = parts.next().unwrap_or_default().to_owned();
    for (hole, part) in found.into_iter().zip(parts) {
        out += &hole;
        out += part;
    }
    out
}

/// Numbers of a text with the decimal comma.
pub(super) fn with_comma(text: &str) -> String {
    let chars: Vec<char> = text.chars().collect();
    let is_digit = |i: Option<usize>| i.and_then(|i| chars.get(i)).is_some_and(char::is_ascii_digit);
    let comma = |(i, c): (usize, &char)| {
        if *c == '.' && is_digit(i.checked_sub(1)) && is_digit(Some(i + 1)) { ',' } else { *c }
    };
    chars.iter().enumerate().map(comma).collect()
}

#[cfg(test)]
pub(super) mod sources {
    //! The sentences of a crate, out of its sources.

    /// Every text of a source that stands before its tests, with `7` in its holes, comments left out.
    pub(crate) fn texts(source: &str) -> Vec<String> {
        let code = source.split("#[cfg(test)]").next().unwrap();
        let code: String =
            code.lines().filter(|l| !l.trim_start().starts_with("//")).fold(String::new(), |all, l| all + l + "\n");
        let mut found = Vec::new();
        for text in code.split('"').skip(1).step_by(2) {
            let mut text = text.to_owned();
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
    use super::with_comma;

    #[test]
    fn only_the_point_of_a_number_becomes_a_comma() {
        assert_eq!(with_comma("1.5 kg. Table 2. 0.25"), "1,5 kg. Table 2. 0,25");
    }
}
