//! What outlives a power cut: the steps as they are done, and the files of the end.

use std::collections::BTreeMap;
use std::sync::Arc;

use axum::http::StatusCode;

use super::Keep;
use crate::document::Document;
use crate::words::{Language, Reader};
use crate::workbench::Refusal;

/// A file of the end.
pub(crate) enum End {
    /// Data: the same for every reader.
    Data(String),
    /// A document, in one language, with the name of the same one in the other.
    Document(Box<Document>, &'static str),
}

impl End {
    /// A document in every language under its names: `make` writes it, the name of the English one stands first.
    pub(crate) fn documents(
        [english, german]: [&'static str; 2],
        make: impl Fn(Reader) -> Document,
    ) -> [(&'static str, Self); 2] {
        Language::ALL.map(|language| {
            let (own, other) = match language {
                Language::English => (english, german),
                Language::German => (german, english),
            };
            (own, Self::Document(Box::new(make(Reader::of_language(language))), other))
        })
    }

    /// As it is kept: it stands alone.
    fn kept(&self) -> String {
        match self {
            Self::Data(text) => text.clone(),
            Self::Document(document, _) => document.render(),
        }
    }

    /// As it is given out: a document leads to its other language.
    fn given(&self) -> String {
        match self {
            Self::Data(text) => text.clone(),
            Self::Document(document, other) => document.render_beside(other),
        }
    }

    fn is_for(&self, reader: Reader) -> bool {
        match self {
            Self::Data(_) => true,
            Self::Document(document, _) => document.reader.language == reader.language,
        }
    }
}

/// Keeps steps and files through what the caller handed in.
pub(crate) struct Keeping {
    keep: Arc<Keep>,
    files: BTreeMap<&'static str, End>,
}

impl Keeping {
    pub(crate) fn new(keep: Arc<Keep>) -> Self {
        Self { keep, files: BTreeMap::new() }
    }

    /// Keeps a step: only once that is done it is so. The files of an end that it takes back are no longer offered.
    pub(crate) fn step(&mut self, name: &str, text: &str) -> Result<(), Refusal> {
        (self.keep)(name, text).map_err(|why| {
            let words = format!("the step could not be kept, so it is not done: {why}");
            Refusal(StatusCode::SERVICE_UNAVAILABLE, words)
        })?;
        self.files.clear();
        Ok(())
    }

    /// Files of the end; one that cannot be kept is still offered by the page.
    pub(crate) fn end(&mut self, files: impl IntoIterator<Item = (&'static str, End)>) {
        for (name, file) in files {
            if let Err(why) = (self.keep)(name, &file.kept()) {
                tracing::error!(name, why, "a file of the end could not be kept");
            }
            self.files.insert(name, file);
        }
    }

    pub(crate) fn file(&self, name: &str) -> Option<String> {
        self.files.get(name).map(End::given)
    }

    /// The files for a reader: documents in the reader's language.
    pub(crate) fn names(&self, reader: Reader) -> Vec<&'static str> {
        self.files.iter().filter(|(_, file)| file.is_for(reader)).map(|(name, _)| *name).collect()
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Mutex;

    use super::*;

    #[test]
    fn a_step_that_is_not_kept_is_not_done_and_a_step_back_withdraws_the_files() {
        let is_full = Arc::new(Mutex::new(false));
        let full = Arc::clone(&is_full);
        let keep: Keep = Box::new(move |_, _| if *full.lock().unwrap() { Err("disk full".into()) } else { Ok(()) });
        let mut keeping = Keeping::new(Arc::new(keep));
        keeping.end([("run.csv", End::Data("a".to_owned()))]);
        assert_eq!(keeping.names(Reader::ENGLISH), ["run.csv"]);
        *is_full.lock().unwrap() = true;
        let Refusal(status, words) = keeping.step("guide.json", "{}").unwrap_err();
        assert_eq!(status, StatusCode::SERVICE_UNAVAILABLE);
        assert!(words.contains("not done") && words.contains("disk full"), "{words}");
        assert_eq!(keeping.file("run.csv").as_deref(), Some("a"), "nothing was done, so nothing is withdrawn");
        *is_full.lock().unwrap() = false;
        assert!(keeping.step("guide.json", "{}").is_ok());
        assert_eq!(keeping.file("run.csv"), None);
    }

    #[test]
    fn a_document_is_kept_in_every_language_and_offered_in_the_readers() {
        let kept = Arc::new(Mutex::new(Vec::new()));
        let taken = Arc::clone(&kept);
        let keep: Keep = Box::new(move |name, text| {
            taken.lock().unwrap().push((name.to_owned(), text.to_owned()));
            Ok(())
        });
        let mut keeping = Keeping::new(Arc::new(keep));
        let make = |reader: Reader| Document {
            reader,
            title: reader.say("Result").into(),
            lede: String::new(),
            facts: vec![],
            made_at: "2031-11-04T18:00:00Z".into(),
            cautions: vec![],
            sections: vec![],
        };
        keeping.end(End::documents(["a.html", "a.de.html"], make));
        let german = Reader::of_language(Language::German);
        assert_eq!((keeping.names(Reader::ENGLISH), keeping.names(german)), (vec!["a.html"], vec!["a.de.html"]));
        let kept = kept.lock().unwrap();
        assert_eq!(kept.iter().map(|(name, _)| name.as_str()).collect::<Vec<_>>(), ["a.html", "a.de.html"]);
        // On disk each stands alone; given out, each leads to the other.
        assert!(kept.iter().all(|(_, text)| !text.contains("href=")));
        assert!(kept[0].1.contains("lang=\"en\"") && kept[1].1.contains("lang=\"de\""));
        for (name, other) in [("a.html", "href=\"a.de.html\""), ("a.de.html", "href=\"a.html\"")] {
            assert!(keeping.file(name).unwrap().contains(other), "{name}");
        }
    }
}
