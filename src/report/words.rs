//! What was found, in words for those who know nothing of angles.

use super::axis::{Way, judged};
use crate::reading::Reading;
use crate::reading::block::AxisBlock;
use crate::record::{Inspection, LampRecord, Stored};

/// Letters of a time that are shown: to the minute.
const TO_THE_MINUTE: usize = 16;

/// `Left lamp, low beam`.
pub(super) fn lamp_name(lamp: &LampRecord) -> String {
    let mut side = clean(&lamp.side);
    if let Some(first) = side.get_mut(..1) {
        first.make_ascii_uppercase();
    }
    let beam = if lamp.beam == "fog" { "fog lamp".to_owned() } else { format!("{} beam", clean(&lamp.beam)) };
    format!("{side} lamp, {beam}")
}

/// A verdict as it stands in its badge.
pub(super) fn badge(verdict: &str) -> &'static str {
    match verdict {
        "pass" => "PASS",
        "fail" => "FAIL",
        "borderline" => "TOO CLOSE TO CALL",
        "none" => "NO VERDICT",
        "refused" => "NOT MEASURED",
        _ => "NOT YET MEASURED",
    }
}

/// The whole inspection in one sentence.
pub(super) fn headline(inspection: &Inspection) -> String {
    let measured: Vec<&LampRecord> = inspection.lamps.iter().filter(|lamp| !lamp.readings.is_empty()).collect();
    let named = |verdict: &str| -> Vec<String> {
        measured.iter().filter(|lamp| lamp.verdict == verdict).map(|lamp| lower(&lamp_name(lamp))).collect()
    };
    let open = inspection.lamps.len() - measured.len();
    match inspection.verdict.as_str() {
        "pass" if measured.len() == 1 => "This lamp is set right.".to_owned(),
        "pass" => format!("All {} beams are set right.", measured.len()),
        "fail" => format!("Not set right: {}.", joined(&named("fail"))),
        "borderline" => format!("Too close to the limit to call: {}.", joined(&named("borderline"))),
        "refused" => format!("Could not be measured: {}.", joined(&named("refused"))),
        "none" if named("none").is_empty() => "Measured; nothing was judged.".to_owned(),
        "none" => format!("Measured, but without a verdict: {}.", joined(&named("none"))),
        _ if measured.is_empty() => "Begun; no lamp has been measured yet.".to_owned(),
        _ => format!("Not finished: {open} still to be measured."),
    }
}

/// What one reading found, without its subject: `too low, and too far to the right`.
pub(super) fn finding(reading: &Reading) -> String {
    let Some(verdict) = &reading.verdict else { return refused(reading) };
    let one = |way: Way, name: &str| match judged(reading, way) {
        Some(axis) => Some(axis_words(axis, way)),
        None if verdict.not_measured.iter().any(|axis| axis == name) => Some(match way {
            Way::Vertical => "the height could not be measured".to_owned(),
            Way::Horizontal => "the direction could not be measured".to_owned(),
        }),
        None => None,
    };
    let (vertical, horizontal) = (one(Way::Vertical, "vertical"), one(Way::Horizontal, "horizontal"));
    let right = |found: &Option<String>| found.as_deref().is_some_and(|words| words.starts_with("right "));
    match (vertical, horizontal) {
        (None, None) => "measured, not judged by this rule".to_owned(),
        (v, h) if right(&v) && right(&h) => "right in height and in direction".to_owned(),
        (Some(v), Some(h)) => format!("{v}, and {h}"),
        (Some(only), None) | (None, Some(only)) => only,
    }
}

fn axis_words(axis: &AxisBlock, way: Way) -> String {
    let above = axis.upper_deg.is_some_and(|upper| axis.value_deg > upper);
    let words =
        |above_words: &str, below_words: &str| if above { above_words.to_owned() } else { below_words.to_owned() };
    match (axis.result.as_str(), way) {
        ("pass", Way::Vertical) => "right in height".to_owned(),
        ("pass", Way::Horizontal) => "right in direction".to_owned(),
        ("borderline", Way::Vertical) => "its height is too close to the limit to call".to_owned(),
        ("borderline", Way::Horizontal) => "its direction is too close to the limit to call".to_owned(),
        (_, Way::Vertical) => words("too high", "too low"),
        (_, Way::Horizontal) => words("too far to the right", "too far to the left"),
    }
}

/// What too high or too low means on the road.
pub(super) fn meaning(reading: &Reading) -> Option<&'static str> {
    let axis = judged(reading, Way::Vertical)?;
    if axis.result != "fail" {
        return None;
    }
    let is_above = axis.upper_deg.is_some_and(|upper| axis.value_deg > upper);
    Some(if is_above { "It dazzles others." } else { "It lights less of the road than it could." })
}

/// Why a photo was refused.
pub(super) fn refused(reading: &Reading) -> String {
    let refusal = reading.flags.iter().find(|flag| flag.severity == "refusal");
    refusal.map_or_else(|| "the photo was refused".to_owned(), |flag| clean(&flag.text))
}

/// Without what could not be printed.
pub(super) fn clean(text: &str) -> String {
    text.chars().filter(|letter| !letter.is_control()).collect()
}

/// A stored time to the minute, UTC.
pub(super) fn minute(time: &str) -> String {
    clean(time).chars().take(TO_THE_MINUTE).collect::<String>().replacen('T', " ", 1)
}

/// A text that may have been erased.
pub(super) fn personal(text: Option<&String>, is_sealed: bool) -> String {
    match text {
        Some(text) => clean(text),
        None if is_sealed => "erased on request".to_owned(),
        None => "\u{2013}".to_owned(),
    }
}

/// Plate and customer, in this order.
pub(super) fn personals(stored: &Stored) -> [String; 2] {
    let Stored { personal: texts, inspection, .. } = stored;
    [
        personal(texts.plate.as_ref(), inspection.plate.is_some()),
        personal(texts.customer.as_ref(), inspection.customer.is_some()),
    ]
}

/// How sure the rule's figures are.
pub(super) fn rule_status(status: &str) -> &'static str {
    match status {
        "practice" => "common practice, no law",
        "read" => "its figures were read in the primary text",
        "secondary" => "its figures come from a text that quotes the primary one",
        _ => "its figures were NOT checked against the primary text",
    }
}

fn lower(text: &str) -> String {
    let mut text = text.to_owned();
    if let Some(first) = text.get_mut(..1) {
        first.make_ascii_lowercase();
    }
    text
}

/// `a`, `a and b`, `a; b and c`.
fn joined(names: &[String]) -> String {
    match names {
        [] => "\u{2013}".to_owned(),
        [one] => one.clone(),
        [most @ .., last] => format!("{} and {last}", most.join("; ")),
    }
}
