//! Erasing plate and customer of an inspection: from the records, and from the disk.
//!
//! **Takes** a record and who asked why. **Gives** [`Erased`]. **Weak when** another program is reading the store at that moment:
//! it may still need the pages that hold the text, which then stay in the store's files until it is done. **Fails when** there is
//! nothing to erase, or the store cannot be written to.

use super::database::DATABASE;
use super::entry::{ERASURE_SCHEMA, Entry, Erasure};
use super::failure;
use super::search;
use super::store::{Appended, Store};
use crate::error::Error;
use std::fs;

/// What erasing came to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Erased {
    /// The entry that notes it; `None` when the text was erased before and only the store's files were still to be cleared.
    pub noted: Option<Appended>,
    /// Whether the text is in none of the store's files any more. If not, a program that reads the store keeps it there: erase
    /// again once that one is done.
    pub is_off_disk: bool,
}

impl Store {
    /// Erases plate and customer of an inspection, in all its records, and notes in the log that this was done. Waits some
    /// seconds for programs that read the store.
    pub fn erase(&mut self, name: &str, who: &str, reason: &str) -> Result<Erased, Error> {
        let of = self.inspection(name)?.inspection.first().to_owned();
        let was_erased = self.was_erased(&of)?;
        let log = self.folder.join(format!("{DATABASE}-wal"));
        if was_erased && fs::metadata(log).is_ok_and(|facts| facts.len() > 0) {
            return Ok(Erased { noted: None, is_off_disk: self.clear_write_ahead_log() });
        }
        let appended = self.write(|change, folder, _| {
            let gone = change.execute("DELETE FROM personal WHERE first = ?1", [&of]);
            if gone.map_err(|error| failure::database(folder, &error))? == 0 {
                let found = format!("record {name} has no plate or customer that could be erased");
                let hint = if was_erased {
                    "it was erased before, and the text is in no file of the store; nothing was changed"
                } else {
                    "nothing was changed"
                };
                return Err(Error::file(folder.display().to_string(), found, hint));
            }
            search::forget(change, &of).map_err(|error| failure::database(folder, &error))?;
            Ok(Entry::Erasure(Erasure {
                schema: ERASURE_SCHEMA.to_owned(),
                id: super::entry::new_id(),
                of: of.clone(),
                recorded: super::entry::now(),
                who: who.to_owned(),
                reason: reason.to_owned(),
                software: super::entry::software(),
            }))
        })?;
        Ok(Erased { noted: Some(appended), is_off_disk: self.clear_write_ahead_log() })
    }

    /// Whether there was a text, and is none any more.
    fn was_erased(&self, first: &str) -> Result<bool, Error> {
        let sql = "SELECT EXISTS (SELECT 1 FROM summary WHERE first = ?1 AND (plate IS NOT NULL OR customer IS NOT NULL)) \
                   AND NOT EXISTS (SELECT 1 FROM personal WHERE first = ?1)";
        self.db.query_row(sql, [first], |row| row.get(0)).map_err(|error| self.failed(&error))
    }

    /// The write-ahead log still holds the pages with the text: it is brought in and cut. SQLite waits for readers as long as
    /// for a lock, and says in the first column when that was not long enough. The erasure stands in either case, so that a
    /// failure here is none of it.
    fn clear_write_ahead_log(&self) -> bool {
        let busy = self.db.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |row| row.get::<_, i64>(0));
        busy.is_ok_and(|busy| busy == 0)
    }
}
