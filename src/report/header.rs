//! The head of a report's page: what it is, the verdict in one sentence, and which vehicle, when and by whom.

use super::ReportInput;
use super::look::{LABEL, SIDE, SMALL, TEXT, TOP, cut, draw_badge};
use super::words::{clean, headline, minute, personals};
use crate::kit::sheet_page::{Anchor, DIM, Page, Style};
use crate::record::How;

/// Height of the head, mm.
pub(super) const HEIGHT: f64 = 36.0;
/// Widest badge.
const BADGE: f64 = 62.0;
/// The sentence, and what a field holds, shrink to this part before they take two lines or are cut.
const LEAST_LINE: f64 = 0.8;
/// Sizes of a sentence that takes two lines.
const TWO_LINES: [f64; 3] = [4.2, 3.8, 3.4];

/// Draws it; returns where it ends.
pub(super) fn head(page: &mut Page, input: &ReportInput<'_>, name: &str, number: (usize, usize)) -> f64 {
    let stored = input.stored;
    let inspection = &stored.inspection;
    let (left, right) = (SIDE, page.width - SIDE);
    page.words((left, TOP + 3.0), name, Style::bold(3.3).ink(DIM));
    let mut place = format!("Record {}", stored.number);
    if number.1 > 1 {
        place = format!("{place}, page {} of {}", number.0, number.1);
    }
    page.words((right, TOP + 3.0), place, SMALL.ink(DIM).anchored(Anchor::End));
    let width = draw_badge(page, (left, TOP + 6.0), 6.6, BADGE, &inspection.verdict);
    let at = (left + width + 5.0, TOP + 12.8);
    let sentence = headline(inspection);
    let style = Style::bold(5.0);
    if LEAST_LINE * style.width_of(&sentence) <= right - at.0 {
        page.words(at, sentence.as_str(), style.fitted(&sentence, right - at.0));
    } else {
        let room = right - at.0;
        let style = TWO_LINES.into_iter().map(Style::bold).find(|style| style.lines(&sentence, room).len() <= 2);
        page.paragraph((at.0, at.1 - 2.8), room, &sentence, style.unwrap_or(Style::bold(3.2)));
    }
    fields(page, input, TOP + 21.5);
    notice(page, input, TOP + HEIGHT - 0.8);
    TOP + HEIGHT + 1.5
}

fn fields(page: &mut Page, input: &ReportInput<'_>, y: f64) {
    let inspection = &input.stored.inspection;
    let [plate, customer] = personals(input.stored);
    let bay = if inspection.bay.name.is_empty() { &inspection.bay.id } else { &inspection.bay.name };
    let fields = [
        ("Vehicle", clean(&inspection.vehicle)),
        ("Number plate", plate),
        ("Customer", customer),
        ("Inspected", format!("{} UTC", minute(&inspection.begun))),
        ("By", clean(&inspection.who)),
        ("Bay", clean(bay)),
    ];
    let column = (page.width - 2.0 * SIDE) / 3.0;
    for (n, (name, value)) in fields.into_iter().enumerate() {
        let (x, y) = (SIDE + column * (n % 3) as f64, y + 8.2 * (n / 3) as f64);
        page.words((x, y), name, LABEL);
        let style = Style { is_bold: true, ..TEXT };
        let value = cut(&value, (column - 3.0) / LEAST_LINE, style);
        page.words((x, y + 3.9), value.as_str(), style.fitted(&value, column - 3.0));
    }
}

/// What makes this record another than the plain, newest one.
fn notice(page: &mut Page, input: &ReportInput<'_>, y: f64) {
    let stored = input.stored;
    let correction = stored.inspection.follows.as_ref().filter(|follows| follows.how == How::Corrects);
    let words = if stored.newest == stored.number {
        let Some(follows) = correction else { return };
        let reason = follows.reason.as_deref().map(|reason| format!(": {}", clean(reason))).unwrap_or_default();
        format!("Corrects record {} (by {}){reason}", follows.id, clean(&follows.by))
    } else {
        format!("NOT THE NEWEST: record {} of the same inspection stands for this one.", stored.newest)
    };
    let style = Style { is_bold: true, ..SMALL };
    page.words((SIDE, y + 1.4), cut(&words, page.width - 2.0 * SIDE, style), style);
}
