//! One lamp in a third or a quarter of a page: the same words, figures, pictures and rulers as on a page for two, closer together.
//!
//! From left to right: the table, the pictures one above the other, the upright ruler, the lying one.

use super::ReportInput;
use super::axis::{AxisView, Way};
use super::lamp::{DENSE, table, unmeasured};
use super::look::{SMALL, SURROUND, TEXT, draw_badge_right};
use super::picture::View;
use super::ruler::{Room, ruler};
use super::words::{badge, finding, lamp_name};
use crate::kit::sheet_page::{DIM, Page, Pen, Spot, Style, WHITE, rectangle};
use crate::record::LampRecord;

/// Least height of a lamp's block, mm: what the table takes.
pub(super) const LEAST_HEIGHT: f64 = 39.0;
/// Beyond, the rulers only get longer.
pub(super) const MOST_HEIGHT: f64 = 62.0;
/// Words of a verdict in its badge, mm.
const BADGE: f64 = 2.9;
/// Height of name, findings and badge.
const STRIP: f64 = 9.2;
/// Width of the lamp's name before the findings begin.
const NAME: f64 = 50.0;
/// Where each part begins and ends, as parts of the width.
const TABLE: (f64, f64) = (0.0, 0.49);
const PICTURES: (f64, f64) = (0.5, 0.668);
const UPRIGHT: (f64, f64) = (0.68, 0.815);
const LYING: (f64, f64) = (0.828, 1.0);
/// The lying ruler's greatest height: taller, its lanes only part.
const LYING_HEIGHT: f64 = 23.0;

/// Draws a lamp's block.
pub(super) fn block(page: &mut Page, input: &ReportInput<'_>, lamp: &LampRecord, corner: Spot, size: Spot) {
    let (x, y) = corner;
    let (right, bottom) = (x + size.0, y + size.1);
    page.line((x, y), (right, y), Pen::solid(0.4, DIM));
    let style = Style::bold(3.9);
    let name = lamp_name(lamp);
    page.words((x, y + 5.4), name.as_str(), style.fitted(&name, NAME - 3.0));
    draw_badge_right(page, (right, y + 1.6), BADGE, &lamp.verdict);
    if lamp.after().is_none() {
        return unmeasured(page, input, lamp, (x, y - 2.5), (size.0, size.1 + 2.5));
    }
    let badge_width = Style::bold(BADGE).width_of(badge(&lamp.verdict)) + BADGE + 3.0;
    findings(page, lamp, (x + NAME, y), size.0 - NAME - badge_width);
    let span = |(from, to): (f64, f64)| (x + from * size.0, (to - from) * size.0);
    let (top, room) = (y + STRIP, bottom - y - STRIP);
    let (left, width) = span(TABLE);
    table(page, lamp, (left, top), width, &DENSE);
    let (left, width) = span(PICTURES);
    pictures(page, input, lamp, (left, top), (width, room - 1.0));
    let (left, width) = span(UPRIGHT);
    if let Some(axis) = AxisView::of(lamp, Way::Vertical) {
        ruler(page, &axis, Way::Vertical, Room::Dense, (left, top), (width, room - 1.0));
    }
    let (left, width) = span(LYING);
    if let Some(axis) = AxisView::of(lamp, Way::Horizontal) {
        ruler(page, &axis, Way::Horizontal, Room::Dense, (left, top), (width, (room - 1.0).min(LYING_HEIGHT)));
    }
}

/// Before and now in words, a line each.
fn findings(page: &mut Page, lamp: &LampRecord, at: Spot, width: f64) {
    let before = lamp.before().filter(|_| lamp.before != lamp.after);
    let now = Style { is_bold: true, ..TEXT };
    let lines = match before {
        Some(_) => [Some(("Before:", before, SMALL.ink(DIM), 3.6)), Some(("Now:", lamp.after(), now, 7.3))],
        None => [None, Some(("Found:", lamp.after(), now, 5.4))],
    };
    for (name, reading, style, down) in lines.into_iter().flatten() {
        let Some(reading) = reading else { continue };
        let words = format!("{}.", finding(&reading.reading));
        let indent =
            if before.is_some() { Style::bold(TEXT.size).width_of("Before: ") } else { now.width_of("Found: ") };
        page.words((at.0, at.1 + down), name, style);
        page.words((at.0 + indent, at.1 + down), words.as_str(), style.fitted(&words, width - indent));
    }
}

/// Before and now, or wall and beam, one above the other, each with its name in its corner.
fn pictures(page: &mut Page, input: &ReportInput<'_>, lamp: &LampRecord, at: Spot, room: Spot) {
    let shots = if lamp.before == lamp.after {
        [("Wall", lamp.after(), View::Wall), ("Beam", lamp.after(), View::Beam)]
    } else {
        [("Before", lamp.before(), View::Beam), ("Now", lamp.after(), View::Beam)]
    };
    let height = 0.5 * (room.1 - 1.0);
    for (n, (name, reading, view)) in shots.into_iter().enumerate() {
        let corner = (at.0, at.1 + n as f64 * (height + 1.0));
        input.pictures.draw(page, reading, view, corner, (room.0, height));
        let style = Style::bold(2.3);
        let chip = (style.width_of(name) + 1.4, 3.1);
        page.fill(rectangle((corner.0, corner.1 + height - chip.1), chip).to_vec(), SURROUND);
        page.words((corner.0 + 0.7, corner.1 + height - 0.9), name, style.ink(WHITE));
    }
}
