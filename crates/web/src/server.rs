//! Answers requests for a finished site, on loopback.

use std::collections::HashMap;
use std::net::SocketAddr;
use std::sync::Arc;

use axum::Router;
use axum::body::{Body, Bytes};
use axum::extract::{Path, State};
use axum::http::{HeaderMap, HeaderValue, Response, StatusCode, header};
use axum::routing::{get, post};
use tokio::net::TcpListener;

use crate::words::{self, LANGUAGE, Reader};
use crate::{Site, assets, guide, layout, manual, proof, rehearsal, workbench};

/// Why the pages could not be served.
#[derive(Debug, thiserror::Error)]
pub enum ServeError {
    /// Pages without accounts and encryption are for this machine alone.
    #[error(
        "{found} is not a loopback address; without TLS pages are served on 127.0.0.1 or [::1] only: a ward needs a table [tls] to be reached from elsewhere"
    )]
    NotLoopback {
        /// The address asked for.
        found: SocketAddr,
    },
    /// The system refused.
    #[error("could not serve: {0}")]
    Io(#[from] std::io::Error),
}

/// Nothing but this server is asked for anything. Inline style is the plot library's need.
const CONTENT_POLICY: &str = "default-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; \
                              frame-ancestors 'none'; base-uri 'none'; form-action 'self'";
/// For how long a language is remembered, s: a year.
const REMEMBERED_S: u32 = 365 * 24 * 3600;

/// Serves `site` on `listener` until `stop` is done.
///
/// # Errors
/// [`ServeError::NotLoopback`] where the listener is bound to another address, [`ServeError::Io`] from the system.
pub async fn serve(
    site: Site,
    listener: TcpListener,
    stop: impl Future<Output = ()> + Send + 'static,
) -> Result<(), ServeError> {
    let found = listener.local_addr()?;
    if !found.ip().is_loopback() {
        return Err(ServeError::NotLoopback { found });
    }
    axum::serve(listener, router(Arc::new(site))).with_graceful_shutdown(stop).await?;
    Ok(())
}

fn router(site: Arc<Site>) -> Router {
    let guide = site.guide.as_ref().map_or_else(Router::new, guide::router);
    let twin = site.rehearsal.as_ref().map_or_else(Router::new, rehearsal::router);
    let proof = site.proof.as_ref().map_or_else(Router::new, proof::router);
    let bench = guide.merge(proof).merge(twin).merge(workbench::router());
    Router::new()
        .route("/static/style.css", get(|| async { asset("text/css; charset=utf-8", assets::STYLE) }))
        .route("/static/plots.js", get(|| async { asset("text/javascript; charset=utf-8", assets::PLOTS_SCRIPT) }))
        .route("/static/plot-library.js", get(|| async { asset("text/javascript; charset=utf-8", assets::plot_library()) }))
        .route("/static/workbench.js", get(|| async { asset("text/javascript; charset=utf-8", assets::WORKBENCH_SCRIPT) }))
        .route("/static/shared.js", get(|| async { asset("text/javascript; charset=utf-8", assets::SHARED_SCRIPT) }))
        .route("/static/words.js", get(|| async { asset("text/javascript; charset=utf-8", words::module()) }))
        .route("/static/guided.js", get(|| async { asset("text/javascript; charset=utf-8", assets::GUIDED_SCRIPT) }))
        .route("/static/guide.js", get(|| async { asset("text/javascript; charset=utf-8", assets::GUIDE_SCRIPT) }))
        .route("/static/tests.js", get(|| async { asset("text/javascript; charset=utf-8", assets::TESTS_SCRIPT) }))
        .route("/static/solid.js", get(|| async { asset("text/javascript; charset=utf-8", assets::SOLID_SCRIPT) }))
        .route("/static/rehearsal.js", get(|| async { asset("text/javascript; charset=utf-8", assets::REHEARSAL_SCRIPT) }))
        .route("/static/tour.js", get(|| async { asset("text/javascript; charset=utf-8", assets::TOUR_SCRIPT) }))
        // A document of its own names no icon, and a browser asks for this one.
        .route("/favicon.ico", get(|| async { asset("image/svg+xml", assets::ICON) }))
        .route("/static/icon.svg", get(|| async { asset("image/svg+xml", assets::ICON) }))
        .route(manual::AT, get(|headers: HeaderMap| async move { manual_page(&headers, manual::FIRST) }))
        .route("/manual/{*path}", get(|headers: HeaderMap, Path(path): Path<String>| async move { manual_page(&headers, &path) }))
        .route("/reader", post(|body: Bytes| async move { chosen(&body) }))
        .route("/", get(|State(site): State<Arc<Site>>, headers: HeaderMap| async move { page(&site, "/", Reader::of(&headers)) }))
        .route("/{*path}", get(|State(site): State<Arc<Site>>, headers: HeaderMap, Path(path): Path<String>| async move { page(&site, &format!("/{path}"), Reader::of(&headers)) }))
        .with_state(site)
        .merge(bench)
}

fn page(site: &Site, path: &str, reader: Reader) -> Response<Body> {
    match site.page(path, reader.language) {
        Some(html) => answer(StatusCode::OK, "text/html; charset=utf-8", "no-store", html.to_owned()),
        None => {
            let html = layout::not_found(reader, path, site.paths()).into_string();
            answer(StatusCode::NOT_FOUND, "text/html; charset=utf-8", "no-store", html)
        }
    }
}

/// The reader's language, remembered by the browser; back to the page where it was chosen.
fn chosen(body: &[u8]) -> Response<Body> {
    let form: HashMap<_, _> = url::form_urlencoded::parse(body).collect();
    let mut response = answer(StatusCode::SEE_OTHER, "text/plain", "no-store", "");
    let headers = response.headers_mut();
    if let Some(language @ ("en" | "de")) = form.get("language").map(AsRef::as_ref)
        && let Ok(cookie) = format!("{LANGUAGE}={language}; Path=/; SameSite=Strict; Max-Age={REMEMBERED_S}").parse()
    {
        headers.insert(header::SET_COOKIE, cookie);
    }
    let back = layout::back(form.get("back").map(AsRef::as_ref));
    headers.insert(header::LOCATION, back.parse().unwrap_or(HeaderValue::from_static("/")));
    response
}

fn manual_page(headers: &HeaderMap, path: &str) -> Response<Body> {
    let (status, html) = manual::page(Reader::of(headers), path);
    answer(status, "text/html; charset=utf-8", "no-store", html)
}

fn asset(kind: &'static str, text: &'static str) -> Response<Body> {
    answer(StatusCode::OK, kind, "max-age=3600", text)
}

fn answer(status: StatusCode, kind: &'static str, cache: &'static str, body: impl Into<Body>) -> Response<Body> {
    let mut response = Response::new(body.into());
    *response.status_mut() = status;
    let headers = response.headers_mut();
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static(kind));
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static(cache));
    headers.insert(header::CONTENT_SECURITY_POLICY, HeaderValue::from_static(CONTENT_POLICY));
    headers.insert(header::X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff"));
    headers.insert(header::REFERRER_POLICY, HeaderValue::from_static("no-referrer"));
    response
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::http::Request;
    use tower::ServiceExt;

    async fn ask(path: &str) -> Response<Body> {
        let mut site = Site::default();
        site.add("/", |reader| maud::html! { p { (reader.tag()) } });
        router(Arc::new(site)).oneshot(Request::get(path).body(Body::empty()).unwrap()).await.unwrap()
    }

    #[tokio::test]
    async fn a_page_carries_the_strict_policy() {
        let response = ask("/").await;
        assert_eq!(response.status(), StatusCode::OK);
        let policy = response.headers()[header::CONTENT_SECURITY_POLICY].to_str().unwrap();
        assert!(policy.starts_with("default-src 'self';") && !policy.contains("script-src"), "{policy}");
    }

    #[tokio::test]
    async fn an_unknown_path_is_404_and_escaped() {
        let response = ask("/%3Cscript%3E").await;
        assert_eq!(response.status(), StatusCode::NOT_FOUND);
        let body = axum::body::to_bytes(response.into_body(), 1 << 20).await.unwrap();
        assert!(!String::from_utf8_lossy(&body).contains("<script>"));
    }

    #[tokio::test]
    async fn a_language_is_remembered_and_leads_back_to_this_server_alone() {
        for (body, cookie, to) in [
            ("language=de&back=%2Ftests%3Ftour", Some("bedplate_language=de"), "/tests?tour"),
            ("language=xx&back=%2F%2Felsewhere.example%2F", None, "/"),
            ("language=en&back=%2Fa%0d%0ab", Some("bedplate_language=en"), "/"),
            ("", None, "/"),
        ] {
            let request = Request::post("/reader").body(Body::from(body)).unwrap();
            let response = router(Arc::new(Site::default())).oneshot(request).await.unwrap();
            assert_eq!(response.status(), StatusCode::SEE_OTHER);
            let head = |name| response.headers().get(name).map(|v| v.to_str().unwrap().to_owned());
            assert_eq!(head(header::LOCATION).as_deref(), Some(to), "{body}");
            assert_eq!(head(header::SET_COOKIE).as_deref().and_then(|c| c.split(';').next()), cookie, "{body}");
        }
    }

    #[tokio::test]
    async fn a_page_comes_in_the_language_of_its_cookie() {
        for (cookie, tag) in [("bedplate_language=de", "de"), ("other=1; bedplate_language=en", "en"), ("", "en")] {
            let mut site = Site::default();
            site.add("/", |reader| maud::html! { p { (reader.tag()) } });
            let request = Request::get("/").header(header::COOKIE, cookie).body(Body::empty()).unwrap();
            let response = router(Arc::new(site)).oneshot(request).await.unwrap();
            let body = axum::body::to_bytes(response.into_body(), 1 << 20).await.unwrap();
            assert_eq!(body, format!("<p>{tag}</p>"));
        }
    }

    #[tokio::test]
    async fn pages_are_refused_off_loopback() {
        let listener = TcpListener::bind("0.0.0.0:0").await.unwrap();
        let refused = serve(Site::default(), listener, std::future::ready(())).await.unwrap_err();
        assert!(matches!(refused, ServeError::NotLoopback { .. }), "{refused}");
    }
}
