//! `--size` of rendered photos.

/// Said in the help.
pub(super) const SIZES_HELP: &str = "Size of rendered photos: 2mp, 12mp, 48mp, or WIDTHxHEIGHT in pixels";
/// A phone's photo, pixels.
pub(super) const DEFAULT_SIZE: (u32, u32) = (4000, 3000);

/// Longer and shorter side of a named size, pixels.
const NAMED: [(&str, (u32, u32)); 3] = [("2mp", (1632, 1224)), ("12mp", DEFAULT_SIZE), ("48mp", (8000, 6000))];
/// Sides that can be rendered and stored as JPEG, pixels.
const SIDES: std::ops::RangeInclusive<u32> = 64..=16_384;

/// Reads a size, longer side first in the result.
pub(super) fn parse_size(text: &str) -> Result<(u32, u32), String> {
    if let Some((_, size)) = NAMED.iter().find(|(name, _)| *name == text) {
        return Ok(*size);
    }
    let sides = text.split_once('x').and_then(|(w, h)| Some((w.parse::<u32>().ok()?, h.parse::<u32>().ok()?)));
    match sides {
        Some((w, h)) if SIDES.contains(&w) && SIDES.contains(&h) => Ok((w.max(h), w.min(h))),
        _ => Err(format!("need 2mp, 12mp, 48mp, or WIDTHxHEIGHT with sides of {} to {}", SIDES.start(), SIDES.end())),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_are_names_or_sides() {
        assert_eq!((parse_size("2mp"), parse_size("640x480")), (Ok((1632, 1224)), Ok((640, 480))));
        assert_eq!(parse_size("900x1600"), Ok((1600, 900)));
        for text in ["3mp", "12", "x", "20000x300", "10x", "0x0", "axb"] {
            assert!(parse_size(text).is_err(), "{text}");
        }
    }
}
