//! Who asks too often must wait; an account that is guessed at is shut for a while.

use std::collections::HashMap;
use std::hash::Hash;

/// Failures after which an account is shut.
pub const FAILURES_MOST: u32 = 5;
/// How long it stays shut, and how long a failure is remembered, µs.
pub const SHUT_US: i64 = 15 * 60 * 1_000_000;
/// Callers that are remembered; the table starts anew when it is full, so that nobody can make it grow.
const REMEMBERED_MOST: usize = 100_000;

/// Failures to sign in, by account.
#[derive(Debug, Default)]
pub struct Failures {
    /// Failures in a row, and the time of the last, µs.
    by_account: HashMap<String, (u32, i64)>,
}

impl Failures {
    /// Until when an account is shut, if it is.
    #[must_use]
    pub fn shut_until(&mut self, account: &str, now_us: i64) -> Option<i64> {
        let (failures, last_us) = self.by_account.get_mut(account)?;
        // A failure of a time to come is of a clock that was set back since: nobody is shut out for as long as that was.
        *last_us = now_us.min(*last_us);
        let until = last_us.saturating_add(SHUT_US);
        (*failures >= FAILURES_MOST && now_us < until).then_some(until)
    }

    /// A failure; whether the account is shut by it.
    pub fn failed(&mut self, account: &str, now_us: i64) -> bool {
        if self.by_account.len() >= REMEMBERED_MOST {
            self.by_account.clear();
        }
        let (failures, last_us) = self.by_account.entry(account.to_owned()).or_insert((0, now_us));
        if now_us.saturating_sub(*last_us) >= SHUT_US {
            *failures = 0;
        }
        *failures += 1;
        *last_us = now_us;
        *failures == FAILURES_MOST
    }

    /// A success: what failed before is forgotten.
    pub fn worked(&mut self, account: &str) {
        self.by_account.remove(account);
    }
}

/// So many at once, and so many a second, for each caller.
#[derive(Debug)]
pub struct Rate<K> {
    at_once: f64,
    a_second: f64,
    /// What each caller has left, and when that was so, µs.
    left: HashMap<K, (f64, i64)>,
}

impl<K: Hash + Eq> Rate<K> {
    /// A limit.
    #[must_use]
    pub fn new(at_once: f64, a_second: f64) -> Self {
        Self { at_once, a_second, left: HashMap::new() }
    }

    /// Whether a caller may go on now.
    #[allow(clippy::cast_precision_loss, reason = "microseconds between calls")]
    pub fn may(&mut self, caller: K, now_us: i64) -> bool {
        if self.left.len() >= REMEMBERED_MOST {
            self.left.clear();
        }
        let (left, at_us) = self.left.entry(caller).or_insert((self.at_once, now_us));
        let since_s = now_us.saturating_sub(*at_us).max(0) as f64 / 1e6;
        *left = (*left + since_s * self.a_second).min(self.at_once);
        *at_us = now_us;
        let may = *left >= 1.0;
        if may {
            *left -= 1.0;
        }
        may
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn five_failures_shut_an_account_for_a_quarter_of_an_hour_and_no_other() {
        let mut failures = Failures::default();
        let outcomes: Vec<bool> = (0..6).map(|i| failures.failed("nurse1", i)).collect();
        assert_eq!(outcomes, [false, false, false, false, true, false]);
        assert_eq!(failures.shut_until("nurse1", 10), Some(5 + SHUT_US));
        assert_eq!(failures.shut_until("nurse2", 10), None);
        assert_eq!(failures.shut_until("nurse1", 5 + SHUT_US), None);
        assert!(!failures.failed("nurse1", 6 + SHUT_US), "old failures are forgotten");
        assert_eq!(failures.shut_until("nurse1", 7 + SHUT_US), None);
    }

    #[test]
    fn a_clock_that_is_set_back_shuts_nobody_for_longer() {
        let mut failures = Failures::default();
        let hour_us = 3_600 * 1_000_000;
        for _ in 0..FAILURES_MOST {
            failures.failed("nurse1", hour_us);
        }
        assert_eq!(failures.shut_until("nurse1", 10), Some(10 + SHUT_US));
        assert_eq!(failures.shut_until("nurse1", 11), Some(10 + SHUT_US), "it begins once");
        assert_eq!(failures.shut_until("nurse1", 10 + SHUT_US), None);
    }

    #[test]
    fn a_success_forgets_the_failures_before() {
        let mut failures = Failures::default();
        for _ in 0..4 {
            failures.failed("nurse1", 0);
        }
        failures.worked("nurse1");
        assert!(!failures.failed("nurse1", 0));
    }

    #[test]
    fn a_caller_has_a_burst_and_then_a_rate_of_its_own() {
        let mut rate = Rate::new(3.0, 2.0);
        let now: Vec<bool> = (0..5).map(|_| rate.may("a", 0)).collect();
        assert_eq!(now, [true, true, true, false, false]);
        assert!(rate.may("b", 0));
        assert!(rate.may("a", 500_000) && !rate.may("a", 500_000));
        assert!(!rate.may("a", -1_000_000), "a clock that runs back gives nothing");
    }

    #[test]
    fn callers_without_end_take_no_memory_without_end() {
        let mut rate = Rate::new(1.0, 1.0);
        for caller in 0..2 * REMEMBERED_MOST {
            rate.may(caller, 0);
        }
        assert!(rate.left.len() <= REMEMBERED_MOST);
    }
}
