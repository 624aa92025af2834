//! What wall and floor plans share: a scale that people know, places of the plan on the page, dimension lines.

use super::sheet_page::{Anchor, BLACK, DIM, Page, Pen, Spot, Style, millimetres, polygon};

/// Scales that a scale rule has, and more.
const SCALES: [f64; 14] = [5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 40.0, 50.0, 60.0, 75.0, 100.0, 200.0, 500.0, 1000.0];
/// Length and half width of a dimension line's arrow, mm.
const ARROW: Spot = (2.4, 0.6);
const LINE: Pen = Pen::solid(0.2, BLACK);
const EXTENSION: Pen = Pen::solid(0.12, DIM);
/// Size of the numbers at dimension lines, mm.
const NUMBER: f64 = 3.6;

/// A plan on the page.
#[derive(Debug, Clone, Copy)]
pub(super) struct Plan {
    /// Millimetres of the shop for one on the page.
    pub(super) scale: f64,
    /// The plan's zero on the page.
    pub(super) zero: Spot,
}

impl Plan {
    /// The largest scale at which `extent` fits into `room`; both are width and height, mm.
    pub(super) fn scale_for(extent: Spot, room: Spot) -> f64 {
        let least = (extent.0 / room.0).max(extent.1 / room.1);
        SCALES.into_iter().find(|scale| *scale >= least).unwrap_or(least)
    }

    /// Where a place of the shop (x right, y up, mm) stands on the page.
    pub(super) fn at(self, x: f64, y: f64) -> Spot {
        (self.zero.0 + x / self.scale, self.zero.1 - y / self.scale)
    }
}

/// A level dimension line at `y` on the page between two x on the page, with its length in the middle; thin lines lead
/// from it to where the measured places stand.
pub(super) fn level_dimension(page: &mut Page, y: f64, (from, from_y): Spot, (to, to_y): Spot, length_mm: f64) {
    let words = millimetres(length_mm.abs());
    page.line((from, from_y), (from, y + 1.0), EXTENSION);
    page.line((to, to_y), (to, y + 1.0), EXTENSION);
    page.line((from, y), (to, y), LINE);
    let (left, right) = (from.min(to), from.max(to));
    arrow(page, (left, y), (-1.0, 0.0));
    arrow(page, (right, y), (1.0, 0.0));
    let style = Style::bold(NUMBER).fitted(&words, (right - left - 1.0).max(6.0)).anchored(Anchor::Middle);
    page.words((0.5 * (left + right), y - 0.9), words, style);
}

/// An upright dimension line at `x` on the page, likewise.
pub(super) fn upright_dimension(page: &mut Page, x: f64, (from_x, from): Spot, (to_x, to): Spot, length_mm: f64) {
    let words = millimetres(length_mm.abs());
    let beyond = (x - to_x).signum();
    page.line((from_x, from), (x + beyond, from), EXTENSION);
    page.line((to_x, to), (x + beyond, to), EXTENSION);
    page.line((x, from), (x, to), LINE);
    let (upper, lower) = (from.min(to), from.max(to));
    arrow(page, (x, upper), (0.0, -1.0));
    arrow(page, (x, lower), (0.0, 1.0));
    let style = Style::bold(NUMBER).fitted(&words, (lower - upper - 1.0).max(6.0)).anchored(Anchor::Middle);
    page.words((x - 0.9, 0.5 * (upper + lower)), words, style.upward());
}

/// An arrow's head whose tip is given.
pub(super) fn arrow(page: &mut Page, (x, y): Spot, (right, down): Spot) {
    let (length, half) = ARROW;
    let base = (x - length * right, y - length * down);
    page.fill(
        polygon(&[
            (x, y),
            (base.0 - half * down, base.1 + half * right),
            (base.0 + half * down, base.1 - half * right),
        ]),
        BLACK,
    );
}

/// Title and what stands under it.
pub(super) fn heading(page: &mut Page, title: &str, below: &str) {
    let width = page.width - 24.0;
    page.words((12.0, 17.0), title, Style::bold(7.5).fitted(title, width));
    page.words((12.0, 23.5), below, Style::regular(3.6).fitted(below, width));
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scale_is_the_largest_that_fits() {
        assert!((Plan::scale_for((4000.0, 1600.0), (200.0, 100.0)) - 20.0).abs() < 1e-9);
        assert!((Plan::scale_for((4001.0, 1600.0), (200.0, 100.0)) - 25.0).abs() < 1e-9);
        let plan = Plan { scale: 20.0, zero: (100.0, 150.0) };
        assert_eq!(plan.at(-1800.0, 1500.0), (10.0, 75.0));
    }
}
