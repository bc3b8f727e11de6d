//! From the table of endpoints to a router.

use std::collections::{BTreeMap, HashMap};
use std::convert::Infallible;
use std::net::SocketAddr;
use std::sync::Arc;

use axum::Router;
use axum::body::{Body, Bytes};
use axum::extract::{ConnectInfo, DefaultBodyLimit, Extension, Path, RawPathParams, Request, State};
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method as HttpMethod, Response, StatusCode, Uri, header};
use axum::middleware::{self, Next};
use axum::response::IntoResponse as _;
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::routing::{MethodFilter, MethodRouter, get, on};
use futures_util::stream::{Stream, StreamExt as _, select_all};
use jiff::tz::TimeZone;
use tokio_stream::wrappers::WatchStream;
use ward::bed::Live;
use ward::service::{Bed, Ward};

use super::answer::{Answer, Problem};
use super::call::Call;
use super::endpoint::{self, Endpoint, Gives, Method};
use super::{guard, pages};
use crate::words::Reader;
use crate::{assets, manual};

/// Bytes of a request's body.
const BODY_MOST: usize = 256 * 1024;
/// Nothing but this server is asked for anything. Inline style is the plot library's need.
const CONTENT_POLICY: &str = "default-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; \
                              frame-ancestors 'none'; base-uri 'none'; form-action 'self'";
/// Whether a stream may go on is looked at so often.
const LOOK_AGAIN: std::time::Duration = std::time::Duration::from_secs(60);
/// A request is answered for after so long at the latest, whatever it waits for: the ward's memory may hang.
const ANSWER_MOST: std::time::Duration = std::time::Duration::from_secs(15);
/// One event a second at most: the eye needs no more, and a page on a phone less.
const LIVE_EVERY: std::time::Duration = std::time::Duration::from_secs(1);

struct Shared {
    ward: Arc<Ward>,
    is_secure: bool,
}

/// A router over a ward; `is_secure` says that it is served over TLS.
pub fn router(ward: Arc<Ward>, is_secure: bool) -> Router {
    let shared = Arc::new(Shared { ward, is_secure });
    let mut paths: BTreeMap<&'static str, MethodRouter<Arc<Shared>>> = BTreeMap::new();
    for endpoint in endpoint::all() {
        let filter = match endpoint.method {
            Method::Get => MethodFilter::GET,
            Method::Post => MethodFilter::POST,
        };
        let route = paths.remove(endpoint.path).unwrap_or_default();
        let run = move |state, peer, path, uri, headers, body| answer(endpoint, state, peer, path, uri, headers, body);
        paths.insert(endpoint.path, route.merge(on(filter, run)));
    }
    let mut router = Router::new();
    for (path, route) in paths {
        router = router.route(path, route);
    }
    router
        .route("/static/style.css", get(|| async { asset("text/css; charset=utf-8", assets::STYLE) }))
        .route("/static/ward.css", get(|| async { asset("text/css; charset=utf-8", assets::WARD_STYLE) }))
        .route("/static/ward.js", get(|| async { asset("text/javascript; charset=utf-8", assets::WARD_SCRIPT) }))
        .route("/static/plots.js", get(|| async { asset("text/javascript; charset=utf-8", assets::PLOTS_SCRIPT) }))
        .route(
            "/static/plot-library.js",
            get(|| async { asset("text/javascript; charset=utf-8", assets::plot_library()) }),
        )
        .route("/static/icon.svg", get(|| async { asset("image/svg+xml", assets::ICON) }))
        .route(manual::AT, get(|headers: HeaderMap| async move { manual_page(&headers, manual::FIRST) }))
        .route(
            "/manual/{*path}",
            get(|headers: HeaderMap, Path(path): Path<String>| async move { manual_page(&headers, &path) }),
        )
        .fallback(not_here)
        .method_not_allowed_fallback(not_so)
        .layer(DefaultBodyLimit::max(BODY_MOST))
        .layer(middleware::from_fn(with_headers))
        .layer(Extension(is_secure))
        .with_state(shared)
}

async fn with_headers(Extension(is_secure): Extension<bool>, request: Request, next: Next) -> Response<Body> {
    let mut response = next.run(request).await;
    let headers = response.headers_mut();
    let mut set = |name: HeaderName, value| {
        headers.entry(name).or_insert(HeaderValue::from_static(value));
    };
    set(header::CONTENT_SECURITY_POLICY, CONTENT_POLICY);
    set(header::X_CONTENT_TYPE_OPTIONS, "nosniff");
    // Not `no-referrer`: a browser would then hide the origin of our own forms from us too.
    set(header::REFERRER_POLICY, "same-origin");
    set(header::CACHE_CONTROL, "no-store");
    set(HeaderName::from_static("cross-origin-opener-policy"), "same-origin");
    set(HeaderName::from_static("cross-origin-resource-policy"), "same-origin");
    set(HeaderName::from_static("permissions-policy"), "camera=(), microphone=(), geolocation=()");
    if is_secure {
        set(header::STRICT_TRANSPORT_SECURITY, "max-age=31536000");
    }
    response
}

async fn answer(
    endpoint: &'static Endpoint,
    State(shared): State<Arc<Shared>>,
    ConnectInfo(peer): ConnectInfo<SocketAddr>,
    path: RawPathParams,
    uri: Uri,
    headers: HeaderMap,
    body: Bytes,
) -> Response<Body> {
    let path = path.iter().map(|(key, value)| (key.to_owned(), value.to_owned())).collect();
    let is_page = matches!(endpoint.gives, Gives::Page);
    let reader = Reader::of(&headers);
    let asked = Asked { path, uri: uri.clone(), headers, body, peer, reader };
    let here = Arc::clone(&shared);
    let proof = guard::proof(&asked.headers);
    let done = tokio::task::spawn_blocking(move || run(endpoint, &here, asked));
    let outcome = match tokio::time::timeout(ANSWER_MOST, done).await {
        Ok(done) => done.unwrap_or_else(|error| Err(Problem::inside(&error.to_string()))),
        Err(_) => Err(Problem::late(endpoint.path)),
    };
    // The path that was asked for, not its pattern: the way back leads to this bed, this patient.
    match outcome {
        Ok(Answer::Live(beds)) => {
            let stream = live(beds).take_until(ended(Arc::clone(&shared.ward), proof));
            Sse::new(stream).keep_alive(KeepAlive::default()).into_response()
        }
        Ok(answer) => response(answer),
        Err(problem) if is_page => pages::problem(&problem, reader, uri.path(), &shared.ward.zone),
        Err(problem) => problem_response(&problem),
    }
}

struct Asked {
    path: HashMap<String, String>,
    uri: Uri,
    headers: HeaderMap,
    body: Bytes,
    peer: SocketAddr,
    reader: Reader,
}

fn run(endpoint: &Endpoint, shared: &Shared, asked: Asked) -> Result<Answer, Problem> {
    let ward = &shared.ward;
    let caller = asked.peer.ip();
    let is_sign_in = endpoint.method == Method::Post && matches!(endpoint.path, "/sign-in" | "/api/session");
    guard::limit(ward, caller, is_sign_in)?;
    let proof = guard::proof(&asked.headers);
    let session = match &proof {
        Some(proof) if endpoint.right.is_some() => Some(guard::session(ward, proof)?),
        _ => None,
    };
    guard::may(session.as_ref(), endpoint.right, pages::is_own_password(endpoint.path))?;
    if endpoint.method == Method::Post {
        guard::meant(&asked.uri, &asked.headers, &asked.body, proof.as_ref(), session.as_ref())?;
        if endpoint.takes.is_some() && !is_json(&asked.headers) {
            let detail = "send JSON, with content-type: application/json";
            return Err(Problem::new(StatusCode::UNSUPPORTED_MEDIA_TYPE, "Not JSON", detail));
        }
    }
    let query = url::form_urlencoded::parse(asked.uri.query().unwrap_or_default().as_bytes()).into_owned().collect();
    let shown_at =
        (endpoint.method == Method::Get).then(|| asked.uri.path_and_query().map(ToString::to_string)).flatten();
    let call = Call {
        shown_at,
        ward: Arc::clone(ward),
        path: asked.path,
        query,
        body: asked.body,
        session,
        token: proof.map(|p| p.token().to_owned()),
        caller,
        is_secure: shared.is_secure,
        reader: asked.reader,
    };
    (endpoint.run)(&call)
}

fn is_json(headers: &HeaderMap) -> bool {
    let kind = headers.get(header::CONTENT_TYPE).and_then(|v| v.to_str().ok()).unwrap_or_default();
    kind.split(';').next().is_some_and(|kind| kind.trim().eq_ignore_ascii_case("application/json"))
}

fn response(answer: Answer) -> Response<Body> {
    match answer {
        Answer::Json(value) => body(StatusCode::OK, "application/json", value.to_string()),
        Answer::Made(value) => body(StatusCode::CREATED, "application/json", value.to_string()),
        Answer::Page(page) => body(StatusCode::OK, "text/html; charset=utf-8", page.into_string()),
        Answer::Again { status, page } => body(status, "text/html; charset=utf-8", page.into_string()),
        Answer::Text { kind, name, bytes } => {
            let mut response = body(StatusCode::OK, kind, bytes);
            if let Some(value) = name.and_then(|n| HeaderValue::from_str(&format!("attachment; filename=\"{n}\"")).ok())
            {
                response.headers_mut().insert(header::CONTENT_DISPOSITION, value);
            }
            response
        }
        Answer::Go { to, cookie } => {
            let mut response = body(StatusCode::SEE_OTHER, "text/plain", "");
            let headers = response.headers_mut();
            headers.insert(header::LOCATION, HeaderValue::from_str(&to).unwrap_or(HeaderValue::from_static("/")));
            if let Some(cookie) = cookie.and_then(|c| HeaderValue::from_str(&c).ok()) {
                headers.insert(header::SET_COOKIE, cookie);
            }
            response
        }
        // Has its own way, since it lasts.
        Answer::Live(_) => body(StatusCode::OK, "text/event-stream", ""),
    }
}

/// Waits until the session that opened a stream is none any more: ended, or of an account that was closed or given a new role
/// or password.
async fn ended(ward: Arc<Ward>, proof: Option<guard::Proof>) {
    let Some(proof) = proof else { return };
    let proof = Arc::new(proof);
    loop {
        tokio::time::sleep(LOOK_AGAIN).await;
        let (ward, proof) = (Arc::clone(&ward), Arc::clone(&proof));
        let found = tokio::task::spawn_blocking(move || guard::session(&ward, &proof)).await;
        // A memory that is away for longer than a session is remembered ends it too.
        if !matches!(found, Ok(Ok(_))) {
            return;
        }
    }
}

/// What is live at beds, as it changes, one event a bed and second at most.
fn live(beds: Vec<Arc<Bed>>) -> impl Stream<Item = Result<Event, Infallible>> {
    let streams = beds.into_iter().map(|bed| {
        let changes = WatchStream::new(bed.follow());
        Box::pin(futures_util::stream::unfold((changes, bed), |(mut changes, bed)| async move {
            let live = changes.next().await?;
            let event = event(&live, &bed);
            // Pauses: changes in between are passed over, and the next one is the newest.
            tokio::time::sleep(LIVE_EVERY).await;
            Some((Ok(event), (changes, bed)))
        }))
    });
    select_all(streams)
}

fn event(live: &Live, bed: &Bed) -> Event {
    let shown = pages::shown_as(live, bed);
    Event::default().event("bed").data(shown.to_string())
}

fn problem_response(problem: &Problem) -> Response<Body> {
    let mut response = body(problem.status, "application/problem+json", problem.json().to_string());
    if problem.status == StatusCode::UNAUTHORIZED {
        response.headers_mut().insert(header::WWW_AUTHENTICATE, HeaderValue::from_static("Bearer"));
    }
    response
}

async fn not_here(uri: Uri, headers: HeaderMap) -> Response<Body> {
    let problem = Problem::not_found("page", uri.path());
    if uri.path().starts_with("/api/") {
        return problem_response(&problem);
    }
    pages::problem(&problem, Reader::of(&headers), uri.path(), &TimeZone::UTC)
}

async fn not_so(method: HttpMethod, uri: Uri) -> Response<Body> {
    let detail = format!("{method} has no meaning for {}", uri.path());
    problem_response(&Problem::new(StatusCode::METHOD_NOT_ALLOWED, "Not this way", detail))
}

fn manual_page(headers: &HeaderMap, path: &str) -> Response<Body> {
    let (status, html) = manual::page(Reader::of(headers), path);
    body(status, "text/html; charset=utf-8", html)
}

fn asset(kind: &'static str, text: &'static str) -> Response<Body> {
    let mut response = body(StatusCode::OK, kind, text);
    response.headers_mut().insert(header::CACHE_CONTROL, HeaderValue::from_static("max-age=3600"));
    response
}

pub(super) fn body(status: StatusCode, kind: &'static str, body: impl Into<Body>) -> Response<Body> {
    let mut response = Response::new(body.into());
    *response.status_mut() = status;
    response.headers_mut().insert(header::CONTENT_TYPE, HeaderValue::from_static(kind));
    response
}
