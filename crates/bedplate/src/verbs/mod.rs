//! One module a verb: reads its files, calls its stage, prints the report.

pub(crate) mod agree;
pub(crate) mod balance;
pub(crate) mod bench;
pub(crate) mod calibrate;
pub(crate) mod check;
pub(crate) mod checks;
mod counts;
pub(crate) mod demo;
pub(crate) mod doctor;
pub(crate) mod dose;
pub(crate) mod draw;
pub(crate) mod explore;
pub(crate) mod fluids;
pub(crate) mod noise;
pub(crate) mod plan;
pub(crate) mod serve;
pub(crate) mod shell;
pub(crate) mod trial;
pub(crate) mod twin;
pub(crate) mod twin_ward;
pub(crate) mod verify;
pub(crate) mod ward;
pub(crate) mod weigh;
