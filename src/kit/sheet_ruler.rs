//! The rulers that check the printer's scale, and what must be said on every sheet that is true to scale.

use super::sheet_page::{Anchor, BLACK, Page, Pen, Spot, Style};
use crate::units::MM_PER_INCH;

/// Length of the metric ruler, mm.
const METRIC_MM: f64 = 100.0;
/// Length of the other ruler, inches.
const INCHES: u32 = 4;
/// Height that both rulers take, mm.
pub(super) const RULERS_HEIGHT: f64 = 28.0;
/// Width that both rulers take, their end numbers included, mm.
pub(super) const RULERS_WIDTH: f64 = 111.0;
/// A ruler's lines.
const PEN: Pen = Pen::solid(0.2, BLACK);
const NUMBERS: Style = Style::regular(3.2);

/// How far the rulers may be off, and what to do.
pub(super) const PRINT_AT_100: &str = "Print at 100 % (actual size, no “fit to page”). Lay a steel rule on both scales: 100 mm and 4 in must be right to \
     0.5 mm; if not, correct the printer's scale and print again.";

/// Draws both rulers, one above the other; `corner` is the upper left one.
pub(super) fn rulers(page: &mut Page, corner: Spot) {
    let (x, y) = (corner.0 + 2.0, corner.1 + 9.0);
    page.line((x, y), (x + METRIC_MM, y), PEN);
    for tick in 0..=100_u32 {
        let at = x + f64::from(tick);
        let length = if tick % 10 == 0 { 5.0 } else { [2.0, 3.5][usize::from(tick % 5 == 0)] };
        page.line((at, y), (at, y - length), PEN);
        if tick % 10 == 0 {
            page.words((at, y + 3.6), tick.to_string(), NUMBERS.anchored(Anchor::Middle));
        }
    }
    page.words((x + METRIC_MM + 3.8, y + 3.6), "mm", NUMBERS);
    let y = y + 14.0;
    page.line((x, y), (x + f64::from(INCHES) * MM_PER_INCH, y), PEN);
    for tick in 0..=16 * INCHES {
        let at = x + f64::from(tick) * MM_PER_INCH / 16.0;
        let length = match tick % 16 {
            0 => 5.0,
            8 => 4.0,
            4 | 12 => 3.0,
            _ => 1.8,
        };
        page.line((at, y), (at, y - length), PEN);
        if tick % 16 == 0 {
            page.words((at, y + 3.6), (tick / 16).to_string(), NUMBERS.anchored(Anchor::Middle));
        }
    }
    page.words((x + f64::from(INCHES) * MM_PER_INCH + 2.2, y + 3.6), "in", NUMBERS);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kit::sheet_page::{Item, Paper, Step};

    /// Truth: 100 mm and 4 in = 101.6 mm.
    #[test]
    fn rulers_are_as_long_as_they_say() {
        let mut page = Page::upright(Paper::A4);
        rulers(&mut page, (10.0, 200.0));
        let level = page.items.iter().filter_map(|item| match item {
            Item::Stroke { outline, .. } => match outline[..] {
                [Step::Move(from), Step::Line(to)] if (from.1 - to.1).abs() < 1e-9 => Some(to.0 - from.0),
                _ => None,
            },
            _ => None,
        });
        let lengths: Vec<f64> = level.collect();
        assert!(lengths.len() == 2 && (lengths[0] - 100.0).abs() < 1e-9 && (lengths[1] - 101.6).abs() < 1e-9);
    }
}
