//! The SQLite file: how it is opened, what it must be, and how an older one is brought up to date.

use super::failure;
use super::search;
use crate::error::Error;
use rusqlite::{Connection, OpenFlags, TransactionBehavior};
use std::path::Path;
use std::time::Duration;

/// Name of the database in the store's folder.
pub(super) const DATABASE: &str = "records.sqlite";
/// SQLite's application id: `LWRS` in ASCII.
pub(super) const APPLICATION_ID: i32 = 0x4C57_5253;
/// One step a version; the database's `user_version` counts those that were made.
const MIGRATIONS: [&str; 2] = [include_str!("migrations/1.sql"), include_str!("migrations/2.sql")];
/// The version since which there are words to search.
const SEARCH_SINCE: usize = 2;
/// How long another program's write is waited for.
const BUSY_WAIT: Duration = Duration::from_secs(5);

/// Opens for reading and writing; makes what is missing when `is_new`, and brings an older database up to date.
pub(super) fn open(folder: &Path, is_new: bool) -> Result<Connection, Error> {
    let fail = |error: rusqlite::Error| failure::database(folder, &error);
    let mut flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    if is_new {
        flags |= OpenFlags::SQLITE_OPEN_CREATE;
    }
    let mut db = Connection::open_with_flags(folder.join(DATABASE), flags).map_err(fail)?;
    configure(&db).map_err(fail)?;
    if db.is_readonly("main").map_err(fail)? {
        return Err(Error::file(
            folder.display().to_string(),
            "cannot be written to",
            "check the rights of the folder and whether the disk is read-only",
        ));
    }
    db.pragma_update(None, "journal_mode", "wal").map_err(fail)?;
    migrate(&mut db, folder)?;
    Ok(db)
}

/// Opens for reading alone, from a disk that cannot be written to as well.
pub(super) fn open_to_read(folder: &Path) -> Result<Connection, Error> {
    let path = folder.join(DATABASE);
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let ask = |db: Connection| {
        configure(&db)?;
        db.query_row("SELECT count(*) FROM sqlite_schema", [], |_| Ok(()))?;
        Ok(db)
    };
    let db = Connection::open_with_flags(&path, flags).and_then(ask).or_else(|error| {
        // On a read-only disk the write-ahead log cannot be set up. One that holds nothing can be left out.
        let wal = folder.join(format!("{DATABASE}-wal"));
        if std::fs::metadata(&wal).is_ok_and(|facts| facts.len() > 0) || !path.exists() {
            return Err(error);
        }
        let name = path.display().to_string().replace('%', "%25").replace('?', "%3f").replace('#', "%23");
        Connection::open_with_flags(format!("file:{name}?immutable=1"), flags | OpenFlags::SQLITE_OPEN_URI)
            .and_then(ask)
    });
    let db = db.map_err(|error| failure::database(folder, &error))?;
    check(&db, folder)?;
    Ok(db)
}

fn configure(db: &Connection) -> rusqlite::Result<()> {
    db.busy_timeout(BUSY_WAIT)?;
    db.pragma_update(None, "trusted_schema", false)?;
    db.pragma_update(None, "foreign_keys", true)?;
    // Else a replacing insert would delete without asking the triggers.
    db.pragma_update(None, "recursive_triggers", true)?;
    db.pragma_update(None, "cell_size_check", true)?;
    // What is erased is overwritten.
    db.pragma_update(None, "secure_delete", true)?;
    db.pragma_update(None, "synchronous", "full")
}

fn number(db: &Connection, pragma: &str) -> rusqlite::Result<i32> {
    db.pragma_query_value(None, pragma, |row| row.get(0))
}

/// Whether it is a store of a version that is known here; gives the version.
fn check(db: &Connection, folder: &Path) -> Result<usize, Error> {
    let fail = |error: rusqlite::Error| failure::database(folder, &error);
    let (id, version) = (number(db, "application_id").map_err(fail)?, number(db, "user_version").map_err(fail)?);
    if id != APPLICATION_ID {
        let hint = "name the folder that was made with `lampwright record init`";
        return Err(Error::file(folder.display().to_string(), "is no store of inspections", hint));
    }
    usize::try_from(version).ok().filter(|version| (1..=MIGRATIONS.len()).contains(version)).ok_or_else(|| {
        let found = format!("is a store of version {version}, this program knows 1 to {}", MIGRATIONS.len());
        Error::file(folder.display().to_string(), found, "use a newer version of the program")
    })
}

/// Makes the steps that are missing, each whole or not at all.
fn migrate(db: &mut Connection, folder: &Path) -> Result<(), Error> {
    let fail = |error: rusqlite::Error| failure::database(folder, &error);
    let is_blank = |db: &Connection| -> rusqlite::Result<bool> {
        let tables: i64 = db.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))?;
        Ok(tables == 0 && number(db, "application_id")? == 0)
    };
    if !is_blank(db).map_err(fail)? && check(db, folder)? == MIGRATIONS.len() {
        return Ok(());
    }
    let step = db.transaction_with_behavior(TransactionBehavior::Immediate).map_err(fail)?;
    // Another program may have been first.
    let done = if is_blank(&step).map_err(fail)? { 0 } else { check(&step, folder)? };
    MIGRATIONS[done..].iter().try_for_each(|migration| step.execute_batch(migration)).map_err(fail)?;
    if done < SEARCH_SINCE {
        search::fill(&step).map_err(fail)?;
    }
    step.pragma_update(None, "application_id", APPLICATION_ID).map_err(fail)?;
    step.pragma_update(None, "user_version", MIGRATIONS.len() as i32).map_err(fail)?;
    step.commit().map_err(fail)
}

/// Makes tables and triggers in an empty database as they are in one of the same version as `like`, to compare it with.
pub(super) fn make(db: &Connection, like: &Connection) -> rusqlite::Result<()> {
    let version = usize::try_from(number(like, "user_version")?).unwrap_or_default();
    MIGRATIONS.iter().take(version).try_for_each(|migration| db.execute_batch(migration))
}
