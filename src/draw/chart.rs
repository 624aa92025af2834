//! A box with two axes in a stage picture: from values to places, with ticks and words.

use super::canvas::Canvas;
use super::palette::{ASH, GRID, Ink, PAPER};
use super::plane::{Area, Spot};
use super::text::Type;

/// Words of stage pictures, pixels: read on a screen, not on a phone.
pub(super) const WORDS: f32 = 22.0;
/// Headline of a stage picture, pixels.
pub(super) const TITLE: f32 = 30.0;
/// Height of the strip with headline and legend, pixels.
pub(super) const HEADER: f32 = 92.0;
/// Least distance between ticks along both axes, pixels: room for their numbers.
const TICKS_APART: (f32, f32) = (76.0, 40.0);

/// A box whose left lower corner is (`x.0`, `y.0`).
#[derive(Debug, Clone, Copy)]
pub(super) struct Chart {
    pub(super) area: Area,
    pub(super) x: (f64, f64),
    pub(super) y: (f64, f64),
}

impl Chart {
    /// The place of a value; values beyond the box stay at its rim.
    pub(super) fn at(&self, x: f64, y: f64) -> Spot {
        let share = |value: f64, ends: (f64, f64)| (((value - ends.0) / (ends.1 - ends.0)).clamp(-0.5, 1.5)) as f32;
        Spot::new(
            self.area.left + share(x, self.x) * self.area.width(),
            self.area.bottom - share(y, self.y) * self.area.height(),
        )
    }

    /// A line through values.
    pub(super) fn line(&self, points: impl IntoIterator<Item = (f64, f64)>) -> Vec<Spot> {
        points.into_iter().filter(|(x, y)| x.is_finite() && y.is_finite()).map(|(x, y)| self.at(x, y)).collect()
    }

    /// Frame, grid lines and numbers; `unit` stands behind the last number of each axis.
    pub(super) fn draw_axes(&self, canvas: &mut Canvas, ground: Option<Ink>, units: (&str, &str)) {
        canvas.confine(canvas.whole());
        if let Some(ground) = ground {
            canvas.fill(self.area, ground);
        }
        let words = Type::regular(WORDS);
        let mut lines = Vec::new();
        let (ticks_x, ticks_y) =
            (ticks(self.x, self.area.width() / TICKS_APART.0), ticks(self.y, self.area.height() / TICKS_APART.1));
        for (number, &x) in ticks_x.iter().enumerate() {
            lines.push(vec![self.at(x, self.y.0), self.at(x, self.y.1)]);
            let text = label(x, if number + 1 == ticks_x.len() { units.0 } else { "" });
            let at = self.at(x, self.y.0).moved(-0.5 * words.width(&label(x, "")), 1.3 * WORDS);
            words.draw(canvas, &text, at, ASH);
        }
        for (number, &y) in ticks_y.iter().enumerate() {
            lines.push(vec![self.at(self.x.0, y), self.at(self.x.1, y)]);
            let text = label(y, if number + 1 == ticks_y.len() { units.1 } else { "" });
            let at = self.at(self.x.0, y).moved(-words.width(&text) - 8.0, 0.35 * WORDS);
            words.draw(canvas, &text, at, ASH);
        }
        canvas.stroke(&lines, 1.0, GRID.at(0.28));
        let corners = [(self.x.0, self.y.0), (self.x.1, self.y.0), (self.x.1, self.y.1), (self.x.0, self.y.1)];
        canvas.stroke(&[self.line(corners.into_iter().chain([corners[0]]))], 1.5, GRID.at(0.7));
    }
}

/// Round numbers between two ends, `most` or fewer.
fn ticks(ends: (f64, f64), most: f32) -> Vec<f64> {
    let step = round_number((ends.1 - ends.0) / f64::from(most).max(2.0));
    let (first, last) = ((ends.0 / step - 1e-6).ceil() as i64, (ends.1 / step + 1e-6).floor() as i64);
    (first..=last).map(|k| k as f64 * step).collect()
}

/// The least of 1, 2 and 5 times a power of ten that is not under `value`.
pub(super) fn round_number(value: f64) -> f64 {
    let power = 10f64.powf(value.max(1e-12).log10().floor());
    [1.0, 2.0, 5.0, 10.0].into_iter().map(|k| k * power).find(|round| *round >= value * (1.0 - 1e-9)).unwrap_or(value)
}

fn label(value: f64, unit: &str) -> String {
    let rounded = format!("{value:.3}");
    let short = rounded.trim_end_matches('0').trim_end_matches('.');
    format!("{}{unit}", if short == "-0" { "0" } else { short })
}

/// Headline, and words in the inks that they explain.
pub(super) fn header(canvas: &mut Canvas, title: &str, legend: &[(&str, Ink)]) {
    canvas.confine(canvas.whole());
    Type::bold(TITLE).draw(canvas, title, Spot::new(16.0, 36.0), PAPER);
    let mut x = 16.0;
    for (words, ink) in legend {
        x = Type::regular(WORDS).draw(canvas, words, Spot::new(x, 74.0), *ink) + 26.0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_inside() {
        assert_eq!(ticks((-9.0, 9.0), 20.0).len(), 19);
        assert_eq!(ticks((0.0, 0.1), 20.0).first(), Some(&0.0));
        for ends in [(-0.31, 0.27), (2.0, 77.0), (-6.0, 6.0)] {
            let ticks = ticks(ends, 20.0);
            assert!(ticks.len() > 3 && ticks.iter().all(|t| *t >= ends.0 - 1e-9 && *t <= ends.1 + 1e-9), "{ticks:?}");
        }
    }

    /// Hand-worked: the middle of the values is the middle of the box, and y points up.
    #[test]
    fn values_go_to_their_places() {
        let chart = Chart { area: Area::new(100.0, 50.0, 200.0, 100.0), x: (-1.0, 1.0), y: (0.0, 10.0) };
        assert_eq!(chart.at(0.0, 5.0), Spot::new(200.0, 100.0));
        assert_eq!(chart.at(1.0, 0.0), Spot::new(300.0, 150.0));
    }
}
