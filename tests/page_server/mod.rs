//! A server of the page in a fresh folder, and a client that says exactly what it is told to, byte by byte.

#![allow(dead_code, reason = "each test program uses its own part")]
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test's helpers must fail loudly, as the tests do"
)]

use std::fs;
use std::io::{BufRead, BufReader, ErrorKind, Read, Write};
use std::net::{Ipv4Addr, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};
use tempfile::TempDir;

/// Longest wait for an answer: measuring with a test's build on a busy machine takes seconds.
const PATIENCE: Duration = Duration::from_mins(2);
/// What parts a form with a file.
const BOUNDARY: &str = "page-test-boundary";

/// A running server and its folder.
pub(crate) struct Server {
    pub(crate) folder: TempDir,
    pub(crate) port: u16,
    /// What it printed at its start.
    pub(crate) greeting: String,
    child: Child,
}

/// An answer.
#[derive(Debug, Clone)]
pub(crate) struct Answer {
    pub(crate) status: u16,
    pub(crate) headers: Vec<(String, String)>,
    pub(crate) body: Vec<u8>,
}

/// One who asks, with the cookie that it was given.
#[derive(Debug, Clone)]
pub(crate) struct Client {
    pub(crate) port: u16,
    pub(crate) cookie: String,
    /// What its forms carry.
    pub(crate) form: String,
}

fn fixtures() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures")
}

/// A photo that can be measured: the right low beam of `shop`'s vehicle.
pub(crate) fn good_photo() -> Vec<u8> {
    fs::read(fixtures().join("shots/shot-clean.jpg")).unwrap()
}

/// The photo's bay with its centreline moved by twice the lamp's offset: the photo's right lamp stands there as a left one,
/// which is what the page asks for first.
fn bay_of_a_left_lamp() -> String {
    let bay = fs::read_to_string(fixtures().join("bays/shot-clean.toml")).unwrap();
    let moved = |line: &str| match line.strip_prefix("x_mm") {
        Some(rest) => {
            format!("x_mm = {:.2}", rest.trim_start_matches([' ', '=']).parse::<f64>().unwrap() - 2.0 * 571.0)
        }
        None => line.to_owned(),
    };
    bay.lines().map(|line| moved(line) + "\n").collect()
}

impl Server {
    /// Starts one on a free port; `more` are further arguments.
    pub(crate) fn start(more: &[&str]) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let program = env!("CARGO_BIN_EXE_lampwright");
        let made = Command::new(program).args(["record", "init", "shop"]).current_dir(folder.path()).output().unwrap();
        assert!(made.status.success(), "{made:?}");
        Self::again(folder, more)
    }

    /// Starts one on a folder whose store is there.
    pub(crate) fn again(folder: TempDir, more: &[&str]) -> Self {
        Self::in_zone(folder, "UTC0", more)
    }

    /// The same with the clock of another place: a POSIX time zone.
    pub(crate) fn in_zone(folder: TempDir, zone: &str, more: &[&str]) -> Self {
        fs::write(folder.path().join("bay.toml"), bay_of_a_left_lamp()).unwrap();
        // A busy machine and a test's build are slow; who tests the limit says another.
        let patient: &[&str] = if more.contains(&"--photo-seconds") { &[] } else { &["--photo-seconds", "600"] };
        let mut child = Command::new(env!("CARGO_BIN_EXE_lampwright"))
            .args(["serve", "--bay", "bay.toml", "--record", "shop", "--port", "0"])
            .args(patient)
            .args(more)
            .current_dir(folder.path())
            .env("TZ", zone)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(fs::File::options().append(true).create(true).open(folder.path().join("log")).unwrap())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
        let mut greeting = String::new();
        while !greeting.contains("End with") {
            greeting += &(lines.next().expect("the server starts").unwrap() + "\n");
        }
        let port = greeting.split("127.0.0.1:").nth(1).unwrap().split('/').next().unwrap().parse().unwrap();
        Self { folder, port, greeting, child }
    }

    /// Ends it and keeps its folder.
    pub(crate) fn stop(mut self) -> TempDir {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
        let folder = tempfile::tempdir().unwrap();
        std::mem::replace(&mut self.folder, folder)
    }

    /// Whether it is still there.
    pub(crate) fn is_alive(&mut self) -> bool {
        self.child.try_wait().unwrap().is_none()
    }

    /// What it said on standard error.
    pub(crate) fn log(&self) -> String {
        fs::read_to_string(self.folder.path().join("log")).unwrap()
    }

    /// Peak of its memory, MiB, where the system tells.
    pub(crate) fn peak_mib(&self) -> Option<u64> {
        let status = fs::read_to_string(format!("/proc/{}/status", self.child.id())).ok()?;
        let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"))?;
        Some(line.trim().trim_end_matches(" kB").trim().parse::<u64>().ok()? / 1024)
    }

    /// How many readings are recorded, over all inspections.
    pub(crate) fn readings(&self) -> u64 {
        let store = lampwright::record::Store::read(&self.folder.path().join("shop")).unwrap();
        store.list(1000).unwrap().iter().map(|row| row.readings).sum()
    }

    /// How many entries the log has.
    pub(crate) fn entries(&self) -> u64 {
        lampwright::record::Store::read(&self.folder.path().join("shop")).unwrap().head().unwrap().size
    }

    /// Measures the newest record again from the store alone: it must come to the same, to the last digit.
    pub(crate) fn assert_replayed(&self) {
        let shop = self.folder.path().join("shop");
        let newest = (self.entries() - 1).to_string();
        let again = Command::new(env!("CARGO_BIN_EXE_lampwright"))
            .args(["record", "replay", shop.to_str().unwrap(), &newest])
            .output()
            .unwrap();
        assert!(again.status.success(), "{again:?}");
    }

    /// Waits until something is so.
    pub(crate) fn until(&self, what: impl Fn() -> bool) {
        let begun = Instant::now();
        while !what() {
            assert!(begun.elapsed() < PATIENCE, "{}", self.log());
            std::thread::sleep(Duration::from_millis(100));
        }
    }

    /// Every file below its folder, without the log of the server and the database's own working files.
    pub(crate) fn files(&self) -> Vec<PathBuf> {
        fn list(folder: &Path, found: &mut Vec<PathBuf>) {
            for entry in fs::read_dir(folder).unwrap().map(Result::unwrap) {
                if entry.path().is_dir() { list(&entry.path(), found) } else { found.push(entry.path()) }
            }
        }
        let mut found = Vec::new();
        list(self.folder.path(), &mut found);
        let is_own = |path: &PathBuf| {
            let name = path.file_name().unwrap().to_string_lossy().into_owned();
            name != "log" && !name.ends_with("-wal") && !name.ends_with("-shm")
        };
        found.retain(is_own);
        found.sort();
        found
    }

    /// One who comes in at this machine.
    pub(crate) fn client(&self) -> Client {
        let mut client = Client { port: self.port, cookie: String::new(), form: String::new() };
        let start = client.get("/new");
        assert_eq!(start.status, 200, "{}", start.text());
        let cookie = start.header("set-cookie").expect("a cookie for who sits at this machine");
        cookie.split(';').next().unwrap().clone_into(&mut client.cookie);
        client.form = start.field("form");
        client
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // It may be gone already.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Answer {
    pub(crate) fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }

    pub(crate) fn header(&self, name: &str) -> Option<&str> {
        self.headers.iter().find(|(key, _)| key == name).map(|(_, value)| value.as_str())
    }

    /// The value of a hidden field.
    pub(crate) fn field(&self, name: &str) -> String {
        let text = self.text();
        let behind = text.split(&format!("name=\"{name}\" value=\"")).nth(1);
        behind.unwrap_or_else(|| panic!("no field {name} in {text}")).split('"').next().unwrap().to_owned()
    }
}

/// Sends bytes and reads what comes back until the connection ends or the answer is whole.
pub(crate) fn raw(port: u16, request: &[u8]) -> Vec<u8> {
    let mut line = connect(port);
    // A server that has seen enough closes while the rest is still being sent.
    let _ = line.write_all(request);
    let mut all = Vec::new();
    let _ = line.read_to_end(&mut all);
    all
}

pub(crate) fn connect(port: u16) -> TcpStream {
    let line = TcpStream::connect((Ipv4Addr::LOCALHOST, port)).unwrap();
    line.set_read_timeout(Some(PATIENCE)).unwrap();
    line.set_write_timeout(Some(PATIENCE)).unwrap();
    line
}

/// The head of an answer whose body never ends.
pub(crate) fn head_of(line: &mut TcpStream) -> Answer {
    let mut all = Vec::new();
    while !all.ends_with(b"\r\n\r\n") {
        let mut byte = [0];
        line.read_exact(&mut byte).unwrap();
        all.push(byte[0]);
    }
    parse(&all)
}

/// Says a letter twice a second, and nothing else, until an answer comes; gives it, and how long it took.
pub(crate) fn crawl(mut line: TcpStream, letters: &[u8]) -> (Vec<u8>, Duration) {
    let begun = Instant::now();
    line.set_read_timeout(Some(Duration::from_millis(500))).unwrap();
    let mut all = Vec::new();
    for letter in letters.iter().cycle() {
        let mut part = [0; 4000];
        match line.read(&mut part) {
            Ok(0) => break,
            Ok(n) => all.extend_from_slice(&part[..n]),
            Err(error) if matches!(error.kind(), ErrorKind::WouldBlock | ErrorKind::TimedOut) => {}
            // Closed for what it did not read: what it said is here.
            Err(_) => break,
        }
        if !all.is_empty() || begun.elapsed() > PATIENCE {
            break;
        }
        // It may be closed by now, which the next look shows.
        let _ = line.write_all(&[*letter]);
    }
    (all, begun.elapsed())
}

/// The first answer in what came back.
pub(crate) fn parse(all: &[u8]) -> Answer {
    let end = all.windows(4).position(|window| window == b"\r\n\r\n").unwrap_or_else(|| panic!("no answer: {all:?}"));
    let head = String::from_utf8_lossy(&all[..end]).into_owned();
    let mut lines = head.lines();
    let status = lines.next().unwrap().split(' ').nth(1).unwrap().parse().unwrap();
    let headers: Vec<(String, String)> = lines
        .filter_map(|line| line.split_once(':'))
        .map(|(name, value)| (name.to_lowercase(), value.trim().to_owned()))
        .collect();
    Answer { status, headers, body: all[end + 4..].to_vec() }
}

/// Every route that is read, and what it must answer with at least: a page, or a plain error.
pub(crate) fn readable(id: &str) -> Vec<String> {
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

/// An answer to a request without a body; `head` is its further lines.
pub(crate) fn ask(port: u16, method: &str, path: &str, head: &str) -> Answer {
    parse(&raw(port, format!("{method} {path} HTTP/1.1\r\n{head}Connection: close\r\n\r\n").as_bytes()))
}

/// What every answer carries, errors too.
pub(crate) fn assert_guarded(answer: &Answer, what: &str) {
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

impl Client {
    /// Head lines that our own page's requests carry.
    pub(crate) fn own(&self) -> String {
        format!("Host: 127.0.0.1:{}\r\nCookie: {}\r\nSec-Fetch-Site: same-origin\r\n", self.port, self.cookie)
    }

    pub(crate) fn get(&self, path: &str) -> Answer {
        parse(&raw(self.port, format!("GET {path} HTTP/1.1\r\n{}Connection: close\r\n\r\n", self.own()).as_bytes()))
    }

    pub(crate) fn post(&self, path: &str, fields: &[(&str, &str)]) -> Answer {
        self.post_only(path, fields.iter().copied().chain([("form", self.form.as_str())]))
    }

    /// The same without the form's token.
    pub(crate) fn post_only<'a>(&self, path: &str, fields: impl Iterator<Item = (&'a str, &'a str)>) -> Answer {
        let body = form_urlencoded::Serializer::new(String::new()).extend_pairs(fields).finish();
        let kind = "Content-Type: application/x-www-form-urlencoded";
        let (own, length) = (self.own(), body.len());
        let head =
            format!("POST {path} HTTP/1.1\r\n{own}{kind}\r\nContent-Length: {length}\r\nConnection: close\r\n\r\n");
        parse(&raw(self.port, (head + &body).as_bytes()))
    }

    /// What the desk saves of an inspection.
    pub(crate) fn record(&self, id: &str) -> serde_json::Value {
        serde_json::from_slice(&self.get(&format!("/desk/{id}/record.json")).body).unwrap()
    }

    /// Begins an inspection; gives its id.
    pub(crate) fn begin(&self, vehicle: &str) -> String {
        let entry = [("vehicle", vehicle), ("who", "AB"), ("height", "699"), ("offset", "571"), ("lamps", "two")];
        let begun = self.post("/new", &entry);
        assert_eq!(begun.status, 303, "{}", begun.text());
        begun.header("location").unwrap().trim_start_matches("/i/").to_owned()
    }

    /// The request that sends a photo as the page's form does.
    pub(crate) fn upload_request(&self, id: &str, page: &Answer, said: &str, name: &str, photo: &[u8]) -> Vec<u8> {
        let (key, seen, lamp) = (page.field("key"), page.field("seen"), page.field("lamp"));
        let fields = [("form", self.form.as_str()), ("key", &key), ("seen", &seen), ("lamp", &lamp), ("said", said)];
        self.multipart(&format!("/i/{id}/photo"), &fields, name, photo)
    }

    pub(crate) fn multipart(&self, path: &str, fields: &[(&str, &str)], name: &str, photo: &[u8]) -> Vec<u8> {
        self.multipart_of(path, fields, &[("photo", name, photo)])
    }

    /// A form with several files: field, name, bytes.
    pub(crate) fn multipart_of(&self, path: &str, fields: &[(&str, &str)], files: &[(&str, &str, &[u8])]) -> Vec<u8> {
        let mut body = Vec::new();
        for (field, value) in fields {
            let part = format!("--{BOUNDARY}\r\nContent-Disposition: form-data; name=\"{field}\"\r\n\r\n{value}\r\n");
            body.extend_from_slice(part.as_bytes());
        }
        for (field, name, bytes) in files {
            let part = format!(
                "--{BOUNDARY}\r\nContent-Disposition: form-data; name=\"{field}\"; filename=\"{name}\"\r\nContent-Type: image/jpeg\r\n\r\n"
            );
            body.extend_from_slice(part.as_bytes());
            body.extend_from_slice(bytes);
            body.extend_from_slice(b"\r\n");
        }
        body.extend_from_slice(format!("--{BOUNDARY}--\r\n").as_bytes());
        let head = format!(
            "POST {path} HTTP/1.1\r\n{}Content-Type: multipart/form-data; boundary={BOUNDARY}\r\nContent-Length: {}\r\nConnection: close\r\n\r\n",
            self.own(),
            body.len()
        );
        [head.as_bytes(), &body].concat()
    }

    pub(crate) fn upload(&self, id: &str, said: &str, name: &str, photo: &[u8]) -> Answer {
        let page = self.get(&format!("/i/{id}"));
        parse(&raw(self.port, &self.upload_request(id, &page, said, name, photo)))
    }
}
