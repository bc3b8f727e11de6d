//! Results as tables for a person and drawings for a page.
//!
//! [`text`] holds one screen a stage, [`charts`] what a stage found for paper and page, [`svg`] how charts and the deck are drawn,
//! [`drawing`] plates for the workshop, [`number`] how a figure is printed.
//! Nothing is computed here that a stage has not computed.

#![cfg_attr(not(test), deny(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::todo))]

pub mod charts;
pub mod drawing;
pub mod number;
pub mod svg;
mod table;
pub mod text;
