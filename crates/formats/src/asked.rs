//! What the readers ask of a file, written down while one is read: the reference of the formats is made of it, so that it
//! cannot say anything else than the readers do.

use std::cell::RefCell;

/// One key or column that a reader asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Asked {
    /// The key with the tables above it, `plate[].layers[].thickness_mm`, or the name of a column.
    pub(crate) path: String,
    /// What may stand there, in words.
    pub(crate) takes: String,
    /// Whether a file without it is refused.
    pub(crate) required: bool,
}

thread_local! {
    static WRITTEN: RefCell<Option<Vec<Asked>>> = const { RefCell::new(None) };
}

/// What the readers ask for while `read` runs, each key once, in the order in which it was first asked for.
pub(crate) fn asked_by(read: impl FnOnce()) -> Vec<Asked> {
    WRITTEN.with_borrow_mut(|written| *written = Some(Vec::new()));
    read();
    WRITTEN.with_borrow_mut(Option::take).unwrap_or_default()
}

/// Whether someone wants to know.
pub(crate) fn wanted() -> bool {
    WRITTEN.with_borrow(Option::is_some)
}

/// Writes a key down, where someone wants to know. A column is first asked for by name, then for what it takes.
pub(crate) fn note(path: &str, takes: impl FnOnce() -> String, required: bool) {
    WRITTEN.with_borrow_mut(|written| {
        let Some(written) = written else { return };
        let path = without_numbers(path);
        match written.iter_mut().find(|asked| asked.path == path) {
            Some(known) if known.takes.is_empty() => known.takes = without_numbers(&takes()),
            Some(_) => {}
            None => written.push(Asked { path, takes: without_numbers(&takes()), required }),
        }
    });
}

/// `plate[3].name` as `plate[].name`.
fn without_numbers(path: &str) -> String {
    let mut inside = false;
    path.chars()
        .filter(|&c| {
            inside = c == '[' || inside && c != ']';
            !(inside && c.is_ascii_digit())
        })
        .collect()
}

#[cfg(test)]
mod unit {
    use super::*;

    #[test]
    fn a_key_is_written_down_once_with_what_it_takes_and_only_when_someone_asks() {
        note("lost", || "a text".to_owned(), true);
        let asked = asked_by(|| {
            note("plate[0].name", || "a text".to_owned(), true);
            note("plate[1].name", || "a text".to_owned(), true);
            note("t_s", String::new, false);
            note("t_s", || "a number".to_owned(), true);
        });
        let told: Vec<_> = asked.iter().map(|a| (a.path.as_str(), a.takes.as_str(), a.required)).collect();
        assert_eq!(told, [("plate[].name", "a text", true), ("t_s", "a number", false)]);
        assert!(!wanted());
    }
}
