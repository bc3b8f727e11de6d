//! Values in TOML: texts with their marks, numbers in the shortest form that reads back the same.

/// A text between quotation marks.
pub(crate) fn text(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

/// A key, between quotation marks where it must be.
pub(crate) fn key(name: &str) -> String {
    let bare = !name.is_empty() && name.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-' || b == b'_');
    if bare {
        return name.to_owned();
    }
    // A text with a line break may be written over several lines, a key never: the library knows.
    let table = toml::Table::from_iter([(name.to_owned(), toml::Value::Boolean(true))]).to_string();
    table.trim_end().strip_suffix(" = true").unwrap_or_default().to_owned()
}

/// A number with a decimal point or an exponent.
pub(crate) fn number(value: f64) -> String {
    format!("{value:?}")
}

/// Two numbers, `[a, b]`.
pub(crate) fn pair([a, b]: [f64; 2]) -> String {
    format!("[{}, {}]", number(a), number(b))
}

#[cfg(test)]
mod unit {
    use super::*;

    #[test]
    fn what_is_written_is_toml_of_the_same_value() {
        for value in [0.0, -0.5, 1e-300, 1.7e308, 0.1 + 0.2, 24.0, 1e16] {
            let back: toml::Table = format!("x = {}", number(value)).parse().unwrap();
            assert_eq!(back["x"].as_float().map(f64::to_bits), Some(value.to_bits()), "{value}");
        }
        for value in ["plain", "with \"marks\" and \\", "line\nbreak", "tab\tand 'single'", "ünïcode \u{7f} \u{1}"] {
            let back: toml::Table = format!("{} = {}", key(value), text(value)).parse().unwrap();
            assert_eq!(back[value].as_str(), Some(value));
        }
    }
}
