//! Whether a TIFF file is a DNG (a camera's raw picture), told without decoding it.

/// The tag that every DNG has in its first directory (DNG specification 1.7.1.0, `DNGVersion`).
const DNG_VERSION: u16 = 50_706;
/// Bytes of a directory's entry (TIFF 6.0, section 2).
const ENTRY_BYTES: usize = 12;

/// Whether these bytes begin a DNG.
pub(super) fn is_dng(bytes: &[u8]) -> bool {
    let is_little = bytes.starts_with(b"II*\0");
    if !is_little && !bytes.starts_with(b"MM\0*") {
        return false;
    }
    let short = |at: usize| {
        let pair = bytes.get(at..)?.first_chunk::<2>()?;
        Some(if is_little { u16::from_le_bytes(*pair) } else { u16::from_be_bytes(*pair) })
    };
    let directory = bytes.get(4..).and_then(|rest| rest.first_chunk::<4>()).map(|four| {
        let offset = if is_little { u32::from_le_bytes(*four) } else { u32::from_be_bytes(*four) };
        offset as usize
    });
    let Some((directory, count)) = directory.and_then(|at| Some((at, short(at)?))) else { return false };
    (0..usize::from(count)).any(|entry| short(directory + 2 + entry * ENTRY_BYTES) == Some(DNG_VERSION))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_dng_is_told_from_other_files_of_its_kind() {
        let little = |tag: u16| [&b"II*\0\x08\0\0\0\x01\0"[..], &tag.to_le_bytes(), &[0; 10]].concat();
        let big = |tag: u16| [&b"MM\0*\0\0\0\x08\0\x01"[..], &tag.to_be_bytes(), &[0; 10]].concat();
        assert!(is_dng(&little(DNG_VERSION)) && is_dng(&big(DNG_VERSION)));
        assert!(!is_dng(&little(256)) && !is_dng(&big(256)));
        let whole = little(DNG_VERSION);
        assert!((0..11).all(|length| !is_dng(&whole[..length])));
        assert!(!is_dng(b"II*\0\xFF\xFF\xFF\xFF") && !is_dng(b"\xFF\xD8\xFF"));
    }
}
