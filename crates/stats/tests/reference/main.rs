//! Published figures that this crate must reproduce. Each test names its source; data copied from it lie in `tests/data`.

mod agreement;
mod agreement_repeated;
mod allan;
mod computed;
mod control_chart;
mod gauge;
mod gum_h1;
mod gum_h2;
mod gum_h3;
mod load_cell;
mod nile;
mod states;
mod strd;
mod supplement_1;
mod support;
