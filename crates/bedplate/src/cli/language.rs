//! The language of a document.

use clap::ValueEnum;

/// A language that documents are written in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum DocumentLanguage {
    /// English
    En,
    /// German
    De,
}

impl DocumentLanguage {
    /// Who reads it.
    pub(crate) fn reader(self) -> web::Reader {
        web::Reader::of_language(match self {
            Self::En => web::Language::English,
            Self::De => web::Language::German,
        })
    }
}
