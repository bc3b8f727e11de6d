//! Listens: on loopback as it is, elsewhere with TLS only.

use std::net::{SocketAddr, TcpListener};
use std::sync::Arc;
use std::time::Duration;

use axum_server::Handle;
use axum_server::tls_rustls::RustlsConfig;
use ward::service::Ward;

use super::router::router;
use crate::ServeError;

/// Requests that are under way may take so long once the server is told to end.
const GRACE: Duration = Duration::from_secs(5);

/// A certificate chain and its key, PEM.
pub struct Tls {
    /// Certificate chain.
    pub certificate: Vec<u8>,
    /// Private key.
    pub key: Vec<u8>,
}

/// Ends a server.
#[derive(Clone, Default)]
pub struct Off(Handle<SocketAddr>);

impl Off {
    /// No new request is taken; those under way may end.
    pub fn now(&self) {
        self.0.graceful_shutdown(Some(GRACE));
    }
}

/// Refuses an address off loopback where nothing is encrypted.
///
/// # Errors
/// That one.
pub fn may_serve(found: SocketAddr, is_encrypted: bool) -> Result<(), ServeError> {
    if is_encrypted || found.ip().is_loopback() { Ok(()) } else { Err(ServeError::NotLoopback { found }) }
}

/// Serves a ward until it is switched off.
///
/// # Errors
/// An address off loopback without TLS, a certificate that cannot be used, a system that refuses.
pub async fn serve(ward: Arc<Ward>, listener: TcpListener, tls: Option<Tls>, off: Off) -> Result<(), ServeError> {
    may_serve(listener.local_addr()?, tls.is_some())?;
    let service = router(ward, tls.is_some()).into_make_service_with_connect_info::<SocketAddr>();
    listener.set_nonblocking(true)?;
    match tls {
        Some(tls) => {
            // Set once for the process; a second ward in it finds it set.
            drop(rustls::crypto::ring::default_provider().install_default());
            let config = RustlsConfig::from_pem(tls.certificate, tls.key).await?;
            axum_server::from_tcp_rustls(listener, config)?.handle(off.0).serve(service).await?;
        }
        None => axum_server::from_tcp(listener)?.handle(off.0).serve(service).await?,
    }
    Ok(())
}
