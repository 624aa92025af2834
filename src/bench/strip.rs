//! A photo without what tells of people, places and devices, its pixels untouched.
//!
//! **Takes** the bytes of a JPEG or PNG. **Gives** the bytes to publish, and what was taken out and kept. **How**: only
//! what is known to be harmless is copied; the coded picture goes over byte for byte; the EXIF block is written anew
//! from the fields that a measurement uses. Then both files are decoded and must give the same pixels, orientation and
//! exposure data. **Fails when** the photo cannot be decoded, is a HEIC or DNG, or the two differ.

use super::{strip_jpeg, strip_png};
use crate::error::Error;
use crate::photo::{DecodeOptions, Format, decode};

/// A cleaned photo.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stripped {
    /// The file to publish.
    pub bytes: Vec<u8>,
    /// What was taken out, one thing an entry.
    pub removed: Vec<String>,
    /// What was kept besides the picture.
    pub kept: Vec<String>,
}

/// What was taken out and kept, while a file is walked.
#[derive(Debug, Default)]
pub(super) struct Ledger {
    pub(super) removed: Vec<String>,
    pub(super) kept: Vec<String>,
}

impl Ledger {
    pub(super) fn remove(&mut self, what: &str, bytes: usize) {
        self.removed.push(format!("{what}, {bytes} bytes"));
    }
}

/// Cleans a photo. `file` is its name as the user gave it; nothing is read from disk.
pub fn strip(bytes: &[u8], file: &str, options: &DecodeOptions) -> Result<Stripped, Error> {
    let before = decode(bytes, file, options)?;
    let mut ledger = Ledger::default();
    let clean = match before.format {
        Format::Jpeg => strip_jpeg::strip(bytes, file, options, &mut ledger)?,
        Format::Heic => {
            let hint = "convert the photo to JPEG at full size and keep its exposure data, then give that";
            return Err(Error::file(file, "a HEIC photo, which cannot be cleaned, need JPEG or PNG", hint));
        }
        Format::Dng => {
            let hint = "give the JPEG that the camera wrote beside it, or a JPEG of full size with its exposure data";
            return Err(Error::file(file, "a DNG photo, which cannot be cleaned, need JPEG or PNG", hint));
        }
        Format::Png => strip_png::strip(bytes, file, &mut ledger)?,
    };
    let after = decode(&clean, file, options)?;
    let is_same = before.pixels == after.pixels
        && (before.stored_width, before.stored_height) == (after.stored_width, after.stored_height)
        && (before.orientation, &before.shot) == (after.orientation, &after.shot);
    if !is_same {
        return Err(Error::file(
            file,
            "cannot be cleaned without a change of its pixels, orientation or exposure data",
            "copy the file again from the camera; if that does not help, please report this as a defect",
        ));
    }
    Ok(Stripped { bytes: clean, removed: ledger.removed, kept: ledger.kept })
}
