//! Starting the server: port, names, what is printed, and the end.

use super::desk::check_store;
use super::enter::qr_text;
use super::log::log;
use super::routes::routes;
use super::shop::Shop;
use super::{tls, watch};
use crate::cli::ExitStatus;
use crate::cli::serve::ServeArgs;
use crate::error::Error;
use axum_server::Handle;
use hyper_util::rt::TokioTimer;
use std::io::{BufRead, Write};
use std::net::{IpAddr, Ipv4Addr, SocketAddr, TcpListener, UdpSocket};
use std::sync::Arc;
use std::time::Duration;

/// Longest time for the head of a request.
const HEAD_TIME: Duration = Duration::from_secs(10);
/// Largest head of a request, bytes.
const HEAD_BYTES: usize = 16 << 10;
/// Time that running requests get when the server ends.
const END_TIME: Duration = Duration::from_secs(10);

/// Serves until it is interrupted.
pub fn serve(args: &ServeArgs, stdout: &mut dyn Write) -> Result<ExitStatus, Error> {
    let any = if args.lan { Ipv4Addr::UNSPECIFIED } else { Ipv4Addr::LOCALHOST };
    let cannot = |error: std::io::Error| {
        let hint = "another program has this port, or it may not be used: choose one with --port";
        Error::usage(format!("port {} cannot be opened: {error}", args.port), hint)
    };
    let listener = TcpListener::bind((any, args.port)).map_err(cannot)?;
    listener.set_nonblocking(true).map_err(cannot)?;
    let port = listener.local_addr().map_err(cannot)?.port();
    let own = args.lan.then(own_address).flatten();
    let scheme = if args.tls { "https" } else { "http" };
    let lan_address = if args.lan { Some(lan_address(own, args, port)?) } else { None };
    let names: Vec<String> = ["127.0.0.1".to_owned(), "localhost".to_owned()]
        .into_iter()
        .chain(own.map(|own| own.to_string()))
        .chain(args.hosts.iter().cloned())
        .collect();
    let hosts = known_hosts(&names, port, args.tls);
    let shop = Arc::new(Shop::new(args, hosts, lan_address)?);
    let bare = names.iter().map(|name| without_port(name).to_owned()).collect();
    let secured = if args.tls { Some(tls::self_signed(bare)?) } else { None };
    let text = greeting(&shop, scheme, port, secured.as_ref().map(|(_, fingerprint)| fingerprint.as_str()))?;
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().map_err(cannot)?;
    stdout.write_all(text.as_bytes()).and_then(|()| stdout.flush()).map_err(|error| {
        Error::usage(format!("the address cannot be printed: {error}"), "is the pipe that reads it still open?")
    })?;
    runtime.block_on(run(shop, listener, secured.map(|(config, _)| config))).map_err(|error| {
        Error::usage(format!("the server ended: {error}"), "start it again; what was recorded is on the disk")
    })?;
    Ok(ExitStatus::Good)
}

async fn run(
    shop: Arc<Shop>,
    listener: TcpListener,
    secured: Option<axum_server::tls_rustls::RustlsConfig>,
) -> std::io::Result<()> {
    let handle = Handle::<SocketAddr>::new();
    let ending = handle.clone();
    tokio::spawn(async move {
        interrupted().await;
        log("ends");
        ending.graceful_shutdown(Some(END_TIME));
    });
    tokio::spawn(watch::look(Arc::clone(&shop)));
    let checked = Arc::clone(&shop);
    tokio::spawn(async move { check_store(checked).await });
    if shop.lan_address.is_some() {
        let own = Arc::clone(&shop);
        std::thread::spawn(move || more_codes(&own));
    }
    let service = routes(&shop).into_make_service_with_connect_info::<SocketAddr>();
    // One protocol, and no waiting for ever for a first word or for the head of a request.
    macro_rules! ready {
        ($server:expr) => {{
            let mut server = $server.handle(handle).http1_only().first_request_timeout(HEAD_TIME);
            let builder = server.http_builder();
            builder.http1().timer(TokioTimer::new()).header_read_timeout(HEAD_TIME).max_buf_size(HEAD_BYTES);
            server.serve(service).await
        }};
    }
    if let Some(config) = secured {
        return ready!(axum_server::from_tcp_rustls(listener, config)?);
    }
    ready!(axum_server::from_tcp(listener)?)
}

/// Returns when the program is asked to end.
async fn interrupted() {
    let key = tokio::signal::ctrl_c();
    #[cfg(unix)]
    {
        use tokio::signal::unix::{SignalKind, signal};
        if let Ok(mut terminated) = signal(SignalKind::terminate()) {
            tokio::select! { _ = key => {}, _ = terminated.recv() => {} }
            return;
        }
    }
    // Without a signal that can be waited for the server runs until it is killed; nothing is lost by that.
    if key.await.is_err() {
        std::future::pending::<()>().await;
    }
}

/// Every name with the port, unless it has one of its own (a port that is forwarded here), and without it where the scheme implies it.
fn known_hosts(names: &[String], port: u16, is_tls: bool) -> Vec<String> {
    let is_implied = port == if is_tls { 443 } else { 80 };
    let with_port = |name: &String| if without_port(name) == name { format!("{name}:{port}") } else { name.clone() };
    let mut hosts: Vec<String> = names.iter().map(with_port).collect();
    if is_implied {
        hosts.extend(names.iter().cloned());
    }
    hosts
}

/// A name without the port that it may end with.
fn without_port(name: &str) -> &str {
    match name.rsplit_once(':') {
        Some((bare, port)) if port.parse::<u16>().is_ok() && !bare.ends_with(':') => bare,
        _ => name,
    }
}

/// Where other devices find this server: at this machine's own address, and where the network leads nowhere else (an access
/// point of the shop alone) at the first name that was given.
fn lan_address(own: Option<IpAddr>, args: &ServeArgs, port: u16) -> Result<String, Error> {
    let scheme = if args.tls { "https" } else { "http" };
    let own = own.map(|own| own.to_string());
    let Some(name) = own.as_ref().or(args.hosts.first()) else {
        let hint = "name the address that they reach it by with --host ADDRESS, join the shop's network first, or leave --lan out";
        return Err(Error::usage("this machine's address in the network cannot be told: it has no way out", hint));
    };
    let place = if without_port(name) == name { format!("{name}:{port}") } else { name.clone() };
    Ok(format!("{scheme}://{place}/"))
}

/// The address under which the network knows this machine: that of the way out. Nothing is sent.
fn own_address() -> Option<IpAddr> {
    /// An address of documentation (RFC 5737), which nobody has.
    const NOBODY: (Ipv4Addr, u16) = (Ipv4Addr::new(192, 0, 2, 1), 9);
    let socket = UdpSocket::bind((Ipv4Addr::UNSPECIFIED, 0)).ok()?;
    socket.connect(NOBODY).ok()?;
    let own = socket.local_addr().ok()?.ip();
    (!own.is_unspecified() && !own.is_loopback()).then_some(own)
}

fn greeting(shop: &Shop, scheme: &str, port: u16, fingerprint: Option<&str>) -> Result<String, Error> {
    let mut text = format!("Serving {scheme}://127.0.0.1:{port}/ for this machine\n");
    if let Some(address) = &shop.lan_address {
        text += "Other devices: ";
        text += address;
        text.push('\n');
        text += &code_text(shop, address)?;
        text += "WARNING: everybody on this network can reach this port. A code lets one phone in, once, for five minutes; \
                 press Enter for another.\n";
        if !shop.is_tls {
            text += "WARNING: without --tls photos and codes cross the network unencrypted. Use it on the shop's own network only.\n";
        }
    }
    if let Some(fingerprint) = fingerprint {
        text += "The certificate is self-signed: the browser warns once. Its SHA-256 must be\n  ";
        text += fingerprint;
        text.push('\n');
    }
    text += "End with Ctrl-C.\n";
    Ok(text)
}

fn code_text(shop: &Shop, address: &str) -> Result<String, Error> {
    let place = format!("{address}#{}", shop.visitors.new_code()?);
    Ok(format!("{}Or type: {place}\n", qr_text(&place)))
}

/// A new code at every line that is typed.
fn more_codes(shop: &Shop) {
    let Some(address) = &shop.lan_address else { return };
    for line in std::io::stdin().lock().lines() {
        let (Ok(_), Ok(text)) = (line, code_text(shop, address)) else { return };
        if anstream::stdout().write_all(text.as_bytes()).is_err() {
            return;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cli::{Cli, Command};
    use clap::Parser;

    /// On an access point that leads nowhere, the name that was given is where phones go; without one, the way is told.
    #[test]
    fn a_network_without_a_way_out_needs_a_name() {
        let args = |more: &[&str]| {
            let words = ["lampwright", "serve", "--bay", "b.toml", "--record", "shop", "--lan"];
            let Command::Serve(args) = Cli::parse_from(words.iter().chain(more)).command else {
                panic!("another command")
            };
            args
        };
        let own = Some(IpAddr::from([192, 0, 2, 7]));
        assert_eq!(lan_address(own, &args(&["--host", "shop.local"]), 8737).unwrap(), "http://192.0.2.7:8737/");
        assert_eq!(lan_address(None, &args(&["--host", "192.0.2.9"]), 8737).unwrap(), "http://192.0.2.9:8737/");
        let forwarded = args(&["--tls", "--host", "shop.local:9000", "other.local"]);
        assert_eq!(lan_address(None, &forwarded, 8737).unwrap(), "https://shop.local:9000/");
        assert!(lan_address(None, &args(&[]), 8737).unwrap_err().to_string().contains("--host ADDRESS"));
    }

    #[test]
    fn names_carry_the_port_unless_it_is_implied() {
        let names = ["localhost".to_owned()];
        assert_eq!(known_hosts(&names, 8737, false), ["localhost:8737"]);
        assert_eq!(known_hosts(&names, 443, true), ["localhost:443", "localhost"]);
        assert_eq!(known_hosts(&names, 80, true), ["localhost:80"]);
        assert_eq!(known_hosts(&["shop.local:9000".to_owned()], 8737, false), ["shop.local:9000"]);
    }
}
