//! Keys of the station: a change is recorded, the log stays signed across it, and a change that nobody with the old key made shows.

#![cfg(feature = "records")]
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test's helpers must fail loudly, as the tests do")]

mod record_sample;

use ed25519_dalek::{Signer, SigningKey};
use lampwright::record::merkle::{Tree, leaf};
use lampwright::record::verify::Finding;
use lampwright::record::{
    Entry, Head, KeyChange, PublicKey, Store, VerifyOptions, backup,
    key::{KEY_FILE, NEW_KEY_FILE},
    verify,
};
use record_sample::{draft, photos, put_back, shop, store_of, without_triggers};
use rusqlite::params;
use std::fs;
use std::path::Path;
use tempfile::TempDir;

fn findings(shop: &Path, keys: &[PublicKey]) -> Vec<Finding> {
    let options = VerifyOptions { public_keys: keys.to_vec(), ..VerifyOptions::default() };
    verify(&Store::read(shop).unwrap(), &options).unwrap().findings
}

fn append(store: &mut Store, n: usize) {
    store.append(draft(n, &photos(&["one"]))).unwrap();
}

/// A store with two entries by a first key, the change, and two entries by the second; and both keys.
fn changed_store() -> (TempDir, PublicKey, PublicKey) {
    let folder = store_of(0);
    let mut store = Store::open(&shop(&folder)).unwrap();
    let first = store.make_key().unwrap();
    append(&mut store, 0);
    append(&mut store, 1);
    let changed = store.change_key("AB", "the machine was sold").unwrap();
    assert_eq!((changed.old, changed.appended.number), (first, 2));
    append(&mut store, 3);
    append(&mut store, 4);
    (folder, first, changed.new)
}

#[test]
fn a_recorded_change_keeps_the_log_whole_for_either_key() {
    let (folder, first, second) = changed_store();
    let shop = shop(&folder);
    assert_ne!(first, second);
    for keys in [&[first][..], &[second], &[first, second], &[]] {
        assert_eq!(findings(&shop, keys), [], "{keys:?}");
    }
    let store = Store::read(&shop).unwrap();
    let outcome = verify(&store, &VerifyOptions::default()).unwrap();
    assert_eq!(outcome.key_changes, [(2, first, second)]);
    assert_eq!(outcome.signed, Some((outcome.head, second)));
    assert_eq!(store.public_key().unwrap(), Some(second));
    assert!(!shop.join(NEW_KEY_FILE).exists());
    let error = store.inspection("2").unwrap_err().to_string();
    assert!(error.contains("the key was changed"), "{error}");
    // Of a third key nobody knows anything.
    let third: PublicKey = "11".repeat(32).parse().unwrap();
    assert!(!findings(&shop, &[third]).is_empty());
    let to = folder.path().join("backup");
    assert_eq!(backup(&store, &to).unwrap().findings, []);
    assert_eq!(findings(&to, &[first]), []);
    assert_eq!(store.list(9).unwrap().len(), 4, "a change of the key is no inspection");
}

#[test]
fn several_changes_are_a_chain() {
    let (folder, first, second) = changed_store();
    let mut store = Store::open(&shop(&folder)).unwrap();
    let third = store.change_key("AB", "yearly").unwrap();
    assert_eq!(third.old, second);
    append(&mut store, 6);
    for key in [first, second, third.new] {
        assert_eq!(findings(&shop(&folder), &[key]), []);
    }
}

#[test]
fn a_store_without_a_key_has_none_to_change() {
    let folder = store_of(1);
    let mut store = Store::open(&shop(&folder)).unwrap();
    let error = store.change_key("AB", "x").unwrap_err().to_string();
    assert!(error.contains("no key that could be changed") && error.contains("nothing was changed"), "{error}");
    assert_eq!(store.head().unwrap().size, 1);
    assert!(!shop(&folder).join(NEW_KEY_FILE).exists() && !shop(&folder).join(KEY_FILE).exists());
}

/// Keys that were changed by moving the file, without a record: both are needed.
#[test]
fn a_change_without_a_record_needs_both_keys() {
    let folder = store_of(0);
    let mut store = Store::open(&shop(&folder)).unwrap();
    let first = store.make_key().unwrap();
    append(&mut store, 0);
    fs::rename(shop(&folder).join(KEY_FILE), folder.path().join("old.key")).unwrap();
    let second = store.make_key().unwrap();
    append(&mut store, 1);
    assert!(findings(&shop(&folder), &[first]).iter().any(|one| one.found.contains("another key")));
    assert!(findings(&shop(&folder), &[second]).iter().any(|one| one.found.contains("another key")));
    assert_eq!(findings(&shop(&folder), &[first, second]), []);
}

/// A program that was killed between its steps: before the commit the old key goes on, after it the new one.
#[test]
fn a_change_that_was_broken_off_is_finished_or_forgotten() {
    let folder = store_of(0);
    let shop = shop(&folder);
    let mut store = Store::open(&shop).unwrap();
    let first = store.make_key().unwrap();
    append(&mut store, 0);
    let old_file = fs::read(shop.join(KEY_FILE)).unwrap();
    for rest in ["", "lampwright/station-key/1\n"] {
        fs::write(shop.join(NEW_KEY_FILE), rest).unwrap();
        append(&mut store, 1);
        assert!(!shop.join(NEW_KEY_FILE).exists() && store.public_key().unwrap() == Some(first));
    }
    // A whole key that nothing was signed with.
    let other = store_of(0);
    Store::open(&record_sample::shop(&other)).unwrap().make_key().unwrap();
    fs::copy(record_sample::shop(&other).join(KEY_FILE), shop.join(NEW_KEY_FILE)).unwrap();
    append(&mut store, 2);
    assert_eq!(store.public_key().unwrap(), Some(first));
    let changed = store.change_key("AB", "x").unwrap();
    // As if it had been killed before the files were changed.
    fs::rename(shop.join(KEY_FILE), shop.join(NEW_KEY_FILE)).unwrap();
    fs::write(shop.join(KEY_FILE), old_file).unwrap();
    #[cfg(unix)]
    fs::set_permissions(shop.join(KEY_FILE), std::os::unix::fs::PermissionsExt::from_mode(0o600)).unwrap();
    append(&mut store, 5);
    assert_eq!(store.public_key().unwrap(), Some(changed.new));
    assert_eq!(findings(&shop, &[first]), []);
}

/// A key that was ended signs nothing more: somebody put the old file back.
#[test]
fn a_key_that_was_ended_does_not_sign_on() {
    let folder = store_of(0);
    let shop = shop(&folder);
    let mut store = Store::open(&shop).unwrap();
    let first = store.make_key().unwrap();
    append(&mut store, 0);
    let old_file = fs::read(shop.join(KEY_FILE)).unwrap();
    let second = store.change_key("AB", "stolen").unwrap().new;
    fs::write(shop.join(KEY_FILE), old_file).unwrap();
    append(&mut store, 2);
    for keys in [&[first][..], &[second], &[first, second], &[]] {
        let found = findings(&shop, keys);
        assert!(found.iter().any(|one| one.found.contains("ended by entry 1")), "{keys:?}: {found:?}");
    }
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |text, byte| format!("{text}{byte:02x}"))
}

/// What both keys sign, as the schema's documentation says it.
fn message(change: &KeyChange) -> String {
    let KeyChange { schema, id, recorded, head, old_key, new_key, .. } = change;
    format!("{schema}\n{id}\n{recorded}\n{head}\n{old_key}\n{new_key}\n")
}

/// Writes the entry of a key change anew, and whatever else a forger who knows the format would write: leaf, peaks of all
/// later entries, the head beside the log, and every later head's signature by his own key.
fn forge(folder: &TempDir, change: &KeyChange, forger: &SigningKey) {
    let taken = without_triggers(&shop(folder));
    let entries: Vec<Vec<u8>> = {
        let mut all = taken.0.prepare("SELECT entry FROM log ORDER BY number").unwrap();
        all.query_map([], |row| row.get(0)).unwrap().map(Result::unwrap).collect()
    };
    let mut tree = Tree::default();
    for (number, mut entry) in entries.into_iter().enumerate() {
        if number == 2 {
            entry = serde_json::to_vec(&Entry::KeyChange(change.clone())).unwrap();
        }
        tree.push(leaf(&entry));
        let update = "UPDATE log SET entry = ?1, leaf = ?2, peaks = ?3 WHERE number = ?4";
        taken.0.execute(update, params![entry, leaf(&entry).0, tree.peak_bytes(), number as i64]).unwrap();
        if number >= 2 {
            let head = Head { size: tree.size(), root: tree.root() };
            let signed = "2026-11-26T08:00:00.000Z";
            let message = format!("lampwright/head/1\n{head}\n{signed}\n");
            let signature = forger.sign(message.as_bytes()).to_bytes();
            let key = forger.verifying_key().to_bytes();
            let update = "UPDATE signature SET root = ?1, signed = ?2, public_key = ?3, signature = ?4 WHERE size = ?5";
            taken.0.execute(update, params![head.root.0, signed, key, signature, head.size as i64]).unwrap();
        }
    }
    let head = Head { size: tree.size(), root: tree.root() };
    fs::write(shop(folder).join("head.txt"), format!("{head}\n")).unwrap();
    put_back(taken);
}

fn recorded_change(folder: &TempDir) -> KeyChange {
    let bytes = Store::read(&shop(folder)).unwrap().entry_bytes(2).unwrap();
    match serde_json::from_slice(&bytes).unwrap() {
        Entry::KeyChange(change) => change,
        other => panic!("{other:?}"),
    }
}

/// Truth: the signatures are Ed25519 over the documented lines, held with the library itself.
#[test]
fn both_keys_sign_the_documented_lines() {
    let (folder, _, _) = changed_store();
    let change = recorded_change(&folder);
    for (key, signature) in [(&change.old_key, &change.old_signature), (&change.new_key, &change.new_signature)] {
        let bytes: Vec<u8> = (0..64).map(|n| u8::from_str_radix(&signature[2 * n..2 * n + 2], 16).unwrap()).collect();
        let key = ed25519_dalek::VerifyingKey::from_bytes(&key.0).unwrap();
        let signature = ed25519_dalek::Signature::from_slice(&bytes).unwrap();
        assert!(key.verify_strict(message(&change).as_bytes(), &signature).is_ok());
    }
}

/// Somebody with the folder and without the old secret: his key follows by his own word alone.
#[test]
fn a_forged_change_shows() {
    let (folder, first, second) = changed_store();
    let forger = SigningKey::from_bytes(&[7; 32]);
    let his = PublicKey(forger.verifying_key().to_bytes());
    let old = recorded_change(&folder);
    let mut change = KeyChange { new_key: his, ..old.clone() };
    change.new_signature = hex(&forger.sign(message(&change).as_bytes()).to_bytes());
    // The old key's signature over the true change; his own in its place; nothing.
    let own = hex(&forger.sign(message(&change).as_bytes()).to_bytes());
    for signature in [old.old_signature, own, String::new(), "00".repeat(64)] {
        change.old_signature = signature;
        forge(&folder, &change, &forger);
        for keys in [&[first][..], &[second], &[first, second], &[]] {
            let found = findings(&shop(&folder), keys);
            let is_named = found.iter().any(|one| {
                one.place == "entry 2" && one.found.contains("FORGED") && one.found.contains(&first.to_string())
            });
            assert!(is_named, "{keys:?}: {found:?}");
        }
        let found = findings(&shop(&folder), &[first]);
        assert!(found.iter().any(|one| one.found.contains("is of another key")), "{found:?}");
        assert!(found.iter().any(|one| one.found.contains("covers entries 2 to 4")), "{found:?}");
    }
    // A store that is his from the start to the end is whole by itself, and not by a key that was kept outside.
    change.old_key = his;
    change.new_key = first;
    change.old_signature = hex(&forger.sign(message(&change).as_bytes()).to_bytes());
    forge(&folder, &change, &forger);
    assert!(findings(&shop(&folder), &[first]).iter().any(|one| one.found.contains("FORGED")));
}

/// A true change of another place in the log: the head in it is not the one before it.
#[test]
fn a_change_put_elsewhere_shows() {
    let (folder, _, _) = changed_store();
    let (other, _, _) = changed_store();
    let change = recorded_change(&other);
    forge(&folder, &change, &SigningKey::from_bytes(&[7; 32]));
    let found = findings(&shop(&folder), &[]);
    assert!(found.iter().any(|one| one.place == "entry 2" && one.found.contains("made elsewhere")), "{found:?}");
}
