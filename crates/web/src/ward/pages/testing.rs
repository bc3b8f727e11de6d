//! Times for the tests of these pages.

use jiff::Timestamp;
use jiff::tz::TimeZone;

pub(super) fn at(text: &str) -> Timestamp {
    text.parse().unwrap()
}

/// Oslo's clocks go back from 03:00 to 02:00 on 26 October 2031, at 01:00 UTC (IANA time zone database, rule EU).
pub(super) fn oslo() -> TimeZone {
    TimeZone::get("Europe/Oslo").unwrap()
}
