//! Colours, sizes and small shapes that all parts of a report share.
//!
//! Every verdict has its word; colour only makes it quicker to find.

use super::words::badge;
use crate::kit::sheet_page::{Anchor, DIM, Ink, Page, Spot, Style, WHITE, rectangle};

/// Left and right rim of the paper, mm: what an ordinary printer cannot reach, and room for a hole punch.
pub(super) const SIDE: f64 = 14.0;
/// Upper rim, mm.
pub(super) const TOP: f64 = 11.0;
/// Lower rim, mm.
pub(super) const BOTTOM: f64 = 9.0;

/// What is allowed: the blue of the annotated pictures, pale.
pub(super) const ALLOWED: Ink = Ink::Colour([205, 226, 250]);
/// Where the beam should be.
pub(super) const AIM: Ink = Ink::Colour([20, 90, 180]);
/// How it was before.
pub(super) const BEFORE: Ink = Ink::Grey(120);
/// Thin lines between parts.
pub(super) const RULE_LINE: Ink = Ink::Grey(185);
/// Around a picture that does not fill its frame: the colour of its own panels.
pub(super) const SURROUND: Ink = Ink::Colour([14, 18, 24]);
/// Behind the head of a table.
pub(super) const PALE: Ink = Ink::Grey(238);

/// Words of the matter.
pub(super) const TEXT: Style = Style::regular(3.3);
/// Words beside the matter.
pub(super) const SMALL: Style = Style::regular(2.75);
/// Names of fields.
pub(super) const LABEL: Style = Style::regular(2.6).ink(DIM);

/// A verdict's colour, dark enough for white words.
pub(super) fn verdict_ink(verdict: &str) -> Ink {
    match verdict {
        "pass" => Ink::Colour([0, 112, 74]),
        "fail" => Ink::Colour([186, 40, 18]),
        "borderline" => Ink::Colour([158, 98, 0]),
        _ => Ink::Grey(80),
    }
}

/// A verdict in its badge. `size` is that of its words; returns the badge's width.
pub(super) fn draw_badge(page: &mut Page, corner: Spot, size: f64, most: f64, verdict: &str) -> f64 {
    let words = badge(verdict);
    let style = Style::bold(size).ink(WHITE).fitted(words, most - size);
    let (width, height) = (style.width_of(words) + size, 1.6 * size);
    page.fill(rectangle(corner, (width, height)).to_vec(), verdict_ink(verdict));
    page.words(
        (corner.0 + 0.5 * width, corner.1 + 0.5 * height + 0.36 * style.size),
        words,
        style.anchored(Anchor::Middle),
    );
    width
}

/// The same, its right upper corner given.
pub(super) fn draw_badge_right(page: &mut Page, right: Spot, size: f64, verdict: &str) -> f64 {
    let width = Style::bold(size).width_of(badge(verdict)) + size;
    draw_badge(page, (right.0 - width, right.1), size, f64::MAX, verdict)
}

/// Words cut to a width, an ellipsis where something is missing.
pub(super) fn cut(words: &str, width: f64, style: Style) -> String {
    if style.width_of(words) <= width {
        return words.to_owned();
    }
    let letters: Vec<char> = words.chars().collect();
    let fits =
        |count: &usize| style.width_of(&letters[..*count].iter().collect::<String>()) + style.width_of("…") <= width;
    let count = (0..letters.len()).rev().find(fits).unwrap_or(0);
    letters[..count].iter().chain(['…'].iter()).collect()
}
