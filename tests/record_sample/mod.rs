//! Inspections to record: a real reading (`reading.json`), and small bytes that stand for its photos.

#![allow(dead_code, reason = "each test program uses its own part")]
#![allow(clippy::unwrap_used, reason = "a test's helpers may unwrap as the tests do")]

use lampwright::kit::session::{Movement, ScrewName};
use lampwright::reading::Reading;
use lampwright::record::{
    BayNote, Draft, FiledFile, Hash, INSPECTION_SCHEMA, Inspection, LampRecord, Parameters, Personal, RecordedReading,
    RuleNote, Store, Verified, VerifyOptions, entry, verify,
};
use rusqlite::Connection;
use std::fs;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

pub(crate) const BAY: &str = "schema = \"lampwright/bay/1\"\nid = \"bay-1\"\n";
pub(crate) const RULE: &str = "schema = \"lampwright/rule/1\"\nid = \"shop-check\"\n";
pub(crate) const OPTIONS: &str = "schema = \"lampwright/options/1\"\n";

/// The reading that stands beside this file.
pub(crate) fn reading() -> Reading {
    serde_json::from_str(include_str!("reading.json")).unwrap()
}

fn filed(name: &str, bytes: &[u8]) -> FiledFile {
    FiledFile { sha256: Hash::of(bytes), name: name.to_owned(), bytes: bytes.len() as u64 }
}

fn hash(text: &str) -> Hash {
    Hash::of(text.as_bytes())
}

/// An inspection of the vehicle "order N" with two readings of its left lamp; its photos are `photos`.
pub(crate) fn draft(order: usize, photos: &[Vec<u8>]) -> Draft {
    let parameters = Parameters {
        bay: hash(BAY),
        rule: hash(RULE),
        screws: None,
        lens: None,
        response: None,
        options: hash(OPTIONS),
    };
    let readings: Vec<RecordedReading> = photos
        .iter()
        .enumerate()
        .map(|(n, bytes)| RecordedReading {
            measured: format!("2026-11-26T08:{n:02}:00.000Z"),
            turned: if n == 0 { Vec::new() } else { vec![Movement { screw: ScrewName::Vertical, quarter_turns: 3.0 }] },
            photo: filed(&format!("left-{n}.jpg"), bytes),
            marks_photo: None,
            ambient_photo: None,
            bracket: Vec::new(),
            annotated: None,
            bay: None,
            rule: None,
            parameters: parameters.clone(),
            reading: reading(),
        })
        .collect();
    let lamps = vec![LampRecord::new("left", "low", readings)];
    let inspection = Inspection {
        schema: INSPECTION_SCHEMA.to_owned(),
        id: entry::new_id(),
        follows: None,
        begun: "2026-11-26T08:00:00.000Z".to_owned(),
        recorded: entry::now(),
        who: "AB".to_owned(),
        vehicle: format!("order {order}"),
        plate: None,
        customer: None,
        software: entry::software(),
        bay: BayNote { id: "bay-1".to_owned(), name: "North bay".to_owned(), revision: None, sha256: hash(BAY) },
        rule: RuleNote {
            id: "shop-check".to_owned(),
            name: "Shop check".to_owned(),
            status: "practice".to_owned(),
            source: "common practice".to_owned(),
            decision: "guarded".to_owned(),
            sha256: hash(RULE),
        },
        coverage_factor: 2.0,
        checklist: Vec::new(),
        unanswered: Vec::new(),
        verdict: Inspection::verdict_of(&lamps),
        lamps,
    };
    Draft {
        inspection,
        personal: Personal::default(),
        files: photos.to_vec(),
        parameters: [BAY, RULE, OPTIONS].map(str::to_owned).to_vec(),
    }
}

pub(crate) const DATABASE: &str = "records.sqlite";

pub(crate) fn photos(names: &[&str]) -> Vec<Vec<u8>> {
    names.iter().map(|name| format!("photo {name}").into_bytes()).collect()
}

/// A store with `count` inspections, closed.
pub(crate) fn store_of(count: usize) -> TempDir {
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

pub(crate) fn shop(folder: &TempDir) -> PathBuf {
    folder.path().join("shop")
}

pub(crate) fn verified(shop: &Path) -> Verified {
    verify(&Store::read(shop).unwrap(), &VerifyOptions::default()).unwrap()
}

pub(crate) fn raw(shop: &Path) -> Connection {
    Connection::open(shop.join(DATABASE)).unwrap()
}

/// A connection of somebody who took the triggers out.
pub(crate) fn without_triggers(shop: &Path) -> (Connection, Vec<String>) {
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

pub(crate) fn put_back((db, triggers): (Connection, Vec<String>)) {
    for sql in triggers {
        db.execute_batch(&sql).unwrap();
    }
    db.close().unwrap();
}

pub(crate) fn copy(from: &Path, to: &Path) {
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
