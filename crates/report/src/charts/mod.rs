//! What a stage found, as charts for paper and page.

mod agreement;
mod verification;

pub use agreement::{differences, identity};
pub use verification::{of_test, test_name};
