//! Progress on a terminal, and nothing anywhere else.

use std::io::IsTerminal;
use std::time::Duration;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// A bar over `len` steps, drawn on standard error where that is a terminal.
pub(crate) fn bar(len: u64, what: &'static str) -> ProgressBar {
    let bar = ProgressBar::with_draw_target(Some(len), target());
    if let Ok(style) = ProgressStyle::with_template("  {msg:28} {wide_bar} {percent:>3} %") {
        bar.set_style(style.progress_chars("█▉▊▋▌▍▎▏ "));
    }
    bar.set_message(what);
    bar
}

/// A sign of life for work of unknown length.
pub(crate) fn spinner(what: &'static str) -> ProgressBar {
    let spinner = ProgressBar::with_draw_target(None, target());
    if let Ok(style) = ProgressStyle::with_template("  {spinner} {msg}") {
        spinner.set_style(style);
    }
    spinner.set_message(what);
    spinner.enable_steady_tick(Duration::from_millis(120));
    spinner
}

fn target() -> ProgressDrawTarget {
    if std::io::stderr().is_terminal() { ProgressDrawTarget::stderr() } else { ProgressDrawTarget::hidden() }
}
