//! Results as tables for a person and drawings for a page.
//!
//! [`text`] holds one screen a stage, [`svg`] the deck as a drawing, [`number`] how a figure is printed.
//! Nothing is computed here that a stage has not computed.

pub mod number;
pub mod svg;
mod table;
pub mod text;
