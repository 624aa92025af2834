//! Where something stands in a photo, for people who do not count pixels.

/// Without the pixels that the command line names: `tag 0 near (812, 640) px, upper left` stands upper left in the photo.
pub fn without_pixels(text: &str) -> String {
    const NEAR: &str = " near (";
    const UNIT: &str = ") px, ";
    /// What may stand between the two.
    const PIXELS: &str = "0123456789-., ";
    let mut parts = text.split(NEAR);
    let mut plain = parts.next().unwrap_or("").to_owned();
    for part in parts {
        let at = part.split_once(UNIT).filter(|(pixels, _)| pixels.chars().all(|letter| PIXELS.contains(letter)));
        let Some((_, behind)) = at else {
            plain = plain + NEAR + part;
            continue;
        };
        // Where it is said ends at the next mark, or with the text.
        let (place, rest) = behind.split_once(';').map_or((behind, None), |(place, rest)| (place, Some(rest)));
        let of = if place.starts_with("outside") { "" } else { " of the photo" };
        plain = plain + ", " + place.trim_end() + of + &rest.map_or(String::new(), |rest| format!(";{rest}"));
    }
    plain
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The command line's own words of a photo that shows too few marks.
    #[test]
    fn a_mark_s_place_is_said_in_words() {
        assert_eq!(
            without_pixels(
                "found 2 of 5 marks (tag 3, tag 4), need at least 4; not found: tag 0 near (812, 640) px, upper left; \
                    tag 1 near (-40, 3100) px, outside the photo, below and left of it; tag 2"
            ),
            "found 2 of 5 marks (tag 3, tag 4), need at least 4; not found: tag 0, upper left of the photo; \
             tag 1, outside the photo, below and left of it; tag 2"
        );
        for other in ["too near (a wall) px, here", "near (1, 2) px", "no beam", ""] {
            assert_eq!(without_pixels(other), other);
        }
    }
}
