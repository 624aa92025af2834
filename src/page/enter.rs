//! Coming in: the code from the terminal stands behind the address's `#`, which no browser sends and no log sees; the script
//! swaps it for a cookie.

use super::answer::{Failure, page};
use super::guard::{Visit, set_cookie};
use super::layout;
use super::log::log;
use super::post::Posted;
use super::shop::Shop;
use super::visitor::Entered;
use axum::Extension;
use axum::extract::{ConnectInfo, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use maud::{PreEscaped, html};
use qrcode::{Color, QrCode};
use std::fmt::Write as _;
use std::net::SocketAddr;
use std::sync::Arc;

/// Light modules around a code, as its standard asks.
const QUIET: usize = 4;

/// Asks for the code.
pub(super) fn ask() -> Response {
    let body = html! {
        main {
            h1 { "Who is there?" }
            div .note id="problem" role="status" {
                p { strong { "This phone is not known here." } }
                p { "Scan the code that the server shows in its terminal, or on a phone or desk that is in already: "
                    b { "Let a phone in" } "." }
                p { "A code lets one phone in, and holds for five minutes." }
            }
            noscript { p { "Coming in needs the page's own script." } }
        }
    };
    (StatusCode::UNAUTHORIZED, page(&layout::shell("Who is there?", &body))).into_response()
}

/// Swaps a code for a cookie.
pub(super) async fn enter(
    State(shop): State<Arc<Shop>>,
    ConnectInfo(peer): ConnectInfo<SocketAddr>,
    form: Posted,
) -> Result<Response, Failure> {
    match shop.visitors.enter(form.text("code"), peer.ip()).map_err(|error| Failure::inside(&error))? {
        Entered::Visit(value) => {
            log(&format!("let in {}", peer.ip()));
            let cookie = set_cookie(&shop, &value).ok_or(Failure::Inside)?;
            Ok((StatusCode::NO_CONTENT, [(header::SET_COOKIE, cookie)]).into_response())
        }
        Entered::Wrong => {
            log(&format!("a wrong code from {}", peer.ip()));
            Ok(ask())
        }
        Entered::TooOften => {
            log(&format!("too many wrong codes from {}: not listened to for a minute", peer.ip()));
            let mut response = (StatusCode::TOO_MANY_REQUESTS, ask()).into_response();
            *response.status_mut() = StatusCode::TOO_MANY_REQUESTS;
            response.headers_mut().insert(header::RETRY_AFTER, header::HeaderValue::from_static("60"));
            Ok(response)
        }
    }
}

/// Shows a new code for another phone.
pub(super) async fn let_in(
    State(shop): State<Arc<Shop>>,
    Extension(visit): Extension<Visit>,
    form: Posted,
) -> Result<Response, Failure> {
    visit.check(form.text("form"))?;
    let Some(address) = &shop.lan_address else {
        return Err(Failure::NotHere("The server was started without --lan: no other device reaches it.".to_owned()));
    };
    let code = shop.visitors.new_code().map_err(|error| Failure::inside(&error))?;
    let place = format!("{address}#{code}");
    let body = html! {
        (layout::bar("Let a phone in", None))
        main {
            p { "Scan this with the phone's camera. It lets " b { "one" } " phone in, and holds for five minutes." }
            (PreEscaped(qr_svg(&place)))
            @if !shop.is_tls {
                p .note.is-care { "This page is not encrypted: use it on the shop's own network only." }
            }
            p { a .button href="/" { "Done" } }
        }
    };
    Ok(page(&layout::shell("Let a phone in", &body)))
}

/// The dark modules of a code, row by row, with its quiet zone; `None` when the text is too long.
fn modules(text: &str) -> Option<(usize, Vec<bool>)> {
    let code = QrCode::new(text).ok()?;
    let (inner, side) = (code.width(), code.width() + 2 * QUIET);
    let mut dark = vec![false; side * side];
    for (n, colour) in code.to_colors().into_iter().enumerate() {
        dark[(n / inner + QUIET) * side + n % inner + QUIET] = colour == Color::Dark;
    }
    Some((side, dark))
}

fn qr_svg(text: &str) -> String {
    let Some((side, dark)) = modules(text) else { return String::new() };
    let mut path = String::new();
    for n in (0..dark.len()).filter(|n| dark[*n]) {
        // Writing to a String cannot fail.
        let _ = write!(path, "M{} {}h1v1h-1z", n % side, n / side);
    }
    format!(
        "<svg class=\"qr\" viewBox=\"0 0 {side} {side}\" role=\"img\"><title>Code for the phone's camera</title>\
         <path fill=\"#ffffff\" d=\"M0 0h{side}v{side}h-{side}z\"/><path fill=\"#000000\" d=\"{path}\"/></svg>"
    )
}

/// The code for a terminal, two rows a line, black on white whatever the terminal's colours are.
pub(super) fn qr_text(text: &str) -> String {
    let Some((side, dark)) = modules(text) else { return String::new() };
    let is_dark = |x: usize, y: usize| y < side && dark[y * side + x];
    let mut lines = String::new();
    for y in (0..side).step_by(2) {
        lines += "\x1b[30;107m";
        lines.extend((0..side).map(|x| match (is_dark(x, y), is_dark(x, y + 1)) {
            (true, true) => '█',
            (true, false) => '▀',
            (false, true) => '▄',
            (false, false) => ' ',
        }));
        lines += "\x1b[0m\n";
    }
    lines
}
