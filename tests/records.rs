//! The store of inspections: what it keeps, what it refuses, and that every change to it shows.

#![cfg(feature = "records")]
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test's helpers must fail loudly, as the tests do")]

mod record_sample;

use lampwright::record::{Filter, Head, How, Store, Verified, VerifyOptions, key::KEY_FILE, verify};
use record_sample::draft;
use rusqlite::{Connection, params};
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

const DATABASE: &str = "records.sqlite";

fn photos(names: &[&str]) -> Vec<Vec<u8>> {
    names.iter().map(|name| format!("photo {name}").into_bytes()).collect()
}

/// A store with `count` inspections, closed.
fn store_of(count: usize) -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    let mut store = Store::create(&folder.path().join("shop")).unwrap();
    for n in 0..count {
        let mut draft = draft(n, &photos(&[&format!("{n}-before"), &format!("{n}-after")]));
        draft.personal.plate = Some(format!("PLATE-{n}"));
        draft.personal.customer = Some(format!("=Customer {n}"));
        store.append(draft).unwrap();
    }
    folder
}

fn shop(folder: &TempDir) -> PathBuf {
    folder.path().join("shop")
}

fn verified(shop: &Path) -> Verified {
    verify(&Store::read(shop).unwrap(), &VerifyOptions::default()).unwrap()
}

fn raw(shop: &Path) -> Connection {
    Connection::open(shop.join(DATABASE)).unwrap()
}

/// A connection of somebody who took the triggers out.
fn without_triggers(shop: &Path) -> (Connection, Vec<String>) {
    let db = raw(shop);
    let triggers: Vec<(String, String)> = db
        .prepare("SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'")
        .unwrap()
        .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))
        .unwrap()
        .map(Result::unwrap)
        .collect();
    for (name, _) in &triggers {
        db.execute_batch(&format!("DROP TRIGGER {name}")).unwrap();
    }
    (db, triggers.into_iter().map(|(_, sql)| sql).collect())
}

fn put_back((db, triggers): (Connection, Vec<String>)) {
    for sql in triggers {
        db.execute_batch(&sql).unwrap();
    }
    db.close().unwrap();
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let target = to.join(entry.file_name());
        if entry.path().is_dir() {
            copy(&entry.path(), &target);
        } else {
            fs::copy(entry.path(), target).unwrap();
        }
    }
}

#[test]
fn what_was_recorded_is_read_back() {
    let folder = store_of(3);
    let store = Store::read(&shop(&folder)).unwrap();
    let stored = store.inspection("1").unwrap();
    assert_eq!(stored.inspection.vehicle, "order 1");
    assert_eq!(stored.personal.plate.as_deref(), Some("PLATE-1"));
    assert_eq!(stored.newest, 1);
    let lamp = &stored.inspection.lamps[0];
    assert_eq!((lamp.before, lamp.after, lamp.verdict.as_str()), (Some(0), Some(1), "fail"));
    assert_eq!(lamp.before().unwrap().reading, record_sample::reading());
    assert_eq!(store.photo_bytes(&lamp.after().unwrap().photo.sha256).unwrap(), b"photo 1-after");
    assert_eq!(store.parameter(&stored.inspection.bay.sha256).unwrap(), record_sample::BAY);
    assert_eq!(store.inspection(&stored.inspection.id).unwrap(), stored);
    assert_eq!(store.head().unwrap().size, 3);
    let whole = verified(&shop(&folder));
    assert_eq!(whole.findings, []);
    assert_eq!((whole.head, whole.photos, whole.parameters), (store.head().unwrap(), 6, 3));
    for name in ["3", "99999999", "zzzzzzzzzz", "", "-1"] {
        assert!(store.inspection(name).is_err(), "{name}");
    }
}

#[test]
fn lists_show_the_newest_record_of_each_inspection() {
    let folder = store_of(3);
    let mut store = Store::open(&shop(&folder)).unwrap();
    let mut later = draft(1, &photos(&["1-before", "1-after", "1-again"]));
    later.inspection.follows = Some(store.follow("1", How::Corrects, "CD", Some("wrong bay".to_owned())).unwrap());
    let appended = store.append(later).unwrap();
    let rows = store.list(10).unwrap();
    assert_eq!(rows.iter().map(|row| row.number).collect::<Vec<_>>(), [3, 2, 0]);
    assert_eq!((rows[0].how, rows[0].plate.as_deref()), (Some(How::Corrects), Some("PLATE-1")));
    assert_eq!(store.newest("1").unwrap().inspection.id, appended.id);
    assert_eq!(store.inspection("1").unwrap().newest, 3);
    assert_eq!(store.history(&rows[0].first).unwrap(), [1, 3]);
    let find = |text: &str, is_all: bool| {
        let filter = Filter { text: Some(text.to_owned()), is_all, ..Filter::default() };
        store.find(&filter).unwrap().into_iter().map(|row| row.number).collect::<Vec<_>>()
    };
    assert_eq!(find("plate-1", false), [3]);
    assert_eq!(find("ORDER", false), [3, 2, 0]);
    assert_eq!(find("customer 1", true), [3, 1]);
    assert_eq!(find("%", false), [0_u64; 0]);
    let verdict = Filter { verdict: Some("pass".to_owned()), ..Filter::default() };
    assert!(store.find(&verdict).unwrap().is_empty());
    let until = Filter { until: Some("2026-11".to_owned()), ..Filter::default() };
    assert!(store.find(&until).unwrap().is_empty());
    assert_eq!(verified(&shop(&folder)).findings, []);
}

#[test]
fn nothing_in_the_log_can_be_updated_deleted_or_replaced() {
    let folder = store_of(2);
    let db = raw(&shop(&folder));
    for (sql, words) in [
        ("UPDATE log SET entry = x'00'", "never changed"),
        ("DELETE FROM log WHERE number = 1", "taken out"),
        ("INSERT OR REPLACE INTO log SELECT 0, entry, leaf, peaks FROM log WHERE number = 1", "next number"),
        ("INSERT INTO log SELECT 7, entry, leaf, peaks FROM log WHERE number = 1", "next number"),
        ("UPDATE parameter SET content = x'00'", "never changed"),
        ("DELETE FROM parameter", "taken out"),
        ("INSERT OR REPLACE INTO parameter SELECT sha256, x'00' FROM parameter LIMIT 1", "never replaced"),
        ("UPDATE summary SET verdict = 'pass'", "never changed"),
        ("DELETE FROM summary", "taken out"),
        ("UPDATE personal SET text = 'x'", "never changed"),
    ] {
        let error = db.execute(sql, []).unwrap_err().to_string();
        assert!(error.contains(words), "{sql}: {error}");
    }
}

#[test]
fn a_cut_tail_shows_against_a_head_kept_outside() {
    let folder = store_of(4);
    let head = Store::read(&shop(&folder)).unwrap().head().unwrap();
    let taken = without_triggers(&shop(&folder));
    taken.0.execute_batch("DELETE FROM summary WHERE number = 3; DELETE FROM personal WHERE first NOT IN (SELECT first FROM summary); DELETE FROM log WHERE number = 3").unwrap();
    put_back(taken);
    let mut store = Store::open(&shop(&folder)).unwrap();
    let found = verify(&store, &VerifyOptions::default()).unwrap().findings;
    assert!(found.len() == 1 && found[0].found.contains("at its end, by head.txt"), "{found:?}");
    let error = store.append(draft(9, &photos(&["one"]))).unwrap_err().to_string();
    assert!(error.contains("has lost entries at its end") && error.contains("nothing was recorded"), "{error}");
    fs::remove_file(shop(&folder).join("head.txt")).unwrap();
    assert_eq!(verify(&store, &VerifyOptions::default()).unwrap().findings, [], "nothing shows without a head");
    let options = VerifyOptions { head: Some(head), ..VerifyOptions::default() };
    let found = verify(&store, &options).unwrap().findings;
    assert!(found.len() == 1 && found[0].found.contains("1 of 4 entries are missing"), "{found:?}");
    let grown = VerifyOptions { head: Some(Head { size: 2, root: head.root }), ..VerifyOptions::default() };
    assert!(verify(&store, &grown).unwrap().findings[0].found.contains("first 2 entries are not those"));
}

/// The write-ahead log holds what was recorded last: a copy without it has lost that.
#[test]
fn a_database_copied_without_its_write_ahead_log_is_noticed() {
    let folder = store_of(2);
    let mut store = Store::open(&shop(&folder)).unwrap();
    store.append(draft(2, &photos(&["one"]))).unwrap();
    let copied = folder.path().join("copy");
    copy(&shop(&folder), &copied);
    fs::remove_file(copied.join("records.sqlite-wal")).unwrap();
    fs::remove_file(copied.join("records.sqlite-shm")).unwrap();
    let found = verified(&copied).findings;
    assert!(
        found.len() == 1 && found[0].found.contains("1 of 3 entries are missing at its end, by head.txt"),
        "{found:?}"
    );
    assert!(Store::open(&copied).unwrap().append(draft(3, &photos(&["one"]))).is_err());
    assert_eq!(verified(&shop(&folder)).findings, []);
}

#[test]
fn a_cut_tail_shows_against_a_signed_head() {
    let folder = store_of(0);
    let mut store = Store::open(&shop(&folder)).unwrap();
    let key = store.make_key().unwrap();
    for n in 0..3 {
        store.append(draft(n, &photos(&["one"]))).unwrap();
    }
    let options = VerifyOptions { public_key: Some(key), ..VerifyOptions::default() };
    let whole = verify(&store, &options).unwrap();
    assert_eq!((whole.findings, whole.signed), (vec![], Some((whole.head, key))));
    let other = VerifyOptions { public_key: Some("00".repeat(32).parse().unwrap()), ..VerifyOptions::default() };
    assert!(!verify(&store, &other).unwrap().findings.is_empty());
    fs::rename(shop(&folder).join(KEY_FILE), folder.path().join("old.key")).unwrap();
    store.append(draft(3, &photos(&["one"]))).unwrap();
    let found = verify(&store, &options).unwrap().findings;
    assert!(found.len() == 1 && found[0].found.contains("no signature of this key covers entries 3 to 3"), "{found:?}");
    drop(store);
    let taken = without_triggers(&shop(&folder));
    taken.0.execute_batch("DELETE FROM summary WHERE number > 1; DELETE FROM log WHERE number > 1").unwrap();
    put_back(taken);
    let found = verified(&shop(&folder)).findings;
    assert!(
        found.iter().any(|one| one.found.contains("1 of 3 entries are missing at its end, by a signed head")),
        "{found:?}"
    );
}

#[test]
fn another_order_shows() {
    let folder = store_of(4);
    let taken = without_triggers(&shop(&folder));
    taken
        .0
        .execute_batch(
            "PRAGMA foreign_keys = OFF;
             UPDATE log SET number = 100 WHERE number = 1; UPDATE log SET number = 1 WHERE number = 2;
             UPDATE log SET number = 2 WHERE number = 100;
             UPDATE summary SET number = 100 WHERE number = 1; UPDATE summary SET number = 1 WHERE number = 2;
             UPDATE summary SET number = 2 WHERE number = 100;",
        )
        .unwrap();
    put_back(taken);
    let found = verified(&shop(&folder)).findings;
    assert!(found.iter().any(|one| one.place == "entry 1" && one.found.contains("does not follow")), "{found:?}");
}

#[test]
fn an_entry_taken_from_the_middle_shows() {
    let folder = store_of(4);
    let taken = without_triggers(&shop(&folder));
    taken
        .0
        .execute_batch(
            "PRAGMA foreign_keys = OFF; DELETE FROM log WHERE number = 1; DELETE FROM summary WHERE number = 1",
        )
        .unwrap();
    put_back(taken);
    let found = verified(&shop(&folder)).findings;
    assert!(found.iter().any(|one| one.found.contains("missing or out of order")), "{found:?}");
}

#[test]
fn a_trigger_that_is_gone_shows() {
    let folder = store_of(1);
    raw(&shop(&folder)).execute_batch("DROP TRIGGER log_update").unwrap();
    let found = verified(&shop(&folder)).findings;
    assert!(found[0].found.contains("log_update"), "{found:?}");
}

/// Flips bits of everything that an entry holds or names, one at a time, and expects a finding of each. `every` says which
/// bytes of a long value are tried, one bit in each; of short values it is every bit.
fn flip_entries_and_parameters(every: usize) {
    let folder = tempfile::tempdir().unwrap();
    let mut store = Store::create(&shop(&folder)).unwrap();
    for n in 0..3 {
        let mut draft = draft(n, &photos(&["one"][..n.min(1)]));
        draft.personal.plate = Some(format!("PLATE-{n}"));
        store.append(draft).unwrap();
    }
    drop(store);
    let taken = without_triggers(&shop(&folder));
    taken.0.execute_batch("PRAGMA foreign_keys = OFF; PRAGMA synchronous = OFF").unwrap();
    let store = Store::read(&shop(&folder)).unwrap();
    let options = VerifyOptions { is_without_photos: true, ..VerifyOptions::default() };
    let usual = verify(&store, &options).unwrap().findings.len();
    let mut tried = 0;
    for (table, key, column) in [
        ("log", "number", "entry"),
        ("log", "number", "leaf"),
        ("log", "number", "peaks"),
        ("parameter", "sha256", "content"),
        ("personal", "digest", "salt"),
    ] {
        let rows: Vec<(rusqlite::types::Value, Vec<u8>)> = taken
            .0
            .prepare(&format!("SELECT {key}, {column} FROM {table} ORDER BY 1"))
            .unwrap()
            .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))
            .unwrap()
            .map(Result::unwrap)
            .collect();
        let update = format!("UPDATE {table} SET {column} = ?1 WHERE {key} = ?2");
        for (row, bytes) in rows {
            let is_short = bytes.len() <= 96;
            for at in (0..bytes.len()).step_by(if is_short { 1 } else { every }) {
                for bit in if is_short || every == 1 { 0..8 } else { at % 8..at % 8 + 1 } {
                    let mut changed = bytes.clone();
                    changed[at] ^= 1 << bit;
                    taken.0.execute(&update, params![changed, row]).unwrap();
                    let found = verify(&store, &options).unwrap().findings;
                    assert!(found.len() > usual, "{table}.{column} {row:?} byte {at} bit {bit}");
                    tried += 1;
                }
            }
            taken.0.execute(&update, params![bytes, row]).unwrap();
        }
    }
    assert!(tried > 2000, "{tried}");
    drop(store);
    put_back(taken);
    assert_eq!(verified(&shop(&folder)).findings, []);
}

#[test]
fn flipped_bits_of_entries_and_parameters_are_found() {
    flip_entries_and_parameters(13);
}

#[test]
#[ignore = "takes minutes: every bit of every entry"]
fn every_flipped_bit_of_entries_and_parameters_is_found() {
    flip_entries_and_parameters(1);
}

#[test]
fn every_flipped_bit_of_a_photo_is_found() {
    let folder = store_of(1);
    let store = Store::read(&shop(&folder)).unwrap();
    let reading = store.inspection("0").unwrap().inspection.lamps[0].readings[0].clone();
    let name = reading.photo.sha256.to_string();
    let path = shop(&folder).join("photos").join(&name[..2]).join(&name);
    let bytes = fs::read(&path).unwrap();
    fs::remove_file(&path).unwrap();
    for at in 0..bytes.len() {
        for bit in 0..8 {
            let mut changed = bytes.clone();
            changed[at] ^= 1 << bit;
            fs::write(&path, &changed).unwrap();
            let found = verified(&shop(&folder)).findings;
            assert!(found.len() == 1 && found[0].found.starts_with("was changed"), "byte {at} bit {bit}: {found:?}");
            assert!(store.photo_bytes(&reading.photo.sha256).is_err());
        }
    }
    fs::write(&path, &bytes[1..]).unwrap();
    assert_eq!(verified(&shop(&folder)).findings.len(), 1);
    fs::remove_file(&path).unwrap();
    assert!(verified(&shop(&folder)).findings[0].found.contains("cannot be read"));
}

/// What a store shows of itself.
fn shown(store: &Store) -> Option<String> {
    let rows = store.find(&Filter { is_all: true, ..Filter::default() }).ok()?;
    let mut text = format!("{rows:?} {}", store.head().ok()?);
    for row in &rows {
        let stored = store.inspection(&row.number.to_string()).ok()?;
        write!(text, "{stored:?}").unwrap();
        for hash in stored.inspection.readings().flat_map(|reading| reading.parameters.hashes()) {
            text += &store.parameter(&hash).ok()?;
        }
    }
    Some(text)
}

/// A flip anywhere in the database file: found, or nothing that is shown changes. A sample, one bit in every 97 bytes.
#[test]
fn a_flipped_bit_elsewhere_in_the_database_is_found_or_shows_nothing() {
    let folder = store_of(2);
    let path = shop(&folder).join(DATABASE);
    raw(&shop(&folder)).execute_batch("PRAGMA wal_checkpoint(TRUNCATE); PRAGMA journal_mode = DELETE").unwrap();
    let bytes = fs::read(&path).unwrap();
    let before = shown(&Store::read(&shop(&folder)).unwrap()).unwrap();
    let (mut found, mut harmless) = (0, 0);
    for at in (0..bytes.len()).step_by(97) {
        let mut changed = bytes.clone();
        changed[at] ^= 1 << (at % 8);
        fs::write(&path, &changed).unwrap();
        let Ok(store) = Store::read(&shop(&folder)) else {
            found += 1;
            continue;
        };
        let is_found = verify(&store, &VerifyOptions::default()).is_ok_and(|verified| !verified.findings.is_empty());
        if is_found {
            found += 1;
        } else {
            assert_eq!(shown(&store), Some(before.clone()), "byte {at} bit {} changes what is shown", at % 8);
            harmless += 1;
        }
    }
    assert!(found > 100 && harmless > 10, "{found} found, {harmless} harmless");
}

#[test]
fn erasing_takes_the_text_out_of_every_file_and_breaks_nothing() {
    let folder = store_of(2);
    let mut store = Store::open(&shop(&folder)).unwrap();
    let mut later = draft(1, &photos(&["1-before"]));
    later.inspection.follows = Some(store.follow("1", How::Continues, "AB", None).unwrap());
    store.append(later).unwrap();
    assert_eq!(store.inspection("2").unwrap().personal.plate.as_deref(), Some("PLATE-1"));
    store.erase("2", "AB", "asked for by letter").unwrap();
    for number in ["1", "2"] {
        let stored = store.inspection(number).unwrap();
        assert_eq!((stored.personal.plate, stored.personal.customer), (None, None));
        assert!(stored.inspection.plate.is_some(), "the digest stays");
    }
    assert_eq!(store.inspection("0").unwrap().personal.plate.as_deref(), Some("PLATE-0"));
    assert!(store.inspection("3").unwrap_err().to_string().contains("erased"));
    assert!(store.erase("1", "AB", "again").unwrap_err().to_string().contains("no plate or customer"));
    let whole = verify(&store, &VerifyOptions::default()).unwrap();
    assert_eq!((whole.findings, whole.head.size), (vec![], 4));
    for entry in fs::read_dir(shop(&folder)).unwrap().map(Result::unwrap).filter(|entry| entry.path().is_file()) {
        let bytes = fs::read(entry.path()).unwrap();
        for text in ["PLATE-1", "=Customer 1"] {
            let is_there = bytes.windows(text.len()).any(|window| window == text.as_bytes());
            assert!(!is_there, "{text} is still in {:?}", entry.file_name());
        }
    }
    drop(store);
    let taken = without_triggers(&shop(&folder));
    taken.0.execute_batch("DELETE FROM personal").unwrap();
    put_back(taken);
    let found = verified(&shop(&folder)).findings;
    assert!(found.len() == 2 && found[0].found.contains("no erasure was recorded"), "{found:?}");
}

#[test]
fn a_full_store_says_so_and_loses_nothing() {
    let folder = store_of(1);
    let path = shop(&folder);
    let mut store = Store::open(&path).unwrap();
    store.limit_pages(0).unwrap();
    let mut error = None;
    let mut recorded = 1;
    for n in 0..200 {
        match store.append(draft(n, &photos(&["one"]))) {
            Ok(appended) => recorded = appended.number + 1,
            Err(failed) => {
                error = Some(failed.to_string());
                break;
            }
        }
    }
    let error = error.unwrap();
    assert!(error.contains("no room left") && error.contains("nothing was recorded"), "{error}");
    drop(store);
    let mut store = Store::open(&path).unwrap();
    assert_eq!(store.head().unwrap().size, recorded);
    assert_eq!(store.append(draft(9, &photos(&["one"]))).unwrap().number, recorded);
    assert_eq!(verified(&path).findings, []);
}

#[test]
fn a_locked_store_says_so() {
    let folder = store_of(1);
    let other = raw(&shop(&folder));
    other.execute_batch("BEGIN IMMEDIATE").unwrap();
    let mut store = Store::open(&shop(&folder)).unwrap();
    store.wait_for(std::time::Duration::from_millis(50)).unwrap();
    let error = store.append(draft(1, &photos(&["one"]))).unwrap_err().to_string();
    assert!(error.contains("locked by another program") && error.contains("nothing was recorded"), "{error}");
    assert_eq!(store.list(5).unwrap().len(), 1, "reading goes on");
    other.execute_batch("ROLLBACK").unwrap();
    store.append(draft(1, &photos(&["one"]))).unwrap();
}

#[test]
fn a_store_that_is_open_to_read_records_nothing() {
    let folder = store_of(1);
    let mut store = Store::read(&shop(&folder)).unwrap();
    let error = store.append(draft(1, &photos(&["one"]))).unwrap_err().to_string();
    assert!(error.contains("cannot be written to"), "{error}");
}

/// A disk that is read-only: nothing can be made beside the database. The super-user is not bound by rights.
#[cfg(unix)]
#[test]
fn a_store_on_a_read_only_disk_can_be_read() {
    use std::os::unix::fs::PermissionsExt;
    let folder = store_of(2);
    let path = shop(&folder);
    let set = |mode: u32| {
        fs::set_permissions(&path, fs::Permissions::from_mode(mode & 0o777 | 0o111)).unwrap();
        fs::set_permissions(path.join(DATABASE), fs::Permissions::from_mode(mode)).unwrap();
    };
    set(0o444);
    let is_bound = fs::write(path.join("probe"), b"").is_err();
    if is_bound {
        assert!(Store::open(&path).unwrap_err().to_string().contains("cannot be written to"));
    }
    let rows = Store::read(&path).unwrap().list(5).unwrap().len();
    set(0o644);
    assert_eq!(rows, 2);
}

#[test]
fn what_is_no_store_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("other");
    assert!(Store::open(&path).unwrap_err().to_string().contains("holds no records.sqlite"));
    fs::create_dir(&path).unwrap();
    raw(&path).execute_batch("CREATE TABLE t (x)").unwrap();
    for error in [Store::open(&path).unwrap_err(), Store::read(&path).unwrap_err(), Store::create(&path).unwrap_err()] {
        let text = error.to_string();
        assert!(text.contains("is no store") || text.contains("is not empty"), "{text}");
    }
    fs::write(path.join(DATABASE), b"no database at all, but long enough to be looked at as if it were one").unwrap();
    assert!(Store::open(&path).unwrap_err().to_string().contains("damaged"));
    let newer = store_of(1);
    raw(&shop(&newer)).execute_batch("PRAGMA user_version = 99").unwrap();
    assert!(Store::open(&shop(&newer)).unwrap_err().to_string().contains("version 99"));
}

/// Killed while it was made: the file is there, its tables are not.
#[test]
fn a_store_that_was_never_finished_is_finished_when_it_is_opened() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join(DATABASE), b"").unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    store.append(draft(0, &photos(&["one"]))).unwrap();
    assert_eq!(verify(&store, &VerifyOptions::default()).unwrap().findings, []);
}

#[test]
fn two_programs_record_at_once() {
    let folder = store_of(0);
    let path = shop(&folder);
    std::thread::scope(|scope| {
        for writer in 0..2 {
            let path = &path;
            scope.spawn(move || {
                let mut store = Store::open(path).unwrap();
                for n in 0..20 {
                    store.append(draft(100 * writer + n, &photos(&["one"]))).unwrap();
                }
            });
        }
    });
    let whole = verified(&path);
    assert_eq!((whole.findings, whole.head.size), (vec![], 40));
}

#[test]
fn a_draft_that_names_what_is_not_there_is_refused() {
    let folder = store_of(1);
    let mut store = Store::open(&shop(&folder)).unwrap();
    let mut missing_photo = draft(1, &photos(&["new"]));
    missing_photo.files.clear();
    assert!(store.append(missing_photo).unwrap_err().to_string().contains("left-0.jpg is not in the store"));
    let mut missing_parameter = draft(1, &photos(&["new"]));
    missing_parameter.inspection.lamps[0].readings[0].parameters.screws = Some(lampwright::record::Hash::of(b"x"));
    assert!(store.append(missing_parameter).unwrap_err().to_string().contains("parameter"));
    assert_eq!(store.head().unwrap().size, 1);
    let whole = verified(&shop(&folder));
    assert!(whole.findings.is_empty() && whole.notes.len() == 1, "{:?}", whole.notes);
}

#[test]
fn a_copied_store_is_the_same() {
    let folder = store_of(2);
    let copied = folder.path().join("copy");
    copy(&shop(&folder), &copied);
    assert_eq!(verified(&copied), verified(&shop(&folder)));
}

#[test]
fn a_backup_is_whole_and_leaves_the_key_out() {
    let folder = store_of(2);
    let store = Store::open(&shop(&folder)).unwrap();
    store.make_key().unwrap();
    let to = folder.path().join("backup");
    let outcome = lampwright::record::backup(&store, &to).unwrap();
    assert_eq!((outcome.findings, outcome.head), (vec![], store.head().unwrap()));
    assert!(!to.join(KEY_FILE).exists());
    let mut copied = Store::open(&to).unwrap();
    assert_eq!(copied.inspection("1").unwrap(), store.inspection("1").unwrap());
    copied.append(draft(5, &photos(&["one"]))).unwrap();
    let error = lampwright::record::backup(&store, &to).unwrap_err().to_string();
    assert!(error.contains("is not empty"), "{error}");
}

/// The published schema is the one that the program prints; `UPDATE_GOLDEN=1` writes it anew and fails.
#[test]
fn the_published_schema_is_the_program_s() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/record/schema/export-1.json");
    let text = serde_json::to_string_pretty(&lampwright::record::export::json_schema()).unwrap() + "\n";
    if std::env::var_os("UPDATE_GOLDEN").is_some() {
        fs::write(&path, &text).unwrap();
        panic!("written anew");
    }
    assert_eq!(fs::read_to_string(path).unwrap(), text);
}

#[test]
fn an_export_fits_the_schema_and_holds_the_very_bytes() {
    let folder = store_of(3);
    let mut store = Store::open(&shop(&folder)).unwrap();
    store.erase("1", "AB", "asked for").unwrap();
    let made = lampwright::record::export::export(&store, &[0, 1, 2, 3]).unwrap();
    let document: serde_json::Value = serde_json::from_str(&made.json).unwrap();
    let schema = serde_json::to_value(lampwright::record::export::json_schema()).unwrap();
    assert_eq!(schema["$schema"], "https://json-schema.org/draft/2020-12/schema");
    let validator = jsonschema::draft202012::new(&schema).unwrap();
    let errors: Vec<String> = validator.iter_errors(&document).map(|error| error.to_string()).collect();
    assert!(errors.is_empty(), "{errors:?}");
    for broken in ["/records/0/entry/who", "/records/0/leaf", "/records/0/entry/lamps/0/readings/0/reading/setup"] {
        let mut changed = document.clone();
        *changed.pointer_mut(broken).unwrap() = serde_json::json!(7);
        assert!(!validator.is_valid(&changed), "{broken}");
    }
    for number in 0..4 {
        let bytes = store.entry_bytes(number).unwrap();
        assert!(made.json.contains(std::str::from_utf8(&bytes).unwrap()), "entry {number}");
    }
    assert_eq!(document["records"][0]["plate"], "PLATE-0");
    assert_eq!(document["records"][1]["plate"], serde_json::Value::Null);
    assert_eq!(made.files.len(), 6);
    assert_eq!(made.files[1].0, "000000-left-low-2-photo.jpg");
}

#[test]
fn the_table_is_read_by_rfc_4180_and_holds_no_formula() {
    let folder = store_of(1);
    let store = Store::read(&shop(&folder)).unwrap();
    let made = lampwright::record::export::export(&store, &[0]).unwrap();
    let text = String::from_utf8(made.csv.clone()).unwrap();
    assert!(text.ends_with("\r\n") && text.matches("\r\n").count() == 3, "{text}");
    let mut reader = csv::Reader::from_reader(made.csv.as_slice());
    let names = reader.headers().unwrap().clone();
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    let cell =
        |row: usize, name: &str| rows[row].get(names.iter().position(|n| n == name).unwrap()).unwrap().to_owned();
    assert_eq!((cell(0, "customer").as_str(), cell(1, "role").as_str()), ("'=Customer 0", "after"));
    let axis = record_sample::reading().verdict.unwrap().vertical.unwrap();
    assert_eq!(cell(1, "vertical_deg").parse::<f64>().unwrap().to_bits(), axis.value_deg.to_bits());
    assert_eq!(cell(1, "turned_vertical_quarters"), "3");
    for row in &rows {
        for cell in row {
            let is_number = cell.parse::<f64>().is_ok();
            assert!(is_number || !cell.starts_with(['=', '+', '-', '@', '\t', '\r']), "{cell}");
        }
    }
}
