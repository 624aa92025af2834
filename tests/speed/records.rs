//! Speed of the store: 100,000 records (or as many as are named) verified, listed, found; and one more recorded.
//!
//! `cargo bench --bench records [-- N]`. Goals: verified in under 10 s, list and find in under 50 ms.

#![allow(clippy::unwrap_used, clippy::print_stdout, reason = "a measurement prints and may fail loudly")]

#[path = "../record_sample/mod.rs"]
mod record_sample;

use lampwright::record::{Filter, Store, VerifyOptions, verify};
use record_sample::draft;
use std::time::Instant;

const RECORDS: usize = 100_000;
/// Runs of which the median is told.
const RUNS: usize = 9;

fn main() {
    let count = std::env::args().find_map(|word| word.parse().ok()).unwrap_or(RECORDS);
    let folder = tempfile::tempdir().unwrap();
    let mut store = Store::create(&folder.path().join("shop")).unwrap();
    // Flushing every record would measure the disk alone, for an hour.
    store.set_unsafe_speed().unwrap();
    let started = Instant::now();
    for n in 0..count {
        let mut draft = draft(n, &[b"one photo".to_vec()]);
        draft.personal.plate = Some(format!("PLATE-{n}"));
        draft.personal.customer = Some(format!("Customer {}", n / 3));
        store.append(draft).unwrap();
    }
    println!("{count} records of one reading made in {:.1} s, without flushing", started.elapsed().as_secs_f64());
    drop(store);
    let shop = folder.path().join("shop");
    let size = std::fs::metadata(shop.join("records.sqlite")).unwrap().len();
    println!("database {:.0} MB", size as f64 / 1e6);
    let timed = |name: &str, goal_ms: f64, run: &dyn Fn()| {
        let mut times: Vec<f64> = (0..RUNS)
            .map(|_| {
                let started = Instant::now();
                run();
                started.elapsed().as_secs_f64() * 1e3
            })
            .collect();
        times.sort_by(f64::total_cmp);
        let (least, median) = (times[0], times[RUNS / 2]);
        println!("{name:<40} least {least:8.1} ms, median {median:8.1} ms (goal {goal_ms} ms)");
    };
    let read = || Store::read(&shop).unwrap();
    let find = |text: &str| {
        let filter = Filter { text: Some(text.to_owned()), limit: Some(50), ..Filter::default() };
        read().find(&filter).unwrap();
    };
    timed("list 50, opening included", 50.0, &|| assert!(!read().list(50).unwrap().is_empty()));
    timed("find a plate, opening included", 50.0, &|| find(&format!("plate-{}", count / 2)));
    timed("find what is not there", 50.0, &|| find("nobody knows"));
    timed("find by verdict", 50.0, &|| {
        let filter = Filter { verdict: Some("pass".to_owned()), ..Filter::default() };
        assert!(read().find(&filter).unwrap().is_empty());
    });
    timed("show the record in the middle", 50.0, &|| {
        read().inspection(&(count / 2).to_string()).unwrap();
    });
    for _ in 0..3 {
        let (started, cpu) = (Instant::now(), cpu_seconds());
        let verified = verify(&read(), &VerifyOptions::default()).unwrap();
        assert!(verified.findings.is_empty() && verified.head.size == count as u64);
        let seconds = started.elapsed().as_secs_f64();
        println!("verify {count} entries: {seconds:.2} s, of one core {:.2} s (goal 10 s)", cpu_seconds() - cpu);
    }
    let mut store = Store::open(&shop).unwrap();
    let started = Instant::now();
    for n in 0..20 {
        store.append(draft(n, &[format!("photo {n}").into_bytes()])).unwrap();
    }
    println!("record one more, flushed: {:.1} ms", started.elapsed().as_secs_f64() * 50.0);
}

/// Time of all cores that this process has taken, seconds: tells more than the clock on a busy machine. 0 where the system does
/// not tell it as Linux does.
fn cpu_seconds() -> f64 {
    /// Linux counts in hundredths of a second.
    const TICKS: f64 = 100.0;
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let behind_name = stat.rsplit(')').next().unwrap_or_default();
    behind_name.split_whitespace().skip(11).take(2).filter_map(|ticks| ticks.parse::<f64>().ok()).sum::<f64>() / TICKS
}
