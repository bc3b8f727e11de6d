//! What an endpoint is.

use serde_json::Value;
use ward::access::Right;

use super::answer::{Answer, Problem};
use super::call::Call;
use super::{api, openapi, pages};

/// How it is asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub(super) enum Method {
    Get,
    Post,
}

impl Method {
    pub(super) fn word(self) -> &'static str {
        match self {
            Self::Get => "GET",
            Self::Post => "POST",
        }
    }
}

/// A value in the query.
pub(super) struct Parameter {
    pub(super) name: &'static str,
    pub(super) about: &'static str,
    pub(super) schema: fn() -> Value,
}

/// What it gives where it succeeds.
pub(super) enum Gives {
    /// JSON of a schema.
    Json(fn() -> Value),
    /// Text or bytes of a media type.
    Text(&'static str),
    /// A page, or the way to one.
    Page,
}

/// One endpoint.
pub(super) struct Endpoint {
    pub(super) method: Method,
    pub(super) path: &'static str,
    /// `None`: open to everybody who can reach the server.
    pub(super) right: Option<Right>,
    pub(super) about: &'static str,
    pub(super) query: &'static [Parameter],
    /// Schema of the JSON that it takes.
    pub(super) takes: Option<fn() -> Value>,
    pub(super) gives: Gives,
    pub(super) run: fn(&Call) -> Result<Answer, Problem>,
}

/// All of them.
pub(super) fn all() -> impl Iterator<Item = &'static Endpoint> {
    [
        api::session::ENDPOINTS,
        api::beds::ENDPOINTS,
        api::patients::ENDPOINTS,
        api::accounts::ENDPOINTS,
        api::export::ENDPOINTS,
        api::health::ENDPOINTS,
        openapi::ENDPOINTS,
        pages::ENDPOINTS,
    ]
    .into_iter()
    .flatten()
}
