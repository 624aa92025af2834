//! The verdict's sign: each outcome has its own shape and its own mark inside, besides its word and colour.

use super::canvas::{Canvas, ellipse};
use super::palette::{BORDERLINE, FAIL, Ink, NIGHT, NO_VERDICT, PASS, REFUSED};
use super::plane::{Area, Spot};
use super::polygon::fill_polygon;

/// What the picture's headline says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Outcome {
    Pass,
    Fail,
    Borderline,
    NoVerdict,
    Refused,
}

impl Outcome {
    #[cfg(test)]
    pub(super) const ALL: [Self; 5] = [Self::Pass, Self::Fail, Self::Borderline, Self::NoVerdict, Self::Refused];

    pub(super) const fn word(self) -> &'static str {
        match self {
            Self::Pass => "PASS",
            Self::Fail => "FAIL",
            Self::Borderline => "BORDERLINE",
            Self::NoVerdict => "NO VERDICT",
            Self::Refused => "REFUSED",
        }
    }

    pub(super) const fn ink(self) -> Ink {
        match self {
            Self::Pass => PASS,
            Self::Fail => FAIL,
            Self::Borderline => BORDERLINE,
            Self::NoVerdict => NO_VERDICT,
            Self::Refused => REFUSED,
        }
    }
}

/// Width of the marks inside, as a part of the badge's half width.
const MARK_WIDTH: f32 = 0.24;

/// Draws the sign into a square box: pass a disc with a tick, fail a square with a cross, borderline a lozenge with a wavy
/// equals sign, no verdict a ring with a dash, refused a disc that is struck through.
pub(super) fn draw_badge(canvas: &mut Canvas, area: Area, outcome: Outcome) {
    let centre = Spot::new(0.5 * (area.left + area.right), 0.5 * (area.top + area.bottom));
    let half = 0.5 * area.height();
    let at = |x: f32, y: f32| centre.moved(x * half, y * half);
    let line = |ends: &[(f32, f32)]| ends.iter().map(|(x, y)| at(*x, *y)).collect::<Vec<Spot>>();
    let width = MARK_WIDTH * half;
    let ink = outcome.ink();
    match outcome {
        Outcome::Pass => {
            fill_polygon(canvas, &ellipse(centre, half, half), ink);
            canvas.stroke(&[line(&[(-0.45, 0.02), (-0.12, 0.36), (0.46, -0.34)])], width, NIGHT);
        }
        Outcome::Fail => {
            fill_polygon(canvas, &line(&[(-0.92, -0.92), (0.92, -0.92), (0.92, 0.92), (-0.92, 0.92)]), ink);
            let cross = [line(&[(-0.45, -0.45), (0.45, 0.45)]), line(&[(0.45, -0.45), (-0.45, 0.45)])];
            canvas.stroke(&cross, width, NIGHT);
        }
        Outcome::Borderline => {
            fill_polygon(canvas, &line(&[(0.0, -1.1), (1.1, 0.0), (0.0, 1.1), (-1.1, 0.0)]), ink);
            let wave = |y: f32| line(&[(-0.42, y + 0.08), (-0.2, y - 0.1), (0.2, y + 0.1), (0.42, y - 0.08)]);
            canvas.stroke(&[wave(-0.2), wave(0.2)], 0.8 * width, NIGHT);
        }
        Outcome::NoVerdict => {
            canvas.stroke(&[ellipse(centre, 0.86 * half, 0.86 * half)], width, ink);
            canvas.stroke(&[line(&[(-0.36, 0.0), (0.36, 0.0)])], width, ink);
        }
        Outcome::Refused => {
            canvas.stroke(&[ellipse(centre, 0.86 * half, 0.86 * half)], width, ink);
            canvas.stroke(&[line(&[(-0.58, -0.58), (0.58, 0.58)])], width, ink);
        }
    }
}
