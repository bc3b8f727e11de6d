//! How long to wait before the next attempt at a connection: twice as long each time, up to a limit, and a part of it by
//! chance, so that the decks of a ward do not all come back in the same instant.

use std::time::Duration;

/// The first pause.
const FIRST: Duration = Duration::from_millis(250);
/// The longest.
const LONGEST: Duration = Duration::from_secs(30);

/// The pauses of one link.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pauses {
    failed: u32,
    chance: u64,
}

impl Pauses {
    /// Pauses whose chance begins with `seed`.
    #[must_use]
    pub fn new(seed: u64) -> Self {
        Self { failed: 0, chance: seed }
    }

    /// The pause after one more failure: between half and the whole of 0.25 s · 2ⁿ, at most 30 s.
    pub fn next_pause(&mut self) -> Duration {
        let whole = FIRST.saturating_mul(1 << self.failed.min(16)).min(LONGEST);
        self.failed = self.failed.saturating_add(1);
        // Knuth's multiplier of MMIX; only its high bits are used.
        self.chance = self.chance.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let part = u32::try_from(self.chance >> 54).unwrap_or(0);
        whole / 2 + whole / 2 * part / 1024
    }

    /// The connection stood: the next failure is a first one again.
    pub fn worked(&mut self) {
        self.failed = 0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pauses_double_up_to_the_longest_and_start_anew_once_it_worked() {
        let mut pauses = Pauses::new(5);
        for n in 0..40_u32 {
            let whole = FIRST.saturating_mul(1 << n.min(16)).min(LONGEST);
            let pause = pauses.next_pause();
            assert!(pause >= whole / 2 && pause <= whole, "{n}: {pause:?}");
        }
        pauses.worked();
        assert!(pauses.next_pause() <= FIRST);
    }

    #[test]
    fn two_links_do_not_come_back_in_step() {
        assert_ne!(Pauses::new(1).next_pause(), Pauses::new(2).next_pause());
    }
}
