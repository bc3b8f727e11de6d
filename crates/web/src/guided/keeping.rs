//! What outlives a power cut: the steps as they are done, and the files of the end.

use std::collections::BTreeMap;
use std::sync::Arc;

use axum::http::StatusCode;

use super::Keep;
use crate::workbench::Refusal;

/// Keeps steps and files through what the caller handed in.
pub(crate) struct Keeping {
    keep: Arc<Keep>,
    files: BTreeMap<&'static str, String>,
}

impl Keeping {
    pub(crate) fn new(keep: Arc<Keep>) -> Self {
        Self { keep, files: BTreeMap::new() }
    }

    /// Keeps a step: only once that is done it is so. The files of an end that it takes back are no longer offered.
    pub(crate) fn step(&mut self, name: &str, text: &str) -> Result<(), Refusal> {
        (self.keep)(name, text).map_err(|why| {
            let words = format!("the step could not be kept, so it is not done: {why}");
            Refusal(StatusCode::SERVICE_UNAVAILABLE, words)
        })?;
        self.files.clear();
        Ok(())
    }

    /// Files of the end; one that cannot be kept is still offered by the page.
    pub(crate) fn end(&mut self, files: impl IntoIterator<Item = (&'static str, String)>) {
        for (name, text) in files {
            if let Err(why) = (self.keep)(name, &text) {
                tracing::error!(name, why, "a file of the end could not be kept");
            }
            self.files.insert(name, text);
        }
    }

    pub(crate) fn file(&self, name: &str) -> Option<String> {
        self.files.get(name).cloned()
    }

    pub(crate) fn names(&self) -> Vec<&'static str> {
        self.files.keys().copied().collect()
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Mutex;

    use super::*;

    #[test]
    fn a_step_that_is_not_kept_is_not_done_and_a_step_back_withdraws_the_files() {
        let is_full = Arc::new(Mutex::new(false));
        let full = Arc::clone(&is_full);
        let keep: Keep = Box::new(move |_, _| if *full.lock().unwrap() { Err("disk full".into()) } else { Ok(()) });
        let mut keeping = Keeping::new(Arc::new(keep));
        keeping.end([("run.csv", "a".to_owned())]);
        assert_eq!(keeping.names(), ["run.csv"]);
        *is_full.lock().unwrap() = true;
        let Refusal(status, words) = keeping.step("guide.json", "{}").unwrap_err();
        assert_eq!(status, StatusCode::SERVICE_UNAVAILABLE);
        assert!(words.contains("not done") && words.contains("disk full"), "{words}");
        assert_eq!(keeping.file("run.csv").as_deref(), Some("a"), "nothing was done, so nothing is withdrawn");
        *is_full.lock().unwrap() = false;
        assert!(keeping.step("guide.json", "{}").is_ok());
        assert_eq!(keeping.file("run.csv"), None);
    }
}
