//! What the disk and SQLite say, in words for those who run the store.

use crate::error::Error;
use rusqlite::ErrorCode;
use std::io;
use std::path::Path;

/// Said of every failed write: what was acknowledged before is not touched by it.
const NOTHING_RECORDED: &str = "nothing was recorded, and what was recorded before is untouched";

/// A failure of the database in this folder.
pub(super) fn database(folder: &Path, error: &rusqlite::Error) -> Error {
    let code = error.sqlite_error_code();
    let (found, hint) = match code {
        Some(ErrorCode::DiskFull) => {
            ("has no room left on its disk".to_owned(), format!("{NOTHING_RECORDED}; make room and try again"))
        }
        Some(ErrorCode::ReadOnly) => (
            "cannot be written to".to_owned(),
            format!("{NOTHING_RECORDED}; check the rights of the folder and whether the disk is read-only"),
        ),
        Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => (
            "is locked by another program".to_owned(),
            format!("{NOTHING_RECORDED}; wait until the other one is done and try again"),
        ),
        Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase) => (
            format!("is damaged: {error}"),
            "take a copy of the whole folder before anything else, then go back to the last backup".to_owned(),
        ),
        Some(ErrorCode::CannotOpen | ErrorCode::PermissionDenied) => {
            let hint = format!("{NOTHING_RECORDED}; check the path, its rights, and whether the disk has room");
            (format!("cannot be opened: {error}"), hint)
        }
        Some(ErrorCode::SystemIoFailure) => {
            (format!("has a disk that fails: {error}"), format!("{NOTHING_RECORDED}; check the disk"))
        }
        _ => (format!("cannot be used: {error}"), NOTHING_RECORDED.to_owned()),
    };
    Error::file(folder.display().to_string(), found, hint)
}

/// A failure at a file or folder.
pub(super) fn file(path: &Path, what: &str, error: &io::Error) -> Error {
    let hint = match error.kind() {
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded | io::ErrorKind::FileTooLarge => {
            format!("{NOTHING_RECORDED}; make room and try again")
        }
        io::ErrorKind::ReadOnlyFilesystem | io::ErrorKind::PermissionDenied => {
            format!("{NOTHING_RECORDED}; check the rights of the folder and whether the disk is read-only")
        }
        _ => "check the path and its rights".to_owned(),
    };
    Error::file(path.display().to_string(), format!("cannot be {what}: {error}"), hint)
}
