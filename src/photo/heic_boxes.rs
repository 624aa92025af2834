//! What reading the container of a HEIC file would take, judged before a decoder copies anything out of it.
//!
//! **Takes** the file's bytes. **Gives** nothing but leave to go on.
//! **How**: boxes of ISO/IEC 14496-12, items of ISO/IEC 23008-12. Items may share bytes of the file and a grid may name a
//! tile as often as it likes, so that a small file can ask for terabytes of copies; they are added up.
//! **Fails when** a box ends beyond the file (incomplete), there is not exactly one list of items (`meta`), or the copies
//! exceed the limit of memory.

use super::decode::{DecodeOptions, Defect, check_memory};
use super::jpeg_walk::{damaged, incomplete};
use std::collections::HashMap;

/// Size and type of a box.
const HEADER_BYTES: usize = 8;
/// The same with a 64-bit size.
const LONG_HEADER_BYTES: usize = 16;
/// Version and flags of a full box.
const VERSION_BYTES: usize = 4;

/// A box: its type and its content.
type NamedBox<'a> = ([u8; 4], &'a [u8]);

/// Judges the container.
pub(super) fn check_container(bytes: &[u8], options: &DecodeOptions) -> Result<(), Defect> {
    let top = boxes(bytes)?.ok_or_else(|| incomplete(bytes.len()))?;
    let mut lists = top.iter().filter(|(kind, _)| kind == b"meta");
    let (Some((_, meta)), None) = (lists.next(), lists.next()) else {
        let hint = "give a still photo as the camera wrote it, not a film or a series";
        return Err(Defect::new("a HEIF file without one list of pictures, need a still photo", hint));
    };
    let broken = || damaged("its list of pictures cannot be read");
    let parts = meta.get(VERSION_BYTES..).map(boxes).transpose()?.flatten().ok_or_else(broken)?;
    let part = |wanted: [u8; 4]| parts.iter().filter(move |(kind, _)| *kind == wanted).map(|(_, body)| *body);
    let mut lengths = HashMap::new();
    for body in part(*b"iloc") {
        item_lengths(&mut Fields(body), &mut lengths).ok_or_else(broken)?;
    }
    let mut asked = lengths.values().fold(0_u64, |sum, &length| sum.saturating_add(length));
    for body in part(*b"iref") {
        asked = asked.saturating_add(tile_bytes(body, meta.len() as u64, &lengths)?.ok_or_else(broken)?);
    }
    check_memory(usize::try_from(asked).ok(), options)
}

/// The boxes that follow one another in `bytes`; `None` if the last one ends beyond them.
fn boxes(bytes: &[u8]) -> Result<Option<Vec<NamedBox<'_>>>, Defect> {
    let mut found = Vec::new();
    let mut rest = bytes;
    while rest.len() >= HEADER_BYTES {
        let mut fields = Fields(rest);
        let (Some(short), Some(kind)) = (fields.number(4), fields.take(4)) else { return Ok(None) };
        let (header, size) = match short {
            0 => (HEADER_BYTES, rest.len() as u64),
            1 => match fields.number(8) {
                Some(size) => (LONG_HEADER_BYTES, size),
                None => return Ok(None),
            },
            size => (HEADER_BYTES, size),
        };
        if size < header as u64 {
            return Err(damaged("a box smaller than its own header"));
        }
        let Some((whole, after)) = usize::try_from(size).ok().and_then(|size| rest.split_at_checked(size)) else {
            return Ok(None);
        };
        found.push(([kind[0], kind[1], kind[2], kind[3]], &whole[header..]));
        rest = after;
    }
    Ok(Some(found))
}

/// Bytes of every item (ISO/IEC 14496-12, 8.11.3); those of an item listed twice are added up.
fn item_lengths(fields: &mut Fields<'_>, lengths: &mut HashMap<u64, u64>) -> Option<()> {
    let version = fields.number(VERSION_BYTES)? >> 24;
    let sizes = fields.number(2)?;
    let size = |shift: u32| ((sizes >> shift) & 0xF) as usize;
    let index_size = if version == 1 || version == 2 { size(0) } else { 0 };
    let id_bytes = if version < 2 { 2 } else { 4 };
    for _ in 0..fields.number(id_bytes)? {
        let id = fields.number(id_bytes)?;
        let method_bytes = if version == 0 { 0 } else { 2 };
        fields.take(method_bytes + 2 + size(4))?;
        let extents = fields.number(2)?;
        // Extents that take no bytes of the list could be as many as one likes.
        if extents > 1 && index_size + size(12) + size(8) == 0 {
            return None;
        }
        for _ in 0..extents {
            fields.take(index_size + size(12))?;
            let length = fields.number(size(8))?;
            let sum: &mut u64 = lengths.entry(id).or_default();
            *sum = sum.saturating_add(length);
        }
    }
    Some(())
}

/// Bytes that the tiles of all grids take, each with a copy of its header, which is no larger than the list (`iref`,
/// ISO/IEC 14496-12, 8.11.12).
fn tile_bytes(body: &[u8], list_bytes: u64, lengths: &HashMap<u64, u64>) -> Result<Option<u64>, Defect> {
    let id_bytes = if body.first() == Some(&0) { 2 } else { 4 };
    let Some(references) = body.get(VERSION_BYTES..).map(boxes).transpose()?.flatten() else { return Ok(None) };
    let mut sum = 0_u64;
    for (_, body) in references.iter().filter(|(kind, _)| kind == b"dimg") {
        let mut fields = Fields(body);
        while !fields.0.is_empty() {
            let Some(count) = fields.take(id_bytes).and_then(|_| fields.number(2)) else { return Ok(None) };
            for _ in 0..count {
                let Some(tile) = fields.number(id_bytes) else { return Ok(None) };
                let length = lengths.get(&tile).copied().unwrap_or(0);
                sum = sum.saturating_add(length.saturating_add(list_bytes));
            }
        }
    }
    Ok(Some(sum))
}

/// Fields read one after the other.
struct Fields<'a>(&'a [u8]);

impl<'a> Fields<'a> {
    fn take(&mut self, count: usize) -> Option<&'a [u8]> {
        let (taken, rest) = self.0.split_at_checked(count)?;
        self.0 = rest;
        Some(taken)
    }

    /// A big-endian number of up to eight bytes.
    fn number(&mut self, count: usize) -> Option<u64> {
        Some(self.take(count)?.iter().fold(0, |number, &byte| (number << 8) | u64::from(byte)))
    }
}
