//! A JPEG file rebuilt from the segments that are known to be harmless.
//!
//! **How**: marker syntax of ITU-T T.81 annex B; JFIF 1.02, Adobe's segment and the ICC profile (ICC.1 annex B) by their
//! names from memory. Frame, tables and scans go over byte for byte; whatever follows the end marker does not.

use super::strip::Ledger;
use super::strip_exif;
use crate::error::Error;
use crate::photo::{DecodeOptions, JpegSegment, jpeg_segments};

const APP0: u8 = 0xE0;
const APP1: u8 = 0xE1;
const APP2: u8 = 0xE2;
const APP13: u8 = 0xED;
const APP14: u8 = 0xEE;
const APP15: u8 = 0xEF;
const COMMENT: u8 = 0xFE;
/// Marker and length before a segment's content.
const HEAD_BYTES: usize = 4;
const EXIF_NAME: &[u8] = b"Exif\0\0";
/// Name, version, unit and density of JFIF; the size of a thumbnail and the thumbnail follow.
const JFIF_FIXED_BYTES: usize = 12;
/// The whole of Adobe's segment: name, version, two flags, colour transform.
const ADOBE_BYTES: usize = 12;

/// The file without what it need not tell.
pub(super) fn strip(bytes: &[u8], file: &str, options: &DecodeOptions, ledger: &mut Ledger) -> Result<Vec<u8>, Error> {
    let (segments, end) = jpeg_segments(bytes, file, options)?;
    let mut clean = bytes[..2].to_vec();
    let mut has_exif = false;
    for JpegSegment { marker, place } in segments {
        let whole = &bytes[place];
        let body = &whole[HEAD_BYTES..];
        match marker {
            APP0 if body.starts_with(b"JFIF\0") && body.len() >= JFIF_FIXED_BYTES => {
                ledger.kept.push("JFIF header".to_owned());
                if body.len() > JFIF_FIXED_BYTES + 2 {
                    ledger.remove("JFIF thumbnail", body.len() - JFIF_FIXED_BYTES - 2);
                }
                push(&mut clean, marker, &[&body[..JFIF_FIXED_BYTES], &[0, 0]].concat());
            }
            APP1 if body.starts_with(EXIF_NAME) && !has_exif => {
                // As the reader does: the first block counts.
                has_exif = true;
                if let Some(block) = strip_exif::rewrite(&body[EXIF_NAME.len()..], ledger) {
                    push(&mut clean, marker, &[EXIF_NAME, &block].concat());
                }
            }
            APP2 if body.starts_with(b"ICC_PROFILE\0") => {
                ledger.kept.push(format!("ICC profile, {} bytes", body.len()));
                clean.extend_from_slice(whole);
            }
            APP14 if body.starts_with(b"Adobe") && body.len() >= ADOBE_BYTES => {
                ledger.kept.push("colour transform (Adobe segment)".to_owned());
                push(&mut clean, marker, &body[..ADOBE_BYTES]);
            }
            APP0..=APP15 | COMMENT => ledger.remove(&name(marker, body), body.len()),
            // Frame header, tables, restart interval, scans: the picture.
            0xC0..=0xC2 | 0xC4 | 0xDA | 0xDB | 0xDD => clean.extend_from_slice(whole),
            _ => ledger.remove(&format!("segment {marker:#04X}"), body.len()),
        }
    }
    clean.extend([0xFF, 0xD9]);
    if end < bytes.len() {
        ledger.remove("further pictures or data behind the picture's end", bytes.len() - end);
    }
    Ok(clean)
}

/// Appends a segment; its content is never longer than one that was read, or a few kept EXIF fields.
fn push(clean: &mut Vec<u8>, marker: u8, body: &[u8]) {
    let length = (body.len() + 2) as u16;
    clean.extend([0xFF, marker]);
    clean.extend(length.to_be_bytes());
    clean.extend_from_slice(body);
}

fn name(marker: u8, body: &[u8]) -> String {
    let known: [(u8, &[u8], &str); 8] = [
        (APP0, b"JFXX\0", "JFIF extension (thumbnail)"),
        (APP1, EXIF_NAME, "second EXIF block"),
        (APP1, b"http://ns.adobe.com/xap/", "XMP"),
        (APP1, b"http://ns.adobe.com/xmp/", "XMP, extended"),
        (APP2, b"MPF\0", "index of further pictures (MPF)"),
        (APP2, b"FPXR\0", "FlashPix data"),
        (APP13, b"Photoshop ", "IPTC"),
        (COMMENT, b"", "comment"),
    ];
    let found = known.iter().find(|(of, start, _)| *of == marker && body.starts_with(start));
    found.map_or_else(|| format!("application segment {}", marker - APP0), |(.., name)| (*name).to_owned())
}
