//! Stage balance: weights and chart to a fluid balance, its unexplained part and a forecast.
//!
//! | module | job |
//! |--------|-----|
//! | [`thin`] | settled weights to measurements |
//! | [`ledger`] | the chart as flows with uncertainty |
//! | [`insensible`] | what is lost uncharted, before the weights speak |
//! | `core` | the state-space model, its filter and smoother |
//! | `check` | what patient file and options may hold |
//! | `build`, `screen`, `contradict` | the grid; weights and entries that do not fit |
//! | `items` | fluid that went with an item that `weigh` saw |
//! | `noise`, `watch` | noise levels, the sequential test |
//! | `windows`, `forecast`, `answers`, `alerts` | what is told |
//! | `estimate` | all of it in order |
//! | [`clinical`] | overload, kidney stages, ultrafiltration, the water ledger |
//! | [`dose`] | weight-dependent quantities |
//!
//! Everything here is a function of its arguments: no clock, file or chance. It sees weights with their
//! uncertainty and the chart, never cells or counts. Every clinical result carries [`CAUTION`].

#![cfg_attr(not(test), deny(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::todo))]

mod alerts;
mod answers;
mod build;
mod check;
pub mod clinical;
mod contradict;
mod core;
mod diagnostics;
pub mod dose;
mod error;
mod estimate;
mod forecast;
pub mod insensible;
mod items;
pub mod ledger;
mod noise;
mod options;
mod report;
mod screen;
pub mod thin;
mod urine;
mod watch;
mod windows;

pub use alerts::SAME_ALERT_H;
pub use answers::Answer;
pub use diagnostics::Diagnostics;
pub use error::{BalanceError, Blame};
pub use estimate::balance;
pub use options::{Answered, Correction, Densities, ItemEvent, Options, Removal, Span};
pub use report::{
    Alert, AlertKind, Alternative, AnsweredAlert, BalanceReport, CAUTION, Estimate, ForecastRow, Noise, Overload, Row,
    Window,
};
