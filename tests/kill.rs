//! Kill tests: a program that records is killed at a random moment, again and again; everything that it had acknowledged must
//! be there and the store whole, and it must open by itself.
//!
//! `tests/kill/run [N]` runs N kills (50 when none is given).

#![cfg(all(feature = "records", unix))]
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test's helpers must fail loudly, as the tests do")]

mod record_sample;

use lampwright::record::{Filter, Hash, Store, VerifyOptions, verify};
use record_sample::draft;
use std::collections::BTreeSet;
use std::io::{BufRead, BufReader, Write};
use std::path::PathBuf;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// Names the store to the program that is killed.
const STORE: &str = "LAMPWRIGHT_KILL_STORE";
/// How many kills.
const KILLS: &str = "LAMPWRIGHT_KILLS";
/// Latest moment of a kill: many records long, and shorter than anyone wants to wait.
const LATEST: Duration = Duration::from_millis(200);

/// Not a test by itself: records until it is killed, and says so after each record.
#[test]
#[ignore = "the program that is killed"]
fn writer() {
    let Some(folder) = std::env::var_os(STORE) else { return };
    let mut store = Store::open(&PathBuf::from(folder)).unwrap();
    let start = store.head().unwrap().size as usize;
    for n in start.. {
        // Photos of some size, so that kills fall into their writing too; each third is new.
        let photo = format!("photo {}", n / 3).repeat(20_000).into_bytes();
        let mut draft = draft(n, &[photo]);
        draft.personal.plate = Some(format!("PLATE-{n}"));
        let erased = if n % 10 == 9 { store.erase(&(n - 1).to_string(), "AB", "kill test").ok() } else { None };
        let mut noted = erased.and_then(|erased| erased.noted);
        // The key is changed now and then: its files are no part of the transaction, and must not fall behind it.
        if n % 10 == 4 && store.public_key().unwrap().is_some() {
            noted = Some(store.change_key("AB", "kill test").unwrap().appended);
        }
        let word = if noted.is_some() { "noted" } else { "recorded" };
        let appended = noted.unwrap_or_else(|| store.append(draft).unwrap());
        let mut stdout = std::io::stdout().lock();
        writeln!(stdout, "\n{word} {} {}", appended.id, appended.head).unwrap();
        stdout.flush().unwrap();
    }
}

#[test]
#[ignore = "run by tests/kill/run"]
fn what_was_acknowledged_outlives_every_kill() {
    let kills: u64 = std::env::var(KILLS).ok().and_then(|text| text.parse().ok()).unwrap_or(50);
    let folder = tempfile::tempdir().unwrap();
    let mut shop = folder.path().join("shop-0");
    let mut store = Store::create(&shop).unwrap();
    let mut keys = vec![store.make_key().unwrap()];
    drop(store);
    let started = Instant::now();
    let (mut acknowledged, mut all, mut killed_early) = (Vec::new(), 0_usize, 0);
    for kill in 0..kills {
        // A fresh store now and then keeps the checks quick.
        if kill % 25 == 24 {
            shop = folder.path().join(format!("shop-{kill}"));
            store = Store::create(&shop).unwrap();
            keys = if kill % 2 == 0 { vec![store.make_key().unwrap()] } else { Vec::new() };
            drop(store);
            acknowledged.clear();
        }
        let mut child = Command::new(std::env::current_exe().unwrap())
            .args(["--ignored", "--exact", "writer", "--nocapture"])
            .env(STORE, &shop)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        std::thread::sleep(moment(kill));
        child.kill().unwrap();
        let lines = BufReader::new(child.stdout.take().unwrap()).lines();
        let before = acknowledged.len();
        for line in lines.map_while(Result::ok) {
            // The last line may be cut; one that is whole was acknowledged.
            let words: Vec<&str> = line.split_whitespace().collect();
            if let [word @ ("recorded" | "noted"), id, head] = words[..]
                && let Ok(head) = head.parse()
            {
                // What only notes something is in the log and in no list.
                acknowledged.push((if word == "noted" { String::new() } else { id.to_owned() }, head));
            }
        }
        child.wait().unwrap();
        all += acknowledged.len() - before;
        killed_early += u64::from(acknowledged.len() == before);
        let mut store = Store::open(&shop).unwrap();
        let head = acknowledged.last().map(|(_, head)| *head);
        let options = VerifyOptions { head, public_keys: keys.clone(), ..VerifyOptions::default() };
        let whole = verify(&store, &options).unwrap();
        assert_eq!(whole.findings, [], "kill {kill}");
        assert!(whole.head.size <= acknowledged.len() as u64 + 1, "at most one was recorded and not acknowledged");
        // That one counts from now on, as the next writer goes on behind it.
        if whole.head.size > acknowledged.len() as u64 {
            acknowledged.push((String::new(), whole.head));
        }
        let rows = store.find(&Filter { is_all: true, ..Filter::default() }).unwrap();
        let ids: BTreeSet<&str> = rows.iter().map(|row| row.id.as_str()).collect();
        let missing: Vec<&str> =
            acknowledged.iter().map(|(id, _)| id.as_str()).filter(|id| !id.is_empty() && !ids.contains(id)).collect();
        assert!(missing.is_empty(), "kill {kill}: {missing:?}");
        if kill % 10 == 0 {
            // It goes on without help.
            let appended = store.append(draft(0, &[b"after".to_vec()])).unwrap();
            assert_eq!(store.photo_bytes(&Hash::of(b"after")).unwrap(), b"after");
            acknowledged.push((appended.id, appended.head));
        }
    }
    let seconds = started.elapsed().as_secs_f64();
    println!(
        "{kills} kills in {seconds:.0} s: {all} records acknowledged, all there; {killed_early} kills before the first record"
    );
    assert!(all as u64 > kills, "the kills came too early to mean anything");
}

/// When to kill: spread over the whole span in steps of the golden ratio, so that no two moments are alike.
fn moment(kill: u64) -> Duration {
    const GOLDEN: f64 = 0.618_033_988_749_894_9;
    let share = (kill as f64 * GOLDEN + f64::from(std::process::id() % 1000) / 1000.0).fract();
    LATEST.mul_f64(share)
}
