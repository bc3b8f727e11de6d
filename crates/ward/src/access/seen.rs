//! Sessions that were found good, for the time in which the memory cannot be asked: who is signed in goes on seeing the live weights.
//!
//! Nothing new comes of it: nobody signs in, and no right grows, while the memory is away. A session that ends, an account
//! whose role or password changes, is forgotten at once, whatever the memory says.

use std::collections::HashMap;

use super::Session;

/// Sessions that are remembered; the table starts anew when it is full, so that nobody can make it grow.
const REMEMBERED_MOST: usize = 10_000;
/// An end that could not be moved on is tried again after so long, µs: a file that another program holds costs a page seconds.
const MOVED_AGAIN_US: i64 = 60_000_000;
/// After a memory did not answer it is not asked again by every page, µs.
const AWAY_US: i64 = 2_000_000;

/// Sessions found good, by the hash of their token.
#[derive(Debug, Default)]
pub struct Seen {
    by_token: HashMap<Vec<u8>, Known>,
    away_until_us: i64,
}

#[derive(Debug)]
struct Known {
    session: Session,
    ends_us: i64,
    /// When its end was last tried to be moved on and could not be.
    stuck_us: i64,
}

impl Seen {
    /// A session that the memory says is good until `ends_us`.
    pub(super) fn good(&mut self, token: Vec<u8>, session: &Session, ends_us: i64) {
        if self.by_token.len() >= REMEMBERED_MOST {
            self.by_token.clear();
        }
        self.away_until_us = i64::MIN;
        let stuck_us = self.by_token.get(&token).map_or(i64::MIN, |known| known.stuck_us);
        self.by_token.insert(token, Known { session: session.clone(), ends_us, stuck_us });
    }

    /// Whether the end of a session may be moved on now.
    pub(super) fn may_move(&self, token: &[u8], now_us: i64) -> bool {
        self.by_token.get(token).is_none_or(|known| now_us.saturating_sub(known.stuck_us) >= MOVED_AGAIN_US)
    }

    /// It could not be.
    pub(super) fn stuck(&mut self, token: &[u8], now_us: i64) {
        if let Some(known) = self.by_token.get_mut(token) {
            known.stuck_us = now_us;
        }
    }

    /// The memory did not answer; the session as it was last found, where it has not ended by itself meanwhile.
    pub(super) fn without_memory(&mut self, token: &[u8], now_us: i64) -> Option<Session> {
        self.away_until_us = now_us.saturating_add(AWAY_US);
        self.last(token, now_us)
    }

    /// The session as it was last found, where the memory did not answer a moment ago.
    pub(super) fn meanwhile(&self, token: &[u8], now_us: i64) -> Option<Session> {
        // A moment that is further off is of a clock that was set back since.
        let left_us = self.away_until_us.saturating_sub(now_us);
        if (1..=AWAY_US).contains(&left_us) { self.last(token, now_us) } else { None }
    }

    fn last(&self, token: &[u8], now_us: i64) -> Option<Session> {
        self.by_token.get(token).filter(|known| now_us < known.ends_us).map(|known| known.session.clone())
    }

    /// A session that ends.
    pub(super) fn ended(&mut self, token: &[u8]) {
        self.by_token.remove(token);
    }

    /// All sessions of an account: they end, or its rights change.
    pub(super) fn changed(&mut self, account: &str) {
        self.by_token.retain(|_, known| known.session.account != account);
    }
}
