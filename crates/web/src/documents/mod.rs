//! Documents of the stages on the frame of [`crate::document`]: what is kept, printed and given to others.

mod agreement;
mod check;
mod checks;
mod verification;

pub use agreement::{AgreementFiles, agreement};
pub use check::check;
pub use checks::{CheckFiles, checks};
pub use verification::{EvidenceFiles, evidence};

use maud::{Markup, PreEscaped, html};
use report::svg::xy_chart::XyChart;

/// A chart with its caption.
fn chart(chart: &XyChart, caption: &str) -> Markup {
    html! {
        figure {
            (PreEscaped(chart.svg()))
            figcaption { (caption) }
        }
    }
}
