//! What every request passes: names, methods, where it comes from, tokens, and what every answer carries. Most are sent as
//! bytes, since no client would.

#![cfg(feature = "serve")]
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test's helpers must fail loudly, as the tests do")]

mod page_server;

use page_server::{Server, ask, assert_guarded, good_photo, head_of, parse, raw, readable};
use std::io::Write;

#[test]
fn every_answer_carries_the_headers_errors_too() {
    let server = Server::start(&[]);
    let client = server.client();
    let id = client.begin("order 12");
    client.upload(&id, "nothing", "p.jpg", &good_photo());
    for path in readable(&id) {
        let answer = client.get(&path);
        assert!(answer.status != 500, "{path}");
        assert_guarded(&answer, &path);
    }
    let own = client.own();
    for (method, path, head, status) in [
        ("GET", "/", "Host: evil.example\r\n".to_owned(), 421),
        ("DELETE", "/desk", own.clone(), 405),
        ("PUT", "/new", own.clone(), 405),
        ("POST", "/new", format!("Host: 127.0.0.1:{}\r\nContent-Length: 0\r\n", server.port), 403),
        ("POST", "/desk", format!("{own}Content-Length: 0\r\n"), 405),
        ("POST", "/new", format!("{own}Content-Length: 99999999999\r\n"), 413),
        ("GET", "/", format!("{own}Connection: upgrade\r\nUpgrade: websocket\r\nSec-WebSocket-Version: 13\r\n"), 400),
    ] {
        let answer = ask(server.port, method, path, &head);
        assert_eq!(answer.status, status, "{method} {path}");
        assert_guarded(&answer, &format!("{method} {path}"));
    }
    // Without TLS nothing claims it.
    let plain = ask(server.port, "GET", "/", &format!("Host: 127.0.0.1:{}\r\n", server.port));
    assert!(plain.header("strict-transport-security").is_none());
    assert!(!plain.header("set-cookie").unwrap().contains("Secure"));
    // An answer that goes on for ever carries them at its start.
    let mut line = page_server::connect(server.port);
    line.write_all(format!("GET /i/{id}/events HTTP/1.1\r\n{own}\r\n").as_bytes()).unwrap();
    let events = head_of(&mut line);
    assert_eq!((events.status, events.header("content-type")), (200, Some("text/event-stream")));
    assert_guarded(&events, "events");
    assert_guarded(&client.get("/i/nothing/events"), "events of nothing");
    for path in readable(&id) {
        let answer = ask(server.port, "HEAD", &path, &own);
        assert!(answer.body.is_empty() && answer.status != 500, "HEAD {path}");
        assert_guarded(&answer, &format!("HEAD {path}"));
    }
    // A picture is a picture and nothing else.
    let picture = client.get(&format!("/i/{id}/picture/left-low/0"));
    assert!(picture.header("content-security-policy").unwrap().contains("sandbox"));
    assert!(picture.header("content-disposition").unwrap().starts_with("inline; filename=\"left-low"));
    let photo = client.get(&format!("/desk/{id}/photo/left-low/0"));
    assert!(photo.header("content-disposition").unwrap().starts_with("attachment; filename="));
}

#[test]
fn only_its_own_names_reach_it() {
    let server = Server::start(&["--host", "shop.local"]);
    let port = server.port;
    let with = |host: &str| ask(port, "GET", "/page.css", host).status;
    for host in ["127.0.0.1", "localhost", "LOCALHOST", "shop.local"] {
        assert_eq!(with(&format!("Host: {host}:{port}\r\n")), 200, "{host}");
    }
    for host in [
        "evil.example".to_owned(),
        format!("evil.example:{port}"),
        "127.0.0.1".to_owned(),
        format!("127.0.0.1.:{port}"),
        format!("localhost.:{port}"),
        format!("[::1]:{port}"),
        format!("192.0.2.7:{port}"),
        format!("user@localhost:{port}"),
        String::new(),
    ] {
        assert_eq!(with(&format!("Host: {host}\r\n")), 421, "{host}");
    }
    assert_eq!(with(&format!("Host: localhost:{port}\r\nHost: evil.example\r\n")), 421);
    assert!([400, 421].contains(&with("")), "no host");
    let absolute = |target: &str| ask(port, "GET", target, &format!("Host: localhost:{port}\r\n")).status;
    assert_eq!(absolute(&format!("http://localhost:{port}/page.css")), 200);
    assert_eq!(absolute("http://evil.example/page.css"), 421);
}

/// A change comes from our own page or not at all; a GET changes nothing.
#[test]
fn other_pages_change_nothing() {
    let server = Server::start(&[]);
    let client = server.client();
    let port = server.port;
    let entries = server.entries();
    let base = format!("Host: 127.0.0.1:{port}\r\nCookie: {}\r\n", client.cookie);
    let body = format!("form={}&vehicle=x&who=y&height=650", client.form);
    let send = |head: &str, kind: &str, body: &str| {
        let head = format!(
            "POST /new HTTP/1.1\r\n{base}{head}Content-Type: {kind}\r\nContent-Length: {}\r\nConnection: close\r\n\r\n{body}",
            body.len()
        );
        parse(&raw(port, head.as_bytes())).status
    };
    let form = "application/x-www-form-urlencoded";
    for head in [
        "",
        "Origin: http://evil.example\r\n",
        "Origin: null\r\n",
        "Sec-Fetch-Site: cross-site\r\n",
        "Sec-Fetch-Site: same-site\r\n",
        "Sec-Fetch-Site: none\r\n",
        "Sec-Fetch-Site: same-origin\r\nOrigin: http://evil.example\r\n",
        "Sec-Fetch-Site: same-origin\r\nSec-Fetch-Site: cross-site\r\n",
    ] {
        assert_eq!(send(head, form, &body), 403, "{head}");
    }
    assert_eq!(send(&format!("Origin: https://127.0.0.1:{port}\r\n"), form, &body), 403, "another scheme");
    // From our own origin, but without the form's token, or as a type that any page may send.
    let own = "Sec-Fetch-Site: same-origin\r\n";
    assert_eq!(send(own, form, "vehicle=x&who=y&height=650"), 403);
    assert_eq!(send(own, form, &body.replace(&client.form, &"0".repeat(32))), 403);
    assert_eq!(send(own, "text/plain", &body), 403);
    assert_eq!(server.entries(), entries, "nothing was recorded");
    assert_eq!(send(&format!("Origin: http://127.0.0.1:{port}\r\n"), form, &body), 303);
    assert_eq!(server.entries(), entries + 1);
    // Reading leaves the log as it is.
    let id = client.begin("order 12");
    let before = server.entries();
    for path in
        readable(&id).iter().chain(["/phone".to_owned(), format!("/i/{id}/photo"), "/desk/check".to_owned()].iter())
    {
        client.get(path);
    }
    assert_eq!(server.entries(), before);
}

/// A route, a path of it, what its form holds beside the token, and the status when all is right.
type Form<'a> = (&'a str, String, Vec<(&'a str, &'a str)>, u16);

/// Every route that changes something, with all that it asks for but the form's token, or another visit's: turned away, and
/// nothing changed. With the token each does what it is for, so that it was the token that was missed.
#[test]
fn every_form_needs_its_own_token() {
    let folder = tempfile::tempdir().unwrap();
    let server = Server::start(&["--watch", folder.path().to_str().unwrap()]);
    let client = server.client();
    let other = server.client();
    assert_ne!(client.form, other.form);
    // One check at a time: the one of the start is over.
    server.until(|| !client.get("/desk").text().contains("not checked since the server started"));
    let id = client.begin("order 12");
    client.upload(&id, "nothing", "p.jpg", &good_photo());
    let page = client.get(&format!("/i/{id}"));
    let (key, place) = (page.field("key"), format!("/i/{id}"));
    let tap_key = client.get(&format!("{place}/tap/left-low/0")).field("key");
    let json = client.record(&id);
    let marks = json["records"][0]["entry"]["lamps"][0]["readings"][0]["reading"]["marks"]["places"].clone();
    let marks: Vec<String> = marks
        .as_array()
        .unwrap()
        .iter()
        .map(|mark| {
            format!("{}={:.1},{:.1}", mark["id"], mark["x_px"].as_f64().unwrap(), mark["y_px"].as_f64().unwrap())
        })
        .collect();
    let marks = marks.join(" ");
    let lamp = [("lamp", "left-low"), ("said", "told")];
    let forms: [Form<'_>; 5] = [
        ("/new", "/new".to_owned(), vec![("vehicle", "order 13"), ("who", "AB"), ("height", "650")], 303),
        ("/phone", "/phone".to_owned(), Vec::new(), 501),
        ("/i/{id}/camera", format!("{place}/camera"), [&lamp[..], &[("seen", "1")]].concat(), 303),
        ("/desk/check", "/desk/check".to_owned(), Vec::new(), 303),
        (
            "/i/{id}/marks",
            format!("{place}/marks"),
            vec![("key", &tap_key), ("lamp", "left-low"), ("n", "0"), ("seen", "1"), ("marks", &marks)],
            303,
        ),
    ];
    let photo = |token: Option<&str>, seen: &str| {
        let mut fields = vec![("key", key.as_str()), ("seen", seen), lamp[0], lamp[1]];
        fields.extend(token.map(|token| ("form", token)));
        parse(&raw(server.port, &client.multipart(&format!("{place}/photo"), &fields, "p.jpg", &good_photo()))).status
    };
    let send = |path: &str, fields: &[(&str, &str)], token: Option<&str>| {
        let fields = fields.iter().copied().chain(token.map(|token| ("form", token)));
        client.post_only(path, fields).status
    };
    let before = (server.entries(), server.files(), client.get(&place).text().contains("Waiting for the fixed camera"));
    for token in [None, Some(""), Some("0"), Some(other.form.as_str()), Some(client.cookie.as_str())] {
        for (_, path, fields, _) in &forms {
            assert_eq!(send(path, fields, token), 403, "{path}: {token:?}");
        }
        assert_eq!(photo(token, "1"), 403, "{token:?}");
    }
    let after = (server.entries(), server.files(), client.get(&place).text().contains("Waiting for the fixed camera"));
    assert_eq!(before, after);
    let own = Some(client.form.as_str());
    for (_, path, fields, status) in &forms {
        assert_eq!(send(path, fields, own), *status, "{path}");
    }
    assert_eq!(photo(own, "2"), 303);
    // No route that changes something is missing here. `/enter` has no visit yet: its code is its token.
    let routes = include_str!("../src/page/routes.rs");
    let posts = routes.lines().filter(|line| line.contains("post(") && line.contains(".route("));
    let paths: Vec<&str> = posts.map(|line| line.split('"').nth(1).unwrap()).collect();
    let known = forms.iter().map(|(route, ..)| *route).chain(["/i/{id}/photo", "/enter"]);
    let mut known: Vec<&str> = known.collect();
    let mut paths = paths;
    known.sort_unstable();
    paths.sort_unstable();
    assert_eq!(paths, known);
}

/// Where a request says that it comes from, with every method: a change from our own page alone, and reading from anywhere
/// that shows no new visit changes nothing.
#[test]
fn origins_by_methods() {
    let server = Server::start(&[]);
    let client = server.client();
    // One check at a time: the one of the start is over.
    server.until(|| !client.get("/desk").text().contains("not checked since the server started"));
    let entries = server.entries();
    let (own, other) = (format!("Origin: http://127.0.0.1:{}\r\n", server.port), "Origin: http://evil.example\r\n");
    for (origin, is_own) in [(own.as_str(), true), (other, false), ("Origin: null\r\n", false), ("", false)] {
        let head = format!("Host: 127.0.0.1:{}\r\nCookie: {}\r\n{origin}", server.port, client.cookie);
        for method in ["GET", "HEAD"] {
            assert_eq!(ask(server.port, method, "/new", &head).status, 200, "{method} {origin}");
        }
        for method in ["PUT", "DELETE", "PATCH"] {
            assert_eq!(ask(server.port, method, "/new", &head).status, 405, "{method} {origin}");
        }
        let body = format!("form={}", client.form);
        let kind = "Content-Type: application/x-www-form-urlencoded\r\nConnection: close\r\n";
        let post = format!("POST /desk/check HTTP/1.1\r\n{head}{kind}Content-Length: {}\r\n\r\n{body}", body.len());
        assert_eq!(parse(&raw(server.port, post.as_bytes())).status, if is_own { 303 } else { 403 }, "{origin}");
    }
    assert_eq!(server.entries(), entries);
}

/// Pictures and links in pages of others drive nobody out, and leave the desk's own cookie alone.
#[test]
fn other_pages_make_no_visits() {
    /// As many visits as are kept.
    const MOST: usize = 500;
    let server = Server::start(&[]);
    let client = server.client();
    let host = format!("Host: 127.0.0.1:{}\r\n", server.port);
    for n in 0..=MOST {
        let site = if n % 2 == 0 { "cross-site" } else { "same-site" };
        let path = if n % 3 == 0 { "/" } else { "/desk" };
        let answer = ask(server.port, "GET", path, &format!("{host}Sec-Fetch-Site: {site}\r\n"));
        assert_eq!((answer.status, answer.header("set-cookie")), (403, None), "{site}");
        if n == 0 {
            assert_guarded(&answer, "from another page");
            assert!(answer.text().contains("href=\"/\""), "the way on: {}", answer.text());
        }
    }
    assert_eq!(client.post("/phone", &[]).status, 501, "the form of a page that was open before still counts");
    let twice = ask(server.port, "GET", "/", &format!("{host}Sec-Fetch-Site: none\r\nSec-Fetch-Site: cross-site\r\n"));
    assert_eq!((twice.status, twice.header("set-cookie")), (403, None));
    for own in ["Sec-Fetch-Site: none\r\n", "Sec-Fetch-Site: same-origin\r\n", ""] {
        let answer = ask(server.port, "GET", "/", &format!("{host}{own}"));
        assert!(answer.status == 200 && answer.header("set-cookie").is_some(), "{own}");
    }
}

/// Every method on every route: nothing is recorded and nothing breaks.
#[test]
fn unknown_methods_and_routes_are_told_so() {
    let mut server = Server::start(&[]);
    let client = server.client();
    let id = client.begin("order 12");
    let entries = server.entries();
    for path in readable(&id) {
        for method in ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "CONNECT", "BREW"] {
            let answer = raw(
                server.port,
                format!("{method} {path} HTTP/1.1\r\n{}Connection: close\r\n\r\n", client.own()).as_bytes(),
            );
            let status = parse(&answer).status;
            assert!([400, 404, 405, 421].contains(&status), "{method} {path}: {status}");
        }
        let empty = client.post(&path, &[]);
        assert!(empty.status >= 400, "POST {path}: {}", empty.status);
    }
    assert!(server.is_alive());
    assert_eq!(server.entries(), entries);
}
