//! Style, scripts and the plot library, all served by the binary itself.

use std::sync::LazyLock;

/// The style sheet of the site: one small set of tokens, light, dark and print; what documents share; then what only pages have.
pub const STYLE: &str = concat!(
    include_str!("../assets/tokens.css"),
    include_str!("../assets/parts.css"),
    include_str!("../assets/style.css"),
    include_str!("../assets/workbench.css")
);
/// The style of a document that is printed: the same tokens and parts, then the sheet of paper.
pub const DOCUMENT_STYLE: &str = concat!(
    include_str!("../assets/tokens.css"),
    include_str!("../assets/parts.css"),
    include_str!("../assets/document.css")
);
/// What only the ward's pages have.
pub const WARD_STYLE: &str = include_str!("../assets/ward.css");
/// Keeps the ward's pages live.
pub const WARD_SCRIPT: &str = include_str!("../assets/ward.js");
/// Draws the plots that a page carries as data.
pub const PLOTS_SCRIPT: &str = include_str!("../assets/plots.js");
/// Walks through the pages.
pub const TOUR_SCRIPT: &str = include_str!("../assets/tour.js");
/// Draws a bed with its sections at their angles.
pub const SOLID_SCRIPT: &str = include_str!("../assets/solid.js");
/// Watches a night of the twin.
pub const REHEARSAL_SCRIPT: &str = include_str!("../assets/rehearsal.js");
/// What the scripts of the bench share, as a module that they import.
pub const SHARED_SCRIPT: &str = include_str!("../assets/shared.js");
/// What guided calibration and guided verification share.
pub const GUIDED_SCRIPT: &str = include_str!("../assets/guided.js");
/// Guides through a calibration.
pub const GUIDE_SCRIPT: &str = include_str!("../assets/guide.js");
/// Guides through a verification.
pub const TESTS_SCRIPT: &str = include_str!("../assets/tests.js");
/// Asks, draws and compares on the workbench.
pub const WORKBENCH_SCRIPT: &str = include_str!("../assets/workbench.js");
/// The mark of the pages.
pub const ICON: &str = include_str!("../assets/icon.svg");

/// The plot library's source, cut out of the script element its crate hands out.
#[must_use]
pub fn plot_library() -> &'static str {
    static SOURCE: LazyLock<String> = LazyLock::new(|| {
        let html = plotly::Plot::offline_js_sources();
        // The first element may be a loader for formulas; the library is by far the longest script.
        html.split("<script")
            .filter_map(|part| {
                let body = &part[part.find('>')? + 1..];
                Some(&body[..body.find("</script>")?])
            })
            .max_by_key(|body| body.len())
            .unwrap_or_default()
            .to_owned()
    });
    &SOURCE
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_plot_library_is_a_whole_script() {
        let source = plot_library();
        assert!(source.len() > 1_000_000, "only {} bytes", source.len());
        assert!(source.contains("Plotly"), "no library in it");
        assert!(!source.contains("</script"), "cut in the wrong place");
    }
}
