//! A server within a test, where a test must look inside it or hold something in it.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test's helpers must fail loudly, as the tests do")]

use super::shop::Shop;
use crate::cli::serve::ServeArgs;
use crate::cli::{Cli, Command};
use crate::record::Store;
use axum::Router;
use clap::Parser;
use std::io::{Read, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;
use tokio::runtime::Runtime;

/// Longest wait for an answer.
const PATIENCE: Duration = Duration::from_mins(1);

/// A server in a fresh folder.
pub(super) struct Trial {
    pub(super) shop: Arc<Shop>,
    pub(super) port: u16,
    pub(super) runtime: Runtime,
    listener: Option<TcpListener>,
    _folder: tempfile::TempDir,
}

/// Arguments of a server with a store in this folder.
fn args(folder: &Path) -> ServeArgs {
    let (store, bay) = (folder.join("shop"), folder.join("bay.toml"));
    Store::create(&store).unwrap();
    std::fs::copy(concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/bays/shot-clean.toml"), &bay).unwrap();
    let words = ["lampwright", "serve", "--bay", bay.to_str().unwrap(), "--record", store.to_str().unwrap()];
    let Command::Serve(args) = Cli::parse_from(words).command else { panic!("another command") };
    *args
}

impl Trial {
    /// With its port open and nobody behind it.
    pub(super) fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        listener.set_nonblocking(true).unwrap();
        let port = listener.local_addr().unwrap().port();
        let shop = Shop::new(&args(folder.path()), vec![format!("127.0.0.1:{port}")], None).unwrap();
        let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(1).enable_all().build().unwrap();
        Self { shop: Arc::new(shop), port, runtime, listener: Some(listener), _folder: folder }
    }

    /// Serves these routes.
    pub(super) fn serve(&mut self, routes: Router) {
        let listener = self.listener.take().unwrap();
        let service = routes.into_make_service_with_connect_info::<SocketAddr>();
        self.runtime.spawn(async move { axum_server::from_tcp(listener).unwrap().serve(service).await });
    }

    /// Sends a request whose head lacks its last lines: our own name, where it comes from, and what ends it.
    pub(super) fn send(&self, head: &str, body: &[u8]) -> TcpStream {
        let mut line = TcpStream::connect(("127.0.0.1", self.port)).unwrap();
        line.set_read_timeout(Some(PATIENCE)).unwrap();
        let length = if body.is_empty() { String::new() } else { format!("Content-Length: {}\r\n", body.len()) };
        let own = format!("Host: 127.0.0.1:{}\r\nSec-Fetch-Site: same-origin\r\nConnection: close\r\n", self.port);
        line.write_all(format!("{head}\r\n{own}{length}\r\n").as_bytes()).unwrap();
        line.write_all(body).unwrap();
        line
    }
}

/// All that comes back.
pub(super) fn answer(mut line: TcpStream) -> String {
    let mut all = String::new();
    line.read_to_string(&mut all).unwrap();
    all
}
