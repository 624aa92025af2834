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
        "pass" if verdict.lights_dark_zone() => (Tone::Open, "In, but look at the wall".to_owned()),
        "pass" => (Tone::Good, "Pass".to_owned()),
        "fail" => (Tone::Out, ways(reading)),
        "borderline" => (Tone::Open, "Too close to call".to_owned()),
        _ if !verdict.not_measured.is_empty() => {
            (Tone::Open, format!("Not measured: {}", verdict.not_measured.join(" and ")))
        }
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
    sentence(&text.replace(TYPED, "then photograph again"))
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
        State::NotMeasured => (Tone::Open, "not measured: again"),
        State::ToTurn => (Tone::Out, "to turn"),
        State::ToRecheck => (Tone::Open, "to recheck"),
        State::Good => (Tone::Good, "pass"),
        State::TooClose => (Tone::Open, "too close to call"),
        State::AtNominal => (Tone::Open, "at nominal, not judged"),
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
