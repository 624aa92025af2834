//! Files that others keep in the store's folder: what was entered for a vehicle, before its first record.
//!
//! Nothing in the log names them, so each carries its own SHA-256 in a last line. It shows a damaged disk and a careless hand,
//! not a forger; what came of a file stands in the records.

use super::failure;
use super::hash::Hash;
use super::verify::Findings;
use crate::error::Error;
use std::fs;
use std::path::Path;

/// Their folder in the store's folder.
pub const BESIDE: &str = "page";

/// A text with its SHA-256 in a last line.
pub fn sealed(text: &str) -> String {
    format!("{text}\n{}\n", Hash::of(text.as_bytes()))
}

/// Reads a file that was written [`sealed`]; the first versions wrote the text alone. Fails when it was changed.
pub fn read_sealed(path: &Path) -> Result<String, Error> {
    let bytes = fs::read(path).map_err(|error| failure::file(path, "read", &error))?;
    unsealed(&bytes).map_err(|found| {
        let hint = "begin the inspection anew; what was recorded before is untouched";
        Error::file(path.display().to_string(), found, hint)
    })
}

fn unsealed(bytes: &[u8]) -> Result<String, &'static str> {
    let text = std::str::from_utf8(bytes).map_err(|_| "was changed: it is no text any more")?;
    let Some((text, seal)) = text.strip_suffix('\n').and_then(|text| text.rsplit_once('\n')) else {
        // An object of JSON in one line, as the first versions wrote it.
        return if text.trim_end().ends_with('}') {
            Ok(text.to_owned())
        } else {
            Err("was changed: it has lost its end")
        };
    };
    if seal == "}" {
        return Ok(format!("{text}\n{seal}\n"));
    }
    if seal.parse() == Ok(Hash::of(text.as_bytes())) { Ok(text.to_owned()) } else { Err("was changed") }
}

/// Holds every such file against its seal.
pub(super) fn hold(store: &Path, findings: &mut Findings) {
    for file in fs::read_dir(store.join(BESIDE)).into_iter().flatten().filter_map(Result::ok) {
        let name = format!("{BESIDE}/{}", file.file_name().to_string_lossy());
        // A part file was never put in its place.
        if file.path().extension().is_none_or(|ending| ending != "json") {
            continue;
        }
        match fs::read(file.path()) {
            Err(error) => findings.add(name, format!("cannot be read: {error}")),
            Ok(bytes) => {
                if let Err(found) = unsealed(&bytes) {
                    findings.add(name, found);
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_flipped_bit_of_a_sealed_text_is_found_or_changes_nothing() {
        for text in ["{\"a\": 1, \"b\": [2, 3]}", "{\n  \"a\": 1\n}\n"] {
            let whole = sealed(text).into_bytes();
            assert_eq!(unsealed(&whole).as_deref(), Ok(text));
            for at in 0..whole.len() {
                for bit in 0..8 {
                    let mut changed = whole.clone();
                    changed[at] ^= 1 << bit;
                    if let Ok(read) = unsealed(&changed) {
                        assert_eq!(read, text, "byte {at} bit {bit}");
                    }
                }
            }
            for length in text.len() + 1..whole.len() - 1 {
                // Cut before the seal it is a text as the first versions wrote it: the same text.
                if let Ok(read) = unsealed(&whole[..length]) {
                    assert_eq!(read.trim_end(), text.trim_end(), "{length}");
                }
            }
        }
    }

    #[test]
    fn what_the_first_versions_wrote_is_read() {
        for text in ["{\"a\": 1}", "{\"a\": 1}\n", "{\n  \"a\": 1\n}\n", "{\n  \"a\": 1\n}"] {
            assert_eq!(unsealed(text.as_bytes()).as_deref(), Ok(text));
        }
    }
}
