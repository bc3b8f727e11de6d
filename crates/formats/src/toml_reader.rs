//! Reading TOML with its places kept, collecting every problem of a file.
//!
//! A [`Table`] is asked for its keys one by one. What is missing or does not fit is noted with its
//! line, and a stand-in is returned (NaN for a number, an empty text) so that reading goes on; a
//! comparison with NaN is false, so one problem does not raise others. The data made on the way
//! leave the reader only through `Document::finish`, which gives them out only if nothing was noted.
//!
//! Unknown keys. The contract welcomes extra keys, but a misspelt key that is silently passed over
//! would change a deck without a word. So a key that the table does not know is an error, unless it
//! begins with `x_` or is named `note`: those are the user's own and are passed over with all they hold.

use std::cell::RefCell;
use std::ops::Range;

use serde::Deserialize;
use toml::Spanned;
use toml::de::{DeTable, DeValue, ValueDeserializer};

use crate::Problem;
use crate::asked;
use crate::limits::{self, Limits, Misfit, quoted};
use crate::toml_document::Document;
use crate::words::{self, Words};

/// One table while it is read. [`Table::finish`] must end it.
#[must_use]
pub(crate) struct Table<'d> {
    doc: &'d Document<'d>,
    /// Path of the table, empty at the root.
    path: String,
    span: Range<usize>,
    entries: &'d DeTable<'d>,
    asked: RefCell<Vec<&'static str>>,
    /// Required keys that are not there, with what was expected.
    missing: RefCell<Vec<(&'static str, String)>>,
}

type Entry<'d> = &'d Spanned<DeValue<'d>>;

impl<'d> Table<'d> {
    /// The whole document.
    pub(crate) fn root(doc: &'d Document<'d>, tree: &'d Spanned<DeTable<'d>>) -> Self {
        Self::new(doc, String::new(), tree.span(), tree.get_ref())
    }

    fn new(doc: &'d Document<'d>, path: String, span: Range<usize>, entries: &'d DeTable<'d>) -> Self {
        Self { doc, path, span, entries, asked: RefCell::default(), missing: RefCell::default() }
    }

    /// Full path of a key.
    fn path_of(&self, key: &str) -> String {
        if self.path.is_empty() { key.to_owned() } else { format!("{}.{key}", self.path) }
    }

    fn get(&self, key: &'static str) -> Option<Entry<'d>> {
        self.asked.borrow_mut().push(key);
        self.entries.get(key)
    }

    /// A key that may be absent, and what may stand there.
    fn optional(&self, key: &'static str, expected: impl FnOnce() -> String) -> Option<Entry<'d>> {
        if asked::wanted() {
            asked::note(&self.path_of(key), expected, false);
        }
        self.get(key)
    }

    fn required(&self, key: &'static str, expected: impl Fn() -> String) -> Option<Entry<'d>> {
        if asked::wanted() {
            asked::note(&self.path_of(key), &expected, true);
        }
        let entry = self.get(key);
        if entry.is_none() {
            self.missing.borrow_mut().push((key, expected()));
        }
        entry
    }

    /// Notes a problem with the value of a key, or with the whole table where the key does not stand.
    pub(crate) fn problem(&self, key: &str, found: impl Into<String>, expected: impl Into<String>) {
        let problem = self.located(key, found, expected);
        self.doc.note(problem);
    }

    /// Notes what is allowed but should be looked at.
    pub(crate) fn warning(&self, key: &str, found: impl Into<String>, expected: impl Into<String>) {
        let warning = self.located(key, found, expected);
        self.doc.warn(warning);
    }

    fn located(&self, key: &str, found: impl Into<String>, expected: impl Into<String>) -> Problem {
        let span = self.entries.get(key).map_or_else(|| self.span.clone(), Spanned::span);
        self.doc.place(&span, self.doc.problem(found, expected).key(self.path_of(key)))
    }

    /// Notes that a required key is not there.
    pub(crate) fn missing(&self, key: &'static str, expected: &str) {
        self.missing.borrow_mut().push((key, expected.to_owned()));
    }

    /// The text of a key, if it is one, without judging it.
    pub(crate) fn peek_text(&self, key: &str) -> Option<String> {
        self.entries.get(key)?.get_ref().as_str().map(|text| text.trim().to_owned())
    }

    /// Whether the key stands in the table.
    pub(crate) fn has(&self, key: &'static str) -> bool {
        self.optional(key, String::new).is_some()
    }

    /// Line of a key's value, from 1, to be named in another problem.
    pub(crate) fn line_of(&self, key: &str) -> usize {
        self.located(key, "", "").line.unwrap_or(1)
    }

    /// A required text that is not blank.
    pub(crate) fn text(&self, key: &'static str) -> String {
        self.required(key, || "a text".to_owned()).and_then(|e| self.as_text(key, e)).unwrap_or_default()
    }

    /// A text that may be absent.
    pub(crate) fn text_opt(&self, key: &'static str) -> Option<String> {
        self.optional(key, || "a text".to_owned()).and_then(|e| self.as_text(key, e))
    }

    fn as_text(&self, key: &str, entry: Entry<'d>) -> Option<String> {
        match entry.get_ref() {
            DeValue::String(text) if text.trim().is_empty() => {
                self.problem(key, "an empty text", "a text");
                None
            }
            DeValue::String(text) => Some(text.trim().to_owned()),
            other => {
                self.problem(key, kind_of(other), "a text between quotation marks");
                None
            }
        }
    }

    /// A required word out of a fixed set.
    pub(crate) fn word<T: Copy>(&self, key: &'static str, words: &Words<T>) -> Option<T> {
        self.required(key, || choice(words)).and_then(|e| self.as_word(key, e, words))
    }

    /// A word out of a fixed set that may be absent.
    pub(crate) fn word_opt<T: Copy>(&self, key: &'static str, words: &Words<T>) -> Option<T> {
        self.optional(key, || choice(words)).and_then(|e| self.as_word(key, e, words))
    }

    fn as_word<T: Copy>(&self, key: &str, entry: Entry<'d>, words: &Words<T>) -> Option<T> {
        let text = self.as_text(key, entry)?;
        let meaning = words::meaning(words, &text);
        if meaning.is_none() {
            self.problem(key, quoted(&text), words::one_of(&text, words.iter().map(|(w, _)| *w)));
        }
        meaning
    }

    /// A required name that must be one of those given; returned as it stands.
    pub(crate) fn name_of<'a>(&self, key: &'static str, names: impl Iterator<Item = &'a str> + Clone) -> String {
        let name = self.text(key);
        if !name.is_empty() && !names.clone().any(|n| n == name) {
            self.problem(key, quoted(&name), words::one_of(&name, names));
        }
        name
    }

    /// A required number.
    pub(crate) fn number(&self, key: &'static str, limits: Limits) -> f64 {
        self.required(key, || limits.to_string()).map_or(f64::NAN, |e| self.as_number(key, e, &limits))
    }

    /// A number that may be absent.
    pub(crate) fn number_opt(&self, key: &'static str, limits: Limits) -> Option<f64> {
        self.optional(key, || limits.to_string()).map(|e| self.as_number(key, e, &limits))
    }

    /// A required whole number.
    pub(crate) fn whole(&self, key: &'static str, range: std::ops::RangeInclusive<u32>) -> u32 {
        let expected = || format!("a whole number from {} to {}", range.start(), range.end());
        let Some(entry) = self.required(key, expected) else { return *range.start() };
        let value = match entry.get_ref() {
            DeValue::Integer(i) => u32::from_str_radix(i.as_str(), i.radix()).ok(),
            _ => None,
        };
        value.filter(|v| range.contains(v)).unwrap_or_else(|| {
            self.problem(key, kind_of(entry.get_ref()), expected());
            *range.start()
        })
    }

    fn as_number(&self, key: &str, entry: Entry<'d>, limits: &Limits) -> f64 {
        number(entry.get_ref(), limits).unwrap_or_else(|Misfit { found, expected }| {
            self.problem(key, found, expected);
            f64::NAN
        })
    }

    /// A required pair of numbers, `[a, b]`.
    pub(crate) fn pair(&self, key: &'static str, limits: Limits) -> [f64; 2] {
        self.required(key, || pair_words(&limits)).map_or([f64::NAN; 2], |e| self.as_pair(key, e, &limits))
    }

    fn as_pair(&self, key: &'static str, entry: Entry<'d>, limits: &Limits) -> [f64; 2] {
        match entry.get_ref() {
            DeValue::Array(items) if items.len() == 2 => {
                let mut pair = [f64::NAN; 2];
                for (value, item) in pair.iter_mut().zip(items.iter()) {
                    *value = number(item.get_ref(), limits).unwrap_or_else(|Misfit { found, expected }| {
                        let problem = self.doc.problem(found, expected).key(self.path_of(key));
                        self.doc.note(self.doc.place(&item.span(), problem));
                        f64::NAN
                    });
                }
                pair
            }
            DeValue::Array(items) => {
                let comma =
                    if items.len() > 2 { " (a number with a decimal comma counts as two: write a point)" } else { "" };
                self.problem(key, format!("a list of {}", items.len()), pair_words(limits) + comma);
                [f64::NAN; 2]
            }
            other => {
                self.problem(key, kind_of(other), pair_words(limits));
                [f64::NAN; 2]
            }
        }
    }

    /// A required pair, low then high.
    pub(crate) fn range(&self, key: &'static str, limits: Limits) -> [f64; 2] {
        self.rising(key, self.pair(key, limits))
    }

    /// A pair, low then high, that may be absent.
    pub(crate) fn range_opt(&self, key: &'static str, limits: Limits) -> Option<[f64; 2]> {
        let entry = self.optional(key, || pair_words(&limits))?;
        Some(self.rising(key, self.as_pair(key, entry, &limits)))
    }

    fn rising(&self, key: &'static str, [low, high]: [f64; 2]) -> [f64; 2] {
        if low > high {
            self.problem(key, format!("[{low}, {high}]"), format!("the lower value first: `[{high}, {low}]`"));
            return [f64::NAN; 2];
        }
        [low, high]
    }

    /// A required table.
    pub(crate) fn table(&self, key: &'static str) -> Option<Table<'d>> {
        self.required(key, || format!("a table `[{}]`", self.path_of(key))).and_then(|e| self.as_table(key, e))
    }

    /// A table that may be absent.
    pub(crate) fn table_opt(&self, key: &'static str) -> Option<Table<'d>> {
        self.optional(key, || format!("a table `[{}]`", self.path_of(key))).and_then(|e| self.as_table(key, e))
    }

    fn as_table(&self, key: &str, entry: Entry<'d>) -> Option<Table<'d>> {
        match entry.get_ref() {
            DeValue::Table(entries) => Some(Self::new(self.doc, self.path_of(key), entry.span(), entries)),
            other => {
                self.problem(key, kind_of(other), format!("one table `[{}]`", self.path_of(key)));
                None
            }
        }
    }

    /// A table that may be absent and is kept as it stands, for another reader.
    pub(crate) fn kept_opt(&self, key: &'static str) -> Option<toml::Table> {
        let entry = self.optional(key, || format!("a table `[{key}]`"))?;
        if !entry.get_ref().is_table() {
            self.problem(key, kind_of(entry.get_ref()), format!("one table `[{key}]`"));
            return None;
        }
        match toml::Table::deserialize(ValueDeserializer::from(entry.clone())) {
            Ok(table) => Some(table),
            Err(error) => {
                let problem = self.doc.problem(error.message(), "values that TOML can keep").key(self.path_of(key));
                self.doc.note(self.doc.place(&error.span().unwrap_or_else(|| entry.span()), problem));
                None
            }
        }
    }

    /// Tables of a list, `[[key]]` or `key = [ { … } ]`; absent is an empty list.
    pub(crate) fn tables(&self, key: &'static str) -> Vec<Table<'d>> {
        let list = || format!("a list of tables: `[[{key}]]`, or `{key} = [ {{ … }} ]`");
        let Some(entry) = self.optional(key, list) else { return Vec::new() };
        let DeValue::Array(items) = entry.get_ref() else {
            self.problem(key, kind_of(entry.get_ref()), list());
            return Vec::new();
        };
        let mut tables = Vec::with_capacity(items.len());
        for (i, item) in items.iter().enumerate() {
            let path = format!("{}[{i}]", self.path_of(key));
            if let DeValue::Table(entries) = item.get_ref() {
                tables.push(Self::new(self.doc, path, item.span(), entries));
            } else {
                let problem = self.doc.problem(kind_of(item.get_ref()), "a table, `{ … }`").key(path);
                self.doc.note(self.doc.place(&item.span(), problem));
            }
        }
        tables
    }

    /// Tables of a list with at least one entry.
    pub(crate) fn some_tables(&self, key: &'static str, what: &str) -> Vec<Table<'d>> {
        if asked::wanted() {
            asked::note(&self.path_of(key), || format!("a list of tables `[[{key}]]`, at least one {what}"), true);
        }
        let tables = self.tables(key);
        match self.entries.get(key).map(Spanned::get_ref) {
            None => self.missing.borrow_mut().push((key, format!("at least one {what}"))),
            Some(DeValue::Array(items)) if items.is_empty() => {
                self.problem(key, "an empty list", format!("at least one {what}"));
            }
            Some(_) => {}
        }
        tables
    }

    /// All keys of a table whose names are the user's own, with their numbers.
    pub(crate) fn named_numbers<'a>(
        &self,
        names: &(impl Iterator<Item = &'a str> + Clone),
        what: &str,
        limits: Limits,
    ) -> Vec<(String, f64)> {
        if asked::wanted() {
            asked::note(&self.path_of(&format!("<{what}>")), || limits.to_string(), false);
        }
        let mut by_place: Vec<_> = self.entries.iter().collect();
        by_place.sort_by_key(|(key, _)| key.span().start);
        let mut values = Vec::with_capacity(by_place.len());
        for (key, entry) in by_place {
            let name: &str = key.get_ref();
            if names.clone().any(|n| n == name) {
                values.push((name.to_owned(), self.as_number(name, entry, &limits)));
            } else {
                self.problem(name, format!("{what} {}", quoted(name)), words::one_of(name, names.clone()));
            }
        }
        values
    }

    /// Ends the table: keys it does not know, and required keys it does not have.
    pub(crate) fn finish(self) {
        let asked = self.asked.take();
        let mut missing = self.missing.take();
        for (key, _) in self.entries {
            let name: &str = key.get_ref();
            if asked.contains(&name) || name.starts_with("x_") || name == "note" {
                continue;
            }
            // A slip of a missing key is one problem, not two.
            let expected = if let Some(near) = words::nearest(name, missing.iter().map(|(k, _)| *k)) {
                missing.retain(|(k, _)| *k != near);
                format!("the key `{near}`, which is missing here")
            } else if let Some(near) = words::nearest(name, asked.iter().copied()) {
                format!("no such key (did you mean `{near}`? To keep a key of your own, begin it with `x_`)")
            } else {
                let known: Vec<String> = distinct(&asked).iter().map(|k| format!("`{k}`")).collect();
                format!("only {} (to keep a key of your own, begin it with `x_`)", known.join(", "))
            };
            let problem = self.doc.problem("an unknown key", expected).key(self.path_of(name));
            self.doc.note(self.doc.place(&key.span(), problem));
        }
        for (key, expected) in missing {
            self.problem(key, "nothing", expected);
        }
    }
}

fn pair_words(limits: &Limits) -> String {
    format!("two numbers, `[a, b]`, each {limits}")
}

fn distinct(keys: &[&'static str]) -> Vec<&'static str> {
    let mut keys = keys.to_vec();
    keys.sort_unstable();
    keys.dedup();
    keys
}

/// The words that may stand somewhere.
fn choice<T>(words: &Words<T>) -> String {
    words::one_of("", words.iter().map(|(w, _)| *w))
}

/// The number in a value.
fn number(value: &DeValue<'_>, limits: &Limits) -> Result<f64, Misfit> {
    match value {
        DeValue::Integer(i) if i.radix() == 10 => limits::parse(i.as_str(), limits),
        DeValue::Float(x) => limits::parse(x.as_str(), limits),
        DeValue::String(text) => {
            let expected = match limits::with_point(text.trim()) {
                Some(point) => format!("{limits}, with a decimal point and without quotation marks: `{point}`"),
                None => format!("{limits}, without quotation marks"),
            };
            Err(Misfit { found: format!("the text {}", quoted(text)), expected })
        }
        other => Err(Misfit { found: kind_of(other), expected: limits.to_string() }),
    }
}

/// What a value is, in words.
fn kind_of(value: &DeValue<'_>) -> String {
    match value {
        DeValue::String(text) => format!("the text {}", quoted(text)),
        DeValue::Integer(i) => format!("{i}"),
        DeValue::Float(x) => format!("{x}"),
        DeValue::Boolean(b) => format!("`{b}`"),
        DeValue::Datetime(time) => format!("the time `{time}`"),
        DeValue::Array(items) => format!("a list of {}", items.len()),
        DeValue::Table(_) => "a single table".to_owned(),
    }
}
