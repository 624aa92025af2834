//! The table of readings: one row a reading, degrees; text that a spreadsheet could take for a formula is made safe.

use super::inspection::{LampRecord, RecordedReading};
use super::store::Stored;
use crate::kit::session::ScrewName;
use crate::reading::block::{AxisAdviceBlock, AxisBlock};

/// Names of the columns; angles in degrees, H right and V up positive, `u_` expanded uncertainty with k = 2.
pub(super) const COLUMNS: [&str; 44] = [
    "record",
    "id",
    "inspection",
    "is_newest",
    "begun",
    "recorded",
    "by",
    "vehicle",
    "plate",
    "customer",
    "bay",
    "bay_revision",
    "rule",
    "decision",
    "software",
    "lamp",
    "beam",
    "reading",
    "role",
    "measured",
    "turned_vertical_quarters",
    "turned_horizontal_quarters",
    "photo_sha256",
    "status",
    "verdict",
    "vertical_deg",
    "u_vertical_deg",
    "vertical_nominal_deg",
    "vertical_lower_deg",
    "vertical_upper_deg",
    "vertical_result",
    "horizontal_deg",
    "u_horizontal_deg",
    "horizontal_nominal_deg",
    "horizontal_lower_deg",
    "horizontal_upper_deg",
    "horizontal_result",
    "move_vertical",
    "move_vertical_deg",
    "move_horizontal",
    "move_horizontal_deg",
    "height_mm",
    "distance_mm",
    "flags",
];

/// One row for every reading of a record.
pub(super) fn reading_rows(stored: &Stored) -> Vec<Vec<String>> {
    let lamps = stored.inspection.lamps.iter();
    lamps
        .flat_map(|lamp| lamp.readings.iter().enumerate().map(move |(n, reading)| row(stored, lamp, n, reading)))
        .collect()
}

fn row(stored: &Stored, lamp: &LampRecord, n: usize, reading: &RecordedReading) -> Vec<String> {
    let inspection = &stored.inspection;
    let (verdict, advice) = (reading.reading.verdict.as_ref(), reading.reading.advice.as_ref());
    let text = |text: &str| safe(text);
    let optional = |value: &Option<String>| safe(value.as_deref().unwrap_or(""));
    let role = match (Some(n) == lamp.before, Some(n) == lamp.after) {
        (true, true) => "only",
        (true, false) => "before",
        (false, true) => "after",
        (false, false) => "",
    };
    let turned = |screw: ScrewName| {
        let net: f64 = reading.turned.iter().filter(|part| part.screw == screw).map(|part| part.quarter_turns).sum();
        // The sum of nothing is -0.
        (net + 0.0).to_string()
    };
    let software = &inspection.software;
    let mut row = vec![
        stored.number.to_string(),
        text(&inspection.id),
        text(inspection.first()),
        (stored.newest == stored.number).to_string(),
        text(&inspection.begun),
        text(&inspection.recorded),
        text(&inspection.who),
        text(&inspection.vehicle),
        optional(&stored.personal.plate),
        optional(&stored.personal.customer),
        text(&reading.bay(inspection).id),
        optional(&reading.bay(inspection).revision),
        text(&reading.rule(inspection).id),
        text(&reading.rule(inspection).decision),
        text(&format!("{} {} {}", software.name, software.version, software.commit)),
        text(&lamp.side),
        text(&lamp.beam),
        (n + 1).to_string(),
        role.to_owned(),
        text(&reading.measured),
        turned(ScrewName::Vertical),
        turned(ScrewName::Horizontal),
        reading.photo.sha256.to_string(),
        text(&reading.reading.status),
        text(verdict.map_or("", |verdict| verdict.overall.as_str())),
    ];
    row.extend(axis(verdict.and_then(|verdict| verdict.vertical.as_ref())));
    row.extend(axis(verdict.and_then(|verdict| verdict.horizontal.as_ref())));
    row.extend(moved(advice.and_then(|advice| advice.vertical.as_ref())));
    row.extend(moved(advice.and_then(|advice| advice.horizontal.as_ref())));
    row.push(reading.reading.setup.height_mm.to_string());
    row.push(reading.reading.setup.distance_mm.to_string());
    let flags: Vec<&str> = reading.reading.flags.iter().map(|flag| flag.code.as_str()).collect();
    row.push(safe(&flags.join(" ")));
    row
}

fn axis(axis: Option<&AxisBlock>) -> [String; 6] {
    let number = |value: Option<f64>| value.map_or_else(String::new, |value| value.to_string());
    [
        number(axis.map(|axis| axis.value_deg)),
        number(axis.map(|axis| axis.u_deg)),
        number(axis.and_then(|axis| axis.nominal_deg)),
        number(axis.and_then(|axis| axis.lower_deg)),
        number(axis.and_then(|axis| axis.upper_deg)),
        safe(axis.map_or("", |axis| axis.result.as_str())),
    ]
}

fn moved(advice: Option<&AxisAdviceBlock>) -> [String; 2] {
    advice.map_or_else(Default::default, |advice| [safe(&advice.beam_must_move), advice.by_deg.to_string()])
}

/// Text that a spreadsheet would take for a formula gets an apostrophe before it (OWASP ASVS 5.0, 1.2.10); numbers do not
/// come here.
pub(super) fn safe(text: &str) -> String {
    const STARTS: [char; 8] = ['=', '+', '-', '@', '\t', '\r', '\n', '\0'];
    if text.starts_with(STARTS) { format!("'{text}") } else { text.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn formulas_are_made_text() {
        for text in ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "\0"] {
            assert_eq!(safe(text), format!("'{text}"));
        }
        for text in ["", "order 12", "a=b", "O'Neil \"x\""] {
            assert_eq!(safe(text), text);
        }
    }
}
