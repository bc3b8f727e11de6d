//! A ward of one bed, with an account of each role, and its endpoints without a network.

use std::net::SocketAddr;
use std::sync::Arc;

use axum::body::Body;
use axum::extract::connect_info::MockConnectInfo;
use axum::http::{Request, Response, header};
use bedplate_web::ward::router;
use jiff::tz::TimeZone;
use tower::ServiceExt as _;
use ward::access::{Access, Role};
use ward::bed::Setup;
use ward::clock::now_us;
use ward::memory::Memory;
use ward::service::Ward;

pub(crate) const PASSWORD: &str = "four plain words here";

pub(crate) struct Scene {
    pub(crate) ward: Arc<Ward>,
    app: axum::Router,
    _folder: tempfile::TempDir,
}

#[allow(dead_code, reason = "each test binary uses a part of this module")]
pub(crate) fn scene() -> Scene {
    scene_from(now_us())
}

/// The same with a past that begins at `begin_us`, µs of UTC.
pub(crate) fn scene_from(begin_us: i64) -> Scene {
    let folder = tempfile::tempdir().unwrap();
    let memory = Memory::open(folder.path().join("ward.db").to_str().unwrap(), Box::new(now_us)).unwrap();
    let deck = formats::deck::read("deck.toml", twin::demo::DECK_TOML).unwrap();
    let run = twin::bench_run(&deck, 1, &twin::BenchOptions::default()).unwrap().run;
    let calibration = calibrate::calibrate(&deck, &run, &calibrate::Options::new("2031-01-01T00:00:00Z")).unwrap();
    let setup = Setup { bed: "A1".into(), signs_as: "alder-1".into(), deck, calibration };
    let ward = Arc::new(Ward::open("Alder (invented)", memory, TimeZone::UTC, 7, vec![setup], begin_us).unwrap());
    let access = Access::new(&ward.memory, &ward.failures, now_us());
    for role in Role::ALL {
        access.make(role.word(), role, "given by another", "test").unwrap();
        access.set_password(role.word(), PASSWORD, role.word()).unwrap();
    }
    let app = router(Arc::clone(&ward), false).layer(MockConnectInfo(SocketAddr::from(([127, 0, 0, 1], 9))));
    Scene { ward, app, _folder: folder }
}

impl Scene {
    pub(crate) fn token(&self, role: Role) -> (String, String) {
        let signed =
            Access::new(&self.ward.memory, &self.ward.failures, now_us()).sign_in(role.word(), PASSWORD).unwrap();
        (signed.token, signed.session.guard)
    }

    pub(crate) async fn ask(&self, request: Request<Body>) -> Response<Body> {
        self.app.clone().oneshot(request).await.unwrap()
    }
}

/// A request with a body that no endpoint takes, so that nothing is done where the door opens.
#[allow(dead_code, reason = "each test binary uses a part of this module")]
pub(crate) fn request(method: &str, path: &str) -> axum::http::request::Builder {
    let path =
        path.replace("{bed}", "A1").replace("{patient}", "p-1").replace("{number}", "1").replace("{account}", "nobody");
    Request::builder().method(method).uri(path).header(header::CONTENT_TYPE, "application/json")
}

pub(crate) async fn text(response: Response<Body>) -> String {
    let bytes = axum::body::to_bytes(response.into_body(), 1 << 22).await.unwrap();
    String::from_utf8_lossy(&bytes).into_owned()
}
