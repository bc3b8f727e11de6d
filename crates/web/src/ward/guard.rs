//! Sessions, rights, origin and limits: what a request must pass before an endpoint sees it.

use std::net::IpAddr;
use std::sync::PoisonError;

use axum::http::uri::Authority;
use axum::http::{HeaderMap, StatusCode, Uri, header};
use ward::access::{Access, Right, Session};
use ward::clock::now_us;
use ward::service::Ward;

use super::answer::Problem;
use crate::words::cookie;

/// Name of the session's cookie.
pub(super) const COOKIE: &str = "bedplate_session";
/// Header, and field of a form, with the session's guard against forged requests.
pub(super) const GUARD: &str = "x-guard";
const GUARD_FIELD: &str = "guard";

/// How a request says whose it is.
pub(super) enum Proof {
    /// A header that no other site can make a browser send.
    Bearer(String),
    /// A cookie, which a browser sends by itself: what it changes needs the guard too.
    Cookie(String),
}

impl Proof {
    pub(super) fn token(&self) -> &str {
        match self {
            Self::Bearer(token) | Self::Cookie(token) => token,
        }
    }
}

/// The proof that a request carries.
pub(super) fn proof(headers: &HeaderMap) -> Option<Proof> {
    let bearer = headers.get(header::AUTHORIZATION).and_then(|v| v.to_str().ok());
    if let Some(token) = bearer.and_then(|v| v.strip_prefix("Bearer ")) {
        return Some(Proof::Bearer(token.to_owned()));
    }
    cookie(headers, COOKIE).map(Proof::Cookie)
}

/// Whether a caller may ask just now.
pub(super) fn limit(ward: &Ward, caller: IpAddr, is_sign_in: bool) -> Result<(), Problem> {
    let rate = if is_sign_in { &ward.sign_ins } else { &ward.rate };
    if rate.lock().unwrap_or_else(PoisonError::into_inner).may(caller, now_us()) {
        return Ok(());
    }
    Err(Problem::new(StatusCode::TOO_MANY_REQUESTS, "Too many requests", "ask again in a few seconds"))
}

/// The session of a proof.
pub(super) fn session(ward: &Ward, proof: &Proof) -> Result<Session, Problem> {
    Ok(Access::new(&ward.memory, &ward.failures, now_us()).remembering(&ward.seen).session(proof.token())?)
}

/// Whether a session may do what an endpoint does.
pub(super) fn may(session: Option<&Session>, right: Option<Right>, is_own_password: bool) -> Result<(), Problem> {
    let Some(right) = right else { return Ok(()) };
    let Some(session) = session else {
        return Err(Problem::new(StatusCode::UNAUTHORIZED, "Not signed in", "sign in first"));
    };
    if session.must_change && !is_own_password {
        let detail = "this password was given by somebody else: choose one of your own first";
        return Err(Problem::new(StatusCode::FORBIDDEN, "Choose a password", detail));
    }
    if session.role.may(right) {
        return Ok(());
    }
    let detail = format!("the role {} may not do this", session.role.word());
    Err(Problem::new(StatusCode::FORBIDDEN, "Not for this role", detail))
}

/// Whether a change that came with a cookie was meant: from a page of this server, with the guard of the session.
pub(super) fn meant(
    uri: &Uri,
    headers: &HeaderMap,
    body: &[u8],
    proof: Option<&Proof>,
    session: Option<&Session>,
) -> Result<(), Problem> {
    let forged = |detail| Err(Problem::new(StatusCode::FORBIDDEN, "Not from a page of this ward", detail));
    let text = |name| headers.get(name).and_then(|v| v.to_str().ok());
    if let Some(origin) = text("origin") {
        // HTTP/2, as browsers speak over TLS, has no `host`: it says it in the address (RFC 9113, 8.3.1, :authority).
        let host = uri.authority().map(Authority::as_str).or_else(|| text("host")).unwrap_or_default();
        if origin.split_once("://").map(|(_, rest)| rest) != Some(host) {
            return forged("the request comes from another site");
        }
    }
    if text("sec-fetch-site").is_some_and(|site| !matches!(site, "same-origin" | "none")) {
        return forged("the request comes from another site");
    }
    let (Some(Proof::Cookie(_)), Some(session)) = (proof, session) else { return Ok(()) };
    let in_form =
        || url::form_urlencoded::parse(body).find(|(key, _)| key == GUARD_FIELD).map(|(_, value)| value.into_owned());
    let given = text(GUARD).map(str::to_owned).or_else(in_form).unwrap_or_default();
    // The guard is no secret to guess at: it has 256 bits, and a wrong one shuts nothing open.
    if given == session.guard { Ok(()) } else { forged("the form is of another session; load the page again") }
}
