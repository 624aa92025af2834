//! Fuzzing with the stable toolchain: each target takes bytes and must come back without a panic, within a time and a size.
//!
//! `cargo test` runs every target over the files of `tests/fuzz/regression/TARGET`, cases that once were findings or stand for
//! a kind of file, and over a few mutations. `tests/fuzz/run SECONDS [TARGET]` goes on for that long from a new seed and keeps
//! what breaks a target as a file there: a finding is a regression case from its first moment.

#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout, reason = "a broken harness must stop the run")]

mod mutate;
mod pictures;
mod targets;

use mutate::Mutator;
use std::cell::RefCell;
use std::fs;
use std::panic::{AssertUnwindSafe, catch_unwind, set_hook};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};
use targets::{TARGETS, Target};

/// Longest that one input may take, seconds of processor time, of a build that is optimised little: 2 s of one that is.
const LONGEST_S: f64 = 5.0;
/// Ticks of /proc/self/stat in a second (from memory: 100 on every common Linux).
const TICKS: f64 = 100.0;
/// Most memory that the process may come to hold, KiB.
const MOST_KIB: u64 = 600 * 1024;
/// Mutations of a target in an ordinary test run.
const FEW: u64 = 12;

thread_local! {
    static BROKE_AT: RefCell<Option<String>> = const { RefCell::new(None) };
}

/// What is wrong with a target's run on an input.
fn wrong(target: &Target, input: &[u8]) -> Option<String> {
    BROKE_AT.with(|at| at.borrow_mut().take());
    let start = processor_s();
    let ended = catch_unwind(AssertUnwindSafe(|| (target.run)(input)));
    let took = processor_s() - start;
    // A decoder's panic is caught where it is called and becomes an error; the hook has seen it all the same.
    let place = BROKE_AT.with(|at| at.borrow_mut().take()).unwrap_or_default();
    match ended {
        Err(_) => Some(format!("panic at {place}")),
        Ok(Err(said)) => Some(said),
        Ok(Ok(())) if took > LONGEST_S => Some(format!("took {took:.1} s")),
        Ok(Ok(())) if !place.is_empty() => {
            println!("{}: caught inside: {place}", target.name);
            None
        }
        Ok(Ok(())) => None,
    }
}

fn quiet_hook() {
    set_hook(Box::new(|info| {
        let place = info.location().map_or_else(|| "?".to_owned(), ToString::to_string);
        BROKE_AT.with(|at| *at.borrow_mut() = Some(place));
    }));
}

fn folder(target: &Target) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz/regression").join(target.name)
}

/// The kept cases of a target, by name.
fn kept(target: &Target) -> Vec<(String, Vec<u8>)> {
    let Ok(entries) = fs::read_dir(folder(target)) else { return Vec::new() };
    let mut paths: Vec<PathBuf> = entries.map(|entry| entry.unwrap().path()).collect();
    paths.sort();
    paths.iter().map(|path| (path.display().to_string(), fs::read(path).unwrap())).collect()
}

/// Processor time of all threads so far; 0 where the system does not say. The clock would tell of other programs.
fn processor_s() -> f64 {
    let stat = fs::read_to_string("/proc/self/stat").unwrap_or_default();
    // Behind the program's name, which may hold spaces: user and system time are fields 14 and 15 of proc(5).
    let fields = stat.rsplit(')').next().unwrap_or_default().split_whitespace();
    fields.skip(11).take(2).filter_map(|field| field.parse::<f64>().ok()).sum::<f64>() / TICKS
}

/// Most memory held so far, KiB; 0 where the system does not say.
fn peak_kib() -> u64 {
    let status = fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    line.and_then(|line| line.trim().trim_end_matches("kB").trim().parse().ok()).unwrap_or(0)
}

#[test]
fn kept_cases_and_a_few_mutations_hold() {
    quiet_hook();
    let mut found = Vec::new();
    for target in TARGETS {
        let seeds = (target.seeds)();
        for (name, input) in kept(target) {
            found.extend(wrong(target, &input).map(|said| format!("{name}: {said}")));
        }
        let few = if target.is_slow { 1 } else { FEW };
        for number in 0..few {
            let input = Mutator::new(number).mutated(&seeds, target.kind);
            found.extend(wrong(target, &input).map(|said| format!("{} seed {number}: {said}", target.name)));
        }
    }
    // A failure's own message needs the ordinary hook.
    let _ = std::panic::take_hook();
    assert!(found.is_empty(), "{found:#?}");
}

/// `FUZZ_TARGET`, `FUZZ_SECONDS` and, to repeat a run, `FUZZ_SEED` come from `tests/fuzz/run`.
#[test]
#[ignore = "runs for as long as it is told to: tests/fuzz/run"]
fn fuzz() {
    let word = |name: &str| std::env::var(name).ok();
    let seconds: f64 = word("FUZZ_SECONDS").and_then(|text| text.parse().ok()).unwrap_or(60.0);
    let wanted = word("FUZZ_TARGET");
    let now = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH).map_or(0, |since| since.as_secs());
    let first = word("FUZZ_SEED").and_then(|text| text.parse().ok()).unwrap_or(now << 32);
    quiet_hook();
    let mut found = Vec::new();
    for target in TARGETS.iter().filter(|target| wanted.as_deref().is_none_or(|wanted| wanted == target.name)) {
        let seeds: Vec<Vec<u8>> =
            (target.seeds)().into_iter().chain(kept(target).into_iter().map(|case| case.1)).collect();
        let end = Instant::now() + Duration::from_secs_f64(seconds);
        let (mut number, mut places) = (first, Vec::new());
        while Instant::now() < end {
            let input = Mutator::new(number).mutated(&seeds, target.kind);
            if let Some(said) = wrong(target, &input)
                && !places.contains(&said)
            {
                fs::create_dir_all(folder(target)).unwrap();
                let path = folder(target).join(format!("found-{number:x}"));
                fs::write(&path, &input).unwrap();
                found.push(format!("{}: {said}", path.display()));
                places.push(said);
            }
            number += 1;
        }
        println!(
            "{}: {} inputs from seed {first}, {} findings, peak {} MiB",
            target.name,
            number - first,
            places.len(),
            peak_kib() / 1024
        );
    }
    if peak_kib() > MOST_KIB {
        found.push(format!("the process came to hold {} KiB", peak_kib()));
    }
    let _ = std::panic::take_hook();
    assert!(found.is_empty(), "{found:#?}");
}
