//! A store: opening it and reading from it.

use super::database;
use super::entry::Entry;
use super::failure;
use super::files;
use super::hash::Hash;
use super::head::Head;
use super::inspection::Inspection;
use super::merkle::{self, Tree};
use super::personal::{self, Personal, Sealed};
use crate::error::Error;
use rusqlite::{Connection, OptionalExtension};
use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// A store of inspections.
#[derive(Debug)]
pub struct Store {
    pub(super) folder: PathBuf,
    pub(super) db: Connection,
}

/// What is to be recorded.
#[derive(Debug, Clone, PartialEq)]
pub struct Draft {
    /// The inspection. Its digests of plate and customer are filled in from `personal`, or taken over from the record that
    /// it follows.
    pub inspection: Inspection,
    /// Plate and customer, as far as they are new.
    pub personal: Personal,
    /// Bytes of every photo and picture that it names and that is not in the store yet.
    pub files: Vec<Vec<u8>>,
    /// Texts of every parameter that it names and that is not in the store yet.
    pub parameters: Vec<String>,
}

/// What was recorded: on the disk when this exists.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Appended {
    /// Its place in the log, from 0.
    pub number: u64,
    /// Its id.
    pub id: String,
    /// The log's head with it.
    pub head: Head,
}

/// A record as it was read: its entry's hash was checked.
#[derive(Debug, Clone, PartialEq)]
pub struct Stored {
    /// Its place in the log, from 0.
    pub number: u64,
    /// The inspection.
    pub inspection: Inspection,
    /// Plate and customer, unless erased.
    pub personal: Personal,
    /// Place of the newest record of the same inspection; its own when it is the newest.
    pub newest: u64,
    /// The entry's Merkle leaf.
    pub leaf: Hash,
}

impl Store {
    /// Makes a new store in a folder that does not exist yet or is empty.
    pub fn create(folder: &Path) -> Result<Self, Error> {
        fs::create_dir_all(folder).map_err(|error| failure::file(folder, "made", &error))?;
        let mut inside = fs::read_dir(folder).map_err(|error| failure::file(folder, "read", &error))?;
        if inside.next().is_some() {
            let hint = "name a new folder, or use the store that is there";
            return Err(Error::file(folder.display().to_string(), "is not empty", hint));
        }
        let store = Self { folder: folder.to_owned(), db: database::open(folder, true)? };
        for folder in [Some(folder), folder.parent().filter(|parent| parent.is_dir())].into_iter().flatten() {
            files::flush(folder).map_err(|error| failure::file(folder, "flushed", &error))?;
        }
        Ok(store)
    }

    /// Opens a store to read and to record.
    pub fn open(folder: &Path) -> Result<Self, Error> {
        missing(folder)?;
        Ok(Self { folder: folder.to_owned(), db: database::open(folder, false)? })
    }

    /// Opens a store to read alone.
    pub fn read(folder: &Path) -> Result<Self, Error> {
        missing(folder)?;
        Ok(Self { folder: folder.to_owned(), db: database::open_to_read(folder)? })
    }

    /// Lets the database grow by at most so many pages, then it is full: for those who test what a full disk does.
    pub fn limit_pages(&self, more: u32) -> Result<(), Error> {
        let limit = || -> rusqlite::Result<()> {
            let pages: i64 = self.db.pragma_query_value(None, "page_count", |row| row.get(0))?;
            self.db.pragma_update_and_check(None, "max_page_count", pages + i64::from(more), |_| Ok(()))
        };
        limit().map_err(|error| self.failed(&error))
    }

    /// Leaves flushing to the system: for those who fill a store to measure its speed. A power cut then loses records.
    pub fn set_unsafe_speed(&self) -> Result<(), Error> {
        self.db.pragma_update(None, "synchronous", "off").map_err(|error| self.failed(&error))
    }

    /// How long another program's write is waited for.
    pub fn wait_for(&self, longest: Duration) -> Result<(), Error> {
        self.db.busy_timeout(longest).map_err(|error| self.failed(&error))
    }

    /// Its folder.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// The log's head: size and root.
    pub fn head(&self) -> Result<Head, Error> {
        let tree = self.tree()?;
        Ok(Head { size: tree.size(), root: tree.root() })
    }

    /// The tree over the whole log.
    pub(super) fn tree(&self) -> Result<Tree, Error> {
        let last = self.peaks("SELECT number, peaks FROM log ORDER BY number DESC LIMIT ?1", 1)?;
        Ok(last.unwrap_or_default())
    }

    /// The root over the first `size` entries; `None` when there are not so many.
    pub(super) fn root_at(&self, size: u64) -> Result<Option<Hash>, Error> {
        let Some(last) = size.checked_sub(1) else { return Ok(Some(Tree::default().root())) };
        Ok(self.peaks("SELECT number, peaks FROM log WHERE number = ?1", last)?.map(|tree| tree.root()))
    }

    fn peaks(&self, sql: &str, value: u64) -> Result<Option<Tree>, Error> {
        let found = self
            .db
            .query_row(sql, [value as i64], |row| Ok((row.get::<_, i64>(0)?, row.get::<_, Vec<u8>>(1)?)))
            .optional()
            .map_err(|error| self.failed(&error))?;
        let Some((number, peaks)) = found else { return Ok(None) };
        Tree::from_peaks(number as u64 + 1, &peaks).map(Some).ok_or_else(|| self.changed(number as u64))
    }

    /// A record by its number, its id, or the beginning of its id.
    pub fn inspection(&self, name: &str) -> Result<Stored, Error> {
        let number = self.number_of(name)?;
        self.inspection_at(number)
    }

    /// A record by its place in the log.
    pub fn inspection_at(&self, number: u64) -> Result<Stored, Error> {
        let entry = self.entry_bytes(number)?;
        let leaf = merkle::leaf(&entry);
        let parsed: Entry = serde_json::from_slice(&entry).map_err(|error| {
            let found = format!("entry {number} cannot be read by this version: {error}");
            Error::file(self.folder.display().to_string(), found, "use the version that wrote it, or a newer one")
        })?;
        let Entry::Inspection(inspection) = parsed else {
            let what = if matches!(parsed, Entry::KeyChange(_)) { "the key was changed" } else { "text was erased" };
            let found = format!("entry {number} notes that {what}, it is no inspection");
            return Err(Error::file(self.folder.display().to_string(), found, "`lampwright record list` shows them"));
        };
        let newest: i64 = self
            .db
            .query_row("SELECT max(number) FROM summary WHERE first = ?1", [inspection.first()], |row| row.get(0))
            .map_err(|error| self.failed(&error))?;
        let personal = Personal {
            plate: self.personal_text(inspection.plate.as_ref())?,
            customer: self.personal_text(inspection.customer.as_ref())?,
        };
        Ok(Stored { number, inspection, personal, newest: newest as u64, leaf })
    }

    /// The newest record of the inspection that this record belongs to.
    pub fn newest(&self, name: &str) -> Result<Stored, Error> {
        let stored = self.inspection(name)?;
        if stored.newest == stored.number { Ok(stored) } else { self.inspection_at(stored.newest) }
    }

    /// Places in the log of every record of an inspection, by the id of its first.
    pub fn history(&self, first: &str) -> Result<Vec<u64>, Error> {
        let all = || -> rusqlite::Result<Vec<u64>> {
            let mut found = self.db.prepare_cached("SELECT number FROM summary WHERE first = ?1 ORDER BY number")?;
            let numbers = found.query_map([first], |row| row.get::<_, i64>(0))?;
            numbers.map(|number| number.map(|number| number as u64)).collect()
        };
        all().map_err(|error| self.failed(&error))
    }

    /// The bytes of an entry as they were written and hashed.
    pub fn entry_bytes(&self, number: u64) -> Result<Vec<u8>, Error> {
        let found: Option<(Vec<u8>, Vec<u8>)> = self
            .db
            .query_row("SELECT entry, leaf FROM log WHERE number = ?1", [number as i64], |row| {
                Ok((row.get(0)?, row.get(1)?))
            })
            .optional()
            .map_err(|error| self.failed(&error))?;
        let Some((entry, leaf)) = found else {
            let found = format!("has no entry {number}");
            let hint = "`lampwright record list` shows what there is";
            return Err(Error::file(self.folder.display().to_string(), found, hint));
        };
        if merkle::leaf(&entry).0[..] == leaf[..] { Ok(entry) } else { Err(self.changed(number)) }
    }

    /// The bytes of a photo or picture; an error when they are not those that were recorded.
    pub fn photo_bytes(&self, sha256: &Hash) -> Result<Vec<u8>, Error> {
        files::read(&self.folder, sha256)
    }

    /// The text of a parameter: bay, rule, screws, lens or options file.
    pub fn parameter(&self, sha256: &Hash) -> Result<String, Error> {
        let found: Option<Vec<u8>> = self
            .db
            .query_row("SELECT content FROM parameter WHERE sha256 = ?1", [sha256.0], |row| row.get(0))
            .optional()
            .map_err(|error| self.failed(&error))?;
        let text = found.filter(|bytes| Hash::of(bytes) == *sha256).and_then(|bytes| String::from_utf8(bytes).ok());
        text.ok_or_else(|| {
            let found = format!("parameter {sha256} is missing or was changed since it was recorded");
            Error::file(self.folder.display().to_string(), found, "`lampwright record verify` shows what else")
        })
    }

    fn personal_text(&self, sealed: Option<&Sealed>) -> Result<Option<String>, Error> {
        let Some(sealed) = sealed else { return Ok(None) };
        let digest = sealed.salted_sha256.0;
        self.db
            .query_row("SELECT salt, text FROM personal WHERE digest = ?1", [digest], |row| {
                Ok(personal::held(&digest, &row.get::<_, Vec<u8>>(0)?, row.get(1)?))
            })
            .optional()
            .map_err(|error| self.failed(&error))
    }

    fn number_of(&self, name: &str) -> Result<u64, Error> {
        if let Ok(number) = name.parse::<u64>()
            && name.len() < ID_BEGINNING
        {
            return Ok(number);
        }
        let is_id = name.len() >= ID_BEGINNING && name.chars().all(|c| c.is_ascii_hexdigit() || c == '-');
        let find = || -> rusqlite::Result<Vec<i64>> {
            let mut found = self.db.prepare_cached("SELECT number FROM summary WHERE id GLOB ?1 || '*' LIMIT 2")?;
            let numbers = found.query_map([name.to_lowercase()], |row| row.get(0))?;
            numbers.collect()
        };
        let found = if is_id { find().map_err(|error| self.failed(&error))? } else { Vec::new() };
        let path = || self.folder.display().to_string();
        match found[..] {
            [number] => Ok(number as u64),
            [] => {
                Err(Error::file(path(), format!("has no record {name}"), "give its number as `record list` shows it"))
            }
            _ => Err(Error::file(path(), format!("has several records {name}…"), "give more of the id, or its number")),
        }
    }

    pub(super) fn failed(&self, error: &rusqlite::Error) -> Error {
        failure::database(&self.folder, error)
    }

    fn changed(&self, number: u64) -> Error {
        Error::file(
            self.folder.display().to_string(),
            format!("entry {number} was changed since it was recorded"),
            "`lampwright record verify` shows what else; go back to a backup",
        )
    }
}

/// Shortest beginning of an id that is taken for one; shorter is a number.
const ID_BEGINNING: usize = 8;

fn missing(folder: &Path) -> Result<(), Error> {
    if folder.join(database::DATABASE).exists() {
        return Ok(());
    }
    let hint = "name the folder of a store; `lampwright record init` makes one";
    Err(Error::file(folder.display().to_string(), format!("holds no {}", database::DATABASE), hint))
}
