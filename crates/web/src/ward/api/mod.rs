//! The endpoints for programs.

pub(super) mod accounts;
pub(super) mod beds;
pub(super) mod export;
pub(super) mod fhir;
pub(super) mod health;
pub(super) mod patients;
pub(super) mod schema;
pub(super) mod session;
