//! What a stage found, as charts for paper and page.

mod agreement;
mod checks;
mod verification;

pub use agreement::{differences, identity};
pub use checks::{moving_average, single_checks};
pub use verification::{of_test, test_name};
