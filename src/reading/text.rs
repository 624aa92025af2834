//! The reading as text for people: one screen, the verdict first, then what is off and which way, what to do, the
//! numbers with their uncertainty, the flags, the rule.
//!
//! Styles are ANSI sequences on whole words; a writer that is no terminal strips them, and nothing depends on colour.

use super::block::{AxisAdviceBlock, AxisBlock, DarkZoneBlock, PlaceBlock, Reading};
use super::show::{DisplayUnits, SCREEN_COLUMNS, ShortName, Show, wrap};
use crate::units::Mm;
use anstyle::{AnsiColor, Style};

/// Lines of one screen.
const SCREEN_LINES: usize = 24;
/// Lines that the rule's notes leave for the flags: their codes at least.
const FLAG_LINES_KEPT: usize = 2;

/// The text of a reading, at most one screen, lines ended by `\n`.
pub fn to_text(reading: &Reading, units: DisplayUnits) -> String {
    let show = Show { units, distance: Mm::new(reading.setup.distance_mm) };
    let lines = if reading.features.is_some() { measured(reading, &show) } else { refused(reading) };
    lines.join("\n") + "\n"
}

fn styled(style: Style, text: &str) -> String {
    format!("{style}{text}{style:#}")
}

fn headline(word: &str, colour: AnsiColor, reading: &Reading) -> String {
    let setup = &reading.setup;
    let what = format!("{} lamp, {} beam ({}), bay ", setup.lamp, setup.beam, setup.pattern);
    let room = SCREEN_COLUMNS.saturating_sub(word.chars().count() + 2 + what.chars().count());
    let what = what + &ShortName::new(&setup.bay, room).0;
    format!("{}  {what}", styled(Style::new().bold().fg_color(Some(colour.into())), word))
}

fn measured(reading: &Reading, show: &Show) -> Vec<String> {
    let overall = reading.verdict.as_ref().map_or("none", |verdict| verdict.overall.as_str());
    let (word, colour) = match overall {
        "pass" => ("PASS", AnsiColor::Green),
        "fail" => ("FAIL", AnsiColor::Red),
        "borderline" => ("BORDERLINE: too close to call", AnsiColor::Yellow),
        _ => ("NO VERDICT", AnsiColor::Yellow),
    };
    let mut lines = vec![headline(word, colour, reading)];
    let axes = axes(reading);
    lines.extend(axes.iter().flat_map(|axis| wrap(&format!("  {:<12}", axis.name), &axis.finding(show))));
    if let Some(zone) = reading.verdict.as_ref().and_then(|verdict| verdict.dark_zone.as_ref()) {
        lines.extend(wrap("  dark zone   ", &dark_zone(zone, show)));
    }
    lines.push(styled(Style::new().bold(), "What to do"));
    let steps = reading.advice.iter().flat_map(|advice| &advice.steps);
    for (number, step) in steps.enumerate() {
        lines.extend(wrap(&format!("  {}. ", number + 1), step));
    }
    lines.push(format!("{} ({}, U: k = 2)", styled(Style::new().bold(), "Numbers"), show.meaning()));
    lines.extend(axes.iter().filter_map(|axis| axis.numbers(show)));
    lines.extend(bright_zone(reading, show));
    let rule = rule_lines(reading, SCREEN_LINES.saturating_sub(lines.len() + FLAG_LINES_KEPT));
    let room = SCREEN_LINES.saturating_sub(lines.len() + rule.len());
    lines.extend(flag_lines(reading, room));
    lines.extend(rule);
    lines
}

/// One axis as the text needs it.
struct AxisView<'a> {
    name: &'static str,
    /// Words for too much and too little.
    sides: [&'static str; 2],
    judged: Option<&'a AxisBlock>,
    advice: Option<&'a AxisAdviceBlock>,
    /// Value and U, judged or not.
    value: Option<(f64, f64)>,
    is_missing: bool,
}

fn axes(reading: &Reading) -> [AxisView<'_>; 2] {
    let verdict = reading.verdict.as_ref();
    let advice = reading.advice.as_ref();
    let [v, h] = measured_values(reading);
    let is_missing = |name: &str| verdict.is_some_and(|verdict| verdict.not_measured.iter().any(|axis| axis == name));
    [
        AxisView {
            name: "vertical",
            sides: ["high", "low"],
            judged: verdict.and_then(|verdict| verdict.vertical.as_ref()),
            advice: advice.and_then(|advice| advice.vertical.as_ref()),
            value: v,
            is_missing: is_missing("vertical"),
        },
        AxisView {
            name: "horizontal",
            sides: ["far right", "far left"],
            judged: verdict.and_then(|verdict| verdict.horizontal.as_ref()),
            advice: advice.and_then(|advice| advice.horizontal.as_ref()),
            value: h,
            is_missing: is_missing("horizontal"),
        },
    ]
}

/// V and H of the pattern's features, each with U.
fn measured_values(reading: &Reading) -> [Option<(f64, f64)>; 2] {
    let Some(features) = &reading.features else { return [None, None] };
    let vertical = |place: &PlaceBlock| (place.v_deg, place.u_v_deg);
    let horizontal = |place: &PlaceBlock| (place.h_deg, place.u_h_deg);
    if reading.setup.pattern == "spot" {
        let spot = features.hot_spot.as_ref().map(|spot| &spot.place);
        return [spot.map(vertical), spot.map(horizontal)];
    }
    [features.cutoff.as_ref().map(|cutoff| (cutoff.v_deg, cutoff.u_deg)), features.elbow.as_ref().map(horizontal)]
}

impl AxisView<'_> {
    /// What is off and which way.
    fn finding(&self, show: &Show) -> String {
        let Some(axis) = self.judged else {
            return match (self.is_missing, self.advice) {
                (true, _) => "could not be measured".to_owned(),
                (false, Some(advice)) if advice.beam_must_move != "none" => {
                    format!("no limits, not judged; {:.0} mm from its nominal on the wall", advice.by_mm_at_wall)
                }
                _ => "not judged by this rule".to_owned(),
            };
        };
        let beyond = |limit: f64| format!("{} {}", show.span(limit, axis.value_deg), show.unit());
        let outside = match (axis.lower_deg, axis.upper_deg) {
            (_, Some(upper)) if axis.value_deg > upper => Some((self.sides[0], beyond(upper))),
            (Some(lower), _) if axis.value_deg < lower => Some((self.sides[1], beyond(lower))),
            _ => None,
        };
        match (axis.result.as_str(), outside) {
            ("pass", _) => "good".to_owned(),
            ("borderline", Some((side, by))) => {
                format!("borderline: too {side} by {by}, which is less than its uncertainty")
            }
            ("borderline", None) => "borderline: inside, but nearer to a limit than its uncertainty".to_owned(),
            (_, Some((side, by))) => format!("too {side}, by {by} beyond the limit"),
            (result, None) => result.to_owned(),
        }
    }

    /// The table's row.
    fn numbers(&self, show: &Show) -> Option<String> {
        let (value_deg, u_deg) = self.judged.map(|axis| (axis.value_deg, axis.u_deg)).or(self.value)?;
        let unit = show.unit();
        let (value, u) = (show.signed(value_deg), show.half_width(value_deg, u_deg));
        let limits = self.judged.map(|axis| limits(axis, show)).unwrap_or_default();
        Some(format!("  {:<11}{value:>8} {unit}  ± {u} {unit}{limits}", self.name))
    }
}

/// What is known of the dark zone, and where it lies.
fn dark_zone(zone: &DarkZoneBlock, show: &Show) -> String {
    let side = |name: &str, limit: Option<f64>| {
        limit.map(|limit| format!(", {name} of {} {}", show.signed(limit), show.unit())).unwrap_or_default()
    };
    format!(
        "{} (no {} above {} {}{}{})",
        zone.text,
        zone.free_of,
        show.signed(zone.above_deg),
        show.unit(),
        side("right", zone.right_of_deg),
        side("left", zone.left_of_deg)
    )
}

/// The bright zone's edges, where they were measured.
fn bright_zone(reading: &Reading, show: &Show) -> Option<String> {
    let zone = reading.features.as_ref()?.bright_zone.as_ref()?;
    let unit = show.unit();
    let one = |value, u| format!("{} {unit} ± {}", show.signed(value), show.half_width(value, u));
    let (top, left) = (one(zone.top_v_deg, zone.u_top_deg), one(zone.left_h_deg, zone.u_left_deg));
    Some(format!("  bright zone  top {top}, left edge {left}"))
}

fn limits(axis: &AxisBlock, show: &Show) -> String {
    let target = axis.nominal_deg.map(|target| format!("  aim at {}", show.signed(target))).unwrap_or_default();
    let limits = match (axis.lower_deg, axis.upper_deg) {
        (Some(lower), Some(upper)) => format!("limits {} to {}", show.signed(lower), show.signed(upper)),
        (None, Some(upper)) => format!("at most {}", show.signed(upper)),
        (Some(lower), None) => format!("at least {}", show.signed(lower)),
        (None, None) => String::new(),
    };
    format!("{target}  {limits}")
}

/// Flags in full where they fit, else their codes.
fn flag_lines(reading: &Reading, room: usize) -> Vec<String> {
    let weighty: Vec<_> = reading.flags.iter().filter(|flag| flag.severity != "info").collect();
    if weighty.is_empty() {
        return Vec::new();
    }
    let full: Vec<String> =
        weighty.iter().flat_map(|flag| wrap("  ! ", &format!("{}: {}", flag.code, flag.text))).collect();
    if full.len() < room {
        let mut lines = vec![styled(Style::new().bold(), "Flags")];
        lines.extend(full);
        return lines;
    }
    let codes: Vec<&str> = weighty.iter().map(|flag| flag.code.as_str()).collect();
    let short = wrap("Flags: ", &codes.join(", "));
    if short.len() <= room {
        return short;
    }
    vec![format!("Flags: {} of them; their texts are in the JSON (--json FILE).", weighty.len())]
}

/// The rule and how sure it is; its notes (what it does not judge) as far as they fit.
fn rule_lines(reading: &Reading, room: usize) -> Vec<String> {
    let Some(verdict) = &reading.verdict else { return Vec::new() };
    let status = match verdict.rule_status.as_str() {
        "practice" => "common practice, no source",
        "read" => "figures read in the primary text",
        "secondary" => "figures from a text that quotes the primary one",
        _ => "figures NOT checked against the primary text",
    };
    let simple = if verdict.decision == "simple" { "; simple acceptance, the uncertainty does not decide" } else { "" };
    let mut lines = wrap("Rule: ", &format!("{} ({}): {status}{simple}.", verdict.rule_name, verdict.rules));
    for note in &verdict.notes {
        let note = wrap("      ", note);
        if lines.len() + note.len() <= room {
            lines.extend(note);
        }
    }
    lines
}

fn refused(reading: &Reading) -> Vec<String> {
    let mut lines = vec![headline("NOT MEASURED: photo refused", AnsiColor::Red, reading)];
    for flag in reading.flags.iter().filter(|flag| flag.severity == "refusal") {
        let hint = flag.hint.as_deref().unwrap_or_default();
        let why = flag.text.strip_suffix(hint).unwrap_or(&flag.text).trim_end_matches("; ");
        lines.extend(wrap("  Why:   ", &format!("{why} ({})", flag.code)));
        if !hint.is_empty() {
            lines.extend(wrap("  Do:    ", hint));
        }
    }
    let list = |ids: &[u32]| ids.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ");
    let marks = &reading.marks;
    let found = if marks.found.is_empty() { "none".to_owned() } else { list(&marks.found) };
    let missing =
        if marks.missing.is_empty() { String::new() } else { format!("; not found: {}", list(&marks.missing)) };
    lines.extend(wrap("  Marks: ", &format!("found: {found}{missing}")));
    let room = SCREEN_LINES.saturating_sub(lines.len());
    let warnings = reading.flags.iter().filter(|flag| flag.severity == "warning");
    let notes: Vec<String> =
        warnings.flat_map(|flag| wrap("  Also:  ", &format!("{} ({})", flag.text, flag.code))).collect();
    lines.extend(notes.into_iter().take(room));
    lines
}
