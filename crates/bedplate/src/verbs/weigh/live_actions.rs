//! actions.csv while people still write to it: lines that were added are taken up as they come.

use std::path::{Path, PathBuf};
use std::time::Duration;

use formats::actions::{self, Action};

use crate::failure::Failure;
use crate::files;

/// A last line without its end that has not grown for so long is whole.
const STILL: Duration = Duration::from_millis(300);

/// The text of a file that somebody may just be writing: half a line must not be taken for a smaller mass.
fn settled_text(path: &Path) -> Result<String, Failure> {
    let mut text = files::read_text(path)?;
    while !text.is_empty() && !text.ends_with('\n') {
        std::thread::sleep(STILL);
        let again = files::read_text(path)?;
        if again.len() == text.len() {
            break;
        }
        text = again;
    }
    Ok(text)
}

/// The file, and how much of it was taken up.
pub(super) struct LiveActions {
    path: Option<PathBuf>,
    length: u64,
    n_known: usize,
}

impl LiveActions {
    /// Reads what is there.
    pub(super) fn open(path: Option<&Path>) -> Result<(Self, Vec<Action>), Failure> {
        let Some(path) = path else {
            return Ok((Self { path: None, length: 0, n_known: 0 }, Vec::new()));
        };
        let text = settled_text(path)?;
        let known = actions::read(&files::name(path), &text)?;
        Ok((Self { path: Some(path.to_owned()), length: text.len() as u64, n_known: known.len() }, known))
    }

    /// What was added since; a line without its end is still being written. Lines that are none are an error each time the file has grown.
    pub(super) fn added(&mut self) -> Result<Vec<Action>, Failure> {
        let Some(path) = &self.path else { return Ok(Vec::new()) };
        let length = std::fs::metadata(path).map_or(self.length, |m| m.len());
        if length == self.length {
            return Ok(Vec::new());
        }
        self.length = length;
        let text = files::read_text(path)?;
        let whole = text.rfind('\n').map_or("", |end| &text[..=end]);
        if whole.is_empty() {
            return Ok(Vec::new());
        }
        let known = actions::read(&files::name(path), whole)?;
        let added = known.get(self.n_known..).unwrap_or_default().to_vec();
        self.n_known = self.n_known.max(known.len());
        Ok(added)
    }
}
