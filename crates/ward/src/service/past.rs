//! Lives through a past at once, for an invented ward: samples and what people did, in order, at their own times.

use formats::recording::Sample;
use store::writer::Job;

use super::{Bed, Ward, source};
use crate::records::{self, ActionBody, RecordError};

/// A bed's past while it is lived through. What it keeps is handed over in pieces, so that a night is a handful of commits.
pub struct Past<'a> {
    ward: &'a Ward,
    bed: &'a Bed,
    begin_us: i64,
    sequence: u32,
    job: Job,
}

/// Rows of one commit.
const ROWS: usize = 4_000;

impl<'a> Past<'a> {
    /// A past that begins at `begin_us`, the time at which the ward was opened for it.
    #[must_use]
    pub fn new(ward: &'a Ward, bed: &'a Bed, begin_us: i64) -> Self {
        Self { ward, bed, begin_us, sequence: 0, job: Job::default() }
    }

    /// The next sample.
    ///
    /// # Errors
    /// The memory refuses.
    pub fn sample(&mut self, sample: &Sample) -> Result<(), RecordError> {
        let frame = source::frame(&self.bed.setup.signs_as, self.sequence, sample);
        self.sequence = self.sequence.wrapping_add(1);
        let at_us = self.at(sample.t_s);
        // Whatever the twin makes fits its own deck.
        if let Ok(Some(mut job)) = self.bed.with(|engine| engine.take(&frame, at_us))? {
            let before = self.job.entries.len();
            self.job.replaces.extend(job.replaces.into_iter().map(|(place, mark)| (before + place, mark)));
            self.job.entries.append(&mut job.entries);
            self.job.readings.append(&mut job.readings);
            self.job.counts.append(&mut job.counts);
            if !job.states.is_empty() {
                self.job.states = job.states;
            }
            if self.job.readings.len() >= ROWS {
                self.keep()?;
            }
        }
        Ok(())
    }

    /// What somebody did.
    ///
    /// # Errors
    /// An action that does not fit; the memory refuses.
    pub fn act(&mut self, t_s: f64, by: &str, body: &ActionBody) -> Result<(), RecordError> {
        self.keep()?;
        let (at_us, action) = (self.at(t_s), body.action()?);
        self.ward.keep(records::action_entry(&self.bed.setup.bed, at_us, by, None, body))?;
        self.bed.act(at_us, &action);
        Ok(())
    }

    /// Keeps what is left.
    ///
    /// # Errors
    /// The memory refuses.
    pub fn keep(&mut self) -> Result<(), RecordError> {
        self.ward.memory.keep(std::mem::take(&mut self.job))?;
        Ok(())
    }

    #[allow(clippy::cast_possible_truncation, reason = "microseconds of this century")]
    fn at(&self, t_s: f64) -> i64 {
        self.begin_us + (t_s * 1e6).round() as i64
    }
}
