//! What was found, in words for those who know nothing of angles.

use super::axis::{Way, judged};
use crate::reading::Reading;
use crate::reading::block::{AxisBlock, VerdictBlock};
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

/// The whole inspection in a sentence, or one for each verdict below a pass.
pub(super) fn headline(inspection: &Inspection) -> String {
    let lamps = &inspection.lamps;
    let lit: Vec<String> = lamps.iter().filter(|lamp| is_zone_lit(lamp)).map(short_name).collect();
    if !lit.is_empty() && lamps.iter().all(|lamp| lamp.verdict == "pass") {
        // By both axes a pass, and yet no lamp of which one says that it is right.
        return format!("Inside the limits, yet light stands where the rule wants it dark: {}.", lit.join(", "));
    }
    if !lamps.is_empty() && lamps.iter().all(|lamp| lamp.verdict == "pass") {
        return match &lamps[..] {
            [_] => "This lamp is set right.".to_owned(),
            [one, other] if one.side != other.side => "Both lamps are set right.".to_owned(),
            // Of one side: of the other lamp nothing is said.
            [one, _] => format!("Both beams on the {} are set right.", clean(&one.side)),
            all => format!("All {} beams are set right.", all.len()),
        };
    }
    let sentences = [
        ("fail", "Not set right"),
        ("refused", "Could not be measured"),
        ("none", "Measured, without a verdict"),
        ("borderline", "Close to a limit"),
        ("begun", "Not measured yet"),
    ];
    let said: Vec<String> = sentences
        .into_iter()
        .filter_map(|(verdict, words)| {
            let named: Vec<String> = lamps.iter().filter(|lamp| lamp.verdict == verdict).map(short_name).collect();
            (!named.is_empty()).then(|| format!("{words}: {}.", named.join(", ")))
        })
        .collect();
    if said.is_empty() { "No lamp has been measured yet.".to_owned() } else { said.join(" ") }
}

/// Whether the last photo that could be measured shows the cutoff in the rule's dark zone.
fn is_zone_lit(lamp: &LampRecord) -> bool {
    let last = lamp.after.and_then(|place| lamp.readings.get(place)).and_then(|last| last.reading.verdict.as_ref());
    last.is_some_and(VerdictBlock::lights_dark_zone)
}

/// `left low beam`.
pub(super) fn short_name(lamp: &LampRecord) -> String {
    let what = if lamp.beam == "fog" { "lamp" } else { "beam" };
    format!("{} {} {what}", clean(&lamp.side), clean(&lamp.beam))
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
    let zone = if verdict.lights_dark_zone() { "; lights the zone that must be dark" } else { "" };
    capital(&(words + zone))
}

/// With a large letter in front.
fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// With a large letter in front and a stop behind.
pub(super) fn sentence(text: &str) -> String {
    format!("{}.", capital(text).trim_end_matches('.'))
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::{BayNote, FiledFile, Parameters, RecordedReading, RuleNote};

    fn reading() -> Reading {
        serde_json::from_str(include_str!("../../tests/record_sample/reading.json")).unwrap()
    }

    /// Two beams on one side say nothing of the other lamp.
    #[test]
    fn both_lamps_are_a_left_and_a_right_one() {
        let mut stored: Inspection = inspection();
        let mut said = |lamps: &[(&str, &str)]| {
            let pass = |(side, beam): &(&str, &str)| LampRecord {
                verdict: "pass".to_owned(),
                ..LampRecord::new(*side, *beam, Vec::new())
            };
            stored.lamps = lamps.iter().map(pass).collect();
            headline(&stored)
        };
        assert_eq!(said(&[("left", "low")]), "This lamp is set right.");
        assert_eq!(said(&[("left", "low"), ("right", "low")]), "Both lamps are set right.");
        assert_eq!(said(&[("left", "low"), ("left", "high")]), "Both beams on the left are set right.");
        assert_eq!(said(&[("left", "low"), ("left", "high"), ("right", "low")]), "All 3 beams are set right.");
    }

    /// A lamp that is in by both axes and lights the rule's dark zone is not said to be right.
    #[test]
    fn a_lit_dark_zone_is_in_the_headline() {
        let mut reading = reading();
        let hash = crate::record::Hash::of(b"");
        let zone = serde_json::json!({"above_deg": -0.286, "right_of_deg": 0.0, "left_of_deg": null,
            "free_of": "white light", "result": "fail", "text": "the cutoff stands in it: not dark"});
        reading.verdict.as_mut().unwrap().dark_zone = Some(serde_json::from_value(zone).unwrap());
        let recorded = RecordedReading {
            measured: String::new(),
            turned: Vec::new(),
            photo: FiledFile { sha256: hash, name: String::new(), bytes: 0 },
            marks_photo: None,
            ambient_photo: None,
            bracket: Vec::new(),
            annotated: None,
            bay: None,
            rule: None,
            parameters: Parameters { bay: hash, rule: hash, screws: None, lens: None, response: None, options: hash },
            reading,
        };
        let pass = |side: &str, readings: Vec<RecordedReading>| LampRecord {
            verdict: "pass".to_owned(),
            ..LampRecord::new(side, "low", readings)
        };
        let mut stored = inspection();
        stored.lamps = vec![pass("left", vec![recorded]), pass("right", Vec::new())];
        assert!(headline(&stored).ends_with("wants it dark: left low beam."), "{}", headline(&stored));
    }

    fn inspection() -> Inspection {
        let hash = crate::record::Hash::of(b"");
        let bay = BayNote { id: String::new(), name: String::new(), revision: None, sha256: hash };
        let text = String::new;
        let rule =
            RuleNote { id: text(), name: text(), status: text(), source: text(), decision: text(), sha256: hash };
        Inspection {
            schema: text(),
            id: text(),
            follows: None,
            begun: text(),
            recorded: text(),
            who: text(),
            vehicle: text(),
            plate: None,
            customer: None,
            software: crate::record::entry::software(),
            bay,
            rule,
            coverage_factor: 2.0,
            checklist: Vec::new(),
            unanswered: Vec::new(),
            lamps: Vec::new(),
            verdict: text(),
        }
    }

    /// Truth: the sample lies 0.43° under its lower limit and 0.23° right of its right one.
    #[test]
    fn findings_need_no_angle() {
        let mut reading = reading();
        assert_eq!(finding(&reading), "Too low (lights less road); too far right");
        let verdict = reading.verdict.as_mut().unwrap();
        let vertical = verdict.vertical.as_mut().unwrap();
        vertical.value_deg = 0.5;
        assert_eq!(finding(&reading), "Too high (dazzles others); too far right");
        reading.setup.beam = "high".to_owned();
        assert_eq!(finding(&reading), "Too high; too far right");
        for (result, words) in [
            ("pass", "Right in height and in direction"),
            ("borderline", "Height too close to call; direction too close to call"),
        ] {
            let verdict = reading.verdict.as_mut().unwrap();
            for axis in [&mut verdict.vertical, &mut verdict.horizontal] {
                result.clone_into(&mut axis.as_mut().unwrap().result);
            }
            assert_eq!(finding(&reading), words);
        }
        let verdict = reading.verdict.as_mut().unwrap();
        (verdict.vertical, verdict.not_measured) = (None, vec!["vertical".to_owned()]);
        assert_eq!(finding(&reading), "Height could not be measured; direction too close to call");
        let verdict = reading.verdict.as_mut().unwrap();
        (verdict.horizontal, verdict.not_measured) = (None, Vec::new());
        assert_eq!(finding(&reading), "Measured, not judged by this rule");
    }
}
