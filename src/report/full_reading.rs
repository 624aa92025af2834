//! One reading in the full table.

use super::axis::{Way, judged, reach_of};
use super::figures::{percent, signed, stored};
use super::flow::Flow;
use super::words::{badge, clean};
use crate::kit::session::{Movement, ScrewName};
use crate::reading::Reading;
use crate::reading::block::PartBlock;
use crate::record::{FiledFile, LampRecord, Parameters};
use std::collections::BTreeMap;

/// Budgets in one table, beside the names of the parts.
const BUDGETS_ACROSS: usize = 6;
/// First column's part of a table's width.
const NAMES: f64 = 0.22;

/// A reading of a lamp, by its place.
pub(super) fn reading(flow: &mut Flow, lamp: &LampRecord, number: usize) {
    let Some(recorded) = lamp.readings.get(number) else { return };
    let role = match (Some(number) == lamp.before, Some(number) == lamp.after) {
        (true, true) => " (the only one measured)",
        (true, false) => " (before)",
        (false, true) => " (now)",
        (false, false) => "",
    };
    let reading = &recorded.reading;
    let verdict = reading.verdict.as_ref().map_or("refused", |verdict| verdict.overall.as_str());
    flow.heading(&format!("Reading {}{role}: {}", number + 1, badge(verdict)));
    flow.field("Measured", &clean(&recorded.measured));
    let turns: Vec<String> = recorded.turned.iter().map(turn).collect();
    flow.field("Turned before it", &if turns.is_empty() { "nothing".to_owned() } else { turns.join(", ") });
    results(flow, reading);
    budgets(flow, &reading.budget);
    setup(flow, reading);
    for flag in &reading.flags {
        flow.field(&format!("{}: {}", flag.severity, flag.code), &clean(&flag.text));
    }
    for (number, step) in reading.advice.iter().flat_map(|advice| &advice.steps).enumerate() {
        flow.field(&format!("Advice {}", number + 1), &clean(step));
    }
    let files: [(&str, Option<&FiledFile>); 4] = [
        ("Photo", Some(&recorded.photo)),
        ("Photo of the marks", recorded.marks_photo.as_ref()),
        ("Photo of the room", recorded.ambient_photo.as_ref()),
        ("Annotated picture", recorded.annotated.as_ref()),
    ];
    if let Some(bay) = &recorded.bay {
        let survey = bay.revision.as_ref().map_or_else(|| "no survey stated".to_owned(), |day| clean(day));
        let words = format!("{} ({}), {survey}, SHA-256 {}", clean(&bay.id), clean(&bay.name), bay.sha256);
        flow.field("Another bay file", &words);
    }
    if let Some(rule) = &recorded.rule {
        let decision = clean(&rule.decision);
        let words =
            format!("{} ({}), decision {decision}, SHA-256 {}", clean(&rule.id), clean(&rule.name), rule.sha256);
        flow.field("Another rule file", &words);
    }
    for (name, file) in files {
        if let Some(file) = file {
            flow.field(name, &format!("{}, {} bytes, SHA-256 {}", clean(&file.name), file.bytes, file.sha256));
        }
    }
    parameters(flow, &recorded.parameters);
    let command: Vec<String> = reading.command.iter().map(|word| clean(word)).collect();
    flow.field("Arguments", &command.join(" "));
}

/// Everything that was measured, and what was judged.
fn results(flow: &mut Flow, reading: &Reading) {
    let Some(features) = &reading.features else { return };
    let mut rows = Vec::new();
    let mut row = |name: &str, value: f64, u: f64| {
        rows.push(vec![name.to_owned(), stored(value), stored(u), signed(percent(value), 3)]);
    };
    if let Some(cutoff) = &features.cutoff {
        row("Cutoff V", cutoff.v_deg, cutoff.u_deg);
    }
    if let Some(elbow) = &features.elbow {
        row("Elbow H", elbow.h_deg, elbow.u_h_deg);
        row("Elbow V", elbow.v_deg, elbow.u_v_deg);
    }
    if let Some(rise) = &features.rise {
        row("Rise above level", rise.angle_deg, rise.u_deg);
    }
    if let Some(spot) = &features.hot_spot {
        row("Hot spot H", spot.place.h_deg, spot.place.u_h_deg);
        row("Hot spot V", spot.place.v_deg, spot.place.u_v_deg);
    }
    if let Some(zone) = &features.bright_zone {
        row("Bright zone, top V", zone.top_v_deg, zone.u_top_deg);
        row("Bright zone, left H", zone.left_h_deg, zone.u_left_deg);
    }
    flow.table(0.34, &["Measured", "degrees", "± U, degrees", "percent"], &rows);
    if let Some(cutoff) = &features.cutoff {
        let number = |value: Option<f64>| value.map_or_else(|| "\u{2013}".to_owned(), stored);
        let text = format!(
            "read at H {}°, sharpness G {}, tilt {}°",
            stored(cutoff.scan_h_deg),
            number(cutoff.sharpness_g),
            number(cutoff.tilt_deg)
        );
        flow.field("Cutoff", &text);
    }
    judgement(flow, reading);
    if let Some(reach) = reach_of(reading) {
        let span = reach.span().map(|span| format!(" ({span})")).unwrap_or_default();
        flow.field("Light ends at", &format!("{}{span} on a level road", reach.words()));
    }
}

fn judgement(flow: &mut Flow, reading: &Reading) {
    let number = |value: Option<f64>| value.map_or_else(|| "\u{2013}".to_owned(), stored);
    let axes = [("Height", Way::Vertical), ("Direction", Way::Horizontal)];
    let rows: Vec<Vec<String>> = axes
        .into_iter()
        .filter_map(|(name, way)| {
            let axis = judged(reading, way)?;
            Some(vec![
                name.to_owned(),
                stored(axis.value_deg),
                stored(axis.u_deg),
                number(axis.lower_deg),
                number(axis.nominal_deg),
                number(axis.upper_deg),
                number(axis.conformance_probability),
                axis.result.clone(),
            ])
        })
        .collect();
    if rows.is_empty() {
        flow.field("Judged", "nothing: the rule has no limits for this beam");
    } else {
        let head = ["Judged, degrees", "value", "± U", "lower", "aim", "upper", "P(inside)", "result"];
        flow.table(NAMES, &head, &rows);
    }
    let Some(verdict) = &reading.verdict else { return };
    if !verdict.not_measured.is_empty() {
        flow.field("Not measured", &verdict.not_measured.join(", "));
    }
    if let Some(zone) = &verdict.dark_zone {
        let side = |name: &str, limit: Option<f64>| {
            limit.map(|limit| format!(", {name} of {} degrees", stored(limit))).unwrap_or_default()
        };
        let place = format!(
            "no {} above {} degrees{}{}: {}",
            zone.free_of,
            stored(zone.above_deg),
            side("right", zone.right_of_deg),
            side("left", zone.left_of_deg),
            zone.text
        );
        flow.field("Dark zone", &clean(&place));
    }
    for note in &verdict.notes {
        flow.field("Note of the rule", &clean(note));
    }
}

/// Parts of the uncertainties, a column a quantity.
fn budgets(flow: &mut Flow, budget: &BTreeMap<String, Vec<PartBlock>>) {
    let quantities: Vec<(&String, &Vec<PartBlock>)> = budget.iter().collect();
    for some in quantities.chunks(BUDGETS_ACROSS) {
        let mut names: Vec<&str> = Vec::new();
        for part in some.iter().flat_map(|(_, parts)| parts.iter()) {
            if !names.contains(&part.part.as_str()) {
                names.push(&part.part);
            }
        }
        let cell = |parts: &[PartBlock], name: &str| {
            let part = parts.iter().find(|part| part.part == name);
            part.and_then(|part| part.u_deg).map_or_else(|| "\u{2013}".to_owned(), stored)
        };
        let rows: Vec<Vec<String>> = names
            .iter()
            .map(|name| {
                std::iter::once((*name).to_owned()).chain(some.iter().map(|(_, parts)| cell(parts, name))).collect()
            })
            .collect();
        let titles: Vec<String> = some.iter().map(|(name, _)| name.replace('_', " ")).collect();
        let head: Vec<&str> =
            std::iter::once("Budget, k = 1, degrees").chain(titles.iter().map(String::as_str)).collect();
        flow.table(NAMES, &head, &rows);
    }
}

fn setup(flow: &mut Flow, reading: &Reading) {
    let setup = &reading.setup;
    let further = [
        setup.lower_edge_mm.map(|mm| format!("lower edge {} mm", stored(mm))),
        setup.nominal_percent.map(|percent| format!("plate {} %", stored(percent))),
        setup.screws.as_ref().map(|name| format!("screws {}", clean(name))),
    ];
    let mut text = format!(
        "{} lamp, {} beam, pattern {}, {} traffic; height {} mm, offset {} mm, wall at {} mm, vehicle yaw {}°",
        setup.lamp,
        setup.beam,
        setup.pattern,
        setup.traffic,
        stored(setup.height_mm),
        stored(setup.offset_mm),
        stored(setup.distance_mm),
        stored(setup.vehicle_yaw_deg),
    );
    for more in further.into_iter().flatten() {
        text += ", ";
        text += &more;
    }
    flow.field("Set-up", &text);
    let marks = &reading.marks;
    let list = |ids: &[u32]| ids.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ");
    let number = |value: Option<f64>| value.map_or_else(|| "\u{2013}".to_owned(), stored);
    let missing = if marks.missing.is_empty() { "none".to_owned() } else { list(&marks.missing) };
    flow.field(
        "Marks",
        &format!(
            "found {}; missing {missing}; fit {} px, {} mm rms",
            list(&marks.found),
            number(marks.rms_px),
            number(marks.rms_mm)
        ),
    );
    let photo = &reading.photo;
    let exposure = photo.exposure_s.map_or_else(|| "\u{2013}".to_owned(), |seconds| format!("{} s", stored(seconds)));
    let iso = photo.iso.map_or_else(|| "\u{2013}".to_owned(), |iso| iso.to_string());
    flow.field(
        "Picture",
        &format!("{} x {} px, {}, exposure {exposure}, ISO {iso}", photo.width, photo.height, photo.format),
    );
    if !reading.options.is_empty() {
        let options: Vec<String> = reading.options.iter().map(|(key, value)| format!("{key} = {value}")).collect();
        flow.field("Options", &options.join(", "));
    }
}

fn parameters(flow: &mut Flow, parameters: &Parameters) {
    let all = [
        ("Bay file", Some(parameters.bay)),
        ("Rule file", Some(parameters.rule)),
        ("Screws file", parameters.screws),
        ("Lens file", parameters.lens),
        ("Response file", parameters.response),
        ("Options file", Some(parameters.options)),
    ];
    for (name, hash) in all {
        if let Some(hash) = hash {
            flow.field(name, &format!("SHA-256 {hash}"));
        }
    }
}

fn turn(movement: &Movement) -> String {
    let screw = match movement.screw {
        ScrewName::Vertical => "vertical",
        ScrewName::Horizontal => "horizontal",
    };
    let way = if movement.quarter_turns < 0.0 { "counterclockwise" } else { "clockwise" };
    format!("{screw} screw {} quarter turns {way}", movement.quarter_turns.abs())
}
