//! A request as an endpoint sees it.

use std::collections::HashMap;
use std::net::IpAddr;
use std::sync::Arc;

use axum::body::Bytes;
use jiff::Timestamp;
use serde::de::DeserializeOwned;
use ward::access::{Access, Session};
use ward::clock::now_us;
use ward::service::{Bed, Ward};

use super::answer::Problem;

/// A request that may be answered.
pub(super) struct Call {
    pub(super) ward: Arc<Ward>,
    pub(super) path: HashMap<String, String>,
    pub(super) query: HashMap<String, String>,
    pub(super) body: Bytes,
    pub(super) session: Option<Session>,
    pub(super) token: Option<String>,
    pub(super) caller: IpAddr,
    /// Whether it came over TLS.
    pub(super) is_secure: bool,
    /// Path and query of a page, to come back to it; `None` where a form was sent.
    pub(super) shown_at: Option<String>,
    /// What the reader chose.
    pub(super) reader: crate::words::Reader,
}

impl Call {
    pub(super) fn access(&self) -> Access<'_> {
        Access::new(&self.ward.memory, &self.ward.failures, now_us()).remembering(&self.ward.seen)
    }

    /// Name of the account that asks.
    pub(super) fn by(&self) -> &str {
        self.session.as_ref().map_or("nobody", |s| s.account.as_str())
    }

    /// A part of the path.
    pub(super) fn part(&self, name: &str) -> &str {
        self.path.get(name).map_or("", String::as_str)
    }

    pub(super) fn bed(&self) -> Result<&Arc<Bed>, Problem> {
        let label = self.part("bed");
        self.ward.bed(label).ok_or_else(|| Problem::not_found("bed", label))
    }

    pub(super) fn number(&self) -> Result<i64, Problem> {
        let text = self.part("number");
        text.parse().map_err(|_| Problem::bad("number", text, "the number of an entry"))
    }

    /// A time of the query.
    pub(super) fn time(&self, name: &'static str) -> Result<Option<Timestamp>, Problem> {
        let Some(text) = self.query.get(name) else { return Ok(None) };
        let time =
            text.parse().map_err(|_| Problem::bad(name, text, "a time in RFC 3339, such as `2031-05-01T06:00:00Z`"))?;
        Ok(Some(time))
    }

    /// The span that the query asks for, of `most_d` days at most, µs of UTC; without one, the last 24 h.
    pub(super) fn span_us(&self, most_d: i64) -> Result<(i64, i64), Problem> {
        let to_us = self.time("to")?.map_or_else(now_us, Timestamp::as_microsecond);
        let day_us = 24 * 3_600 * 1_000_000;
        let from_us = self.time("from")?.map_or(to_us.saturating_sub(day_us), Timestamp::as_microsecond);
        if from_us > to_us {
            return Err(Problem::bad("from", self.query.get("from").map_or("", |t| t), "a time before `to`"));
        }
        // What is read is answered as a whole: without an end one call could fill the memory of the service.
        if to_us.saturating_sub(from_us) > most_d * day_us {
            let expected = format!("a time at most {most_d} days before `to`; ask for more in several calls");
            return Err(Problem::bad("from", self.query.get("from").map_or("", |t| t), &expected));
        }
        Ok((from_us, to_us))
    }

    /// The body as JSON.
    pub(super) fn json<T: DeserializeOwned>(&self) -> Result<T, Problem> {
        serde_json::from_slice(&self.body).map_err(|e| Problem::body(&e))
    }

    /// The body as a form.
    pub(super) fn form(&self) -> HashMap<String, String> {
        url::form_urlencoded::parse(&self.body).into_owned().collect()
    }
}
