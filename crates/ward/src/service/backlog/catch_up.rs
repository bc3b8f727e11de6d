//! Keeps what an earlier run had to set aside.

use store::StoreError;
use store::aside::{Aside, AsideError};
use store::writer::{Answer, Job};

use super::files::oldest;
use super::flights::{Outcome, is_final};

impl crate::memory::Memory {
    /// Keeps all that an earlier run had to set aside, before anything else is asked of the memory.
    ///
    /// # Errors
    /// The memory is away still; what lies aside stays there.
    pub fn catch_up(&self, mut aside: Aside) -> Result<(Aside, usize), CatchUpError> {
        let mut caught = 0;
        while !aside.is_empty() {
            let jobs;
            (aside, jobs) = oldest(aside);
            if jobs.is_empty() && !aside.is_empty() {
                return Err(CatchUpError::Unreadable { place: aside.place().display().to_string() });
            }
            let n = jobs.len();
            for outcome in self.keep_all(jobs) {
                match outcome {
                    Err(error) if !is_final(&error) => return Err(error.into()),
                    Err(error) => tracing::error!(%error, "refused by the memory"),
                    Ok(()) => {}
                }
            }
            aside.forget(n)?;
            caught += n;
        }
        Ok((aside, caught))
    }

    /// Hands jobs in together and waits for all.
    fn keep_all(&self, jobs: Vec<Job>) -> Outcome {
        let (tell, told) = std::sync::mpsc::channel();
        let n = jobs.len();
        for (place, job) in jobs.into_iter().enumerate() {
            let tell = tell.clone();
            let answer: Answer = Box::new(move |outcome| drop(tell.send((place, outcome))));
            if let Err(error) = self.writer().hand_in(job, answer) {
                return vec![Err(error)];
            }
        }
        drop(tell);
        let mut outcome = vec![Err(StoreError::Closed); n];
        for (place, result) in told {
            outcome[place] = result.map(drop);
        }
        outcome
    }
}

/// Why a ward does not catch up with what lies aside.
#[derive(Debug, thiserror::Error)]
pub enum CatchUpError {
    /// The memory.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The files.
    #[error(transparent)]
    Aside(#[from] AsideError),
    /// Files that can neither be read nor be passed over.
    #[error("{place}: what was set aside can neither be read nor be passed over")]
    Unreadable {
        /// Where.
        place: String,
    },
}
