//! Samples of decks, from wherever they come.
//!
//! A deck's controller writes one line a sample ([`mod@line`]). The same lines come over a serial line, TCP or MQTT, so that
//! one reader, one checksum and one fuzz target serve all. A [`transport`] keeps the connection up, with growing pauses
//! between attempts; a [`watch`] tells what was lost on the way and how the deck's clock runs against ours.
//!
//! | module        | what it does |
//! |---------------|--------------|
//! | [`mod@line`]  | a sample as a line of text: fields, checksum, limits |
//! | [`splitter`]  | bytes to lines, however they are cut, in constant memory |
//! | [`watch`]     | sequence gaps, repeats, restarts; offset and rate of the deck's clock |
//! | [`pause`]     | how long to wait before the next attempt |
//! | [`transport`] | serial line, TCP, MQTT: to one bounded channel |
//! | [`controller`] | the deck's own end of TCP and MQTT, for the twin and tests |
//!
//! Nothing here knows what a count weighs, or keeps anything.

#![cfg_attr(not(test), deny(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::todo))]

pub mod controller;
pub mod line;
pub mod pause;
pub mod splitter;
pub mod transport;
pub mod watch;
