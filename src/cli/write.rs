//! Files that are there whole or not at all: written beside their place, flushed to disk, then renamed.

use crate::error::Error;
use std::fs::{self, File};
use std::io::Write;
use std::path::{Path, PathBuf};

/// A file that is written but not yet in its place; dropped, it leaves nothing behind.
#[derive(Debug)]
pub(super) struct Staged {
    part: PathBuf,
    place: PathBuf,
    is_placed: bool,
}

impl Staged {
    /// Writes `content` beside `place`.
    pub(super) fn new(place: &Path, content: &[u8]) -> Result<Self, Error> {
        let fail = |error: std::io::Error| cannot_write(place, &error);
        let file_name = place.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
        let part = place.with_file_name(format!(".{file_name}.{}.part", std::process::id()));
        let mut file = File::create_new(&part).map_err(fail)?;
        let staged = Self { part, place: place.to_owned(), is_placed: false };
        file.write_all(content).and_then(|()| file.sync_all()).map_err(fail)?;
        Ok(staged)
    }

    /// Moves it into its place.
    pub(super) fn commit(mut self) -> Result<(), Error> {
        fs::rename(&self.part, &self.place).map_err(|error| cannot_write(&self.place, &error))?;
        self.is_placed = true;
        Ok(())
    }
}

impl Drop for Staged {
    fn drop(&mut self) {
        if !self.is_placed {
            // Nothing more can be done about a part that cannot be removed; the error that led here is reported.
            let _ = fs::remove_file(&self.part);
        }
    }
}

fn cannot_write(place: &Path, error: &std::io::Error) -> Error {
    Error::file(place.display().to_string(), format!("cannot be written: {error}"), "check the folder and its rights")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_half_written_stays() {
        let folder = tempfile::tempdir().unwrap();
        let place = folder.path().join("reading.json");
        drop(Staged::new(&place, b"half").unwrap());
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
        Staged::new(&place, b"old").unwrap().commit().unwrap();
        Staged::new(&place, b"whole").unwrap().commit().unwrap();
        assert_eq!(fs::read(&place).unwrap(), b"whole");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
        let missing = folder.path().join("no-folder").join("reading.json");
        assert!(Staged::new(&missing, b"").unwrap_err().to_string().contains("cannot be written"));
    }
}
