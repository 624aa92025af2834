//! Recording: photos first, then one transaction with the entry, its parameters and its place in the log.
//!
//! **Takes** a [`Draft`]. **Gives** [`Appended`] once the commit was flushed. **Fails when** the disk is full, read-only or
//! failing, another program holds the store, the draft follows a record that is not the newest any more, or names a photo or
//! parameter that is neither in it nor in the store; then nothing was recorded. Photos that were filed before such a failure stay and do no harm.

use super::entry::{Entry, KEY_CHANGE_SCHEMA, KeyChange};
use super::failure;
use super::files;
use super::hash::Hash;
use super::head::Head;
use super::head_file;
use super::inspection::{Follows, How, Inspection};
use super::key::{PublicKey, StationKey};
use super::list::{found_by, how_word};
use super::merkle;
use super::personal::{Salted, Sealed};
use super::search;
use super::store::{Appended, Draft, Store};
use crate::error::Error;
use rusqlite::{OptionalExtension, Transaction, TransactionBehavior, params};
use std::collections::BTreeSet;
use std::path::Path;

/// A change of the station's key: on the disk when this exists.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeyChanged {
    /// The key that ended.
    pub old: PublicKey,
    /// The key that signs from now on.
    pub new: PublicKey,
    /// The entry that says so.
    pub appended: Appended,
}

/// How log and key stand when an entry is made.
#[derive(Debug)]
pub(super) struct Standing {
    /// The head before the entry.
    pub(super) head: Head,
    /// The key that signs the head with the entry.
    pub(super) key: Option<StationKey>,
}

impl Store {
    /// Records an inspection.
    pub fn append(&mut self, draft: Draft) -> Result<Appended, Error> {
        let Draft { mut inspection, personal, files: photos, parameters } = draft;
        for bytes in &photos {
            files::keep(&self.folder, bytes)?;
        }
        let texts = [("plate", &personal.plate), ("customer", &personal.customer)];
        let mut salted = Vec::new();
        for (field, text) in texts {
            if let Some(text) = text {
                salted.push(Salted::new(field, text)?);
            }
        }
        self.write(|change, folder, _| {
            still_newest(change, folder, &inspection)?;
            all_there(change, folder, &inspection, &parameters)?;
            take_over(change, &mut inspection, &salted).map_err(|error| failure::database(folder, &error))?;
            let all = || {
                keep_parameters(change, &parameters)?;
                keep_personal(change, inspection.first(), &salted)
            };
            all().map_err(|error| failure::database(folder, &error))?;
            Ok(Entry::Inspection(inspection))
        })
    }

    /// Makes the station's key, with which every later head is signed.
    pub fn make_key(&self) -> Result<PublicKey, Error> {
        StationKey::create(&self.folder).map(|key| key.public())
    }

    /// The station's public key, when the store has a key.
    pub fn public_key(&self) -> Result<Option<PublicKey>, Error> {
        Ok(StationKey::load(&self.folder)?.map(|key| key.public()))
    }

    /// Changes the station's key: the old one signs the new one, an entry says so, and every head from that entry on is signed
    /// by the new one. The old secret is gone then. Fails when there is no key yet; when anything fails before the commit, the
    /// old key stands.
    pub fn change_key(&mut self, who: &str, reason: &str) -> Result<KeyChanged, Error> {
        let mut keys = None;
        let appended = self.write(|_, folder, standing| {
            let old = standing.key.take().ok_or_else(|| {
                let hint = "nothing was changed; `lampwright record key STORE` makes the first key";
                Error::file(folder.display().to_string(), "has no key that could be changed", hint)
            })?;
            let new = StationKey::create_waiting(folder)?;
            let mut change = KeyChange {
                schema: KEY_CHANGE_SCHEMA.to_owned(),
                id: super::entry::new_id(),
                recorded: super::entry::now(),
                who: who.to_owned(),
                reason: reason.to_owned(),
                head: standing.head,
                old_key: old.public(),
                new_key: new.public(),
                old_signature: String::new(),
                new_signature: String::new(),
                software: super::entry::software(),
            };
            change.sign(&old, &new);
            keys = Some((old.public(), new.public()));
            standing.key = Some(new);
            Ok(Entry::KeyChange(change))
        })?;
        // Recorded. When the files cannot be changed now, who records next does it: the log says which key it is.
        if let Ok(lock) = Transaction::new_unchecked(&self.db, TransactionBehavior::Immediate) {
            let _ = StationKey::settled(&self.folder, &lock);
        }
        keys.map(|(old, new)| KeyChanged { old, new, appended }).ok_or_else(|| {
            Error::usage("a change of the key was recorded without keys", "please report this as a defect")
        })
    }

    /// How a new record stands to the one with this number, id or beginning of an id.
    /// `by` wrote the new one.
    pub fn follow(&self, name: &str, how: How, by: &str, reason: Option<String>) -> Result<Follows, Error> {
        let earlier = self.inspection(name)?.inspection;
        Ok(Follows { first: earlier.first().to_owned(), id: earlier.id, how, by: by.to_owned(), reason })
    }

    /// One transaction that ends with an entry: all of it or nothing. `make` may give the key that signs from now on.
    pub(super) fn write(
        &mut self,
        make: impl FnOnce(&Transaction<'_>, &Path, &mut Standing) -> Result<Entry, Error>,
    ) -> Result<Appended, Error> {
        let folder = self.folder.clone();
        let fail = |error: rusqlite::Error| failure::database(&folder, &error);
        // Taken before key and tree are read, so that no other program can append or change the key in between.
        let change = Transaction::new_unchecked(&self.db, TransactionBehavior::Immediate).map_err(fail)?;
        let key = StationKey::settled(&folder, &change)?;
        self.check_end()?;
        let mut tree = self.tree()?;
        let mut standing = Standing { head: Head { size: tree.size(), root: tree.root() }, key };
        let entry = make(&change, &folder, &mut standing)?;
        let bytes = serde_json::to_vec(&entry).map_err(|error| {
            Error::usage(format!("the record cannot be written as JSON: {error}"), "please report this as a defect")
        })?;
        let (number, leaf) = (tree.size(), merkle::leaf(&bytes));
        tree.push(leaf);
        let head = Head { size: tree.size(), root: tree.root() };
        let insert = || -> rusqlite::Result<()> {
            change
                .prepare_cached("INSERT INTO log (number, entry, leaf, peaks) VALUES (?1, ?2, ?3, ?4)")?
                .execute(params![number as i64, bytes, leaf.0, tree.peak_bytes()])?;
            if let Entry::Inspection(inspection) = &entry {
                summarise(&change, number, inspection)?;
                search::keep(&change, number)?;
            }
            standing.key.as_ref().map_or(Ok(()), |key| key.sign(&head).insert(&change))
        };
        insert().map_err(fail)?;
        change.commit().map_err(fail)?;
        head_file::write(&folder, &head);
        Ok(Appended { number, id: entry.id().to_owned(), head })
    }
}

/// What is followed must still be the newest record of its inspection: else what was recorded since would be overridden by an
/// older copy of it.
fn still_newest(change: &Transaction<'_>, folder: &Path, inspection: &Inspection) -> Result<(), Error> {
    let Some(follows) = &inspection.follows else { return Ok(()) };
    let newest = change
        .query_row(
            "SELECT number, id FROM summary WHERE first = ?1 ORDER BY number DESC LIMIT 1",
            [&follows.first],
            |row| Ok((row.get::<_, i64>(0)?, row.get::<_, String>(1)?)),
        )
        .optional()
        .map_err(|error| failure::database(folder, &error))?;
    let found = match newest {
        Some((_, id)) if id == follows.id => return Ok(()),
        Some((number, _)) => format!("record {number} is newer than the one that was to be followed, {}", follows.id),
        None => format!("has no record {}, which was to be followed", follows.id),
    };
    let hint = "nothing was recorded; look at the newest record with `lampwright record show`, and do it again";
    Err(Error::file(folder.display().to_string(), found, hint))
}

/// Everything that the inspection names must be in the store before it is recorded.
fn all_there(change: &Transaction<'_>, folder: &Path, inspection: &Inspection, texts: &[String]) -> Result<(), Error> {
    let missing = |what: String| {
        Error::file(folder.display().to_string(), format!("{what} is not in the store"), "nothing was recorded")
    };
    let given: BTreeSet<Hash> = texts.iter().map(|text| Hash::of(text.as_bytes())).collect();
    let notes = [inspection.bay.sha256, inspection.rule.sha256];
    let named: BTreeSet<Hash> =
        inspection.readings().flat_map(|reading| reading.parameters.hashes()).chain(notes).collect();
    for hash in named.difference(&given) {
        let held = change
            .query_row("SELECT 1 FROM parameter WHERE sha256 = ?1", [hash.0], |_| Ok(()))
            .optional()
            .map_err(|error| failure::database(folder, &error))?;
        held.ok_or_else(|| missing(format!("parameter {hash}")))?;
    }
    for file in inspection.readings().flat_map(super::inspection::RecordedReading::files) {
        if !files::place(folder, &file.sha256).is_file() {
            return Err(missing(format!("photo {}", file.name)));
        }
    }
    Ok(())
}

/// Fills in the digests: of new texts, else those of the newest record of the same inspection whose text still stands.
fn take_over(change: &Transaction<'_>, inspection: &mut Inspection, salted: &[Salted]) -> rusqlite::Result<()> {
    let first = inspection.first().to_owned();
    let digest = |field: &str| -> rusqlite::Result<Option<Sealed>> {
        if let Some(new) = salted.iter().find(|text| text.field == field) {
            return Ok(Some(Sealed { salted_sha256: new.digest }));
        }
        let column = if field == "plate" { "plate" } else { "customer" };
        let sql = format!(
            "SELECT {column} FROM summary WHERE first = ?1 AND {column} IN (SELECT digest FROM personal) \
             ORDER BY number DESC LIMIT 1"
        );
        let held = change.query_row(&sql, [&first], |row| row.get::<_, Vec<u8>>(0)).optional()?;
        Ok(held.and_then(|bytes| Hash::from_slice(&bytes)).map(|salted_sha256| Sealed { salted_sha256 }))
    };
    inspection.plate = digest("plate")?;
    inspection.customer = digest("customer")?;
    Ok(())
}

fn keep_parameters(change: &Transaction<'_>, texts: &[String]) -> rusqlite::Result<()> {
    let mut insert = change.prepare_cached(
        "INSERT INTO parameter (sha256, content) SELECT ?1, ?2 WHERE NOT EXISTS (SELECT 1 FROM parameter WHERE sha256 = ?1)",
    )?;
    texts.iter().try_for_each(|text| {
        insert.execute(params![Hash::of(text.as_bytes()).0, text.as_bytes()])?;
        Ok(())
    })
}

fn keep_personal(change: &Transaction<'_>, first: &str, texts: &[Salted]) -> rusqlite::Result<()> {
    let sql = "INSERT INTO personal (digest, first, field, salt, text) VALUES (?1, ?2, ?3, ?4, ?5)";
    let mut insert = change.prepare_cached(sql)?;
    texts.iter().try_for_each(|text| {
        insert.execute(params![text.digest.0, first, text.field, text.salt, text.text])?;
        Ok(())
    })
}

fn summarise(change: &Transaction<'_>, number: u64, inspection: &Inspection) -> rusqlite::Result<()> {
    let digest = |sealed: Option<Sealed>| sealed.map(|sealed| sealed.salted_sha256.0);
    change
        .prepare_cached(
            "INSERT INTO summary (number, id, first, begun, who, vehicle, bay, rule, verdict, readings, how, plate, customer, found_by) \
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14)",
        )?
        .execute(params![
            number as i64,
            inspection.id,
            inspection.first(),
            inspection.begun,
            inspection.who,
            inspection.vehicle,
            inspection.bay.id,
            inspection.rule.id,
            inspection.verdict,
            inspection.readings().count() as i64,
            how_word(inspection.follows.as_ref().map(|follows| follows.how)),
            digest(inspection.plate),
            digest(inspection.customer),
            found_by(&inspection.vehicle, &inspection.who, &inspection.bay.id),
        ])
        .map(|_| ())
}
