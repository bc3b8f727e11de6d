//! The one clock of the ward's records: µs of UTC, and whether somebody set it.

use std::time::{Duration, Instant};

/// Now, µs of UTC since 1970.
#[must_use]
pub fn now_us() -> i64 {
    jiff::Timestamp::now().as_microsecond()
}

/// A clock that goes on by more or less than this beside the machine's steady one was set, µs. A time service that pulls it gently makes
/// less of it in an hour.
const SET_US: i64 = 2_000_000;
/// The two clocks are read one after the other; where so much lies between, this process was held up, and they say nothing.
const HELD_UP: Duration = Duration::from_millis(200);

/// Tells where our clock was set while this process runs, by the machine's steady one.
#[derive(Debug)]
pub struct Setting {
    last: Option<(Instant, i64)>,
}

impl Setting {
    /// Begins to watch.
    #[must_use]
    pub fn new() -> Self {
        Self { last: None }
    }

    /// By how much it was set forward since this was last asked, µs; less than nothing where it was set back, and nothing where it was
    /// not set.
    pub fn since(&mut self) -> i64 {
        let before = Instant::now();
        let now_us = now_us();
        if before.elapsed() < HELD_UP { self.at(before, now_us) } else { 0 }
    }

    fn at(&mut self, steady: Instant, now_us: i64) -> i64 {
        let Some((last, last_us)) = self.last.replace((steady, now_us)) else { return 0 };
        let went_us = i64::try_from(steady.saturating_duration_since(last).as_micros()).unwrap_or(i64::MAX);
        let set_us = now_us.saturating_sub(last_us).saturating_sub(went_us);
        if set_us.saturating_abs() > SET_US { set_us } else { 0 }
    }
}

impl Default for Setting {
    fn default() -> Self {
        Self::new()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clock_that_was_set_is_told_from_one_that_was_not_looked_at_for_long() {
        let (begin, hour_us) = (Instant::now(), 3_600_000_000);
        let later = |s| begin + Duration::from_secs(s);
        let mut setting = Setting::new();
        assert_eq!(setting.at(begin, 0), 0);
        assert_eq!(setting.at(later(1), 1_000_000), 0);
        assert_eq!(setting.at(later(3_601), 1_000_000 + hour_us), 0, "an hour went by");
        assert_eq!(setting.at(later(3_602), 2_000_000 + 2 * hour_us), hour_us);
        assert_eq!(setting.at(later(3_603), 3_000_000 + 2 * hour_us), 0, "told once");
        assert_eq!(setting.at(later(3_604), 4_000_000 + hour_us), -hour_us);
        // Pulled gently, by 500 parts per million.
        assert_eq!(setting.at(later(7_204), 4_000_000 + 2 * hour_us + 1_800_000), 0);
    }
}
