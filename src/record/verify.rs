//! Verification: everything in the store held against the log, and the log against its own hashes and heads kept outside.
//!
//! **Takes** a store and [`VerifyOptions`]. **Gives** [`Verified`]; a store is whole when it lists no finding. **How**: every
//! entry is hashed again and the Merkle tree built anew; every parameter, photo and picture that an entry names is hashed;
//! summaries, salted texts and signatures are held against the entries. **Weak when** no head is given and nothing is signed:
//! then a tail that was cut off on purpose, with all that stands beside the log, cannot show. **Fails when** the store cannot be opened at all.

use super::beside;
use super::database;
use super::files;
use super::hash::Hash;
use super::head::Head;
use super::head_file;
use super::key::{self, PublicKey, SignedHead};
use super::personal;
use super::search;
use super::store::Store;
use super::verify_keys::Keys;
use super::verify_log::{LogFacts, read_log};
use crate::error::Error;
use rayon::prelude::*;
use rusqlite::Connection;
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

/// What to verify against, and how far.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct VerifyOptions {
    /// A head that was kept outside.
    pub head: Option<Head>,
    /// Public keys of the station, kept outside: then every entry must be covered by a signature of one of them, or of a key
    /// that a recorded change joins to one of them. One is enough where every change was recorded.
    pub public_keys: Vec<PublicKey>,
    /// Leave photos and pictures out, which take the most time.
    pub is_without_photos: bool,
}

/// Something that is not as it was recorded.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    /// Where: an entry, a photo, a parameter and so on.
    pub place: String,
    /// What was found.
    pub found: String,
}

/// What verification came to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Verified {
    /// The head of the log as it stands.
    pub head: Head,
    /// Photos and pictures that were hashed.
    pub photos: u64,
    /// Parameters that were hashed.
    pub parameters: u64,
    /// Newest head with a true signature, and whose.
    pub signed: Option<(Head, PublicKey)>,
    /// True changes of the station's key: entry, old key, new key.
    pub key_changes: Vec<(u64, PublicKey, PublicKey)>,
    /// What is wrong; empty when the store is whole.
    pub findings: Vec<Finding>,
    /// What is worth knowing and wrong in no way.
    pub notes: Vec<String>,
}

/// Gathers findings.
#[derive(Debug, Default)]
pub(super) struct Findings(Vec<Finding>);

impl Findings {
    pub(super) fn add(&mut self, place: impl Into<String>, found: impl Into<String>) {
        self.0.push(Finding { place: place.into(), found: found.into() });
    }

    /// A step of the database that failed is a finding of its own.
    fn step(&mut self, place: &str, outcome: rusqlite::Result<()>) {
        if let Err(error) = outcome {
            self.add(place, format!("cannot be read: {error}"));
        }
    }
}

/// Verifies a store.
pub fn verify(store: &Store, options: &VerifyOptions) -> Result<Verified, Error> {
    let mut findings = Findings::default();
    // One view of the store while others go on recording.
    let view = store.db.unchecked_transaction().map_err(|error| store.failed(&error))?;
    let outcome = integrity(&view, &mut findings);
    findings.step("database", outcome);
    let outcome = schema(&view, &mut findings);
    findings.step("database", outcome);
    let mut signed = BTreeMap::new();
    let outcome = signatures(&view, &mut signed);
    findings.step("signatures", outcome);
    let mut sizes: BTreeSet<u64> = signed.keys().copied().collect();
    let beside = head_file::read(&store.folder);
    sizes.extend(options.head.iter().chain(&beside).map(|head| head.size));
    let mut log = LogFacts::default();
    let outcome = read_log(&view, &sizes, &mut log, &mut findings);
    findings.step(&format!("log from entry {}", log.tree.size()), outcome);
    let head = Head { size: log.tree.size(), root: log.tree.root() };
    if let Some(outside) = &options.head {
        hold_against(outside, &log, "the head that was given", &mut findings);
    }
    if let Some(beside) = &beside {
        hold_against(beside, &log, head_file::HEAD_FILE, &mut findings);
    }
    let newest_signed = hold_signatures(&signed, &log, &options.public_keys, &mut findings);
    let mut parameters = 0;
    let outcome = hold_parameters(&view, &log, &mut parameters, &mut findings);
    findings.step("parameters", outcome);
    let outcome = hold_personal(&view, &log, &mut findings);
    findings.step("plates and customers", outcome);
    let outcome = hold_words(&view, &mut findings);
    findings.step("words to search", outcome);
    beside::hold(&store.folder, &mut findings);
    // A store without entries has none yet.
    let mut notes: Vec<String> = head_file::doubt(&store.folder).into_iter().filter(|_| head.size > 0).collect();
    match key::state(&store.folder) {
        Ok(None) => (),
        Ok(Some(note)) => notes.push(note),
        Err(found) => findings.add(key::KEY_FILE, found),
    }
    let photos =
        if options.is_without_photos { 0 } else { hold_photos(&store.folder, &log, &mut findings, &mut notes) };
    let signed = newest_signed;
    let key_changes = log.key_changes.iter().map(|(number, one)| (*number, one.old_key, one.new_key)).collect();
    Ok(Verified { head, photos, parameters, signed, key_changes, findings: findings.0, notes })
}

fn integrity(db: &Connection, findings: &mut Findings) -> rusqlite::Result<()> {
    let mut check = db.prepare("PRAGMA integrity_check(20)")?;
    let lines = check.query_map([], |row| row.get::<_, String>(0))?;
    for line in lines {
        let line = line?;
        if line != "ok" {
            findings.add("database", line);
        }
    }
    Ok(())
}

/// Tables, indexes and triggers must be those that the program makes.
fn schema(db: &Connection, findings: &mut Findings) -> rusqlite::Result<()> {
    let listed = |db: &Connection| -> rusqlite::Result<BTreeSet<(String, String, Option<String>)>> {
        let mut all = db.prepare("SELECT name, type || ' on ' || tbl_name, sql FROM sqlite_schema")?;
        let rows = all.query_map([], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))?;
        rows.collect()
    };
    let fresh = Connection::open_in_memory()?;
    database::make(&fresh, db)?;
    let (wanted, found) = (listed(&fresh)?, listed(db)?);
    for (name, _, _) in wanted.symmetric_difference(&found) {
        findings.add("database", format!("{name} is not as the program made it"));
    }
    Ok(())
}

fn signatures(db: &Connection, signed: &mut BTreeMap<u64, SignedHead>) -> rusqlite::Result<()> {
    let mut all = db.prepare("SELECT size, root, signed, public_key, signature FROM signature ORDER BY size")?;
    let rows = all.query_map([], |row| {
        let head = Head { size: row.get::<_, i64>(0)? as u64, root: Hash(row.get(1)?) };
        Ok(SignedHead { head, signed: row.get(2)?, public_key: PublicKey(row.get(3)?), signature: row.get(4)? })
    })?;
    for row in rows {
        let row = row?;
        signed.insert(row.head.size, row);
    }
    Ok(())
}

fn hold_against(outside: &Head, log: &LogFacts, name: &str, findings: &mut Findings) {
    if outside.size > log.tree.size() {
        let missing = outside.size - log.tree.size();
        findings.add("log", format!("{missing} of {} entries are missing at its end, by {name}", outside.size));
    } else if log.roots.get(&outside.size).is_none_or(|root| *root != outside.root) {
        findings.add("log", format!("the first {} entries are not those of {name}", outside.size));
    }
}

fn hold_signatures(
    signed: &BTreeMap<u64, SignedHead>,
    log: &LogFacts,
    given: &[PublicKey],
    findings: &mut Findings,
) -> Option<(Head, PublicKey)> {
    let all: Vec<&SignedHead> = signed.values().collect();
    let is_true: Vec<bool> = all.par_iter().map(|one| one.is_true()).collect();
    let keys = Keys::of(&log.key_changes, given);
    let mut newest = None;
    for (one, is_true) in all.into_iter().zip(is_true) {
        let place = format!("signature of {} entries", one.head.size);
        if !is_true {
            findings.add(place, "is not true");
        } else if let Some(found) = keys.fault(one) {
            findings.add(place, found);
        } else {
            hold_against(&one.head, log, "a signed head", findings);
            newest = Some((one.head, one.public_key));
        }
    }
    let covered = newest.map_or(0, |(head, _): (Head, PublicKey)| head.size);
    if !given.is_empty() && covered < log.tree.size() {
        let whose = if given.len() == 1 { "this key" } else { "these keys" };
        findings.add("log", format!("no signature of {whose} covers entries {covered} to {}", log.tree.size() - 1));
    }
    newest
}

fn hold_parameters(db: &Connection, log: &LogFacts, count: &mut u64, findings: &mut Findings) -> rusqlite::Result<()> {
    let mut missing = log.parameters.clone();
    let mut all = db.prepare("SELECT sha256, content FROM parameter")?;
    let mut rows = all.query([])?;
    while let Some(row) = rows.next()? {
        let (name, content) = (Hash(row.get(0)?), row.get::<_, Vec<u8>>(1)?);
        *count += 1;
        if Hash::of(&content) != name {
            findings.add(format!("parameter {name}"), "was changed");
        }
        if missing.remove(&name).is_none() {
            findings.add(format!("parameter {name}"), "is named by no entry");
        }
    }
    for (name, number) in missing {
        findings.add(format!("parameter {name}"), format!("is missing; entry {number} names it"));
    }
    Ok(())
}

fn hold_personal(db: &Connection, log: &LogFacts, findings: &mut Findings) -> rusqlite::Result<()> {
    let mut missing = log.sealed.clone();
    let mut all = db.prepare("SELECT digest, first, field, salt, text FROM personal")?;
    let mut rows = all.query([])?;
    while let Some(row) = rows.next()? {
        let (digest, first, field) = (Hash(row.get(0)?), row.get::<_, String>(1)?, row.get::<_, String>(2)?);
        let (salt, text) = (row.get::<_, Vec<u8>>(3)?, row.get::<_, String>(4)?);
        let named = missing.remove(&digest);
        let place = format!("{field} of inspection {first}");
        if personal::digest(&salt, &text) != digest {
            findings.add(place, "was changed");
        } else if named.is_none_or(|(named_first, named_field, _)| named_first != first || named_field != field) {
            findings.add(place, "stands at an inspection that does not name it");
        }
    }
    for (first, field, number) in missing.into_values() {
        if log.erased.get(&first).is_none_or(|erased| *erased < number) {
            findings.add(format!("{field} of entry {number}"), "is missing, and no erasure was recorded");
        }
    }
    Ok(())
}

fn hold_words(db: &Connection, findings: &mut Findings) -> rusqlite::Result<()> {
    for (from, until) in search::hold(db)? {
        findings.add(format!("words to search of entries {from} to {until}"), "are not those of the entries");
    }
    Ok(())
}

fn hold_photos(folder: &Path, log: &LogFacts, findings: &mut Findings, notes: &mut Vec<String>) -> u64 {
    let wrong: Vec<(String, String)> = log
        .photos
        .par_iter()
        .filter_map(|(hash, (number, size))| {
            let place = files::place(folder, hash);
            let found = match fs::read(&place) {
                Err(error) => format!("cannot be read: {error}"),
                Ok(bytes) if Hash::of(&bytes) != *hash => "was changed".to_owned(),
                Ok(bytes) if bytes.len() as u64 != *size => format!("has {} bytes, entry says {size}", bytes.len()),
                Ok(_) => return None,
            };
            Some((format!("photo {hash}"), format!("{found}; entry {number} names it")))
        })
        .collect();
    for (place, found) in wrong {
        findings.add(place, found);
    }
    let others = files::others(folder, |hash| log.photos.contains_key(hash));
    if others > 0 {
        notes.push(format!(
            "{others} files in {} that no entry names; left by recordings that were broken off",
            files::FILES
        ));
    }
    log.photos.len() as u64
}
