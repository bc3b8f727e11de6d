//! Pages over HTTP; the only crate that knows HTML.
