//! The one clock of the ward's records: µs of UTC.

/// Now, µs of UTC since 1970.
#[must_use]
pub fn now_us() -> i64 {
    jiff::Timestamp::now().as_microsecond()
}
