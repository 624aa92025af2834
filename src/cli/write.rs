//! Files that are there whole or not at all: written beside their place, flushed to disk, then renamed.
//!
//! A link keeps pointing where it points: the file behind it is replaced. What is no file (a device, a pipe) is written into,
//! never replaced: a rename over `/dev/null` would put an ordinary file in its place for the whole machine.

use crate::error::Error;
use std::fs::{self, File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// A file that is written but not yet in its place; dropped, it leaves nothing behind.
#[derive(Debug)]
pub(crate) struct Staged {
    place: PathBuf,
    content: Content,
}

#[derive(Debug)]
enum Content {
    /// Written to this file beside the place.
    Beside(PathBuf),
    /// Held until it is streamed into the device or pipe at the place.
    Held(Vec<u8>),
    /// In its place.
    Placed,
}

impl Staged {
    /// Makes `content` ready for `place`.
    pub(crate) fn new(place: &Path, content: &[u8]) -> Result<Self, Error> {
        let fail = |error: io::Error| cannot_write(place, &error);
        let place = match fs::metadata(place) {
            Ok(found) if !found.is_file() && !found.is_dir() => {
                return Ok(Self { place: place.to_owned(), content: Content::Held(content.to_vec()) });
            }
            Ok(_) => place.canonicalize().map_err(fail)?,
            Err(_) => place.to_owned(),
        };
        let file_name = place.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
        let part = place.with_file_name(format!(".{file_name}.{}.part", std::process::id()));
        let mut file = File::create_new(&part).map_err(fail)?;
        let staged = Self { place, content: Content::Beside(part) };
        file.write_all(content).and_then(|()| file.sync_all()).map_err(fail)?;
        Ok(staged)
    }

    /// Moves it into its place.
    pub(crate) fn commit(mut self) -> Result<(), Error> {
        let written = match &self.content {
            Content::Beside(part) => fs::rename(part, &self.place),
            Content::Held(bytes) => {
                OpenOptions::new().write(true).open(&self.place).and_then(|mut file| file.write_all(bytes))
            }
            Content::Placed => Ok(()),
        };
        written.map_err(|error| cannot_write(&self.place, &error))?;
        self.content = Content::Placed;
        Ok(())
    }
}

impl Drop for Staged {
    fn drop(&mut self) {
        if let Content::Beside(part) = &self.content {
            // Nothing more can be done about a part that cannot be removed; the error that led here is reported.
            let _ = fs::remove_file(part);
        }
    }
}

/// Refuses a name that says another form than the one that is written; a name without an ending says none.
pub(crate) fn check_ending(option: &str, path: &Path, ending: &str) -> Result<(), Error> {
    match path.extension() {
        Some(found) if !found.eq_ignore_ascii_case(ending) => Err(Error::usage(
            format!("{option} {} is written as {}, whatever its name says", path.display(), ending.to_uppercase()),
            format!("end its name in .{ending}"),
        )),
        _ => Ok(()),
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

    #[cfg(unix)]
    #[test]
    fn a_link_stays_a_link() {
        let folder = tempfile::tempdir().unwrap();
        let (file, link) = (folder.path().join("kept.json"), folder.path().join("link.json"));
        fs::write(&file, b"old").unwrap();
        std::os::unix::fs::symlink(&file, &link).unwrap();
        Staged::new(&link, b"new").unwrap().commit().unwrap();
        assert!(fs::symlink_metadata(&link).unwrap().is_symlink());
        assert_eq!(fs::read(&file).unwrap(), b"new");
    }

    /// A socket stands for all that is no file (a test with a device could cost the machine that device): it cannot be
    /// opened for writing, and it must still be there.
    #[cfg(unix)]
    #[test]
    fn what_is_no_file_is_never_replaced() {
        use std::os::unix::fs::FileTypeExt;
        let folder = tempfile::tempdir().unwrap();
        let place = folder.path().join("socket");
        let _listener = std::os::unix::net::UnixListener::bind(&place).unwrap();
        let staged = Staged::new(&place, b"reading").unwrap();
        assert!(staged.commit().unwrap_err().to_string().contains("cannot be written"));
        assert!(fs::metadata(&place).unwrap().file_type().is_socket());
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    }
}
