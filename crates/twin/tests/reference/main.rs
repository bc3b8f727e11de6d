//! The twin against published or independently computed figures; each check names its source.

mod sharing;
