//! What every request passes before a page sees it, and what every answer carries.
//!
//! In this order: a panic becomes a plain 500; one `Host` on the list, else 421 (a name that was bent to this address gets
//! nothing: DNS rebinding); nothing is done with a body without a stated length (so that no two servers can disagree where a
//! request ends) nor with one over the limit; a change only from our own page (`Sec-Fetch-Site` or `Origin`) and only by POST; a cookie, unless the
//! request asks for what lets one in. Who sits at this machine is given one, but not when a page of others sent the request.

use super::answer::{self, Failure};
use super::enter;
use super::log::log;
use super::shop::Shop;
use super::visitor::{Device, form_token};
use axum::body::Body;
use axum::extract::{ConnectInfo, Request, State};
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use futures_util::StreamExt;
use std::net::SocketAddr;
use std::sync::Arc;

/// Largest body of any request: a photo and the form around it.
pub(super) const MOST_BODY_BYTES: u64 = MOST_PHOTO_BYTES + (64 << 10);
/// Largest photo.
pub(super) const MOST_PHOTO_BYTES: u64 = 64 << 20;
/// Years of HTTPS are not asked of a browser for a certificate that changes at every start: a day.
const HSTS: &str = "max-age=86400";
/// Where a browser says that a request comes from.
const SITE: HeaderName = HeaderName::from_static("sec-fetch-site");

/// Said by every answer. Scripts, styles and pictures come from this server alone, and none of them is written in a page.
const HEADERS: [(HeaderName, &str); 8] = [
    (
        header::CONTENT_SECURITY_POLICY,
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; \
         form-action 'self'; base-uri 'none'; object-src 'none'; frame-ancestors 'none'",
    ),
    (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (header::X_FRAME_OPTIONS, "DENY"),
    // Not `no-referrer`: browsers then say `Origin: null` of our own forms.
    (header::REFERRER_POLICY, "same-origin"),
    (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
    (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
    (HeaderName::from_static("permissions-policy"), "camera=(), microphone=(), geolocation=()"),
    (header::CACHE_CONTROL, "no-store"),
];

/// Who asks: what its forms must carry.
#[derive(Debug, Clone)]
pub(super) struct Visit {
    /// What every form of this visit carries.
    pub(super) form: String,
}

impl Visit {
    /// Whether a form comes from a page that this visit was given.
    pub(super) fn check(&self, given: &str) -> Result<(), Failure> {
        // Both are digests: how long the comparing takes tells nothing that could be used.
        if given == self.form { Ok(()) } else { Err(Failure::NotOurs) }
    }
}

/// Passes a request on, or answers it here.
pub(super) async fn guard(
    State(shop): State<Arc<Shop>>,
    ConnectInfo(peer): ConnectInfo<SocketAddr>,
    request: Request,
    next: Next,
) -> Response {
    let is_tls = shop.is_tls;
    // In a task of its own, a panic ends this answer and nothing else.
    let answer = tokio::spawn(async move { admit(&shop, peer, request, next).await }).await;
    let mut response = answer.unwrap_or_else(|_| {
        log("a page stopped with a panic");
        Failure::Inside.into_response()
    });
    let headers = response.headers_mut();
    for (name, value) in HEADERS {
        let value = HeaderValue::from_static(value);
        if name == header::CONTENT_SECURITY_POLICY {
            // A photo's answer may be stricter.
            headers.entry(name).or_insert(value);
        } else {
            headers.insert(name, value);
        }
    }
    if is_tls {
        headers.insert(header::STRICT_TRANSPORT_SECURITY, HeaderValue::from_static(HSTS));
    }
    if response.status().is_client_error() || response.status().is_server_error() {
        // What is left of the body was not read: nothing that follows on this connection may be taken for a request.
        response.headers_mut().insert(header::CONNECTION, HeaderValue::from_static("close"));
    }
    response
}

async fn admit(shop: &Arc<Shop>, peer: SocketAddr, mut request: Request, next: Next) -> Response {
    if !is_known_host(shop, &request) {
        log(&format!("turned away {}: unknown host", peer.ip()));
        let hint = "Open the address that the server printed; further names are let in with --host.";
        return answer::problem(StatusCode::MISDIRECTED_REQUEST, "This server is not known by that name.", hint);
    }
    let headers = request.headers();
    if headers.contains_key(header::UPGRADE) {
        return answer::problem(StatusCode::BAD_REQUEST, "No other protocol is spoken here.", "Open the page anew.");
    }
    if content_length(headers).is_some_and(|length| length > MOST_BODY_BYTES) {
        return Failure::TooLarge.into_response();
    }
    let is_reading = matches!(*request.method(), Method::GET | Method::HEAD);
    if !is_reading && request.method() != Method::POST {
        return answer::problem(
            StatusCode::METHOD_NOT_ALLOWED,
            "Not a method of this server.",
            "It knows GET and POST.",
        );
    }
    if !is_reading && !is_same_origin(shop, headers) {
        log(&format!("turned away {}: not from our own page", peer.ip()));
        return answer::problem(StatusCode::FORBIDDEN, "This did not come from our own page.", "Open the page anew.");
    }
    if headers.contains_key(header::TRANSFER_ENCODING) {
        return unstated(shop, request.into_body()).await;
    }
    if shop.is_open_to_all(request.uri().path()) {
        return next.run(request).await;
    }
    let known = cookie(headers, shop.cookie_name()).filter(|cookie| shop.visitors.is_visit(cookie));
    let is_local = peer.ip().is_loopback();
    if known.is_none() && is_reading && is_local && is_from_elsewhere(headers) {
        // A picture in a page of others would make visits by the hundred, and a link there would take the desk's cookie away.
        log("turned away a request that another page sent");
        let hint = "Nothing was changed. Go on from here.";
        return answer::problem(StatusCode::FORBIDDEN, "You came here from another page.", hint);
    }
    let new = if known.is_none() && is_reading && is_local {
        // Who sits at this machine may come in: the store's files are in reach anyway.
        shop.visitors.new_visit(Device::Desk).ok()
    } else {
        None
    };
    let Some(value) = known.clone().or_else(|| new.clone()) else {
        // At this machine the next page that is opened brings a new cookie.
        return if is_local { Failure::NotOurs.into_response() } else { enter::ask() };
    };
    request.extensions_mut().insert(Visit { form: form_token(&value) });
    let mut response = next.run(request).await;
    if let Some(cookie) = new.and_then(|value| set_cookie(shop, &value)) {
        response.headers_mut().append(header::SET_COOKIE, cookie);
    }
    response
}

/// A body without a stated length is read to its end, so that who sends it hears the answer, and nothing of it is kept or used.
async fn unstated(shop: &Shop, body: Body) -> Response {
    let mut pieces = body.into_data_stream();
    let reading = async {
        let mut size = 0;
        while let Some(piece) = pieces.next().await {
            let Ok(piece) = piece else {
                return answer::problem(StatusCode::BAD_REQUEST, "A request that cannot be read.", "Send it again.");
            };
            size += piece.len() as u64;
            if size > MOST_BODY_BYTES {
                return Failure::TooLarge.into_response();
            }
        }
        answer::problem(StatusCode::LENGTH_REQUIRED, "A request without a stated length.", "State its length.")
    };
    tokio::time::timeout(shop.upload_time, reading).await.unwrap_or_else(|_| Failure::BrokeOff.into_response())
}

/// The header that gives a visit's cookie: not for scripts, not from other sites, and with TLS never without it.
pub(super) fn set_cookie(shop: &Shop, value: &str) -> Option<HeaderValue> {
    let secure = if shop.is_tls { "; Secure" } else { "" };
    let name = shop.cookie_name();
    HeaderValue::from_str(&format!("{name}={value}; Path=/; HttpOnly; SameSite=Strict{secure}")).ok()
}

/// One `Host` header on the list, and where the request line names a host too, that one as well.
fn is_known_host(shop: &Shop, request: &Request) -> bool {
    let mut hosts = request.headers().get_all(header::HOST).iter();
    let (Some(host), None) = (hosts.next(), hosts.next()) else { return false };
    let is_known = |name: &str| shop.hosts.iter().any(|known| known.eq_ignore_ascii_case(name));
    host.to_str().is_ok_and(is_known) && request.uri().authority().is_none_or(|named| is_known(named.as_str()))
}

/// A header that may stand there once; an error when there is more than one, or no text.
fn one(headers: &HeaderMap, name: HeaderName) -> Result<Option<&str>, ()> {
    let mut all = headers.get_all(name).iter();
    match (all.next(), all.next()) {
        (None, _) => Ok(None),
        (Some(value), None) => value.to_str().map(Some).map_err(|_| ()),
        _ => Err(()),
    }
}

/// Whether a browser says that a page of others sent this. A browser that says nothing is an old one, or none.
fn is_from_elsewhere(headers: &HeaderMap) -> bool {
    !matches!(one(headers, SITE), Ok(None | Some("same-origin" | "none")))
}

fn is_same_origin(shop: &Shop, headers: &HeaderMap) -> bool {
    let (Ok(site), Ok(origin)) = (one(headers, SITE), one(headers, header::ORIGIN)) else { return false };
    let scheme = if shop.is_tls { "https" } else { "http" };
    let is_own = |origin: &str| {
        let host = origin.strip_prefix(scheme).and_then(|rest| rest.strip_prefix("://"));
        host.is_some_and(|host| shop.hosts.iter().any(|known| known.eq_ignore_ascii_case(host)))
    };
    match (site, origin) {
        (Some(site), origin) => site == "same-origin" && origin.is_none_or(is_own),
        (None, Some(origin)) => is_own(origin),
        (None, None) => false,
    }
}

fn content_length(headers: &HeaderMap) -> Option<u64> {
    headers.get(header::CONTENT_LENGTH)?.to_str().ok()?.parse().ok()
}

fn cookie(headers: &HeaderMap, name: &str) -> Option<String> {
    let all = headers.get_all(header::COOKIE).iter().filter_map(|value| value.to_str().ok());
    all.flat_map(|line| line.split(';'))
        .filter_map(|pair| pair.trim().split_once('='))
        .find(|(key, _)| *key == name)
        .map(|(_, value)| value.to_owned())
}

#[cfg(test)]
mod tests {
    use super::super::trial::{Trial, answer};
    use super::*;
    use axum::Router;
    use axum::middleware::from_fn_with_state;
    use axum::routing::get;

    /// A page that panics is a plain 500 under the same headers, and the next one is served.
    #[test]
    fn a_panic_is_a_plain_answer() {
        async fn page(uri: axum::http::Uri) -> &'static str {
            if uri.path() == "/page.css" { panic!("in /a/secret/place") } else { "served" }
        }
        let mut trial = Trial::new();
        let guarded = from_fn_with_state(Arc::clone(&trial.shop), guard);
        trial.serve(Router::new().route("/page.css", get(page)).route("/page.js", get(page)).layer(guarded));
        let ask = |path: &str| answer(trial.send(&format!("GET {path} HTTP/1.1"), b""));
        let answer = ask("/page.css");
        assert!(answer.starts_with("HTTP/1.1 500") && !answer.contains("secret"), "{answer}");
        assert!(answer.contains("content-security-policy: default-src 'none'"), "{answer}");
        assert!(ask("/page.js").ends_with("served"));
    }
}
