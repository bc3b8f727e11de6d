//! Pages over HTTP: the only crate that knows HTML.
//!
//! A [`Site`] is a set of finished pages and plots, made from results by hand in [`pages`]; [`serve`]
//! answers requests for them on loopback. Every figure on a page stands with its unit, and every
//! page carries the caution of [`layout`]. No request leaves the server that gave the page.
//! A [`document::Document`] is one file of its own, to be kept and printed; those of the stages stand in [`documents`].
//!
//! Not here: formulas, files, the choice of a port.

#![cfg_attr(not(test), deny(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::todo))]

pub mod assets;
pub mod certificate;
pub mod checklist;
pub mod document;
pub mod documents;
pub mod guide;
mod guided;
pub mod layout;
mod manual;
pub mod pages;
mod plan;
pub mod plot;
pub mod proof;
pub mod rehearsal;
mod server;
mod thin;
pub mod ward;
mod words;
pub mod workbench;

pub use server::{ServeError, serve};
pub use words::{Language, Reader};

use std::collections::BTreeMap;
use std::sync::Arc;

/// Finished pages by their path, such as `/design`, each in every language.
#[derive(Clone, Default)]
pub struct Site {
    pages: BTreeMap<String, BTreeMap<Language, String>>,
    guide: Option<Arc<guide::Guide>>,
    proof: Option<Arc<proof::Proof>>,
    rehearsal: Option<Arc<rehearsal::Rehearsal>>,
}

impl Site {
    /// Adds a page under its path, as it is for each reader.
    pub fn add(&mut self, path: &str, page: impl Fn(Reader) -> maud::Markup) {
        let told = Language::ALL.map(|l| (l, page(Reader::of_language(l)).into_string()));
        self.pages.insert(path.to_owned(), told.into());
    }

    /// Adds a guided calibration, with its page, to a site that has these places.
    pub fn add_guide(&mut self, deck: &str, guide: Arc<guide::Guide>, places: &[layout::Place]) {
        self.add("/guide", |reader| guide::page(reader, deck, places));
        self.guide = Some(guide);
    }

    /// Adds a guided verification, with its page, to a site that has these places.
    pub fn add_proof(&mut self, deck: &str, proof: Arc<proof::Proof>, places: &[layout::Place]) {
        self.add("/tests", |reader| proof::page(reader, deck, places));
        self.proof = Some(proof);
    }

    /// Adds nights of the twin on a deck, with their page.
    pub fn add_twin(&mut self, deck: formats::deck::Deck, offered: Vec<rehearsal::Offered>, places: &[layout::Place]) {
        self.add("/twin", |reader| rehearsal::page(reader, &deck.name, &offered, places));
        self.rehearsal = Some(Arc::new(rehearsal::Rehearsal::new(deck, offered)));
    }

    /// The page under that path, in a language.
    #[must_use]
    pub fn page(&self, path: &str, language: Language) -> Option<&str> {
        self.pages.get(path)?.get(&language).map(String::as_str)
    }

    /// All paths, in order.
    pub fn paths(&self) -> impl Iterator<Item = &str> {
        self.pages.keys().map(String::as_str)
    }
}
