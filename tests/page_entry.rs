//! Who comes in: codes for other devices, and what a browser holds on to with TLS.

#![cfg(feature = "serve")]
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test's helpers must fail loudly, as the tests do")]

mod page_server;

use page_server::{Server, assert_guarded, parse, raw};
use rustls::client::danger::{HandshakeSignatureValid, ServerCertVerified, ServerCertVerifier};
use rustls::crypto::WebPkiSupportedAlgorithms;
use rustls::pki_types::{CertificateDer, ServerName, UnixTime};
use rustls::{ClientConfig, ClientConnection, DigitallySignedStruct, SignatureScheme, StreamOwned};
use sha2::{Digest, Sha256};
use std::io::{Read, Write};
use std::sync::{Arc, Mutex};
use std::time::Duration;

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
