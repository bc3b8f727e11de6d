//! One screen a stage, for a person at a terminal of 100 columns.

mod agreement;
mod balance;
mod calibration;
mod check;
mod checking;
mod dose;
mod exploration;
mod fluids;
mod noise;
mod planning;
mod touching;
mod trial;
mod verification;
mod weighing;

pub use agreement::agreement;
pub use balance::balance;
pub use calibration::{calibration, finding_word, p_value, status_word};
pub use check::{check, requirement_words};
pub use checking::{checking, signal_line, signal_word};
pub use dose::dose;
pub use exploration::exploration;
pub use fluids::fluids;
pub use noise::noise;
pub use planning::planning;
pub use touching::{touch_list, touching};
pub use trial::trial;
pub use verification::verification;
pub use weighing::{clock, fault_line, fault_word, weighing};

/// Said under every result that could be taken for a licence to act.
const CAUTION: &str = "Research and engineering tool: not for dosing or treatment decisions on its own; local codes,\n\
                       the manufacturer of the bed and licensed practice come first.\n";

/// A heading with a rule as long as itself.
fn heading(text: &str) -> String {
    format!("{text}\n{}\n", "─".repeat(text.chars().count()))
}

/// Width of a screen, characters.
const WIDTH: usize = 100;

/// A paragraph broken at blanks to the width of a screen.
fn folded(text: &str) -> String {
    let mut out = String::new();
    let mut column = 0;
    for word in text.split_whitespace() {
        let length = word.chars().count();
        if column > 0 && column + 1 + length > WIDTH {
            out.push('\n');
            column = 0;
        } else if column > 0 {
            out.push(' ');
            column += 1;
        }
        out.push_str(word);
        column += length;
    }
    out
}

#[cfg(test)]
mod tests {
    #[test]
    fn a_paragraph_is_folded_at_blanks_and_loses_nothing() {
        let text = "one two three ".repeat(40);
        let folded = super::folded(&text);
        assert!(folded.lines().count() > 4 && folded.lines().all(|l| l.chars().count() <= super::WIDTH), "{folded}");
        assert_eq!(folded.split_whitespace().count(), 120);
    }
}
