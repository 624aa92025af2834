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
        _ => "NOT FINISHED",
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
        "pass" if measured.len() == 2 => "Both lamps are set right.".to_owned(),
        "pass" => format!("All {} beams are set right.", measured.len()),
        "fail" => format!("Not set right: {}.", joined(&named("fail"))),
        "borderline" => format!("Close to a limit: {}.", joined(&named("borderline"))),
        "refused" => format!("Could not be measured: {}.", joined(&named("refused"))),
        "none" if named("none").is_empty() => "Measured; nothing was judged.".to_owned(),
        "none" => format!("Measured, but without a verdict: {}.", joined(&named("none"))),
        _ if measured.is_empty() => "Begun; no lamp has been measured yet.".to_owned(),
        _ => format!("Not finished: {open} still to be measured."),
    }
}

/// What one reading found: `Too low (lights less road); too far right`.
pub(super) fn finding(reading: &Reading) -> String {
    let Some(verdict) = &reading.verdict else { return refused(reading) };
    let one = |way: Way, name: &str, missing: &'static str| match judged(reading, way) {
        Some(axis) => Some(axis_words(axis, way, &reading.setup.beam)),
        None => verdict.not_measured.iter().any(|axis| axis == name).then_some(missing),
    };
    let vertical = one(Way::Vertical, "vertical", "height could not be measured");
    let horizontal = one(Way::Horizontal, "horizontal", "direction could not be measured");
    let words = match (vertical, horizontal) {
        (None, None) => "measured, not judged by this rule".to_owned(),
        (Some(RIGHT_HEIGHT), Some(RIGHT_DIRECTION)) => "right in height and in direction".to_owned(),
        (Some(vertical), Some(horizontal)) => format!("{vertical}; {horizontal}"),
        (Some(only), None) | (None, Some(only)) => only.to_owned(),
    };
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

const RIGHT_HEIGHT: &str = "right in height";
const RIGHT_DIRECTION: &str = "right in direction";

fn axis_words(axis: &AxisBlock, way: Way, beam: &str) -> &'static str {
    let is_above = axis.upper_deg.is_some_and(|upper| axis.value_deg > upper);
    match (axis.result.as_str(), way, is_above) {
        ("pass", Way::Vertical, _) => RIGHT_HEIGHT,
        ("pass", Way::Horizontal, _) => RIGHT_DIRECTION,
        ("borderline", Way::Vertical, _) => "height too close to call",
        ("borderline", Way::Horizontal, _) => "direction too close to call",
        // A high beam dazzles wherever it points.
        (_, Way::Vertical, true) if beam == "high" => "too high",
        (_, Way::Vertical, true) => "too high (dazzles others)",
        (_, Way::Vertical, false) => "too low (lights less road)",
        (_, Way::Horizontal, true) => "too far right",
        (_, Way::Horizontal, false) => "too far left",
    }
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
