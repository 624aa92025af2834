//! The foot of a report's page: how it was measured, the rule, cautions, who decides, and the record's id with the log's head.
//!
//! The QR code holds one line of text, `lampwright record ID head SIZE:ROOT`, as both are printed beside it.

use super::ReportInput;
use super::axis::{Way, judged};
use super::look::{BOTTOM, LABEL, RULE_LINE, SIDE, SMALL};
use super::words::{clean, rule_status, sentence, short_name};
use crate::error::Error;
use crate::kit::sheet_page::{Anchor, DIM, Page, Pen, Style, millimetres};
use crate::kit::sheet_qr::qr;
use crate::record::{BayNote, Inspection, LampRecord, RecordedReading, RuleNote};
use std::collections::BTreeSet;

/// Edge of the QR code, mm.
const QR: f64 = 33.0;
/// Its white rim: four modules of at least 49.
const RIM: f64 = 2.8;
/// Most cautions that are printed in words.
const MOST_CAUTIONS: usize = 3;
/// Sizes of the small print, the usual one first.
const SIZES: [f64; 2] = [2.75, 2.5];
/// Height of the lines with id and head.
const IDS: f64 = 9.0;
/// Space between two paragraphs.
const BETWEEN: f64 = 1.1;

/// Who decides, and what this paper is not.
const DECIDES: &str = "Local codes and licensed inspectors decide whether this vehicle may be driven. This report shows where the \
     beams stood on this wall in these photos; it is no certificate and claims conformity with no standard or regulation.";
/// How to read the rulers and figures.
const READ: &str = "How to read it: percent is fall per distance, so 1 % is 10 cm lower on 10 m. On the rulers the shaded part is \
     allowed, the dashed line is the aim, the dot is the beam, and its whiskers are the uncertainty. “Light ends at” is where \
     the bright part ends on a level road.";

/// The foot, measured before it is drawn.
#[derive(Debug)]
pub(super) struct Foot {
    paragraphs: Vec<(String, Style)>,
    width: f64,
    /// Height that it takes above the paper's lower rim, mm.
    pub(super) height: f64,
}

impl Foot {
    /// For this record on paper of this width, with at most so much height where that can be: then the small print becomes
    /// a little smaller, and fewer cautions are printed in words.
    pub(super) fn new(input: &ReportInput<'_>, paper_width: f64, most: f64) -> Self {
        let width = paper_width - 2.0 * SIDE - QR - 6.0;
        let of = |size: f64, cautions: usize| Self::of(input, width, Style { size, ..SMALL }, cautions);
        let tries = (0..=MOST_CAUTIONS).rev().flat_map(|cautions| SIZES.map(|size| (size, cautions)));
        let mut last = of(SIZES[0], MOST_CAUTIONS);
        for (size, cautions) in tries {
            last = of(size, cautions);
            if last.height <= most {
                break;
            }
        }
        last
    }

    fn of(input: &ReportInput<'_>, width: f64, style: Style, most_cautions: usize) -> Self {
        let mut paragraphs = vec![(DECIDES.to_owned(), Style { is_bold: true, ..style }), (rule(input), style)];
        let cautions = cautions(input, most_cautions);
        if !cautions.is_empty() {
            paragraphs.push((format!("Mind: {cautions}"), style));
        }
        paragraphs.push((measured(input), style));
        paragraphs.push((READ.to_owned(), style));
        let text: f64 = paragraphs.iter().map(|(words, style)| style.height_of(words, width) + BETWEEN).sum();
        let height = (text + 3.0).max(QR + 2.0 * RIM + 3.0) + IDS;
        Self { paragraphs, width, height }
    }

    /// Draws it.
    pub(super) fn draw(&self, page: &mut Page, input: &ReportInput<'_>) -> Result<(), Error> {
        let (left, right) = (SIDE, page.width - SIDE);
        let top = page.height - BOTTOM - self.height;
        page.line((left, top), (right, top), Pen::solid(0.5, DIM));
        let mut y = top + 4.4;
        for (words, style) in &self.paragraphs {
            y = page.paragraph((left, y), self.width, words, *style) + BETWEEN;
        }
        let id = &input.stored.inspection.id;
        let head = input.head.to_string();
        qr(page, &format!("lampwright record {id} head {head}"), (right - QR, top + 2.0 + RIM), QR)?;
        let middle = right - 0.5 * QR;
        page.words((middle, top + QR + 2.0 * RIM + 2.4), "record id and log head", LABEL.anchored(Anchor::Middle));
        let line = page.height - BOTTOM - IDS + 2.2;
        page.line((left, line), (right, line), Pen::solid(0.2, RULE_LINE));
        for (n, (name, value)) in [("Record", id), ("Log head", &head)].into_iter().enumerate() {
            let y = line + 3.3 + 3.5 * n as f64;
            page.words((left, y), name, LABEL);
            let style = Style::regular(2.6);
            page.words((left + 14.0, y), value.as_str(), style.fitted(value, right - left - 14.0));
        }
        let software = &input.stored.inspection.software;
        let made = format!("{} {} ({})", software.name, software.version, software.commit);
        page.words((right, line + 3.3), made, LABEL.anchored(Anchor::End));
        Ok(())
    }
}

/// What the shown readings have in common or not: each different value with the lamps that it belongs to.
fn parted<'a, T: PartialEq>(
    inspection: &'a Inspection,
    of: impl Fn(&'a RecordedReading) -> T,
) -> Vec<(T, Vec<&'a LampRecord>)> {
    let mut parts: Vec<(T, Vec<&LampRecord>)> = Vec::new();
    for lamp in &inspection.lamps {
        let Some(shown) = lamp.after() else { continue };
        let value = of(shown);
        match parts.iter_mut().find(|(known, _)| *known == value) {
            Some((_, lamps)) => lamps.push(lamp),
            None => parts.push((value, vec![lamp])),
        }
    }
    parts
}

/// The lamps by name, where there is more than one part to tell apart.
fn whose(lamps: &[&LampRecord], parts: usize) -> String {
    let names: Vec<String> = lamps.iter().map(|lamp| short_name(lamp)).collect();
    if parts > 1 { format!(" for {}", names.join(", ")) } else { String::new() }
}

fn rule(input: &ReportInput<'_>) -> String {
    let inspection = &input.stored.inspection;
    let mut rules = parted(inspection, |reading| reading.rule(inspection));
    if rules.is_empty() {
        rules.push((&inspection.rule, Vec::new()));
    }
    let all: Vec<String> =
        rules.iter().map(|(rule, lamps)| one_rule(rule, lamps, &whose(lamps, rules.len()))).collect();
    all.join(" ")
}

fn one_rule(rule: &RuleNote, lamps: &[&LampRecord], whose: &str) -> String {
    let mut shown = lamps.iter().filter_map(|lamp| lamp.after());
    let is_judged = |reading: &RecordedReading| {
        [Way::Vertical, Way::Horizontal].into_iter().any(|way| judged(&reading.reading, way).is_some())
    };
    let decision = if !shown.any(is_judged) {
        "Nothing was judged by it."
    } else if rule.decision == "simple" {
        "The measured value alone decides."
    } else {
        "It passes when the value and its whole uncertainty lie inside the limits, and fails when they lie outside."
    };
    let source = clean(&rule.source);
    let source = if rule.status == "practice" && source.contains("no source") {
        String::new()
    } else {
        format!(" Source: {}.", source.trim_end_matches('.'))
    };
    format!(
        "Rule{whose}: {} ({}): {}.{source} {decision}",
        clean(&rule.name),
        clean(&rule.id),
        rule_status(&rule.status)
    )
}

fn measured(input: &ReportInput<'_>) -> String {
    let inspection = &input.stored.inspection;
    let distance = |reading: &RecordedReading| format!("{:.2}", reading.reading.setup.distance_mm / 1000.0);
    let bays = parted(inspection, |reading| (reading.bay(inspection), distance(reading)));
    if bays.is_empty() {
        return "How it was measured: no photo could be measured yet.".to_owned();
    }
    let place = |((bay, distance), lamps): &((&BayNote, String), Vec<&LampRecord>)| {
        let surveyed = bay
            .revision
            .as_ref()
            .map_or_else(|| "no survey stated".to_owned(), |day| format!("surveyed {}", clean(day)));
        // Two files of one bay may bear the same name and day.
        let file = bay.sha256.to_string();
        let file = if bays.len() > 1 { format!(", file {}…", &file[..8]) } else { String::new() };
        format!("{distance} m away (bay {}, {surveyed}{file}){}", clean(&bay.id), whose(lamps, bays.len()))
    };
    let places: Vec<String> = bays.iter().map(place).collect();
    let last = inspection.lamps.iter().filter_map(LampRecord::after);
    let mut heights: Vec<String> = last.map(|reading| millimetres(reading.reading.setup.height_mm)).collect();
    heights.dedup();
    format!(
        "How it was measured: from a photo of each beam on a wall {}, whose marks give the scale; lamp centres {} mm above the \
         floor. ± is the expanded uncertainty (k={}): the true value lies inside in about 95 of 100 photos.",
        places.join(", "),
        heights.join(" / "),
        inspection.coverage_factor,
    )
}

/// Warnings of the readings that are shown, each once.
fn cautions(input: &ReportInput<'_>, most: usize) -> String {
    let shown = input.stored.inspection.lamps.iter().filter_map(LampRecord::after);
    let mut seen = BTreeSet::new();
    let mut order = Vec::new();
    for flag in shown.flat_map(|reading| &reading.reading.flags).filter(|flag| flag.severity == "warning") {
        if seen.insert(flag.code.as_str()) {
            order.push(clean(&flag.text));
        }
    }
    let more = order.len().saturating_sub(most);
    order.truncate(most);
    let mut text = order.iter().map(|text| sentence(text)).collect::<Vec<_>>().join(" ");
    if more > 0 {
        let count = if more == 1 { "one caution".to_owned() } else { format!("{more} cautions") };
        let count = if text.is_empty() { count } else { format!(" And {more} more") };
        text += &count;
        text += ": see the full table of the inspection.";
    }
    text
}
