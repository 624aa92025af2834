//! What only a raw socket can do: requests that two servers would read differently, lines that crawl or break off.
//!
//! `tests/page/run` runs these; they wait for clocks, so that they are left out of an ordinary run.

#![cfg(feature = "serve")]
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test's helpers must fail loudly, as the tests do")]

mod page_server;

use page_server::{Server, connect, crawl, good_photo, parse, raw};
use std::io::{Read, Write};
use std::time::{Duration, Instant};

/// How many answers came back.
fn answers(all: &[u8]) -> usize {
    String::from_utf8_lossy(all).matches("HTTP/1.1 ").count()
}

#[test]
#[ignore = "by tests/page/run"]
fn nothing_is_smuggled_behind_a_body() {
    let server = Server::start(&["--upload-seconds", "4"]);
    let client = server.client();
    let own = client.own();
    let hidden = format!("POST /new HTTP/1.1\r\n{own}Content-Length: 5\r\n\r\nhello");
    let form = "Content-Type: application/x-www-form-urlencoded\r\n";
    let entries = server.entries();
    for (what, head, body) in [
        ("both, length first", "Content-Length: 6\r\nTransfer-Encoding: chunked\r\n", "0\r\n\r\n"),
        ("both, coding first", "Transfer-Encoding: chunked\r\nContent-Length: 6\r\n", "0\r\n\r\n"),
        ("two lengths", "Content-Length: 0\r\nContent-Length: 44\r\n", ""),
        ("two lengths in one", "Content-Length: 0, 44\r\n", ""),
        ("a length with a sign", "Content-Length: +0\r\n", ""),
        ("a length in hexadecimal", "Content-Length: 0x0\r\n", ""),
        ("a coding with a tail", "Transfer-Encoding: chunked, identity\r\n", "0\r\n\r\n"),
        ("a coding nobody knows", "Transfer-Encoding: xchunked\r\n", "0\r\n\r\n"),
        ("a blank before the colon", "Transfer-Encoding : chunked\r\n", "0\r\n\r\n"),
        (
            "a folded line",
            "X: a\r\n Transfer-Encoding: chunked\r\nContent-Length: 0\r\nTransfer-Encoding: chunked\r\n",
            "0\r\n\r\n",
        ),
        ("a bad chunk", "Transfer-Encoding: chunked\r\n", "zz\r\nhello\r\n0\r\n\r\n"),
        ("an endless chunk", "Transfer-Encoding: chunked\r\n", "ffffffffffffffff\r\nhello"),
    ] {
        let request = format!("POST /new HTTP/1.1\r\n{own}{form}{head}\r\n{body}{hidden}");
        let mut line = connect(server.port);
        line.set_read_timeout(Some(Duration::from_secs(15))).unwrap();
        line.write_all(request.as_bytes()).unwrap();
        let mut all = Vec::new();
        // Ends when the server closes, which is the point.
        let closed = line.read_to_end(&mut all).is_ok();
        assert!(closed && answers(&all) <= 1, "{what}: {} answers, closed {closed}", answers(&all));
        if !all.is_empty() {
            let status = parse(&all).status;
            assert!((400..500).contains(&status), "{what}: {status}");
        }
    }
    assert_eq!(server.entries(), entries);
    assert_eq!(client.get("/").status, 200, "it still serves");
}

#[test]
#[ignore = "by tests/page/run"]
fn a_line_that_crawls_is_cut_and_holds_no_memory() {
    let server = Server::start(&["--upload-seconds", "4"]);
    let client = server.client();
    let id = client.begin("order 12");
    let page = client.get(&format!("/i/{id}"));
    let request = client.upload_request(&id, &page, "nothing", "p.jpg", &good_photo());
    let slow: Vec<_> = (0..6)
        .map(|_| {
            let (request, port) = (request.clone(), server.port);
            std::thread::spawn(move || {
                let mut line = connect(port);
                line.write_all(&request[..3000]).unwrap();
                crawl(line, &request[3000..3030])
            })
        })
        .collect();
    // The same without a length.
    let streamed = {
        let mut line = connect(server.port);
        let own = client.own();
        line.write_all(format!("POST /i/{id}/photo HTTP/1.1\r\n{own}Transfer-Encoding: chunked\r\n\r\n").as_bytes())
            .unwrap();
        line.write_all(b"ffff\r\n").unwrap();
        std::thread::spawn(move || crawl(line, b"x"))
    };
    std::thread::sleep(Duration::from_secs(1));
    // Meanwhile everybody else is served.
    assert_eq!(client.get("/").status, 200);
    for line in slow.into_iter().chain([streamed]) {
        let (all, time) = line.join().unwrap();
        assert_eq!(parse(&all).status, 408);
        assert!(time < Duration::from_secs(30), "{time:?}");
    }
    assert_eq!(server.readings(), 0);
    assert!(server.peak_mib().is_none_or(|peak| peak < 250));
    // Places are free again.
    assert_eq!(parse(&raw(server.port, &request)).status, 303);
}

#[test]
#[ignore = "by tests/page/run"]
fn a_head_that_crawls_is_cut() {
    let server = Server::start(&[]);
    let mut line = connect(server.port);
    line.write_all(b"GET / HTTP/1.1\r\nHost: ").unwrap();
    let begun = Instant::now();
    let mut all = Vec::new();
    let _ = line.read_to_end(&mut all);
    assert!(begun.elapsed() < Duration::from_secs(30), "{:?}", begun.elapsed());
    let mut line = connect(server.port);
    let huge = format!("GET / HTTP/1.1\r\nHost: localhost\r\nX: {}\r\n\r\n", "x".repeat(100_000));
    let _ = line.write_all(huge.as_bytes());
    let mut all = Vec::new();
    let _ = line.read_to_end(&mut all);
    assert!(all.is_empty() || (400..500).contains(&parse(&all).status));
}

/// A form that crawls is cut, also where nobody must be known to send one.
#[test]
#[ignore = "by tests/page/run"]
fn a_form_that_crawls_is_cut() {
    let server = Server::start(&[]);
    let own = server.client().own();
    let form = |path: &str| {
        let kind = "Content-Type: application/x-www-form-urlencoded";
        let mut line = connect(server.port);
        let head = format!("POST {path} HTTP/1.1\r\n{own}{kind}\r\nContent-Length: 1000\r\n\r\n");
        line.write_all(head.as_bytes()).unwrap();
        let (all, time) = crawl(line, b"a");
        assert!(time < Duration::from_secs(25), "{path}: {time:?}");
        assert_eq!(parse(&all).status, 408, "{path}");
    };
    std::thread::scope(|scope| {
        for path in ["/enter", "/new", "/phone"] {
            scope.spawn(|| form(path));
        }
    });
}

/// Who says nothing is cut, and nobody gets the newer protocol, whose limits are others.
#[test]
#[ignore = "by tests/page/run"]
fn a_silent_line_is_cut_and_the_newer_protocol_is_not_spoken() {
    let server = Server::start(&[]);
    let begun = Instant::now();
    let mut silent = connect(server.port);
    silent.set_read_timeout(Some(Duration::from_secs(30))).unwrap();
    let mut started = connect(server.port);
    started.set_read_timeout(Some(Duration::from_secs(30))).unwrap();
    started.write_all(b"PRI * HTT").unwrap();

    let mut newer = connect(server.port);
    newer.set_read_timeout(Some(Duration::from_secs(30))).unwrap();
    let settings = [0, 0, 0, 4, 0, 0, 0, 0, 0];
    newer.write_all(&[&b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n"[..], &settings].concat()).unwrap();
    let mut all = Vec::new();
    // It may be reset, for what was not read: no answer then.
    let _ = newer.read_to_end(&mut all);
    assert!(all.is_empty() || (400..500).contains(&parse(&all).status), "{all:?}");
    for (what, line) in [("silent", &mut silent), ("half a first word", &mut started)] {
        let closed = line.read_to_end(&mut Vec::new());
        let is_late = closed
            .is_err_and(|error| matches!(error.kind(), std::io::ErrorKind::WouldBlock | std::io::ErrorKind::TimedOut));
        assert!(!is_late && begun.elapsed() < Duration::from_secs(25), "{what}: {:?}", begun.elapsed());
    }
}

/// Broken off at every part of the form and within the photo: no record, no file; sent again whole, one reading.
#[test]
#[ignore = "by tests/page/run"]
fn a_line_that_breaks_leaves_nothing() {
    let server = Server::start(&[]);
    let client = server.client();
    let id = client.begin("order 12");
    let page = client.get(&format!("/i/{id}"));
    let request = client.upload_request(&id, &page, "nothing", "p.jpg", &good_photo());
    let (entries, files) = (server.entries(), server.files());
    let parts = request.windows(6).enumerate().filter(|(_, window)| *window == b"--page").map(|(place, _)| place);
    let ends: Vec<usize> = parts.chain([600, 5000, 50_000, request.len() / 2, request.len() - 40]).collect();
    for end in ends {
        let mut line = connect(server.port);
        line.write_all(&request[..end]).unwrap();
        drop(line);
    }
    std::thread::sleep(Duration::from_secs(2));
    assert_eq!((server.entries(), server.files()), (entries, files));
    // The line breaks when the form's end was sent and before the answer: it counts, and sending it again finds it.
    let mut line = connect(server.port);
    line.write_all(&request).unwrap();
    drop(line);
    let again = parse(&raw(server.port, &request));
    assert_eq!(again.status, 303, "{}", again.text());
    assert_eq!(server.readings(), 1);
}

/// Four phones at once, each with its own vehicle, and killing the server in between.
#[test]
#[ignore = "by tests/page/run"]
fn four_phones_at_once_and_a_killed_server() {
    let server = Server::start(&[]);
    let client = server.client();
    let ids: Vec<String> = (0..4).map(|n| client.begin(&format!("order {n}"))).collect();
    std::thread::scope(|scope| {
        for id in &ids {
            let client = client.clone();
            scope.spawn(move || assert_eq!(client.upload(id, "nothing", "p.jpg", &good_photo()).status, 303));
        }
    });
    assert_eq!(server.readings(), 4);
    // Killed while four more are on their way: what is there afterwards is whole.
    let requests: Vec<Vec<u8>> = ids
        .iter()
        .map(|id| client.upload_request(id, &client.get(&format!("/i/{id}")), "told", "p.jpg", &good_photo()))
        .collect();
    let port = server.port;
    let sending: Vec<_> = requests
        .into_iter()
        .map(|request| {
            std::thread::spawn(move || {
                let mut line = connect(port);
                // The server is killed meanwhile.
                let _ = line.write_all(&request);
                let _ = line.read(&mut [0; 100]);
            })
        })
        .collect();
    std::thread::sleep(Duration::from_millis(150));
    let folder = server.stop();
    for one in sending {
        one.join().unwrap();
    }
    let server = Server::again(folder, &[]);
    let store = lampwright::record::Store::read(&server.folder.path().join("shop")).unwrap();
    let verified = lampwright::record::verify(&store, &lampwright::record::VerifyOptions::default()).unwrap();
    assert!(verified.findings.is_empty(), "{:?}", verified.findings);
    let client = server.client();
    for id in &ids {
        assert_eq!(client.get(&format!("/i/{id}")).status, 200);
    }
}
