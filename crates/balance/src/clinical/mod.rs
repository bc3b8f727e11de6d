//! A physician's figures: percent overload by each definition, urine and creatinine stages,
//! ultrafiltration, and the water behind the mass.
//!
//! Each is a function with its source; [`answers`](crate::BalanceReport::answers) puts them in words.
//! All of them are associations in published cohorts, none is an order. Every use carries
//! [`crate::CAUTION`].

pub mod kdigo;
pub mod overload;
pub mod ultrafiltration;
pub mod water;
