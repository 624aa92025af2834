//! A copy of a store: the database as SQLite copies it, so that others may go on recording, and every file that it names.
//!
//! **Takes** a store and a folder. **Gives** what verifying the copy came to. The station's key is left out. A store that lost
//! its end is copied with the `head.txt` that tells so, and verifying the copy finds it. **Fails when** the folder is not empty,
//! or there is no room.

use super::database::DATABASE;
use super::failure;
use super::files;
use super::head_file;
use super::store::Store;
use super::verify::{Findings, Verified, VerifyOptions, verify};
use super::verify_log::{LogFacts, read_log};
use crate::error::Error;
use std::collections::BTreeSet;
use std::fs::{self, File};
use std::path::Path;

/// Copies a store into a new folder, and verifies the copy.
pub fn backup(store: &Store, to: &Path) -> Result<Verified, Error> {
    fs::create_dir_all(to).map_err(|error| failure::file(to, "made", &error))?;
    if fs::read_dir(to).map_err(|error| failure::file(to, "read", &error))?.next().is_some() {
        return Err(Error::file(to.display().to_string(), "is not empty", "name a new folder for every backup"));
    }
    // Before the database is copied: others may go on recording, and the file must not be ahead of the copy.
    let (beside, doubt) = (head_file::read(store.folder()), head_file::doubt(store.folder()));
    let database = to.join(DATABASE);
    // Photos lie in the store before an entry names them: copied after the database, none is missing.
    store.db.execute("VACUUM INTO ?1", [database.to_string_lossy()]).map_err(|error| failure::database(to, &error))?;
    File::open(&database)
        .and_then(|file| file.sync_all())
        .map_err(|error| failure::file(&database, "flushed", &error))?;
    files::flush(to).map_err(|error| failure::file(to, "flushed", &error))?;
    let copy = Store::open(to)?;
    let mut log = LogFacts::default();
    read_log(&copy.db, &BTreeSet::new(), &mut log, &mut Findings::default())
        .map_err(|error| failure::database(to, &error))?;
    for hash in log.photos.keys() {
        // A file that is missing or was changed is not copied; verification names it.
        if let Ok(bytes) = files::read(store.folder(), hash) {
            files::keep(to, &bytes)?;
        }
    }
    let head = copy.head()?;
    let lost = match beside {
        Some(last) if copy.root_at(last.size)? != Some(last.root) => Some(last),
        _ => None,
    };
    head_file::write(to, &lost.unwrap_or(head));
    let mut outcome = verify(&copy, &VerifyOptions::default())?;
    if let Some(doubt) = doubt.filter(|_| head.size > 0) {
        outcome.notes.push(format!("in the store that was copied, {doubt}"));
    }
    Ok(outcome)
}
