//! Every route, and nothing else is served. A GET changes nothing.

use super::answer::Failure;
use super::shop::Shop;
use super::{begin, desk, desk_bay, enter, events, filed, files, guard, home, lamp, pictures, tap, upload, watch};
use axum::Router;
use axum::middleware::from_fn_with_state;
use axum::routing::{get, post};
use std::sync::Arc;

/// The routes, guarded.
pub(super) fn routes(shop: &Arc<Shop>) -> Router {
    Router::new()
        .route("/", get(home::home))
        .route("/enter", post(enter::enter))
        .route("/phone", post(enter::let_in))
        .route("/new", get(begin::form).post(begin::post))
        .route("/i/{id}", get(lamp::inspection))
        .route("/i/{id}/photo", post(upload::upload).layer(upload::limit()))
        .route("/i/{id}/marks", post(tap::marks))
        .route("/i/{id}/tap/{lamp}/{n}", get(tap::tap))
        .route("/i/{id}/picture/{lamp}/{n}", get(pictures::annotated))
        .route("/i/{id}/upright/{lamp}/{n}", get(pictures::upright))
        .route("/i/{id}/events", get(events::events))
        .route("/i/{id}/camera", post(watch::ask))
        .route("/i/{id}/report.pdf", get(filed::report))
        .route("/desk", get(desk::desk))
        .route("/desk/check", post(desk::check))
        .route("/desk/bay/{n}", get(desk_bay::bay))
        .route("/desk/{id}", get(filed::filed))
        .route("/desk/{id}/record.json", get(filed::json))
        .route("/desk/{id}/readings.csv", get(filed::csv))
        .route("/desk/{id}/photo/{lamp}/{n}", get(pictures::original))
        .route("/page.css", get(files::style))
        .route("/page.js", get(files::script))
        .route("/icon.svg", get(files::icon))
        .fallback(|| async { Failure::NotFound })
        .method_not_allowed_fallback(|| async { Failure::WrongMethod })
        .layer(from_fn_with_state(Arc::clone(shop), guard::guard))
        .with_state(Arc::clone(shop))
}
