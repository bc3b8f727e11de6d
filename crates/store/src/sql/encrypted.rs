//! The way to a PostgreSQL: encrypted and checked against a named authority, or not leaving this machine.
//!
//! `sslrootcert=FILE` in the URL, as PostgreSQL's own library names it, holds the certificate of the authority in PEM. With
//! it the connection is encrypted, and the server must show a certificate of that authority for the name in the URL. Without
//! it only a server on this machine is reached, unless the URL says `sslmode=disable`, as behind a tunnel.

use std::net::IpAddr;
use std::time::Duration;

use postgres::config::{Host, SslMode};
use postgres::{Client, Config, NoTls};
use rustls::pki_types::CertificateDer;
use rustls::pki_types::pem::PemObject as _;
use rustls::{ClientConfig, RootCertStore};
use tokio_postgres_rustls::MakeRustlsConnect;

use crate::StoreError;

/// The key of a URL that names the authority's certificate.
const AUTHORITY: &str = "sslrootcert";
/// How long a connection may take to be made.
const CONNECT_MOST: Duration = Duration::from_secs(5);
/// How long what was sent may stay without a word that it arrived (tcp(7), TCP_USER_TIMEOUT).
const ANSWER_MOST: Duration = Duration::from_secs(10);

/// Connects as the URL says.
///
/// # Errors
/// The URL or the authority's file makes no sense, the server is elsewhere and nothing would be encrypted, or the server does
/// not answer or is not who it should be.
pub(super) fn connect(url: &str) -> Result<Client, StoreError> {
    let (url, authority) = without_authority(url);
    let mut config: Config = url.parse()?;
    // A server that is cut off answers nothing at all: what waits for it must learn that within seconds, unless the URL says
    // otherwise.
    if config.get_connect_timeout().is_none() {
        config.connect_timeout(CONNECT_MOST);
    }
    if config.get_tcp_user_timeout().is_none() {
        config.tcp_user_timeout(ANSWER_MOST);
    }
    if let Some(file) = authority {
        config.ssl_mode(SslMode::Require);
        return Ok(config.connect(MakeRustlsConnect::new(trusting(&file)?))?);
    }
    if config.get_ssl_mode() != SslMode::Disable
        && let Some(host) = config.get_hosts().iter().find_map(elsewhere)
    {
        return Err(StoreError::Unencrypted { host: host.to_owned() });
    }
    Ok(config.connect(NoTls)?)
}

/// The URL without the authority's file, and that file.
fn without_authority(url: &str) -> (String, Option<String>) {
    let Some((before, query)) = url.split_once('?') else { return (url.to_owned(), None) };
    let named = |pair: &&str| pair.split_once('=').is_some_and(|(key, _)| key == AUTHORITY);
    let rest: Vec<&str> = query.split('&').filter(|pair| !named(pair)).collect();
    let file = url::form_urlencoded::parse(query.as_bytes()).find(|(key, _)| key == AUTHORITY);
    let joint = if rest.is_empty() { "" } else { "?" };
    (format!("{before}{joint}{}", rest.join("&")), file.map(|(_, file)| file.into_owned()))
}

/// The name of a host that is not this machine.
fn elsewhere(host: &Host) -> Option<&str> {
    match host {
        Host::Tcp(name) if name != "localhost" && !name.parse().is_ok_and(|ip: IpAddr| ip.is_loopback()) => Some(name),
        _ => None,
    }
}

fn trusting(file: &str) -> Result<ClientConfig, StoreError> {
    let cannot = |what: String| StoreError::Authority { file: file.to_owned(), what };
    let mut roots = RootCertStore::empty();
    for certificate in CertificateDer::pem_file_iter(file).map_err(|e| cannot(e.to_string()))? {
        roots
            .add(certificate.map_err(|e| cannot(e.to_string()))?)
            .map_err(|e| cannot(format!("{e}; expected the certificate of an authority")))?;
    }
    if roots.is_empty() {
        return Err(cannot("no certificate stands in it; expected one in PEM".into()));
    }
    let provider = rustls::crypto::ring::default_provider();
    let versions = ClientConfig::builder_with_provider(provider.into()).with_safe_default_protocol_versions();
    Ok(versions.map_err(|e| cannot(e.to_string()))?.with_root_certificates(roots).with_no_client_auth())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_authority_is_taken_out_of_the_url_and_the_rest_stays() {
        let url = "postgres://a@db.example/w?sslrootcert=%2Fetc%2Fan%20authority.pem&application_name=bedplate";
        let (rest, file) = without_authority(url);
        assert_eq!(rest, "postgres://a@db.example/w?application_name=bedplate");
        assert_eq!(file.as_deref(), Some("/etc/an authority.pem"));
        assert_eq!(without_authority("postgres://a@b/w?sslrootcert=x"), ("postgres://a@b/w".into(), Some("x".into())));
        assert_eq!(without_authority("postgres://a@b/w"), ("postgres://a@b/w".into(), None));
    }

    #[test]
    fn a_server_elsewhere_is_not_reached_in_clear() {
        let refused = connect("postgres://a@db.example/w").err();
        assert_eq!(refused, Some(StoreError::Unencrypted { host: "db.example".into() }));
        for url in ["postgres://a@localhost/w", "postgres://a@127.0.0.1/w", "postgres://a@%2Frun%2Fpostgresql/w"] {
            let config: Config = url.parse().unwrap();
            assert_eq!(config.get_hosts().iter().find_map(elsewhere), None, "{url}");
        }
    }

    #[test]
    fn an_authority_that_is_none_is_named() {
        let gone = connect("postgres://a@db.example/w?sslrootcert=/nowhere/authority.pem").err().unwrap().to_string();
        assert!(gone.contains("/nowhere/authority.pem"), "{gone}");
        let folder = tempfile::tempdir().unwrap();
        let empty = folder.path().join("empty.pem");
        std::fs::write(&empty, "no certificate\n").unwrap();
        let found = connect(&format!("postgres://a@db.example/w?sslrootcert={}", empty.display())).err().unwrap();
        assert!(found.to_string().contains("no certificate stands in it"), "{found}");
    }

    /// Far below what the system itself waits for (two minutes to connect, a quarter of an hour for an answer), and far above
    /// what the limits say, for a busy machine.
    const WELL_BEFORE_THE_SYSTEM: Duration = Duration::from_secs(60);

    #[test]
    fn a_server_that_takes_no_connection_is_given_up_within_seconds() {
        let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
        let address = listener.local_addr().unwrap();
        // Nobody accepts: once its queue is full, what knocks hears nothing, as from a machine that is cut off.
        let mut queue = Vec::new();
        while let Ok(stream) = std::net::TcpStream::connect_timeout(&address, Duration::from_millis(300)) {
            queue.push(stream);
        }
        let from = std::time::Instant::now();
        let refused = connect(&format!("postgres://a@{address}/w")).err().unwrap();
        assert!(refused.is_passing(), "{refused}");
        assert!((CONNECT_MOST..WELL_BEFORE_THE_SYSTEM).contains(&from.elapsed()), "{:?}", from.elapsed());
    }

    #[test]
    fn a_server_that_takes_nothing_any_more_is_given_up_within_seconds() {
        use std::io::{Read as _, Write as _};
        let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
        let address = listener.local_addr().unwrap();
        let (done, is_done) = std::sync::mpsc::channel::<()>();
        let server = std::thread::spawn(move || {
            let (mut stream, _) = listener.accept().unwrap();
            // What a client opens with (PostgreSQL 15, 55.7, StartupMessage): its length, and the rest.
            let mut length = [0; 4];
            stream.read_exact(&mut length).unwrap();
            stream.read_exact(&mut vec![0; u32::from_be_bytes(length) as usize - 4]).unwrap();
            // AuthenticationOk, ReadyForQuery. Then it reads no more.
            stream.write_all(b"R\0\0\0\x08\0\0\0\0Z\0\0\0\x05I").unwrap();
            let _ = is_done.recv();
        });
        let mut client = connect(&format!("postgres://a@{address}/w?sslmode=disable")).unwrap();
        let from = std::time::Instant::now();
        let failed = client.batch_execute(&" ".repeat(64 << 20)).unwrap_err();
        assert!((ANSWER_MOST / 2..WELL_BEFORE_THE_SYSTEM).contains(&from.elapsed()), "{:?}", from.elapsed());
        assert!(StoreError::from(failed).is_passing());
        drop(done);
        server.join().unwrap();
    }
}
