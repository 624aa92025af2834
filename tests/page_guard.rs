//! Each promise of the page's safety with the request that would break it; most are sent as bytes, since no client would.

#![cfg(feature = "serve")]
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test's helpers must fail loudly, as the tests do")]

mod page_server;

use page_server::{Answer, Server, good_photo, head_of, parse, raw};
use rustls::client::danger::{HandshakeSignatureValid, ServerCertVerified, ServerCertVerifier};
use rustls::crypto::WebPkiSupportedAlgorithms;
use rustls::pki_types::{CertificateDer, ServerName, UnixTime};
use rustls::{ClientConfig, ClientConnection, DigitallySignedStruct, SignatureScheme, StreamOwned};
use sha2::{Digest, Sha256};
use std::io::{Read, Write};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

/// Every route that is read, and what it must answer with at least: a page, or a plain error.
fn readable(id: &str) -> Vec<String> {
    let own = ["", "/tap/left-low/0", "/picture/left-low/0", "/upright/left-low/0", "/report.pdf", "/nothing"];
    let desk = ["", "/record.json", "/readings.csv", "/photo/left-low/0"];
    let plain = [
        "/",
        "/new",
        "/desk",
        "/desk/bay/0",
        "/desk/bay/7",
        "/page.css",
        "/page.js",
        "/icon.svg",
        "/nothing",
        "/enter",
    ];
    own.iter()
        .map(|end| format!("/i/{id}{end}"))
        .chain(desk.iter().map(|end| format!("/desk/{id}{end}")))
        .chain(plain.iter().map(|path| (*path).to_owned()))
        .collect()
}

fn ask(port: u16, method: &str, path: &str, head: &str) -> Answer {
    parse(&raw(port, format!("{method} {path} HTTP/1.1\r\n{head}Connection: close\r\n\r\n").as_bytes()))
}

fn assert_guarded(answer: &Answer, what: &str) {
    let csp = answer.header("content-security-policy").unwrap_or_else(|| panic!("{what}: no CSP"));
    assert!(csp.contains("default-src 'none'") && csp.contains("frame-ancestors 'none'"), "{what}: {csp}");
    assert!(csp.contains("base-uri 'none'") && !csp.contains("unsafe"), "{what}: {csp}");
    // What is no page says it by its sandbox.
    assert!(csp.contains("object-src 'none'") || csp.contains("sandbox"), "{what}: {csp}");
    for (name, value) in [
        ("x-content-type-options", "nosniff"),
        ("referrer-policy", "same-origin"),
        ("cross-origin-opener-policy", "same-origin"),
        ("cross-origin-resource-policy", "same-origin"),
        ("x-frame-options", "DENY"),
        ("cache-control", "no-store"),
    ] {
        assert_eq!(answer.header(name), Some(value), "{what}: {name}");
    }
    let text = answer.text();
    if answer.header("content-type").is_some_and(|kind| kind.starts_with("text/html")) {
        assert!(
            !text.contains("<script>") && !text.contains(" style=") && !text.contains(" onclick="),
            "{what}: inline"
        );
        assert!(!text.contains("/tmp/") && !text.contains("src/"), "{what} tells a path: {text}");
    }
}

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

#[test]
fn what_is_no_photo_is_turned_away_by_its_content() {
    let server = Server::start(&[]);
    let client = server.client();
    let id = client.begin("order 12");
    let entries = server.entries();
    let files = server.files();
    let html = b"<!doctype html><script>alert(1)</script>".to_vec();
    let svg = b"<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>".to_vec();
    for (name, bytes) in [
        ("page.jpg", html),
        ("picture.svg.jpg", svg),
        ("packed.jpg", b"PK\x03\x04 and so on and on".to_vec()),
        ("animated.jpg", b"GIF89a and so on and on".to_vec()),
        ("a\\0.jpg", b"MZ and so on and on".to_vec()),
        ("short.jpg", b"\xFF\xD8".to_vec()),
        ("cut.jpg", good_photo()[..40_000].to_vec()),
        ("header.jpg", [b"\xFF\xD8\xFF\xE0".to_vec(), vec![0; 5000]].concat()),
    ] {
        let answer = client.upload(&id, "nothing", name, &bytes);
        assert_eq!(answer.status, 415, "{name}: {}", answer.text());
        assert_guarded(&answer, name);
    }
    assert_eq!(client.upload(&id, "nothing", "empty.jpg", b"").status, 422);
    // A header that promises 65,500 x 65,500 pixels is believed and turned away, not decoded.
    let mut bomb = good_photo();
    let frame = bomb.windows(2).position(|pair| pair == [0xFF, 0xC0]).unwrap();
    bomb[frame + 5..frame + 9].copy_from_slice(&[0xFF, 0xDC, 0xFF, 0xDC]);
    let begun = Instant::now();
    assert_eq!(client.upload(&id, "nothing", "bomb.jpg", &bomb).status, 415);
    assert!(begun.elapsed() < Duration::from_secs(5));
    assert_eq!((server.entries(), server.files()), (entries, files), "nothing was kept of any of them");
}

/// A photo is what its content says, whatever its name and type say.
#[test]
fn a_photo_under_a_wrong_name_is_read_as_what_it_is() {
    let server = Server::start(&[]);
    let client = server.client();
    let id = client.begin("order 12");
    let small =
        image::load_from_memory(&good_photo()).unwrap().resize(1600, 1200, image::imageops::FilterType::Triangle);
    let mut png = Vec::new();
    small.write_to(&mut std::io::Cursor::new(&mut png), image::ImageFormat::Png).unwrap();
    assert_eq!(client.upload(&id, "nothing", "photo.jpg", &png).status, 303);
    assert_eq!(client.upload(&id, "told", "page.html", &good_photo()).status, 303);
    for (n, (kind, bytes)) in [("png", &png), ("jpeg", &good_photo())].into_iter().enumerate() {
        let photo = client.get(&format!("/desk/{id}/photo/left-low/{n}"));
        assert_eq!(photo.header("content-type"), Some(format!("image/{kind}").as_str()));
        assert!(photo.header("content-disposition").unwrap().ends_with(&format!(".{kind}\"")));
        assert_eq!(&photo.body, bytes);
        assert_guarded(&photo, kind);
    }
}

/// Names from outside are not used for anything: the photo is filed by its hash under a name of our own.
#[test]
fn names_are_our_own() {
    let server = Server::start(&[]);
    let client = server.client();
    let mut id = String::new();
    let long = "x".repeat(300);
    let names = [
        "../../evil.jpg",
        "..\\\\..\\\\evil.jpg",
        "/etc/evil.jpg",
        "CON",
        "a%0d%0aSet-Cookie: b",
        "a\r\nSet-Cookie: b=c",
        "evil.jpg\0.txt",
        "\u{202e}gpj.evil",
        &long,
    ];
    for (n, name) in names.iter().enumerate() {
        // Every time another photo, one byte behind its end longer.
        let photo = [good_photo(), vec![n as u8; n]].concat();
        id = client.begin(&format!("order {n}"));
        let answer = client.upload(&id, "nothing", name, &photo);
        assert!(answer.header("set-cookie").is_none());
        // A form whose own head is broken by the name is no form; any other name is passed over.
        let broken = name.contains(['\r', '\0']);
        assert!(answer.status == 303 || broken && (400..500).contains(&answer.status), "{name:?}: {}", answer.status);
    }
    for file in server.files() {
        let name = file.file_name().unwrap().to_string_lossy().into_owned();
        assert!(!name.contains("evil") && name != "CON" && !name.contains("xxx"), "{name}");
    }
    assert!(!server.folder.path().parent().unwrap().join("evil.jpg").exists());
    let json = client.get(&format!("/desk/{id}/record.json")).text();
    assert!(json.contains("\"photo-") && !json.contains("evil"));
    for path in ["/i/..%2f..%2fbay.toml", "/desk/..%2fbay", "/i/%00", "/desk/bay/..%2f..", "/i/' OR 1=1"] {
        let status =
            raw(server.port, format!("GET {path} HTTP/1.1\r\n{}Connection: close\r\n\r\n", client.own()).as_bytes());
        assert!([400, 404].contains(&parse(&status).status), "{path}");
    }
}

/// A limit on the way in: said before, and counted while it comes.
#[test]
fn large_bodies_are_stopped_before_they_are_read() {
    let server = Server::start(&[]);
    let client = server.client();
    let id = client.begin("order 12");
    let page = client.get(&format!("/i/{id}"));
    let large = vec![0_u8; (65 << 20) + 1];
    let photo = [&good_photo()[..], &large].concat();
    let mut request = client.upload_request(&id, &page, "nothing", "p.jpg", &photo);
    assert_eq!(parse(&raw(server.port, &request)).status, 413);
    // The same with a length that lies: what is sent behind it is no request.
    let text = String::from_utf8_lossy(&request[..2000]).into_owned();
    let stated = text.split("Content-Length: ").nth(1).unwrap().split('\r').next().unwrap().to_owned();
    let honest = format!("Content-Length: {stated}");
    let place = request.windows(honest.len()).position(|window| window == honest.as_bytes()).unwrap();
    let lie = format!("Content-Length: {:0width$}", 60_000, width = stated.len());
    request[place..place + honest.len()].copy_from_slice(lie.as_bytes());
    let status = parse(&raw(server.port, &request)).status;
    assert!([408, 413, 415].contains(&status), "{status}");
    assert_eq!(server.readings(), 0);
    if let Some(peak) = server.peak_mib() {
        // The program, one photo, and no more: measured 40 to 70 MiB.
        assert!(peak < 250, "{peak} MiB");
    }
}

/// A body whose length nobody stated is counted while it comes: 413 behind the limit, 411 where it ends before it. No piece of
/// it is kept, and nothing is done with it.
#[test]
fn a_streamed_body_is_counted_and_not_kept() {
    let server = Server::start(&[]);
    let client = server.client();
    let id = client.begin("order 12");
    let page = client.get(&format!("/i/{id}"));
    let whole = client.upload_request(&id, &page, "nothing", "p.jpg", &good_photo());
    let text = String::from_utf8_lossy(&whole[..2000]).into_owned();
    let (head, _) = text.split_once("\r\n\r\n").unwrap();
    let lines = head.lines().filter(|line| !line.starts_with("Content-Length"));
    let head = lines.collect::<Vec<_>>().join("\r\n") + "\r\nTransfer-Encoding: chunked\r\n\r\n";
    let form = &whole[text.find("\r\n\r\n").unwrap() + 4..];
    let chunk = |bytes: &[u8]| [format!("{:x}\r\n", bytes.len()).as_bytes(), bytes, b"\r\n"].concat();
    // The very form that would count with its length.
    let small = [head.as_bytes(), &chunk(form), b"0\r\n\r\n"].concat();
    let answer = parse(&raw(server.port, &small));
    assert_eq!(answer.status, 411, "{}", answer.text());
    assert_guarded(&answer, "streamed");
    let piece = chunk(&vec![b'x'; 1 << 20]);
    let mut line = page_server::connect(server.port);
    line.write_all(head.as_bytes()).unwrap();
    line.write_all(&chunk(form)).unwrap();
    // A server that has seen enough closes while the rest is still being sent.
    for _ in 0..80 {
        if line.write_all(&piece).is_err() {
            break;
        }
    }
    let answer = head_of(&mut line);
    assert_eq!(answer.status, 413);
    assert_guarded(&answer, "streamed too far");
    assert_eq!(server.readings(), 0);
    if let Some(peak) = server.peak_mib() {
        assert!(peak < 150, "{peak} MiB: a body of 80 MiB was kept");
    }
}

#[test]
fn what_is_typed_stays_text_and_the_log_stays_lines() {
    let server = Server::start(&[]);
    let client = server.client();
    let id = client.begin("<script>alert(1)</script>\"'");
    for path in [format!("/i/{id}"), "/desk".to_owned(), format!("/desk/{id}"), "/".to_owned()] {
        let text = client.get(&path).text();
        assert!(!text.contains("<script>alert") && text.contains("&lt;script&gt;"), "{path}");
    }
    for (field, value) in
        [("height", "abc"), ("height", "-5"), ("height", "1e9"), ("vehicle", "a\r\nb\u{1b}[2J"), ("who", " ")]
    {
        let mut entry = vec![("vehicle", "x"), ("who", "y"), ("height", "650")];
        entry.retain(|(name, _)| *name != field);
        entry.push((field, value));
        let answer = client.post("/new", &entry);
        assert_eq!(answer.status, 422, "{field} {value}: {}", answer.text());
        assert_guarded(&answer, field);
    }
    let host = ask(server.port, "GET", "/", "Host: a\x1b[2Jb\r\n");
    assert!([400, 421].contains(&host.status));
    for line in server.log().lines() {
        // Every line begins with a time, in UTC.
        let (time, _) = line.split_once(' ').unwrap();
        assert!(time.ends_with('Z') && time.parse::<jiff::Timestamp>().is_ok(), "{line}");
        assert!(!line.contains(char::is_control), "{line}");
    }
    assert!(!server.log().contains(&client.form) && !server.log().contains(client.cookie.split('=').nth(1).unwrap()));
}

/// Other devices come in with a code, once; who sits at the machine needs none.
#[test]
fn a_code_lets_one_phone_in() {
    let server = Server::start(&["--lan"]);
    assert!(server.greeting.contains("WARNING") && server.greeting.contains('▄'), "{}", server.greeting);
    let place = server.greeting.split("Or type: http://").nth(1).unwrap().lines().next().unwrap();
    let (address, code) = place.split_once("/#").unwrap();
    let ip: std::net::IpAddr = address.split(':').next().unwrap().parse().unwrap();
    let send = |request: String| {
        let mut line = std::net::TcpStream::connect((ip, server.port)).unwrap();
        line.set_read_timeout(Some(Duration::from_mins(1))).unwrap();
        line.write_all(request.as_bytes()).unwrap();
        let mut all = Vec::new();
        line.read_to_end(&mut all).unwrap();
        parse(&all)
    };
    let get = |path: &str, cookie: &str| {
        send(format!("GET {path} HTTP/1.1\r\nHost: {address}\r\nCookie: {cookie}\r\nConnection: close\r\n\r\n"))
    };
    let enter = |code: &str| {
        let body = format!("code={code}");
        send(format!(
            "POST /enter HTTP/1.1\r\nHost: {address}\r\nOrigin: http://{address}\r\nContent-Type: application/x-www-form-urlencoded\r\n\
             Content-Length: {}\r\nConnection: close\r\n\r\n{body}",
            body.len()
        ))
    };
    for path in ["/", "/new", "/desk", "/i/00000000-0000-0000-0000-000000000000", "/nothing"] {
        let answer = get(path, "lampwright=0");
        assert_eq!(answer.status, 401, "{path}");
        assert_guarded(&answer, path);
        assert!(answer.header("set-cookie").is_none());
    }
    assert_eq!(get("/page.js", "").status, 200);
    assert_eq!(enter("0").status, 401);
    let entered = enter(code);
    assert_eq!(entered.status, 204);
    let cookie = entered.header("set-cookie").unwrap().to_owned();
    assert!(cookie.contains("HttpOnly") && cookie.contains("SameSite=Strict") && cookie.contains("Path=/"), "{cookie}");
    assert!(!cookie.contains(code), "a new secret");
    assert_eq!(enter(code).status, 401, "second use");
    let cookie = cookie.split(';').next().unwrap();
    let home = get("/", cookie);
    assert_eq!(home.status, 200);
    let statuses: Vec<u16> = (0..100).map(|n| enter(&format!("{n:064x}")).status).collect();
    assert!(statuses[0] == 401 && statuses[99] == 429, "{statuses:?}");
    assert!(server.log().contains("too many wrong codes") && !server.log().contains(code));
    assert_eq!(get("/", cookie).status, 200, "who is in stays in");
    // Another phone, from one that is in.
    let form = home.field("form");
    let body = format!("form={form}");
    let shown = send(format!(
        "POST /phone HTTP/1.1\r\nHost: {address}\r\nCookie: {cookie}\r\nOrigin: http://{address}\r\n\
         Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {}\r\nConnection: close\r\n\r\n{body}",
        body.len()
    ));
    assert!(shown.status == 200 && shown.text().contains("class=\"qr\""));
}

#[test]
fn without_lan_no_other_device_reaches_it() {
    let server = Server::start(&[]);
    let probe = std::net::UdpSocket::bind("0.0.0.0:0").unwrap();
    if probe.connect("192.0.2.1:9").is_ok() {
        let own = probe.local_addr().unwrap().ip();
        if !own.is_loopback() && !own.is_unspecified() {
            assert!(std::net::TcpStream::connect((own, server.port)).is_err());
        }
    }
    assert!(!server.greeting.contains("Other devices"));
}

/// Sees the certificate that a server shows, and that the server holds its key; trusts any.
#[derive(Debug)]
struct Seen {
    fingerprint: Mutex<String>,
    algorithms: WebPkiSupportedAlgorithms,
}

impl ServerCertVerifier for Seen {
    fn verify_server_cert(
        &self,
        shown: &CertificateDer<'_>,
        _: &[CertificateDer<'_>],
        _: &ServerName<'_>,
        _: &[u8],
        _: UnixTime,
    ) -> Result<ServerCertVerified, rustls::Error> {
        let digest = Sha256::digest(shown);
        *self.fingerprint.lock().unwrap() =
            digest.iter().map(|byte| format!("{byte:02X}")).collect::<Vec<_>>().join(":");
        Ok(ServerCertVerified::assertion())
    }

    fn verify_tls12_signature(
        &self,
        message: &[u8],
        shown: &CertificateDer<'_>,
        signed: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, rustls::Error> {
        rustls::crypto::verify_tls12_signature(message, shown, signed, &self.algorithms)
    }

    fn verify_tls13_signature(
        &self,
        message: &[u8],
        shown: &CertificateDer<'_>,
        signed: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, rustls::Error> {
        rustls::crypto::verify_tls13_signature(message, shown, signed, &self.algorithms)
    }

    fn supported_verify_schemes(&self) -> Vec<SignatureScheme> {
        self.algorithms.supported_schemes()
    }
}

/// What a browser holds on to with TLS: the certificate that was printed, a cookie bound to this host, and no way back.
#[test]
fn with_tls_the_printed_certificate_is_shown_and_the_cookie_is_bound_to_it() {
    let server = Server::start(&["--tls"]);
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let seen = Arc::new(Seen { fingerprint: Mutex::default(), algorithms: provider.signature_verification_algorithms });
    let config = ClientConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .unwrap()
        .dangerous()
        .with_custom_certificate_verifier(Arc::clone(&seen) as Arc<dyn ServerCertVerifier>)
        .with_no_client_auth();
    let name = ServerName::try_from("localhost").unwrap();
    let handshake = ClientConnection::new(Arc::new(config), name).unwrap();
    let mut line = StreamOwned::new(handshake, page_server::connect(server.port));
    let request = format!("GET / HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nConnection: close\r\n\r\n", server.port);
    line.write_all(request.as_bytes()).unwrap();
    let mut all = Vec::new();
    line.read_to_end(&mut all).unwrap();
    let answer = parse(&all);
    assert_eq!(answer.status, 200);
    assert_guarded(&answer, "with TLS");
    let fingerprint = seen.fingerprint.lock().unwrap().clone();
    assert!(fingerprint.len() == 95 && server.greeting.contains(&fingerprint), "{fingerprint}: {}", server.greeting);
    let cookie = answer.header("set-cookie").unwrap();
    assert!(cookie.starts_with("__Host-lampwright="), "{cookie}");
    for part in ["; Secure", "; Path=/", "; HttpOnly", "; SameSite=Strict"] {
        assert!(cookie.contains(part), "{part}: {cookie}");
    }
    assert!(!cookie.contains("Domain"), "{cookie}");
    assert!(answer.header("strict-transport-security").is_some_and(|value| value.starts_with("max-age=")));
}

#[test]
fn with_tls_the_certificate_is_named_and_plain_requests_get_nothing() {
    let server = Server::start(&["--tls"]);
    let line = server.greeting.lines().find(|line| line.matches(':').count() == 31);
    assert!(line.is_some_and(|line| line.trim().len() == 95), "{}", server.greeting);
    let answer = raw(server.port, format!("GET / HTTP/1.1\r\nHost: 127.0.0.1:{}\r\n\r\n", server.port).as_bytes());
    assert!(!String::from_utf8_lossy(&answer).contains("200 OK"));
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
