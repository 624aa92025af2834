//! A PNG file rebuilt from the chunks that are known to be harmless.
//!
//! **How**: chunk layout of the PNG specification (third edition, 5.3). The picture's chunks and those that say what its
//! numbers mean go over byte for byte; text, time, private chunks, further frames and whatever follows IEND do not.

use super::strip::Ledger;
use super::strip_exif;
use crate::error::Error;

const SIGNATURE_BYTES: usize = 8;
/// Length and type before, checksum behind a chunk's content.
const HEAD_BYTES: usize = 8;
const CHECKSUM_BYTES: usize = 4;
/// Picture and meaning of its numbers.
const KEPT: &[&[u8; 4]] = &[
    b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"cHRM", b"gAMA", b"iCCP", b"sBIT", b"sRGB", b"cICP", b"mDCV",
    b"cLLI", b"pHYs",
];

struct Chunk<'a> {
    kind: [u8; 4],
    whole: &'a [u8],
    body: &'a [u8],
}

/// The file without what it need not tell; `bytes` were decoded before.
pub(super) fn strip(bytes: &[u8], file: &str, ledger: &mut Ledger) -> Result<Vec<u8>, Error> {
    let (chunks, end) = chunks(bytes).ok_or_else(|| {
        Error::file(file, "a chunk of the PNG is cut off before IEND", "copy the file again, and give it unedited")
    })?;
    // The reader takes the first block, wherever it stands; it is written before the picture.
    let exif = chunks.iter().position(|chunk| &chunk.kind == b"eXIf");
    let mut block = exif.and_then(|first| strip_exif::rewrite(chunks[first].body, ledger));
    let mut clean = bytes[..SIGNATURE_BYTES].to_vec();
    for (place, Chunk { kind, whole, body }) in chunks.iter().enumerate() {
        if kind == b"IDAT"
            && let Some(block) = block.take()
        {
            push(&mut clean, *b"eXIf", &block);
        }
        if KEPT.contains(&kind) {
            clean.extend_from_slice(whole);
            if kind == b"iCCP" {
                ledger.kept.push(format!("ICC profile, {} bytes", body.len()));
            }
        } else if Some(place) != exif {
            ledger.remove(name(*kind).as_str(), body.len());
        }
    }
    if end < bytes.len() {
        ledger.remove("data behind the picture's end", bytes.len() - end);
    }
    Ok(clean)
}

/// All chunks up to IEND, and where that ends.
fn chunks(bytes: &[u8]) -> Option<(Vec<Chunk<'_>>, usize)> {
    let mut found = Vec::new();
    let mut at = SIGNATURE_BYTES;
    loop {
        let length = u32::from_be_bytes(*bytes.get(at..)?.first_chunk()?) as usize;
        let kind: [u8; 4] = *bytes.get(at + 4..)?.first_chunk()?;
        let end = at.checked_add(HEAD_BYTES + CHECKSUM_BYTES)?.checked_add(length)?;
        let whole = bytes.get(at..end)?;
        found.push(Chunk { kind, whole, body: &whole[HEAD_BYTES..HEAD_BYTES + length] });
        at = end;
        if &kind == b"IEND" {
            return Some((found, end));
        }
    }
}

fn push(clean: &mut Vec<u8>, kind: [u8; 4], body: &[u8]) {
    clean.extend((body.len() as u32).to_be_bytes());
    let start = clean.len();
    clean.extend(kind);
    clean.extend_from_slice(body);
    let checksum = crc32fast::hash(&clean[start..]);
    clean.extend(checksum.to_be_bytes());
}

fn name(kind: [u8; 4]) -> String {
    match &kind {
        b"tEXt" | b"zTXt" | b"iTXt" => "text (comments, XMP)".to_owned(),
        b"eXIf" => "second EXIF block".to_owned(),
        b"acTL" | b"fcTL" | b"fdAT" => "animation".to_owned(),
        b"tIME" => "time of the last change".to_owned(),
        _ => format!("chunk {}", String::from_utf8_lossy(&kind).escape_default()),
    }
}
