//! What a request ends with when it does not end well: a page with one sentence and what to do, never a path or a cause.

use super::layout;
use super::log::log;
use crate::error::Error;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use maud::{Markup, html};

/// Why a request was not served.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Failure {
    /// No such page.
    NotFound,
    /// There is such a page, but not for this method.
    WrongMethod,
    /// The request lacks what shows that it comes from our own page.
    NotOurs,
    /// Something that was entered does not fit: found, hint.
    Entry(String, String),
    /// The file is no photo that can be read: found, hint.
    NoPhoto(String, String),
    /// The file is too large.
    TooLarge,
    /// It took too long to arrive, or broke off.
    BrokeOff,
    /// A form without a photo took too long.
    Crawled,
    /// Somebody else went on with the same lamp meanwhile.
    Moved,
    /// Somebody else has what was asked for: found, hint.
    Taken(String, String),
    /// Too much to do at once.
    Busy,
    /// Measuring took more time or memory than it may.
    Unfinished,
    /// This build or this start cannot do it.
    NotHere(String),
    /// Anything else; the cause goes to the log.
    Inside,
}

impl Failure {
    /// What went wrong inside; the cause is logged and not shown.
    pub(super) fn inside(error: &Error) -> Self {
        log(&format!("failed: {error}"));
        Self::Inside
    }

    const fn status(&self) -> StatusCode {
        match self {
            Self::NotFound => StatusCode::NOT_FOUND,
            Self::WrongMethod => StatusCode::METHOD_NOT_ALLOWED,
            Self::NotOurs => StatusCode::FORBIDDEN,
            Self::Entry(..) | Self::Unfinished => StatusCode::UNPROCESSABLE_ENTITY,
            Self::NoPhoto(..) => StatusCode::UNSUPPORTED_MEDIA_TYPE,
            Self::TooLarge => StatusCode::PAYLOAD_TOO_LARGE,
            Self::BrokeOff | Self::Crawled => StatusCode::REQUEST_TIMEOUT,
            Self::Moved | Self::Taken(..) => StatusCode::CONFLICT,
            Self::Busy => StatusCode::SERVICE_UNAVAILABLE,
            Self::NotHere(_) => StatusCode::NOT_IMPLEMENTED,
            Self::Inside => StatusCode::INTERNAL_SERVER_ERROR,
        }
    }

    /// What was found.
    fn found(&self) -> &str {
        match self {
            Self::NotFound => "There is no such page.",
            Self::WrongMethod => "This cannot be done there.",
            Self::NotOurs => "This page is from an earlier start of the server.",
            Self::Entry(found, _) | Self::NoPhoto(found, _) | Self::Taken(found, _) | Self::NotHere(found) => found,
            Self::TooLarge => "The photo, or the photos together, are larger than 64 MiB.",
            Self::BrokeOff => "The photo did not arrive whole. Nothing was recorded.",
            Self::Crawled => "What you entered did not arrive whole. Nothing was changed.",
            Self::Moved => "Another phone went on with this lamp meanwhile. Your photo was not used.",
            Self::Busy => "Too many photos at once. Yours was not used.",
            Self::Unfinished => {
                "This photo could not be measured: it took too long, or too much memory. Nothing was recorded."
            }
            Self::Inside => "Something went wrong inside. Nothing was recorded.",
        }
    }

    /// What to do about it.
    fn hint(&self) -> &str {
        match self {
            Self::NotFound | Self::WrongMethod => "Go back to the start.",
            Self::NotOurs => "Open it anew and try again.",
            Self::Entry(_, hint) | Self::NoPhoto(_, hint) | Self::Taken(_, hint) => hint,
            Self::TooLarge => "Send them as the camera wrote them, no raw files.",
            Self::BrokeOff | Self::Crawled => "Stand nearer to the access point and send it again.",
            Self::Moved => "Look at what is next now, and photograph again.",
            Self::Busy => "Wait a few seconds and send it again.",
            Self::Unfinished => "Take it again with the phone's own camera, at 12 to 50 megapixels.",
            Self::NotHere(_) => "Start it otherwise, or go back.",
            Self::Inside => "Try again; when it stays, look at the server's own messages.",
        }
    }
}

impl IntoResponse for Failure {
    fn into_response(self) -> Response {
        let status = self.status();
        let mut response = problem(status, self.found(), self.hint());
        if status == StatusCode::SERVICE_UNAVAILABLE {
            response.headers_mut().insert(header::RETRY_AFTER, header::HeaderValue::from_static("3"));
        }
        response
    }
}

/// A page with one problem.
pub(super) fn problem(status: StatusCode, found: &str, hint: &str) -> Response {
    let body = html! {
        main {
            h1 { "Not done" }
            div .note.is-stop id="problem" role="alert" { p { strong { (found) } } p { (hint) } }
            p { a .button href="/" { "To the start" } }
        }
    };
    (status, page(&layout::shell("Not done", &body))).into_response()
}

/// A page.
pub(super) fn page(markup: &Markup) -> Response {
    ([(header::CONTENT_TYPE, "text/html; charset=utf-8")], markup.0.clone()).into_response()
}

/// Goes on at another page; a reload there sends nothing again.
pub(super) fn see_other(place: &str) -> Response {
    (StatusCode::SEE_OTHER, [(header::LOCATION, place.to_owned())]).into_response()
}
