//! A reading held against the truth.

use super::case::Prepared;
use super::outcome::{Ending, FeatureError, FlagSeen, Outcome, Quantity};
use super::truth_file::TruthFile;
use crate::reading::Reading;
use crate::reading::block::AxisBlock;

/// What the reading of `id` comes to.
pub(super) fn judge(id: &str, family: &str, prepared: &Prepared, reading: &Reading, seconds: f64) -> Outcome {
    let truth = &prepared.truth;
    let (errors, missing) = compare(reading, truth);
    let refusal = reading.flags.iter().find(|flag| flag.severity == "refusal");
    Outcome {
        id: id.to_owned(),
        family: family_name(family, truth),
        ending: ending(reading, truth),
        flags: reading
            .flags
            .iter()
            .map(|flag| FlagSeen { code: flag.code.clone(), severity: flag.severity.clone() })
            .collect(),
        message: refusal.map(|flag| flag.text.clone()),
        verdict: reading.verdict.as_ref().map(|verdict| verdict.overall.clone()),
        wrong_axes: wrong_axes(reading, &errors),
        errors,
        missing,
        conditions: truth.conditions(),
        seconds,
    }
}

/// A case that gave no reading.
pub(super) fn broken(id: &str, family: &str, prepared: Option<&Prepared>, message: String, seconds: f64) -> Outcome {
    Outcome {
        id: id.to_owned(),
        family: prepared.map_or_else(|| family.to_owned(), |prepared| family_name(family, &prepared.truth)),
        ending: Ending::Broken,
        flags: Vec::new(),
        message: Some(message),
        errors: Vec::new(),
        missing: Vec::new(),
        verdict: None,
        wrong_axes: Vec::new(),
        conditions: prepared.map(|prepared| prepared.truth.conditions()).unwrap_or_default(),
        seconds,
    }
}

fn family_name(family: &str, truth: &TruthFile) -> String {
    let name = if family.is_empty() { truth.family.as_str() } else { family };
    if name.is_empty() { "no family".to_owned() } else { name.to_owned() }
}

fn ending(reading: &Reading, truth: &TruthFile) -> Ending {
    let is_refused = reading.features.is_none();
    let has_code = || {
        truth.expect_codes.is_empty()
            || reading.flags.iter().any(|flag| flag.severity == "refusal" && truth.expect_codes.contains(&flag.code))
    };
    match (is_refused, truth.expect.as_deref()) {
        (true, Some("refused")) if has_code() => Ending::RefusedRightly,
        (true, Some("refused")) => Ending::RefusedWithWrongCode,
        (true, _) => Ending::RefusedWrongly,
        (false, Some("refused")) => Ending::MeasuredWrongly,
        (false, _) => Ending::Measured,
    }
}

/// Every quantity with a truth: its error, or its name among the missing.
fn compare(reading: &Reading, truth: &TruthFile) -> (Vec<FeatureError>, Vec<Quantity>) {
    let (mut errors, mut missing) = (Vec::new(), Vec::new());
    let Some(features) = &reading.features else { return (errors, missing) };
    let mut add = |quantity, measured: Option<(f64, f64)>, truth_deg: Option<f64>| match (measured, truth_deg) {
        (Some((value_deg, u_deg)), Some(truth_deg)) => {
            errors.push(FeatureError { quantity, value_deg, truth_deg, u_deg });
        }
        (None, Some(_)) => missing.push(quantity),
        (_, None) => {}
    };
    let cutoff = features.cutoff.as_ref();
    // A cutoff that was not read, or was read where no truth is listed (beyond the elbow, say), is missing.
    let at = |table: &super::Table| cutoff.and_then(|found| Some((found, table.at(found.scan_h_deg)?)));
    if let Some(table) = &truth.cutoff {
        let found = at(table);
        let value = found.map(|(found, _)| (found.v_deg, found.u_deg));
        add(Quantity::CutoffV, value, Some(found.map_or(f64::NAN, |(_, truth)| truth)));
    }
    let elbow = features.elbow.as_ref();
    add(Quantity::ElbowH, elbow.map(|found| (found.h_deg, found.u_h_deg)), truth.elbow.map(|place| place.h_deg));
    add(Quantity::ElbowV, elbow.map(|found| (found.v_deg, found.u_v_deg)), truth.elbow.map(|place| place.v_deg));
    let spot = features.hot_spot.as_ref().map(|spot| &spot.place);
    add(Quantity::HotSpotH, spot.map(|found| (found.h_deg, found.u_h_deg)), truth.hot_spot.map(|place| place.h_deg));
    add(Quantity::HotSpotV, spot.map(|found| (found.v_deg, found.u_v_deg)), truth.hot_spot.map(|place| place.v_deg));
    (errors, missing)
}

/// Axes that pass where the truth fails, or the reverse. An axis shows one of the features' values: the truth of that
/// feature, held against the same limits, says what the verdict would be without any error.
fn wrong_axes(reading: &Reading, errors: &[FeatureError]) -> Vec<String> {
    let Some(verdict) = &reading.verdict else { return Vec::new() };
    let is_wrong = |axis: &Option<AxisBlock>, candidates: &[Quantity]| -> bool {
        let Some(axis) = axis else { return false };
        // The very number was copied into the axis; JSON keeps five decimals.
        let is_of_axis = |error: &&FeatureError| {
            candidates.contains(&error.quantity) && (error.value_deg - axis.value_deg).abs() < 1e-4
        };
        let Some(error) = errors.iter().find(is_of_axis) else { return false };
        let is_above = axis.lower_deg.is_none_or(|lower| error.truth_deg >= lower);
        let is_below = axis.upper_deg.is_none_or(|upper| error.truth_deg <= upper);
        match axis.result.as_str() {
            "pass" => !(is_above && is_below),
            "fail" => is_above && is_below,
            _ => false,
        }
    };
    let mut wrong = Vec::new();
    if is_wrong(&verdict.vertical, &[Quantity::CutoffV, Quantity::HotSpotV, Quantity::ElbowV]) {
        wrong.push("vertical".to_owned());
    }
    if is_wrong(&verdict.horizontal, &[Quantity::ElbowH, Quantity::HotSpotH]) {
        wrong.push("horizontal".to_owned());
    }
    wrong
}
