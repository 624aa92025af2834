//! One lamp on the page: what was found, pictures before and now, numbers, and the two rulers.

use super::ReportInput;
use super::axis::{AxisView, Place, Way, reach_of};
use super::figures::{limits, mm, mm_and_u, percent_and_u, signed, signed_percent};
use super::look::{LABEL, RULE_LINE, SMALL, TEXT, cut, draw_badge_right};
use super::picture::{View, shown_last};
use super::ruler::{Room, ruler};
use super::words::{finding, lamp_name, minute, refused, sentence};
use crate::kit::sheet_page::{DIM, Page, Pen, Spot, Style};
use crate::reading::Reading;
use crate::record::{LampRecord, RecordedReading};

/// Least height of a lamp's block, mm.
pub(super) const LEAST_HEIGHT: f64 = 75.0;
/// Beyond, more height only leaves gaps.
pub(super) const MOST_HEIGHT: f64 = 108.0;
/// Part of the width that pictures and numbers take.
const LEFT_PART: f64 = 0.625;
/// Height of the lying ruler.
const LYING: f64 = 24.0;
const GAP: f64 = 4.0;
/// Where findings begin, behind "Before:".
const INDENT: f64 = 14.5;
/// How the table of numbers is set.
#[derive(Debug, Clone, Copy)]
pub(super) struct TableLook {
    /// Figures in percent, and where the light ends.
    number: Style,
    /// The same on the wall, in millimetres.
    small: Style,
    /// From the head to an axis, to its second line; to the reach, to its second line.
    steps: [f64; 4],
    /// Space between two columns.
    gap: f64,
    /// Whether where the light ends stands out; bold words are wide.
    is_reach_bold: bool,
    /// Columns as parts of its width: name, before, now, allowed; and name, measured, allowed.
    twice: &'static [f64],
    once: &'static [f64],
}

/// With room around it.
const WIDE: TableLook = TableLook {
    number: Style::regular(3.1),
    small: SMALL,
    steps: [4.8, 3.7, 5.0, 3.7],
    gap: 2.5,
    is_reach_bold: true,
    twice: &[0.0, 0.215, 0.475, 0.735],
    once: &[0.0, 0.215, 0.5],
};
/// Four lamps to a page.
pub(super) const DENSE: TableLook = TableLook {
    number: Style::regular(2.8),
    small: Style::regular(2.5),
    steps: [4.0, 3.2, 4.3, 3.2],
    gap: 1.4,
    is_reach_bold: false,
    twice: &[0.0, 0.215, 0.475, 0.735],
    once: &[0.0, 0.215, 0.5],
};
/// Draws a lamp's block.
pub(super) fn block(page: &mut Page, input: &ReportInput<'_>, lamp: &LampRecord, corner: Spot, size: Spot) {
    let (x, y) = corner;
    let right = x + size.0;
    page.line((x, y), (right, y), Pen::solid(0.5, DIM));
    page.words((x, y + 6.6), lamp_name(lamp), Style::bold(4.8));
    draw_badge_right(page, (right, y + 1.8), 3.6, &lamp.verdict);
    let Some(after) = lamp.after() else {
        return unmeasured(page, input, lamp, corner, size);
    };
    let left_width = LEFT_PART * size.0;
    let top = findings(page, lamp, after, (x, y + 12.0), left_width) + 0.6;
    let room = y + size.1 - table_height(lamp, &WIDE) - 3.0 - top;
    let tables = pictures(page, input, lamp, (x, top), (left_width, room)) + 2.0;
    table(page, lamp, (x, tables), left_width, &WIDE);
    let (ruler_x, ruler_width) = (x + left_width + GAP, size.0 - left_width - GAP);
    let horizontal = AxisView::of(lamp, Way::Horizontal);
    let lying = y + size.1 - 1.0 - if horizontal.is_some() { LYING } else { 0.0 };
    if let Some(axis) = AxisView::of(lamp, Way::Vertical) {
        ruler(page, &axis, Way::Vertical, Room::Wide, (ruler_x, y + 9.5), (ruler_width, lying - y - 11.0));
    }
    if let Some(axis) = horizontal {
        ruler(page, &axis, Way::Horizontal, Room::Wide, (ruler_x, lying), (ruler_width, LYING));
    }
}

/// What the table takes: a head, two lines an axis, two for the reach.
fn table_height(lamp: &LampRecord, look: &TableLook) -> f64 {
    let [first, second, reach, span] = look.steps;
    let axes = [Way::Vertical, Way::Horizontal].into_iter().filter(|way| AxisView::of(lamp, *way).is_some()).count();
    let has_reach = lamp.after().is_some_and(|after| reach_of(&after.reading).is_some());
    4.0 + (first + second) * axes as f64 + if has_reach { reach + span } else { 0.0 }
}

/// Before and now in words; returns where the next thing may begin.
fn findings(page: &mut Page, lamp: &LampRecord, after: &RecordedReading, at: Spot, width: f64) -> f64 {
    let mut y = at.1;
    let mut say = |name: &str, reading: &Reading, style: Style| {
        page.words((at.0, y), name, style);
        y = page.paragraph((at.0 + INDENT, y), width - INDENT, &format!("{}.", finding(reading)), style);
    };
    match lamp.before().filter(|_| lamp.before != lamp.after) {
        Some(before) => {
            say("Before:", &before.reading, TEXT.ink(DIM));
            say("Now:", &after.reading, Style { is_bold: true, ..TEXT });
        }
        None => say("Found:", &after.reading, Style { is_bold: true, ..TEXT }),
    }
    y
}

/// Two pictures beside one another; returns where they end.
fn pictures(page: &mut Page, input: &ReportInput<'_>, lamp: &LampRecord, at: Spot, room: Spot) -> f64 {
    let width = 0.5 * (room.0 - 3.0);
    let second = at.0 + width + 3.0;
    let shots = if lamp.before == lamp.after {
        [("The wall", lamp.after(), View::Wall), ("The beam", lamp.after(), View::Beam)]
    } else {
        [("Before", lamp.before(), View::Beam), ("Now", lamp.after(), View::Beam)]
    };
    let shape = shots.iter().map(|(_, reading, view)| input.pictures.shape(*reading, *view)).fold(0.0, f64::max);
    let frame = (width, (room.1 - 3.6).min(shape * width));
    for ((name, reading, view), x) in shots.into_iter().zip([at.0, second]) {
        let time = reading.map(|reading| format!("{} UTC", minute(&reading.measured))).unwrap_or_default();
        page.words((x, at.1 + 2.4), name, Style::bold(2.9));
        let indent = Style::bold(2.9).width_of(name) + 2.0;
        page.words((x + indent, at.1 + 2.4), time, LABEL);
        input.pictures.draw(page, reading, view, (x, at.1 + 3.6), frame);
    }
    at.1 + 3.6 + frame.1
}

/// One line of the table: how far below the one before it, its name, before, now, allowed, and its style.
type Line = (f64, &'static str, [String; 3], Style);

/// Numbers: each axis in percent, under it in millimetres on the wall; then the reach.
pub(super) fn table(page: &mut Page, lamp: &LampRecord, at: Spot, width: f64, look: &TableLook) {
    let Some(after) = lamp.after() else { return };
    let before = lamp.before().filter(|_| lamp.before != lamp.after);
    let columns = if before.is_some() { look.twice } else { look.once };
    let mut y = at.1;
    let lines = lines(lamp, before, after, look);
    // Lines of one kind are set in one size, that of the widest.
    let cells = |(_, name, [was, is, allowed], style): &Line| -> Vec<(f64, String, Style)> {
        let all = [Some((*name).to_owned()), before.map(|_| was.clone()), Some(is.clone()), Some(allowed.clone())];
        let ends = columns.iter().skip(1).copied().chain([1.0]);
        let room = columns.iter().zip(ends).map(|(from, to)| (from * width, (to - from) * width - look.gap));
        let placed = all.into_iter().flatten().zip(room);
        placed
            .map(|(cell, (x, room))| (x, style.fitted(&cell, room).size, cell))
            .map(|(x, size, cell)| (x, cell, Style { size, ..*style }))
            .collect()
    };
    let size_of = |kind: f64| {
        let same = lines.iter().filter(|line| line.3.size.to_bits() == kind.to_bits());
        same.flat_map(cells).map(|(_, _, style)| style.size).fold(kind, f64::min)
    };
    for line in &lines {
        y += line.0;
        let size = size_of(line.3.size);
        for (x, cell, style) in cells(line) {
            page.words((at.0 + x, y), cell, Style { size, ..style });
        }
    }
    page.line((at.0, at.1 - 0.4), (at.0 + width, at.1 - 0.4), Pen::solid(0.2, RULE_LINE));
}

fn lines(lamp: &LampRecord, before: Option<&RecordedReading>, after: &RecordedReading, look: &TableLook) -> Vec<Line> {
    let [first_step, second_step, reach_step, span_step] = look.steps;
    let (number, small) = (look.number, look.small.ink(DIM));
    let now = if before.is_some() { "Now" } else { "Measured" };
    let mut lines = vec![(3.0, "", ["Before", now, "Allowed"].map(str::to_owned), LABEL)];
    for (name, way) in [("Height", Way::Vertical), ("Direction", Way::Horizontal)] {
        let Some(axis) = AxisView::of(lamp, way) else { continue };
        let places = [axis.before, axis.now];
        let is_judged = axis.lower_deg.or(axis.upper_deg).is_some();
        let allowed = |unit: &str, show: &dyn Fn(f64) -> String| limits(axis.lower_deg, axis.upper_deg, unit, show);
        let in_percent =
            |place: Option<Place>| place.map_or_else(String::new, |place| percent_and_u(place.value_deg, place.u_deg));
        let [was, is] = places.map(in_percent);
        let limits = if is_judged { allowed("%", &signed_percent) } else { "not judged".to_owned() };
        lines.push((first_step, name, [was, is, limits], number));
        let in_mm = |place: Option<Place>| {
            place.map_or_else(String::new, |place| mm_and_u(place.value_deg, place.u_deg, axis.distance_mm))
        };
        let [was, is] = places.map(in_mm);
        let wall_mm = |limit: f64| signed(mm(limit, axis.distance_mm), 0);
        let limits = if is_judged { allowed("mm", &wall_mm) } else { String::new() };
        lines.push((second_step, "on the wall", [was, is, limits], small));
    }
    if let Some(now) = reach_of(&after.reading) {
        let reaches = [before.and_then(|before| reach_of(&before.reading)), Some(now)];
        let [was, is] = reaches.map(|reach| reach.map_or_else(String::new, |reach| reach.words()));
        let style = Style { is_bold: look.is_reach_bold, ..number };
        lines.push((reach_step, "Light ends at", [was, is, String::new()], style));
        let [was, is] = reaches.map(|reach| reach.and_then(|reach| reach.span()).unwrap_or_default());
        lines.push((span_step, "on a level road", [was, is, String::new()], small));
    }
    lines
}

/// A lamp without a measured photo: why, and the last photo's picture.
pub(super) fn unmeasured(page: &mut Page, input: &ReportInput<'_>, lamp: &LampRecord, corner: Spot, size: Spot) {
    let at = (corner.0, corner.1 + 13.0);
    let Some(last) = shown_last(lamp) else {
        page.words(at, "No photo of this lamp has been measured yet.", TEXT);
        return;
    };
    let width = LEFT_PART * size.0;
    let style = Style { is_bold: true, ..TEXT };
    let mut y = page.paragraph(at, width, "No photo of this lamp could be measured. The last one:", style);
    y = page.paragraph((at.0, y + 0.5), width, &sentence(&refused(&last.reading)), TEXT);
    let shape = input.pictures.shape(Some(last), View::Wall);
    let frame = (width, (corner.1 + size.1 - y - 6.5).clamp(10.0, (shape * width).max(10.0)));
    page.words((at.0, y + 2.0), cut(&format!("{} UTC", minute(&last.measured)), width, LABEL), LABEL);
    input.pictures.draw(page, Some(last), View::Wall, (at.0, y + 3.5), frame);
}
