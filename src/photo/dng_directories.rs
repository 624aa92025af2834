//! What reading the directories of a DNG would take, judged before a decoder allocates by them.
//!
//! **Takes** the file's bytes. **Gives** nothing but leave to go on. **How**: directories of TIFF 6.0, section 2; the first
//! ones in their chain, and those that they point to. An entry states how many values it has, and every entry may point to
//! the same bytes, so a small file can ask for terabytes; they are added up.
//! **Fails when** values or directories lie beyond the file, a chain does not end, or the values exceed the limit of memory.

use super::decode::{DecodeOptions, Defect, check_memory};
use super::jpeg_walk::{damaged, incomplete};

/// Bytes of a directory's entry.
const ENTRY_BYTES: usize = 12;
/// Bytes of a value, by type 0 to 12; of a type unknown, 1.
const VALUE_BYTES: [usize; 13] = [1, 1, 1, 2, 4, 8, 1, 1, 2, 4, 8, 4, 8];
/// The type of a 32-bit number.
const LONG: u16 = 4;
/// The type of bytes without a meaning.
const UNDEFINED: u16 = 7;
/// Entries that point to directories: sub-directories, EXIF, GPS.
const POINTERS: [u16; 3] = [330, 34_665, 34_853];
/// A colour profile. Its bytes are none, but the decoder takes them for one, and what they would ask for counts.
const COLOUR_PROFILE: u16 = 34_675;
/// Directories that a file may have; a camera writes less than ten.
const MAX_DIRECTORIES: usize = 64;

/// Judges all directories.
pub(super) fn check_directories(bytes: &[u8], options: &DecodeOptions) -> Result<(), Defect> {
    let file = File { bytes, is_little: bytes.starts_with(b"II") };
    let mut asked = 0_usize;
    let mut count = 0;
    let mut waiting = vec![(file.long(4)?, true)];
    while let Some((at, is_in_chain)) = waiting.pop() {
        count += 1;
        if count > MAX_DIRECTORIES {
            return Err(damaged("its directories do not end"));
        }
        let entries = usize::from(file.short(at)?);
        for entry in (0..entries).map(|index| at + 2 + index * ENTRY_BYTES) {
            let (tag, kind, values) = (file.short(entry)?, file.short(entry + 2)?, file.long(entry + 4)?);
            let size = values.saturating_mul(VALUE_BYTES.get(usize::from(kind)).copied().unwrap_or(1));
            let place = if size <= 4 { entry + 8 } else { file.long(entry + 8)? };
            if place.saturating_add(size) > bytes.len() {
                return Err(incomplete(bytes.len()));
            }
            asked = asked.saturating_add(size);
            match (tag, kind) {
                (COLOUR_PROFILE, UNDEFINED) => waiting.push((place, false)),
                (_, LONG) if POINTERS.contains(&tag) => {
                    for index in 0..values.min(MAX_DIRECTORIES + 1) {
                        waiting.push((file.long(place + 4 * index)?, false));
                    }
                }
                _ if tag == COLOUR_PROFILE || POINTERS.contains(&tag) => {
                    return Err(damaged("a directory in it is pointed to in an odd way"));
                }
                _ => {}
            }
        }
        let next = file.long(at + 2 + entries * ENTRY_BYTES).unwrap_or(0);
        if is_in_chain && next != 0 {
            waiting.push((next, true));
        }
    }
    // Some kinds of value are held twice while they are read.
    check_memory(asked.checked_mul(2), options)
}

struct File<'a> {
    bytes: &'a [u8],
    is_little: bool,
}

impl File<'_> {
    fn short(&self, at: usize) -> Result<u16, Defect> {
        let pair = self.bytes.get(at..).and_then(<[u8]>::first_chunk).ok_or_else(|| incomplete(self.bytes.len()))?;
        Ok(if self.is_little { u16::from_le_bytes(*pair) } else { u16::from_be_bytes(*pair) })
    }

    fn long(&self, at: usize) -> Result<usize, Defect> {
        let four = self.bytes.get(at..).and_then(<[u8]>::first_chunk).ok_or_else(|| incomplete(self.bytes.len()))?;
        Ok(if self.is_little { u32::from_le_bytes(*four) } else { u32::from_be_bytes(*four) } as usize)
    }
}
