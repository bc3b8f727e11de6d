//! What an endpoint gives, and problems in the form of RFC 9457.

use std::sync::Arc;

use axum::http::StatusCode;
use maud::Markup;
use serde::Serialize;
use serde_json::{Value, json};
use ward::access::AccessError;
use ward::records::RecordError;
use ward::service::Bed;

/// What an endpoint gives.
pub(super) enum Answer {
    Json(Value),
    Made(Value),
    Text {
        kind: &'static str,
        name: Option<String>,
        bytes: Vec<u8>,
    },
    Page(Markup),
    /// A form once more, since what was typed was refused.
    Again {
        status: StatusCode,
        page: Markup,
    },
    /// To another page; with a cookie to be set.
    Go {
        to: String,
        cookie: Option<String>,
    },
    /// What is live at a bed, or at all beds.
    Live(Vec<Arc<Bed>>),
}

impl Answer {
    pub(super) fn json(value: &impl Serialize) -> Result<Self, Problem> {
        serde_json::to_value(value).map(Self::Json).map_err(|e| Problem::inside(&e.to_string()))
    }

    pub(super) fn go(to: impl Into<String>) -> Self {
        Self::Go { to: to.into(), cookie: None }
    }
}

/// Why a request was not answered.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Problem {
    pub(super) status: StatusCode,
    pub(super) title: &'static str,
    pub(super) detail: String,
}

impl Problem {
    pub(super) fn new(status: StatusCode, title: &'static str, detail: impl Into<String>) -> Self {
        Self { status, title, detail: detail.into() }
    }

    pub(super) fn bad(what: &str, found: &str, expected: &str) -> Self {
        let detail = format!("{what}: found {found:?}, expected {expected}");
        Self::new(StatusCode::UNPROCESSABLE_ENTITY, "A value does not fit", detail)
    }

    pub(super) fn body(error: &serde_json::Error) -> Self {
        Self::new(StatusCode::BAD_REQUEST, "The body is not what is expected here", error.to_string())
    }

    pub(super) fn not_found(what: &str, name: &str) -> Self {
        Self::new(StatusCode::NOT_FOUND, "Not here", format!("there is no {what} {name:?}"))
    }

    pub(super) fn inside(detail: &str) -> Self {
        tracing::error!(detail, "a request failed");
        let said = "this is a fault of the service; its log says more";
        Self::new(StatusCode::INTERNAL_SERVER_ERROR, "The service failed", said)
    }

    /// Nobody waits any longer; what was asked for goes on.
    pub(super) fn late(detail: &str) -> Self {
        tracing::error!(detail, "the memory takes too long");
        let said =
            "the ward's memory does not answer; what was entered may still be kept: look before you enter it again";
        Self::new(StatusCode::SERVICE_UNAVAILABLE, "No answer yet", said)
    }

    pub(super) fn json(&self) -> Value {
        json!({ "title": self.title, "status": self.status.as_u16(), "detail": self.detail })
    }
}

impl From<RecordError> for Problem {
    fn from(error: RecordError) -> Self {
        let detail = error.to_string();
        match error {
            RecordError::Value { .. } | RecordError::File(_) => {
                Self::new(StatusCode::UNPROCESSABLE_ENTITY, "A value does not fit", detail)
            }
            RecordError::Missing { .. } => Self::new(StatusCode::NOT_FOUND, "Not here", detail),
            RecordError::Against(_) => Self::new(StatusCode::CONFLICT, "It stands against the record", detail),
            RecordError::Store(error) => error.into(),
        }
    }
}

impl From<store::StoreError> for Problem {
    fn from(error: store::StoreError) -> Self {
        let detail = error.to_string();
        match error {
            store::StoreError::Correction { why, .. } if why.contains("no such") => {
                Self::new(StatusCode::NOT_FOUND, "Not here", detail)
            }
            store::StoreError::Correction { .. } => {
                Self::new(StatusCode::CONFLICT, "It stands against the record", detail)
            }
            store::StoreError::Database { .. } | store::StoreError::Closed | store::StoreError::Crowded { .. } => {
                // Where a database is, and what it says, is for the log alone.
                tracing::error!(detail, "the memory refused");
                let said = "the ward's memory is away; nothing was entered";
                Self::new(StatusCode::SERVICE_UNAVAILABLE, "Not kept", said)
            }
            store::StoreError::Late { .. } => Self::late(&detail),
            _ => Self::inside(&detail),
        }
    }
}

impl From<AccessError> for Problem {
    fn from(error: AccessError) -> Self {
        let detail = error.to_string();
        match error {
            AccessError::NotKnown | AccessError::NoSession => {
                Self::new(StatusCode::UNAUTHORIZED, "Not signed in", detail)
            }
            AccessError::Shut { .. } => Self::new(StatusCode::TOO_MANY_REQUESTS, "Shut for a while", detail),
            AccessError::Password { .. } | AccessError::Name { .. } => {
                Self::new(StatusCode::UNPROCESSABLE_ENTITY, "A value does not fit", detail)
            }
            AccessError::NoAccount { .. } => Self::new(StatusCode::NOT_FOUND, "Not here", detail),
            AccessError::LastAdministrator { .. } => {
                Self::new(StatusCode::CONFLICT, "It stands against the record", detail)
            }
            AccessError::Store(error) => error.into(),
            AccessError::NoRandom | AccessError::Form { .. } => Self::inside(&detail),
        }
    }
}
