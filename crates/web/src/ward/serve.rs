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

/// Serves a ward until it is switched off.
///
/// # Errors
/// An address off loopback without TLS, a certificate that cannot be used, a system that refuses.
pub async fn serve(ward: Arc<Ward>, listener: TcpListener, tls: Option<Tls>, off: Off) -> Result<(), ServeError> {
    let found = listener.local_addr()?;
    let service = router(ward, tls.is_some()).into_make_service_with_connect_info::<SocketAddr>();
    listener.set_nonblocking(true)?;
    match tls {
        Some(tls) => {
            // Set once for the process; a second ward in it finds it set.
            drop(rustls::crypto::ring::default_provider().install_default());
            let config = RustlsConfig::from_pem(tls.certificate, tls.key).await?;
            axum_server::from_tcp_rustls(listener, config)?.handle(off.0).serve(service).await?;
        }
        None if found.ip().is_loopback() => {
            axum_server::from_tcp(listener)?.handle(off.0).serve(service).await?;
        }
        None => return Err(ServeError::NotLoopback { found }),
    }
    Ok(())
}
