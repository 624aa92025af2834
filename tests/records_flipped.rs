//! One flipped bit anywhere in a store's folder: it is found, or nothing that the store shows changes.
//!
//! Truth: what the store showed before. Entries, photos and parameters, where every flip must be found, have their own tests
//! in `records_changed.rs`.

#![cfg(feature = "records")]
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test's helpers must fail loudly, as the tests do")]

mod record_sample;

use lampwright::record::beside::{BESIDE, read_sealed, sealed};
use lampwright::record::{Filter, RecordedReading, Store, VerifyOptions, verify};
use record_sample::{DATABASE, copy, draft, photos, raw, shop, store_of};
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

const ENTERED: &str = "page/01a21999-7f84-742c-8780-93eb610dae7a.json";

/// What a store shows of itself; `None` when it says that something is wrong.
fn shown(folder: &Path) -> Option<String> {
    let store = Store::read(folder).ok()?;
    let rows = store.find(&Filter { is_all: true, ..Filter::default() }).ok()?;
    let mut text = format!("{rows:?} {} {:?}", store.head().ok()?, store.public_key().ok()?);
    for row in &rows {
        let stored = store.inspection(&row.number.to_string()).ok()?;
        write!(text, "{stored:?}").unwrap();
        for hash in stored.inspection.readings().flat_map(|reading| reading.parameters.hashes()) {
            text += &store.parameter(&hash).ok()?;
        }
        for file in stored.inspection.readings().flat_map(RecordedReading::files) {
            write!(text, "{:?}", store.photo_bytes(&file.sha256).ok()?).unwrap();
        }
    }
    let entered = folder.join(ENTERED);
    if entered.exists() {
        text += &read_sealed(&entered).ok()?;
    }
    Some(text)
}

/// Whether opening or verifying says that something is wrong.
fn is_found(folder: &Path) -> bool {
    let Ok(store) = Store::read(folder) else { return true };
    verify(&store, &VerifyOptions::default()).map_or(true, |verified| !verified.findings.is_empty())
}

/// A store as it lies on the disk while a program records: with a key, with what was entered, with its newest entries in the
/// write-ahead log alone.
fn busy_store() -> TempDir {
    let folder = store_of(1);
    let mut store = Store::open(&shop(&folder)).unwrap();
    store.make_key().unwrap();
    for n in 1..3 {
        let mut draft = draft(n, &photos(&[&format!("{n}-before")]));
        draft.personal.plate = Some(format!("PLATE-{n}"));
        store.append(draft).unwrap();
    }
    fs::create_dir(shop(&folder).join(BESIDE)).unwrap();
    fs::write(shop(&folder).join(ENTERED), sealed("{\n  \"vehicle\": \"order 1\"\n}\n")).unwrap();
    copy(&shop(&folder), &folder.path().join("busy"));
    drop(store);
    fs::remove_dir_all(shop(&folder)).unwrap();
    fs::rename(folder.path().join("busy"), shop(&folder)).unwrap();
    folder
}

/// Every file below a folder, with its bytes and rights.
fn files(folder: &Path, found: &mut BTreeMap<PathBuf, (Vec<u8>, fs::Permissions)>) {
    for entry in fs::read_dir(folder).unwrap().map(Result::unwrap) {
        let path = entry.path();
        if path.is_dir() {
            files(&path, found);
        } else {
            let rights = fs::metadata(&path).unwrap().permissions();
            found.insert(path.clone(), (fs::read(&path).unwrap(), rights));
        }
    }
}

fn write(path: &Path, bytes: &[u8], rights: &fs::Permissions) {
    let _ = fs::remove_file(path);
    fs::write(path, bytes).unwrap();
    fs::set_permissions(path, rights.clone()).unwrap();
}

/// Flips a bit in every `every`th byte of each file, in short files in every byte, and with 1 every bit there; tells how many were found and how many were
/// harmless, by file name.
fn flip_all(folder: &TempDir, every: usize) -> BTreeMap<String, (usize, usize)> {
    let shop = shop(folder);
    let mut all = BTreeMap::new();
    files(&shop, &mut all);
    let before = shown(&shop).unwrap();
    assert!(!is_found(&shop));
    // Reading may have changed what SQLite keeps beside the database.
    let restore = || {
        for name in [DATABASE.to_owned(), format!("{DATABASE}-wal"), format!("{DATABASE}-shm")] {
            match all.get(&shop.join(&name)) {
                Some((bytes, rights)) => write(&shop.join(&name), bytes, rights),
                None => drop(fs::remove_file(shop.join(&name))),
            }
        }
    };
    let mut counts: BTreeMap<String, (usize, usize)> = BTreeMap::new();
    for (path, (bytes, rights)) in &all {
        let is_short = bytes.len() <= 512;
        let name = path.strip_prefix(&shop).unwrap().display().to_string();
        let of_name = counts.entry(name.clone()).or_default();
        // From a place of its own in each file, so that headers are hit as well as what is inside.
        let first = if every == 1 || is_short { 0 } else { 3 };
        for at in (first..bytes.len()).step_by(if is_short { 1 } else { every }) {
            for bit in if is_short && every == 1 { 0..8 } else { at % 8..at % 8 + 1 } {
                restore();
                let mut changed = bytes.clone();
                changed[at] ^= 1 << bit;
                write(path, &changed, rights);
                if is_found(&shop) {
                    of_name.0 += 1;
                } else {
                    // Not found by reading through: then what is shown must be what was recorded.
                    restore();
                    write(path, &changed, rights);
                    assert_eq!(
                        shown(&shop).as_ref(),
                        Some(&before),
                        "{name}: byte {at} bit {bit} changes what is shown"
                    );
                    of_name.1 += 1;
                }
            }
        }
        write(path, bytes, rights);
    }
    restore();
    assert!(!is_found(&shop));
    counts
}

/// Of each kind of file, flips that were found.
fn found(counts: &BTreeMap<String, (usize, usize)>, name: &str) -> usize {
    counts.iter().filter(|(file, _)| file.starts_with(name)).map(|(_, (found, _))| found).sum()
}

fn flip_busy(every: usize) {
    let counts = flip_all(&busy_store(), every);
    for name in [DATABASE, "records.sqlite-wal", "head.txt", "station.key", "page/", "photos/"] {
        assert!(found(&counts, name) > 10, "{name}: {counts:?}");
    }
    let photos = counts.iter().filter(|(file, _)| file.starts_with("photos/"));
    assert!(photos.clone().count() == 4 && photos.clone().all(|(_, (_, harmless))| *harmless == 0), "{counts:?}");
}

fn flip_at_rest(every: usize) {
    let folder = store_of(2);
    raw(&shop(&folder)).execute_batch("PRAGMA wal_checkpoint(TRUNCATE); PRAGMA journal_mode = DELETE").unwrap();
    let counts = flip_all(&folder, every);
    assert!(found(&counts, DATABASE) > 100, "{counts:?}");
}

#[test]
fn a_flip_in_a_store_that_is_in_use_is_found_or_shows_nothing() {
    flip_busy(389);
}

#[test]
fn a_flip_in_a_store_at_rest_is_found_or_shows_nothing() {
    flip_at_rest(199);
}

#[test]
#[ignore = "takes many minutes: a bit of every byte"]
fn a_flip_in_any_byte_of_a_store_that_is_in_use_is_found_or_shows_nothing() {
    flip_busy(1);
}

#[test]
#[ignore = "takes many minutes: a bit of every byte"]
fn a_flip_in_any_byte_of_a_store_at_rest_is_found_or_shows_nothing() {
    flip_at_rest(1);
}
