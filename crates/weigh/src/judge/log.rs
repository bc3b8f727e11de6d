//! Events as they were told, each by its number, and which of them were not handed on yet.
//!
//! In a replay all stay until the end. Who follows takes them as they come: they are forgotten then, but for those that a later change may still
//! put right (the last booked one, open questions), so that memory stays constant.

use crate::report::Event;

/// The log.
#[derive(Debug, Clone, Default)]
pub(crate) struct Log {
    events: Vec<(usize, Event)>,
    next: usize,
    fresh: Vec<usize>,
}

impl Log {
    /// A log that goes on at a number, with the events that may still be put right, by number.
    pub(crate) fn resume(next: usize, kept: Vec<(usize, Event)>) -> Self {
        Self { events: kept, next, fresh: Vec::new() }
    }

    /// Keeps an event and gives its number.
    pub(crate) fn tell(&mut self, event: Event) -> usize {
        let number = self.next;
        self.next += 1;
        self.events.push((number, event));
        self.fresh.push(number);
        number
    }

    /// An event to be put right; it is handed on once more.
    pub(crate) fn mend(&mut self, number: usize) -> Option<&mut Event> {
        let at = self.events.binary_search_by_key(&number, |(n, _)| *n).ok()?;
        if !self.fresh.contains(&number) {
            self.fresh.push(number);
        }
        self.events.get_mut(at).map(|(_, event)| event)
    }

    /// An event that is still known.
    pub(crate) fn get(&self, number: usize) -> Option<&Event> {
        let at = self.events.binary_search_by_key(&number, |(n, _)| *n).ok()?;
        self.events.get(at).map(|(_, event)| event)
    }

    /// All that are known.
    pub(crate) fn events(&self) -> impl Iterator<Item = &Event> {
        self.events.iter().map(|(_, event)| event)
    }

    /// Those of the events that are still known, with their numbers, in order.
    pub(crate) fn kept(&self, keep: &[usize]) -> Vec<(usize, Event)> {
        self.events.iter().filter(|(number, _)| keep.contains(number)).cloned().collect()
    }

    /// How many were told in all.
    pub(crate) fn count(&self) -> usize {
        self.next
    }

    /// Hands on what is new or was put right, with its number, and forgets all but `keep`.
    pub(crate) fn take(&mut self, keep: &[usize]) -> Vec<(usize, Event)> {
        let fresh = std::mem::take(&mut self.fresh);
        let taken = fresh.into_iter().filter_map(|n| Some((n, self.get(n)?.clone()))).collect();
        self.events.retain(|(number, _)| keep.contains(number));
        taken
    }
}
