//! Fixed words of the files and the names a file gives, and what to say when one does not fit.

/// The words of a key or column, each with what it means.
pub(crate) type Words<T> = [(&'static str, T)];

/// What the word means, if it is one of them.
pub(crate) fn meaning<T: Copy>(words: &Words<T>, word: &str) -> Option<T> {
    words.iter().find(|(w, _)| *w == word).map(|(_, meaning)| *meaning)
}

/// The word for a meaning. The tables name every variant, so the empty text never shows.
pub(crate) fn word<T: PartialEq>(words: &Words<T>, meaning: &T) -> &'static str {
    words.iter().find(|(_, m)| m == meaning).map_or("", |(w, _)| w)
}

/// `one of a, b or c`, with the nearest word behind it where the text looks like a slip of it.
pub(crate) fn one_of<'a>(text: &str, names: impl Iterator<Item = &'a str> + Clone) -> String {
    let all: Vec<String> = names.clone().map(|n| format!("`{n}`")).collect();
    let list = match all.as_slice() {
        [] => return "nothing: none is named in this file".to_owned(),
        [only] => only.clone(),
        [most @ .., last] => format!("one of {} or {last}", most.join(", ")),
    };
    match nearest(text, names) {
        Some(near) if all.len() > 1 => format!("{list} (did you mean `{near}`?)"),
        _ => list,
    }
}

/// The name that the text is most likely a slip of.
///
/// Near is: the same but for case and separators, or within two changed, left-out, added or swapped
/// characters and fewer than half of them.
pub(crate) fn nearest<'a>(text: &str, names: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    let plain =
        |s: &str| -> String { s.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect() };
    let plain_text = plain(text);
    names
        .map(|name| {
            let plain_name = plain(name);
            let distance = if plain_name == plain_text { 0 } else { strsim::osa_distance(&plain_text, &plain_name) };
            (distance, plain_name.chars().count(), name)
        })
        .filter(|&(distance, length, _)| distance <= 2 && 2 * distance < length.max(1))
        .min_by_key(|&(distance, _, _)| distance)
        .map(|(_, _, name)| name)
}

#[cfg(test)]
mod unit {
    use super::*;

    #[test]
    fn slips_are_recognised_and_strangers_are_not() {
        let names = ["clearance_mm", "E_MPa", "size_mm", "at_mm"];
        let near = |text| nearest(text, names.iter().copied());
        assert_eq!(near("clearence_mm"), Some("clearance_mm"));
        assert_eq!(near("e_mpa"), Some("E_MPa"));
        assert_eq!(near("E_GPa"), Some("E_MPa"));
        assert_eq!(near("size_cm"), Some("size_mm"));
        assert_eq!(near("colour"), None);
        assert_eq!(near(""), None);
    }
}
