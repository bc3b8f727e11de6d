//! Accounts and sessions in the ward's memory.

use std::sync::{Mutex, PoisonError};

use serde::{Deserialize, Serialize};
use store::entry::{Entry, Kind, NewEntry};
use store::journal::{self, Query};
use store::sessions;
use store::sql::Transaction;
use store::writer::Job;

use super::limits::Failures;
use super::{AccessError, Role, Seen, secret};
use crate::WARD;
use crate::memory::Memory;

/// How long a session lasts without being used, µs: a shift.
const SESSION_US: i64 = 12 * 3_600 * 1_000_000;
/// A session's end is moved on at most so often, µs: a page a second need not be a write a second.
const MOVED_ON_US: i64 = 10 * 60 * 1_000_000;
const NAME_MOST: usize = 40;

/// An account, as its entry tells.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Account {
    /// Its role.
    pub role: Role,
    /// What is kept of its password.
    password: String,
    /// The password was given by another and must be changed at the first sign-in.
    pub must_change: bool,
    /// No longer in use.
    pub closed: bool,
}

/// Who is signed in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Session {
    /// Name of the account.
    pub account: String,
    /// Its role now.
    pub role: Role,
    /// The password must be changed before anything else.
    pub must_change: bool,
    /// What a form of this session must carry, so that no other site can send it.
    pub guard: String,
}

/// A session that has just begun.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SignedIn {
    /// The token, which the browser keeps and nobody else.
    pub token: String,
    /// The session.
    pub session: Session,
}

/// The accounts of a ward.
pub struct Access<'a> {
    memory: &'a Memory,
    failures: &'a Mutex<Failures>,
    seen: Option<&'a Mutex<Seen>>,
    now_us: i64,
}

impl<'a> Access<'a> {
    /// The accounts in `memory`, now.
    #[must_use]
    pub fn new(memory: &'a Memory, failures: &'a Mutex<Failures>, now_us: i64) -> Self {
        Self { memory, failures, seen: None, now_us }
    }

    /// The same, with sessions remembered for the time in which the memory is away.
    #[must_use]
    pub fn remembering(self, seen: &'a Mutex<Seen>) -> Self {
        Self { seen: Some(seen), ..self }
    }

    /// Makes the first administrator where there is no account at all, and gives its password, to be told once.
    ///
    /// # Errors
    /// The memory or the system fails.
    pub fn first_start(&self) -> Result<Option<(&'static str, String)>, AccessError> {
        const NAME: &str = "first";
        let any = Query { kind: Some(Kind::Account), most: Some(1), ..Query::default() };
        if !self.memory.look(|tx| journal::entries(tx, &any))?.is_empty() {
            return Ok(None);
        }
        let password = secret::token()?;
        self.put(
            NAME,
            None,
            "first start",
            &Account {
                role: Role::Administrator,
                password: secret::of_password(NAME, &password)?,
                must_change: true,
                closed: false,
            },
        )?;
        Ok(Some((NAME, password)))
    }

    /// Makes an account; its password is given by `by` and must be changed at the first sign-in.
    ///
    /// # Errors
    /// The name is taken or none, the password is too weak.
    pub fn make(&self, name: &str, role: Role, password: &str, by: &str) -> Result<(), AccessError> {
        let refuse = |why| Err(AccessError::Name { name: name.to_owned(), why });
        if !is_name(name) {
            return refuse("it has 1 to 40 small letters, digits, `-`, `.` or `_`");
        }
        if self.find(name)?.is_some() {
            return refuse("it is taken");
        }
        let password = secret::of_password(name, password)?;
        self.put(name, None, by, &Account { role, password, must_change: true, closed: false })
    }

    /// The accounts, by name.
    ///
    /// # Errors
    /// The memory fails.
    pub fn all(&self) -> Result<Vec<(String, Account)>, AccessError> {
        let query = Query { chain: Some(WARD.to_owned()), kind: Some(Kind::Account), ..Query::default() };
        let entries = self.memory.look(|tx| journal::entries(tx, &query))?;
        let mut found: Vec<_> =
            entries.iter().map(|e| Ok((e.new.subject.clone(), account(e)?))).collect::<Result<_, AccessError>>()?;
        found.sort_by(|a, b| a.0.cmp(&b.0));
        Ok(found)
    }

    /// Changes the role of an account, or closes it; its sessions end.
    ///
    /// # Errors
    /// There is no such account, or it is the last administrator.
    pub fn change(&self, name: &str, role: Role, closed: bool, by: &str) -> Result<(), AccessError> {
        let (entry, found) = self.known(name)?;
        if closed || role != Role::Administrator {
            let others = self
                .all()?
                .into_iter()
                .filter(|(other, a)| other != name && a.role == Role::Administrator && !a.closed);
            if found.role == Role::Administrator && !found.closed && others.count() == 0 {
                return Err(AccessError::LastAdministrator { name: name.to_owned() });
            }
        }
        self.put(name, Some(entry.number), by, &Account { role, closed, ..found })?;
        self.end_all(name)
    }

    /// Gives an account a new password; its sessions end. Where another gave it, it must be changed at the next sign-in,
    /// and the account opens again where it was shut.
    ///
    /// # Errors
    /// There is no such account, or the password is too weak.
    pub fn set_password(&self, name: &str, password: &str, by: &str) -> Result<(), AccessError> {
        let (entry, found) = self.known(name)?;
        let password = secret::of_password(name, password)?;
        self.put(name, Some(entry.number), by, &Account { password, must_change: by != name, ..found })?;
        self.failures.lock().unwrap_or_else(PoisonError::into_inner).worked(name);
        self.end_all(name)
    }

    /// Begins a session.
    ///
    /// # Errors
    /// Name and password do not belong together, or the account is shut.
    pub fn sign_in(&self, name: &str, password: &str) -> Result<SignedIn, AccessError> {
        if let Some(until_us) = self.failures().shut_until(name, self.now_us) {
            return Err(AccessError::Shut { minutes: (until_us - self.now_us) / 60_000_000 + 1 });
        }
        // Nothing is looked up, remembered or written of a text that can be no name: it may be long, or a password.
        let is_name = is_name(name);
        let found = if is_name { self.find(name)? } else { None };
        let found = found.filter(|(_, account)| !account.closed);
        // An account that was made or changed while our clock stood ahead is of a time to come: a session begins after it all the same,
        // or nobody could use it until the clock is there again, the first administrator among them.
        let begun_us = found.as_ref().map_or(self.now_us, |(entry, _)| self.now_us.max(entry.kept_us));
        let found = found.map(|(_, account)| account);
        // The same work is done where there is no such account: how long it takes must not tell which names exist.
        let kept = found.as_ref().map_or(NOBODY, |account| account.password.as_str());
        let fits = secret::is_password(kept, password);
        let is_account = found.is_some();
        let Some(found) = found.filter(|_| fits) else {
            // On record is what happens to an account; of names that nobody has there is no end.
            if is_name && self.failures().failed(name, self.now_us) && is_account {
                let body = serde_json::json!({ "shut": name }).to_string();
                self.note(Kind::Event, name, "sign-in", body)?;
            }
            return Err(AccessError::NotKnown);
        };
        self.failures().worked(name);
        let session = Session {
            account: name.to_owned(),
            role: found.role,
            must_change: found.must_change,
            guard: secret::token()?,
        };
        let token = secret::token()?;
        let kept = sessions::Session {
            token: secret::of_token(&token),
            account: name.to_owned(),
            guard: session.guard.clone(),
            begun_us,
            ends_us: self.now_us + SESSION_US,
        };
        self.memory.write(|tx| sessions::begin(tx, &kept, self.now_us))?;
        Ok(SignedIn { token, session })
    }

    /// The session of a token; its end moves on with use. While the memory is away it is as it was last found.
    ///
    /// # Errors
    /// It has ended, or the account was closed.
    pub fn session(&self, token: &str) -> Result<Session, AccessError> {
        let token = secret::of_token(token);
        if let Some(session) = self.seen().and_then(|seen| seen.meanwhile(&token, self.now_us)) {
            return Ok(session);
        }
        match self.on_record(&token) {
            Ok((session, ends_us)) => {
                if let Some(mut seen) = self.seen() {
                    seen.good(token, &session, ends_us);
                }
                Ok(session)
            }
            Err(AccessError::Store(error)) if error.is_passing() => {
                let last = self.seen().and_then(|mut seen| seen.without_memory(&token, self.now_us));
                last.ok_or(AccessError::Store(error))
            }
            Err(error) => {
                if let Some(mut seen) = self.seen() {
                    seen.ended(&token);
                }
                Err(error)
            }
        }
    }

    /// A session as the memory has it, and when it ends.
    fn on_record(&self, token: &[u8]) -> Result<(Session, i64), AccessError> {
        let kept = self.memory.look(|tx| sessions::find(tx, token))?;
        let kept = kept.filter(|s| s.ends_us > self.now_us).ok_or(AccessError::NoSession)?;
        let (entry, found) = self.find(&kept.account)?.filter(|(_, a)| !a.closed).ok_or(AccessError::NoSession)?;
        // A change of the account ends its sessions; one that slipped through, begun by the old password while the new one was on
        // its way or left because the end could not be written, is none.
        if kept.begun_us < entry.kept_us {
            return Err(AccessError::NoSession);
        }
        let mut ends_us = kept.ends_us;
        let moved_us = self.now_us + SESSION_US;
        let may_move = self.seen().is_none_or(|seen| seen.may_move(token, self.now_us));
        if ends_us < moved_us - MOVED_ON_US && may_move {
            match self.memory.write(|tx| sessions::move_end(tx, token, moved_us)) {
                Ok(()) => ends_us = moved_us,
                // It can be read and not be written: the session is good as long as it was.
                Err(error) if error.is_passing() => {
                    if let Some(mut seen) = self.seen() {
                        seen.stuck(token, self.now_us);
                    }
                }
                Err(error) => return Err(error.into()),
            }
        }
        let (account, guard) = (kept.account, kept.guard);
        Ok((Session { account, role: found.role, must_change: found.must_change, guard }, ends_us))
    }

    /// Ends a session.
    ///
    /// # Errors
    /// The memory fails.
    pub fn sign_out(&self, token: &str) -> Result<(), AccessError> {
        let token = secret::of_token(token);
        if let Some(mut seen) = self.seen() {
            seen.ended(&token);
        }
        Ok(self.memory.write(|tx| sessions::end(tx, &token))?)
    }

    fn end_all(&self, name: &str) -> Result<(), AccessError> {
        if let Some(mut seen) = self.seen() {
            seen.changed(name);
        }
        Ok(self.memory.write(|tx| sessions::end_all(tx, name))?)
    }

    fn seen(&self) -> Option<std::sync::MutexGuard<'_, Seen>> {
        self.seen.map(|seen| seen.lock().unwrap_or_else(PoisonError::into_inner))
    }

    fn failures(&self) -> std::sync::MutexGuard<'_, Failures> {
        self.failures.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn find(&self, name: &str) -> Result<Option<(Entry, Account)>, AccessError> {
        let find = |tx: &mut dyn Transaction| {
            let query = Query {
                chain: Some(WARD.to_owned()),
                kind: Some(Kind::Account),
                subject: Some(name.to_owned()),
                newest_first: true,
                most: Some(1),
                ..Query::default()
            };
            Ok(journal::entries(tx, &query)?.pop())
        };
        self.memory.look(find)?.map(|entry| account(&entry).map(|a| (entry, a))).transpose()
    }

    fn known(&self, name: &str) -> Result<(Entry, Account), AccessError> {
        self.find(name)?.ok_or_else(|| AccessError::NoAccount { name: name.to_owned() })
    }

    fn put(&self, name: &str, corrects: Option<i64>, by: &str, account: &Account) -> Result<(), AccessError> {
        let body = serde_json::to_string(account).map_err(|e| AccessError::Form { what: e.to_string() })?;
        if let Some(mut seen) = self.seen() {
            seen.changed(name);
        }
        self.keep(NewEntry {
            chain: WARD.to_owned(),
            at_us: self.now_us,
            kind: Kind::Account,
            subject: name.to_owned(),
            author: by.to_owned(),
            corrects,
            once: None,
            body,
        })
    }

    fn note(&self, kind: Kind, subject: &str, author: &str, body: String) -> Result<(), AccessError> {
        self.keep(NewEntry {
            chain: WARD.to_owned(),
            at_us: self.now_us,
            kind,
            subject: subject.to_owned(),
            author: author.to_owned(),
            corrects: None,
            once: None,
            body,
        })
    }

    fn keep(&self, entry: NewEntry) -> Result<(), AccessError> {
        self.memory.keep_then(Job { entries: vec![entry], ..Job::default() }, drop)?;
        Ok(())
    }
}

/// Whether a text can be the name of an account.
fn is_name(name: &str) -> bool {
    let fits = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || matches!(c, '-' | '.' | '_');
    (1..=NAME_MOST).contains(&name.len()) && name.chars().all(fits)
}

/// The kept form of a random password that nobody was told.
const NOBODY: &str =
    "$argon2id$v=19$m=19456,t=2,p=1$c2FsdHNhbHRzYWx0c2FsdA$6oMqL7LWdWRTyXPzhBAUSfTZ8jNA8wAyAgrBMgZp7ss";

fn account(entry: &Entry) -> Result<Account, AccessError> {
    serde_json::from_str(&entry.new.body).map_err(|e| AccessError::Form { what: e.to_string() })
}
