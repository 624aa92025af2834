//! A reading in the few words that can be read at arm's length.

use crate::kit::session::State;
use crate::reading::Reading;
use crate::reading::block::AxisAdviceBlock;
use std::path::Path;

/// Kind of a verdict: how its band looks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Tone {
    /// Good.
    Good,
    /// Out of aim.
    Out,
    /// Too close to call, or nothing judged.
    Open,
    /// The photo was refused.
    Stop,
}

impl Tone {
    /// The class of the style sheet.
    pub(super) const fn class(self) -> &'static str {
        match self {
            Self::Good => "is-good",
            Self::Out => "is-out",
            Self::Open => "is-open",
            Self::Stop => "is-stop",
        }
    }
}

/// The verdict's tone and words.
pub(super) fn verdict(reading: &Reading) -> (Tone, String) {
    let Some(verdict) = &reading.verdict else { return (Tone::Stop, "Photo not usable".to_owned()) };
    match verdict.overall.as_str() {
        "pass" => (Tone::Good, "Pass".to_owned()),
        "fail" => (Tone::Out, ways(reading)),
        "borderline" => (Tone::Open, "Too close to call".to_owned()),
        _ => (Tone::Open, "No verdict".to_owned()),
    }
}

/// Which way a beam that fails is off.
fn ways(reading: &Reading) -> String {
    let advice = reading.advice.as_ref();
    let verdict = reading.verdict.as_ref();
    let off = |is_failed: bool, advice: Option<&AxisAdviceBlock>| {
        let way = match advice?.beam_must_move.as_str() {
            "up" => "low",
            "down" => "high",
            "left" => "far right",
            "right" => "far left",
            _ => return None,
        };
        is_failed.then_some(way)
    };
    let vertical = off(
        verdict.and_then(|verdict| verdict.vertical.as_ref()).is_some_and(|axis| axis.result == "fail"),
        advice.and_then(|advice| advice.vertical.as_ref()),
    );
    let horizontal = off(
        verdict.and_then(|verdict| verdict.horizontal.as_ref()).is_some_and(|axis| axis.result == "fail"),
        advice.and_then(|advice| advice.horizontal.as_ref()),
    );
    match (vertical, horizontal) {
        (Some(up), Some(side)) => format!("Too {up}, too {side}"),
        (Some(way), None) | (None, Some(way)) => format!("Too {way}"),
        (None, None) => "Out of aim".to_owned(),
    }
}

/// What the command line advises, as one does it on this page.
pub(super) fn hint(text: &str) -> String {
    const TYPED: &str = "take the photo again, take a second one with the lights on and give it as --marks-photo, or give a \
                         mark's place with --mark ID=X,Y";
    sentence(&text.replace(
        TYPED,
        "photograph again, add a photo with the lights on under More photos, or tap the marks on the picture",
    ))
}

/// Without the pixels that the command line names: `tag 0 near (812, 640) px, upper left` stands upper left in the photo.
pub(super) fn places(text: &str) -> String {
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

/// Files that a command names, by their names alone: where they lie is nobody's business on a phone.
pub(super) fn without_folders(text: &str, command: &[String]) -> String {
    let paths = command.iter().filter(|word| Path::new(word).is_absolute());
    paths.fold(text.to_owned(), |text, path| {
        let name = Path::new(path).file_name().map(|name| name.to_string_lossy().into_owned());
        text.replace(path.as_str(), &name.unwrap_or_default())
    })
}

/// With a capital at its start and a full stop at its end.
pub(super) fn sentence(text: &str) -> String {
    let mut letters = text.trim().trim_end_matches('.').chars();
    let first = letters.next().map(char::to_uppercase).into_iter().flatten();
    first.chain(letters).chain(['.']).collect()
}

/// A lamp's state in a word.
pub(super) const fn state(state: State) -> (Tone, &'static str) {
    match state {
        State::ToPhotograph => (Tone::Open, "to photograph"),
        State::ToTurn => (Tone::Out, "to turn"),
        State::ToRecheck => (Tone::Open, "to recheck"),
        State::Good => (Tone::Good, "pass"),
        State::NeedsAiming => (Tone::Out, "needs aiming"),
        State::Seized => (Tone::Stop, "stop: does not follow"),
        State::NoVerdict => (Tone::Open, "no verdict"),
    }
}

/// The tone of a recorded verdict's word.
pub(super) fn tone_of(verdict: &str) -> Tone {
    match verdict {
        "pass" => Tone::Good,
        "fail" => Tone::Out,
        "refused" => Tone::Stop,
        _ => Tone::Open,
    }
}

/// A beam's name for people.
pub(super) fn beam(beam: &str) -> &'static str {
    match beam {
        "low" => "low beam",
        "high" => "high beam",
        _ => "fog lamp",
    }
}

/// `Left low beam`.
pub(super) fn lamp(side: &str, beam_name: &str) -> String {
    let side = if side == "left" { "Left" } else { "Right" };
    format!("{side} {}", beam(beam_name))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The command line's own words of a photo that shows too few marks.
    #[test]
    fn a_mark_s_place_is_said_in_words() {
        assert_eq!(
            places(
                "found 2 of 5 marks (tag 3, tag 4), need at least 4; not found: tag 0 near (812, 640) px, upper left; \
                    tag 1 near (-40, 3100) px, outside the photo, below and left of it; tag 2"
            ),
            "found 2 of 5 marks (tag 3, tag 4), need at least 4; not found: tag 0, upper left of the photo; \
             tag 1, outside the photo, below and left of it; tag 2"
        );
        for other in ["too near (a wall) px, here", "near (1, 2) px", "no beam", ""] {
            assert_eq!(places(other), other);
        }
    }
}
