//! `head.txt`: the newest head, beside the database, so that a database that lost its end is noticed.
//!
//! The commonest way to lose records without a trace is to copy `records.sqlite` without its write-ahead log, or to put an old
//! copy back. The file is written after the commit: it may be behind the log, never ahead of it. It guards against mishap; who
//! wants to deceive can change it too, and for that there are heads kept outside.

use super::head::Head;
use super::store::Store;
use crate::error::Error;
use std::fs;
use std::io::Write;
use std::path::Path;

/// Its name in the store's folder.
pub(super) const HEAD_FILE: &str = "head.txt";

/// The head that stands there; `None` without a file, and after a power cut that left it empty.
pub(super) fn read(store: &Path) -> Option<Head> {
    fs::read_to_string(store.join(HEAD_FILE)).ok()?.parse().ok()
}

/// Why the end of the log cannot be held against the file; `None` when it can.
pub(super) fn doubt(store: &Path) -> Option<String> {
    let found = match fs::read_to_string(store.join(HEAD_FILE)) {
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => "is missing".to_owned(),
        Err(error) => format!("cannot be read: {error}"),
        Ok(text) if text.parse::<Head>().is_err() => "holds no head".to_owned(),
        Ok(_) => return None,
    };
    Some(format!("{HEAD_FILE} {found}: entries that were lost at the end of the log could not show by it"))
}

/// Writes it. The record is on the disk already: a failure here costs the guard and nothing else, so that it is no error.
pub(super) fn write(store: &Path, head: &Head) {
    let put = || -> std::io::Result<()> {
        let mut file = tempfile::Builder::new().prefix(".").suffix(".part").tempfile_in(store)?;
        writeln!(file, "{head}")?;
        #[cfg(unix)]
        file.as_file().set_permissions(std::os::unix::fs::PermissionsExt::from_mode(0o644))?;
        file.persist(store.join(HEAD_FILE))?;
        Ok(())
    };
    let _ = put();
}

impl Store {
    /// Refuses to record into a log that is not the one that was written here last.
    pub(super) fn check_end(&self) -> Result<(), Error> {
        let Some(last) = read(&self.folder) else { return Ok(()) };
        let found = match self.root_at(last.size)? {
            None => "has lost entries at its end".to_owned(),
            Some(root) if root != last.root => "is not the log that was recorded here".to_owned(),
            Some(_) => return Ok(()),
        };
        Err(Error::file(
            self.folder.display().to_string(),
            format!("{found}: {HEAD_FILE} says {last}"),
            format!(
                "nothing was recorded. Was records.sqlite copied without records.sqlite-wal, or an old copy put back? Put the \
                 whole folder back from the last backup; to go on with what is there, move {HEAD_FILE} away and keep it"
            ),
        ))
    }
}
