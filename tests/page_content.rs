//! What comes in from outside: photos that are none, names, sizes, and what is typed.

#![cfg(feature = "serve")]
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test's helpers must fail loudly, as the tests do")]

mod page_server;

use page_server::{Server, ask, assert_guarded, good_photo, head_of, parse, raw};
use std::io::Write;
use std::time::{Duration, Instant};

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
