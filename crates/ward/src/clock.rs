//! The one clock of the ward's records: µs of UTC, and whether somebody set it.

use std::time::{Duration, Instant};

use rustix::time::{ClockId, clock_gettime};
use serde::{Deserialize, Serialize};

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
/// Where both stand is told so often at least, to be kept.
const EVERY: Duration = Duration::from_secs(1);

/// The machine's steady clock: nobody sets it, and it goes on while the machine sleeps, in which [`Instant`] stands still
/// (Linux, clock_gettime(2)).
#[cfg(target_os = "linux")]
const STEADY: ClockId = ClockId::Boottime;
#[cfg(not(target_os = "linux"))]
const STEADY: ClockId = ClockId::Monotonic;

/// Where our clock stood beside the machine's steady one.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stood {
    /// Which start of the machine, with which the steady clock begins; `None` where the system does not tell, as to a service that sees no more of
    /// /proc than its own processes.
    pub boot: Option<String>,
    /// The steady clock, µs.
    pub since_boot_us: i64,
    /// Ours, µs of UTC.
    pub now_us: i64,
}

impl Stood {
    /// Now; `None` where this process was held up between the two clocks.
    #[must_use]
    pub fn now() -> Option<Self> {
        Self::in_start(boot())
    }

    fn in_start(boot: Option<String>) -> Option<Self> {
        let before = Instant::now();
        let (steady, now_us) = (clock_gettime(STEADY), now_us());
        let since_boot_us = steady.tv_sec.saturating_mul(1_000_000).saturating_add(steady.tv_nsec / 1_000);
        (before.elapsed() < HELD_UP).then_some(Self { boot, since_boot_us, now_us })
    }

    /// By how much our clock was set forward from then to `now`, µs; less than nothing where it was set back, and nothing where it was not set, or
    /// where the machine was started in between and nothing is known.
    #[must_use]
    pub fn set_since(&self, now: &Self) -> i64 {
        if self.boot != now.boot {
            return 0;
        }
        let went_us = now.since_boot_us.saturating_sub(self.since_boot_us);
        let set_us = now.now_us.saturating_sub(self.now_us).saturating_sub(went_us);
        if set_us.saturating_abs() > SET_US { set_us } else { 0 }
    }
}

/// A random number that the kernel draws at each start: random(4).
fn boot() -> Option<String> {
    std::fs::read_to_string("/proc/sys/kernel/random/boot_id").ok().map(|id| id.trim().to_owned())
}

/// Tells where our clock was set while this process runs.
#[derive(Debug)]
pub struct Setting {
    boot: Option<String>,
    last: Option<Stood>,
    told: Option<Instant>,
}

impl Setting {
    /// Begins to watch.
    #[must_use]
    pub fn new() -> Self {
        Self { boot: boot(), last: None, told: None }
    }

    /// Where our clock stands, and by how much it was set since the last look, µs. To be asked before anything is dated by our clock; `None` where
    /// it was not set and where it stands was told a moment ago.
    pub fn look(&mut self) -> Option<(Stood, i64)> {
        let now = Stood::in_start(self.boot.clone())?;
        let set_us = self.at(now.clone());
        if set_us == 0 && self.told.is_some_and(|told| told.elapsed() < EVERY) {
            return None;
        }
        self.told = Some(Instant::now());
        Some((now, set_us))
    }

    fn at(&mut self, now: Stood) -> i64 {
        let set_us = self.last.as_ref().map_or(0, |last| last.set_since(&now));
        self.last = Some(now);
        set_us
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

    fn stood(boot: &str, since_boot_s: i64, now_us: i64) -> Stood {
        Stood { boot: Some(boot.to_owned()), since_boot_us: since_boot_s * 1_000_000, now_us }
    }

    #[test]
    fn a_clock_that_was_set_is_told_from_one_that_was_not_looked_at_for_long() {
        let hour_us = 3_600_000_000;
        let mut setting = Setting::new();
        let mut at = |since_boot_s, now_us| setting.at(stood("this", since_boot_s, now_us));
        assert_eq!(at(0, 0), 0);
        assert_eq!(at(1, 1_000_000), 0);
        assert_eq!(at(3_601, 1_000_000 + hour_us), 0, "an hour went by, in sleep or not");
        assert_eq!(at(3_602, 2_000_000 + 2 * hour_us), hour_us);
        assert_eq!(at(3_603, 3_000_000 + 2 * hour_us), 0, "told once");
        assert_eq!(at(3_604, 4_000_000 + hour_us), -hour_us);
        // Pulled gently, by 500 parts per million.
        assert_eq!(at(7_204, 4_000_000 + 2 * hour_us + 1_800_000), 0);
        assert_eq!(stood("before", 9, 0).set_since(&stood("this", 9, hour_us)), 0, "the machine was started anew");
    }

    #[cfg(target_os = "linux")]
    #[test]
    fn the_steady_clock_is_that_which_goes_on_in_sleep() {
        // proc(5): the first number of /proc/uptime is the time since the machine was started, that of sleep included.
        let uptime_s: f64 = {
            let text = std::fs::read_to_string("/proc/uptime").unwrap();
            text.split_whitespace().next().unwrap().parse().unwrap()
        };
        let stood = Stood::now().unwrap();
        let apart_s = stood.since_boot_us as f64 / 1e6 - uptime_s;
        assert!((-0.1..5.0).contains(&apart_s), "{apart_s} s");
        assert_eq!(stood.set_since(&Stood::now().unwrap()), 0);
    }

    #[test]
    fn where_our_clock_stands_is_told_once_a_second() {
        let mut setting = Setting::new();
        assert!(setting.look().is_some_and(|(_, set_us)| set_us == 0) && setting.look().is_none());
    }
}
