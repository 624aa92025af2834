//! `--size` of rendered photos.

/// Said in the help.
pub(super) const SIZES_HELP: &str = "Size of rendered photos: 2mp, 12mp, 48mp, or LONGxSHORT in pixels";

/// Longer and shorter side of a named size, pixels.
const NAMED: [(&str, (u32, u32)); 3] = [("2mp", (1632, 1224)), ("12mp", (4000, 3000)), ("48mp", (8000, 6000))];
/// Sides that can be rendered and stored as JPEG, pixels.
const SIDES: std::ops::RangeInclusive<u32> = 64..=16_384;

/// Reads a size.
pub(super) fn parse_size(text: &str) -> Result<(u32, u32), String> {
    if let Some((_, size)) = NAMED.iter().find(|(name, _)| *name == text) {
        return Ok(*size);
    }
    let sides = text.split_once('x').and_then(|(long, short)| Some((long.parse().ok()?, short.parse().ok()?)));
    match sides {
        Some((long, short)) if SIDES.contains(&long) && SIDES.contains(&short) && long >= short => Ok((long, short)),
        _ => Err(format!("need 2mp, 12mp, 48mp, or LONGxSHORT with sides of {} to {}", SIDES.start(), SIDES.end())),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_are_names_or_sides() {
        assert_eq!((parse_size("2mp"), parse_size("640x480")), (Ok((1632, 1224)), Ok((640, 480))));
        for text in ["480x640", "3mp", "x", "20000x10", "10x"] {
            assert!(parse_size(text).is_err(), "{text}");
        }
    }
}
