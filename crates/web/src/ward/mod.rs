//! The ward over HTTP: pages for people, an API for programs, both from one table of endpoints.
//!
//! | module      | what it does |
//! |-------------|--------------|
//! | `endpoint`  | what an endpoint is: path, right, what it takes and gives |
//! | `call`      | a request as an endpoint sees it |
//! | `answer`    | what an endpoint gives, and problems (RFC 9457) |
//! | `guard`     | sessions, rights, origin, limits, headers |
//! | `api`       | the endpoints for programs |
//! | `openapi`   | their description, from the same table |
//! | `pages`     | the endpoints for people |
//! | `events`    | what happened on a deck, in the reader's language |
//! | `told`      | what the balance says, in the reader's language and clock |
//! | `serve`     | listens, with TLS off loopback |
//!
//! An endpoint says which right it needs; nothing reaches it without. Endpoints run off the async threads, for they wait
//! for the memory.

mod answer;
mod api;
mod call;
mod endpoint;
mod events;
mod guard;
mod openapi;
mod pages;
mod refused;
mod router;
mod serve;
mod told;

pub use router::router;
pub use serve::{Off, Tls, may_serve, serve};

/// Every endpoint as `METHOD path right`, `-` where none is needed: for those who check that nothing opens that should not.
#[must_use]
pub fn endpoints() -> Vec<(&'static str, &'static str, Option<ward::access::Right>)> {
    endpoint::all().map(|e| (e.method.word(), e.path, e.right)).collect()
}
