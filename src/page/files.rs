//! Style, script and icon: in the program, served from here.

use axum::http::header;
use axum::response::{IntoResponse, Response};

/// The style sheet.
pub(super) async fn style() -> Response {
    ([(header::CONTENT_TYPE, "text/css; charset=utf-8")], include_str!("files/page.css")).into_response()
}

/// The script: it makes sending safe on a bad line, and marks tappable. Everything else works without it.
pub(super) async fn script() -> Response {
    let all = concat!(include_str!("files/page.js"), include_str!("files/send.js"), include_str!("files/tap.js"));
    ([(header::CONTENT_TYPE, "text/javascript; charset=utf-8")], all).into_response()
}

/// The icon.
pub(super) async fn icon() -> Response {
    ([(header::CONTENT_TYPE, "image/svg+xml")], include_str!("files/icon.svg")).into_response()
}
