//! What is owed to a broker: acknowledgements, in the order in which its messages came.
//!
//! MQTT asks for that order within a connection (OASIS MQTT 5.0, [MQTT-4.6.0-2]), and an acknowledgement belongs to its connection
//! alone: on the next one the broker brings the message again, perhaps under a number that meant another before. Beds keep their
//! samples at their own pace, so what is kept early waits for what came before it; but not for ever, or the unfinished
//! second of a deck that was pulled out would hold up those of a whole ward.

use std::collections::{BTreeMap, VecDeque};
use std::time::{Duration, Instant};

/// How long others wait for a message that is not kept.
const PATIENCE: Duration = Duration::from_secs(10);

/// Stands for one message of one connection.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Ticket {
    connection: u64,
    number: u64,
}

/// How it stands with a message.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Stand {
    Waits(Instant),
    Kept,
    Dropped,
}

/// The acknowledgements of one connection.
#[derive(Debug)]
pub(super) struct Owed<A> {
    connection: u64,
    /// Number of the first in the queue.
    first: u64,
    queue: VecDeque<(Stand, A)>,
    /// Those that others do not wait for any more.
    late: BTreeMap<u64, A>,
    ready: VecDeque<A>,
}

impl<A> Owed<A> {
    pub(super) fn new() -> Self {
        Self { connection: 0, first: 0, queue: VecDeque::new(), late: BTreeMap::new(), ready: VecDeque::new() }
    }

    /// The connection is lost, and with it all that was owed there.
    pub(super) fn begin_anew(&mut self) {
        *self = Self { connection: self.connection + 1, ..Self::new() };
    }

    /// A message came.
    pub(super) fn expect(&mut self, acknowledgement: A, now: Instant) -> Ticket {
        self.queue.push_back((Stand::Waits(now), acknowledgement));
        Ticket { connection: self.connection, number: self.first + self.queue.len() as u64 - 1 }
    }

    /// What a message brought is kept, or is given up: then the broker keeps it. The first word counts.
    pub(super) fn settle(&mut self, ticket: Ticket, is_kept: bool) {
        if ticket.connection != self.connection {
            return;
        }
        if let Some(late) = self.late.remove(&ticket.number) {
            self.ready.extend(is_kept.then_some(late));
        } else if let Some(place) = ticket.number.checked_sub(self.first)
            && let Some((stand, _)) = usize::try_from(place).ok().and_then(|place| self.queue.get_mut(place))
            && matches!(stand, Stand::Waits(_))
        {
            *stand = if is_kept { Stand::Kept } else { Stand::Dropped };
        }
    }

    /// Sends what is due, for as long as `send` takes it.
    pub(super) fn send(&mut self, now: Instant, mut send: impl FnMut(&A) -> bool) {
        let goes = |(stand, _): &mut (Stand, A)| match stand {
            Stand::Waits(since) => now.saturating_duration_since(*since) > PATIENCE,
            Stand::Kept | Stand::Dropped => true,
        };
        while let Some((stand, acknowledgement)) = self.queue.pop_front_if(goes) {
            match stand {
                Stand::Kept => self.ready.push_back(acknowledgement),
                Stand::Dropped => {}
                Stand::Waits(_) => drop(self.late.insert(self.first, acknowledgement)),
            }
            self.first += 1;
        }
        while self.ready.front().is_some_and(&mut send) {
            self.ready.pop_front();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What is sent at an instant by a way that takes so many.
    fn sent(owed: &mut Owed<u32>, now: Instant, most: usize) -> Vec<u32> {
        let mut sent = Vec::new();
        owed.send(now, |a| {
            let takes = sent.len() < most;
            sent.extend(takes.then_some(*a));
            takes
        });
        sent
    }

    #[test]
    fn acknowledgements_go_in_the_order_of_the_messages() {
        let (mut owed, now) = (Owed::new(), Instant::now());
        let tickets: Vec<Ticket> = (0..5).map(|a| owed.expect(a, now)).collect();
        owed.settle(tickets[2], true);
        owed.settle(tickets[1], true);
        owed.settle(tickets[1], false);
        assert!(sent(&mut owed, now, 9).is_empty(), "the first is not kept yet");
        owed.settle(tickets[0], true);
        assert_eq!(sent(&mut owed, now, 9), [0, 1, 2]);
        // One that is given up is not acknowledged and holds nobody up.
        owed.settle(tickets[4], true);
        owed.settle(tickets[3], false);
        assert_eq!(sent(&mut owed, now, 9), [4]);
        assert!(sent(&mut owed, now, 9).is_empty(), "once is enough");
    }

    #[test]
    fn what_an_earlier_connection_brought_is_not_acknowledged_on_the_next() {
        let (mut owed, now) = (Owed::new(), Instant::now());
        let before = owed.expect(7, now);
        let waits = owed.expect(8, now);
        owed.settle(waits, true);
        owed.begin_anew();
        let again = owed.expect(70, now);
        owed.settle(before, true);
        assert!(sent(&mut owed, now, 9).is_empty(), "a receipt of the earlier connection settled another message");
        owed.settle(again, true);
        assert_eq!(sent(&mut owed, now, 9), [70]);
    }

    #[test]
    fn a_message_that_nobody_keeps_does_not_hold_the_others_up_for_ever() {
        let (mut owed, now) = (Owed::new(), Instant::now());
        let stuck = owed.expect(0, now);
        let kept = owed.expect(1, now);
        owed.settle(kept, true);
        assert!(sent(&mut owed, now + PATIENCE, 9).is_empty());
        let later = now + PATIENCE + Duration::from_millis(1);
        assert_eq!(sent(&mut owed, later, 9), [1]);
        owed.settle(stuck, true);
        assert_eq!(sent(&mut owed, later, 9), [0], "kept after all");
    }

    #[test]
    fn what_a_full_way_does_not_take_goes_later_and_in_order() {
        let (mut owed, now) = (Owed::new(), Instant::now());
        for a in 0..5 {
            let ticket = owed.expect(a, now);
            owed.settle(ticket, true);
        }
        assert_eq!(sent(&mut owed, now, 2), [0, 1]);
        assert_eq!(sent(&mut owed, now, 9), [2, 3, 4]);
    }
}
