//! A store that somebody or something changed: every changed byte, place and end shows.

#![cfg(feature = "records")]
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test's helpers must fail loudly, as the tests do")]

mod record_sample;

use lampwright::record::export::export;
use lampwright::record::personal::ALTERED;
use lampwright::record::{Head, Store, VerifyOptions, backup, key::KEY_FILE, verify};
use record_sample::{copy, draft, photos, put_back, raw, shop, store_of, verified, without_triggers};
use rusqlite::params;
use std::fs;

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
    taken
        .0
        .execute_batch(
            "DELETE FROM summary WHERE number = 3; DELETE FROM personal WHERE first NOT IN (SELECT first FROM summary);
             DELETE FROM log WHERE number = 3; UPDATE search SET words = substr(words, 1, instr(words, '3' || char(31)) - 1)",
        )
        .unwrap();
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

/// A backup is no laundry: what the store has lost, its copy has lost too, and says so.
#[test]
fn a_backup_of_a_store_that_lost_its_end_is_not_whole() {
    let folder = store_of(2);
    let mut store = Store::open(&shop(&folder)).unwrap();
    store.append(draft(2, &photos(&["one"]))).unwrap();
    let cut = folder.path().join("cut");
    copy(&shop(&folder), &cut);
    for file in ["records.sqlite-wal", "records.sqlite-shm"] {
        fs::remove_file(cut.join(file)).unwrap();
    }
    let to = folder.path().join("backup");
    let outcome = backup(&Store::read(&cut).unwrap(), &to).unwrap();
    let found = &outcome.findings;
    assert!(found.len() == 1 && found[0].found.contains("1 of 3 entries are missing at its end"), "{found:?}");
    assert_eq!(fs::read(to.join("head.txt")).unwrap(), fs::read(shop(&folder).join("head.txt")).unwrap());
    assert_eq!(verified(&to).findings, *found, "whenever it is looked at");
    assert!(Store::open(&to).unwrap().append(draft(3, &photos(&["one"]))).is_err());
}

#[test]
fn a_missing_or_garbled_head_beside_the_log_is_noted() {
    let folder = store_of(2);
    assert_eq!(verified(&shop(&folder)).notes, [""; 0]);
    let place = shop(&folder).join("head.txt");
    for (content, words) in [(Some("2:none"), "head.txt holds no head"), (None, "head.txt is missing")] {
        match content {
            Some(content) => fs::write(&place, content).unwrap(),
            None => fs::remove_file(&place).unwrap(),
        }
        let outcome = verified(&shop(&folder));
        assert!(outcome.notes.len() == 1 && outcome.notes[0].contains(words), "{:?}", outcome.notes);
        let copied = backup(&Store::read(&shop(&folder)).unwrap(), &folder.path().join(words)).unwrap();
        assert!(copied.notes.len() == 1 && copied.notes[0].contains(words), "{:?}", copied.notes);
    }
    assert_eq!(verified(&shop(&store_of(0))).notes, [""; 0], "a new store has none yet");
}

/// What was changed is neither shown, listed nor exported as if it had been recorded so; and it can still be erased.
#[test]
fn an_altered_plate_or_customer_is_said_to_be() {
    let folder = store_of(2);
    let taken = without_triggers(&shop(&folder));
    taken.0.execute_batch("UPDATE personal SET text = 'PLATE-9' WHERE text = 'PLATE-1'").unwrap();
    put_back(taken);
    let mut store = Store::open(&shop(&folder)).unwrap();
    let stored = store.inspection("1").unwrap();
    assert_eq!(stored.personal.plate.as_deref(), Some(ALTERED));
    assert_eq!(stored.personal.customer.as_deref(), Some("=Customer 1"));
    let plates: Vec<Option<String>> = store.list(5).unwrap().into_iter().map(|row| row.plate).collect();
    assert_eq!(plates, [Some(ALTERED.to_owned()), Some("PLATE-0".to_owned())]);
    let exported = export(&store, &[1]).unwrap();
    assert!(exported.json.contains(ALTERED) && !exported.json.contains("PLATE-9"), "{}", exported.json);
    store.erase("1", "AB", "asked for").unwrap();
    assert_eq!(store.inspection("1").unwrap().personal.plate, None);
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
    let options = VerifyOptions { public_keys: vec![key], ..VerifyOptions::default() };
    let whole = verify(&store, &options).unwrap();
    assert_eq!((whole.findings, whole.signed), (vec![], Some((whole.head, key))));
    let other = VerifyOptions { public_keys: vec!["00".repeat(32).parse().unwrap()], ..VerifyOptions::default() };
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
