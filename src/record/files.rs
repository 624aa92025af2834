//! Photos and annotated pictures, filed by the SHA-256 of their bytes; never changed once they lie there.
//!
//! A file is written beside its place, flushed, renamed, and its folder flushed: it is there whole or not at all.

use super::failure;
use super::hash::Hash;
use crate::error::Error;
use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// Folder of the files in the store's folder.
pub(super) const FILES: &str = "photos";

/// Where a file lies: `photos/ab/abcd…`.
pub(super) fn place(store: &Path, hash: &Hash) -> PathBuf {
    let name = hash.to_string();
    store.join(FILES).join(&name[..2]).join(name)
}

/// Files the bytes, and returns once they are on the disk.
pub(super) fn keep(store: &Path, bytes: &[u8]) -> Result<Hash, Error> {
    let hash = Hash::of(bytes);
    let place = place(store, &hash);
    if fs::read(&place).is_ok_and(|held| Hash::of(&held) == hash) {
        return Ok(hash);
    }
    let folder = place.parent().unwrap_or(store);
    fs::create_dir_all(folder)
        .and_then(|()| write_whole(folder, &place, bytes))
        .map_err(|error| failure::file(&place, "filed", &error))?;
    for folder in [Some(folder), folder.parent(), Some(store)].into_iter().flatten() {
        flush(folder).map_err(|error| failure::file(folder, "flushed", &error))?;
    }
    Ok(hash)
}

fn write_whole(folder: &Path, place: &Path, bytes: &[u8]) -> io::Result<()> {
    // Under a name of its own: another program may be filing the same photo.
    let mut file = tempfile::Builder::new().prefix(".").suffix(".part").tempfile_in(folder)?;
    file.write_all(bytes)?;
    let mut rights = file.as_file().metadata()?.permissions();
    #[cfg(unix)]
    std::os::unix::fs::PermissionsExt::set_mode(&mut rights, 0o444);
    #[cfg(not(unix))]
    rights.set_readonly(true);
    file.as_file().set_permissions(rights)?;
    file.as_file().sync_all()?;
    file.persist(place)?;
    Ok(())
}

/// Brings a folder's names to the disk. Only Unix opens folders; elsewhere the file system sees to it.
pub(super) fn flush(folder: &Path) -> io::Result<()> {
    if cfg!(unix) { File::open(folder)?.sync_all() } else { Ok(()) }
}

/// The bytes of a file; `path` of the error says which.
pub(super) fn read(store: &Path, hash: &Hash) -> Result<Vec<u8>, Error> {
    let place = place(store, hash);
    let bytes = fs::read(&place).map_err(|error| failure::file(&place, "read", &error))?;
    if Hash::of(&bytes) == *hash {
        return Ok(bytes);
    }
    Err(Error::file(
        place.display().to_string(),
        "was changed since it was recorded",
        "`lampwright record verify` shows what else; take the file from a backup",
    ))
}

/// How many files lie there that are not `named`.
pub(super) fn others(store: &Path, named: impl Fn(&Hash) -> bool) -> u64 {
    let inside = |folder: &Path| fs::read_dir(folder).into_iter().flatten().filter_map(Result::ok);
    let mut count = 0;
    for folder in inside(&store.join(FILES)) {
        for file in inside(&folder.path()) {
            let hash = file.file_name().to_string_lossy().parse::<Hash>();
            count += u64::from(!hash.is_ok_and(|hash| named(&hash)));
        }
    }
    count
}
