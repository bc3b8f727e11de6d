//! The contract of files, in Rust: plain data for each file, read from text and written to text.
//!
//! One module a file. A module holds the data (`Deck`, `Run`, …), how it is read, with errors that
//! name file, line, column or key, what was found and what was expected, and how it is written.
//! Names carry their units and follow the files; nothing here computes, and nothing here opens a
//! file: text and readers are passed in.
//!
//! What is extra: columns of a CSV file and fields of a JSON file that the contract does not know are
//! passed over. A key of a TOML file that it does not know is an error with the key that was likely
//! meant, since there nearly every key has a default or changes the physics, and a slip would pass
//! unseen; keys of one's own begin with `x_` or are named `note`, in any table, and are passed over.
//!
//! | module          | file              | data                      |
//! |-----------------|-------------------|---------------------------|
//! | [`deck`]        | deck.toml         | [`deck::Deck`]            |
//! | [`run`]         | run.csv           | [`run::Run`]              |
//! | [`masses`]      | masses.csv        | [`masses::Mass`]          |
//! | [`calibration`] | calibration.json  | [`calibration::Calibration`] |
//! | [`certificate`] | certificate.toml  | [`certificate::Details`]  |
//! | [`checks`]      | checks.csv        | [`checks::Check`]         |
//! | [`recording`]   | recording.csv     | [`recording::Sample`]     |
//! | [`actions`]     | actions.csv       | [`actions::Action`]       |
//! | [`weights`]     | weights.csv       | [`weights::Weight`]       |
//! | [`tests`]       | tests.csv         | [`tests::Test`]           |
//! | [`pairs`]       | pairs.csv         | [`pairs::Pair`]           |
//! | [`patient`]     | patient.toml      | [`patient::PatientFile`]  |
//! | [`chart`]       | chart.csv         | [`chart::Entry`]          |
//! | [`plans`]       | plans.toml        | [`patient::Plan`] by name |
//! | [`removals`]    | removals.csv      | [`removals::Removal`]     |
//! | [`answers`]     | answers.csv       | [`answers::Answered`]     |
//! | [`events`]      | events.json       | [`events::Item`]          |
//!
//! [`mod@reference`] tells people of all of them.

#![cfg_attr(not(test), deny(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::todo))]

pub mod actions;
pub mod answers;
mod asked;
pub mod calibration;
pub mod certificate;
pub mod chart;
pub mod checks;
mod csv_writer;
pub mod deck;
pub mod events;
pub mod field;
mod fit_detail;
mod json_place;
mod limits;
pub mod masses;
pub mod materials;
pub mod minutes;
pub mod pairs;
pub mod patient;
mod placement;
pub mod plans;
pub mod problem;
pub mod recording;
pub mod reference;
pub mod removals;
pub mod run;
mod table;
pub mod tests;
mod toml_document;
mod toml_reader;
mod toml_writer;
pub mod ward;
pub mod weights;
mod words;

pub use problem::{Problem, Problems};
