//! The grid of angles on the wall: level and upright lines at round numbers, those through 0 stronger.
//!
//! The lines run through the lamp's geometry and the wall's view, so they lean and bend as the wall does in the photo.
//! Below the floor line of the bay (y = 0 on the wall's face) there is no wall and no grid.

use super::canvas::Canvas;
use super::labels::Labels;
use super::palette::{GRID, GRID_STROKE, LABEL_SIZE, PAPER};
use super::place::Scene;
use super::plane::{Area, Spot};
use super::text::Type;
use super::units_shown::Shown;
use crate::units::{AnglePoint, Deg};

/// Least space between two lines, pixels.
const LEAST_SPACE_PX: f64 = 150.0;
/// Opacity of the lines.
const ALPHA: f32 = 0.34;
/// Opacity of the lines through 0.
const ZERO_ALPHA: f32 = 0.85;
/// How much wider the lines through 0 are.
const ZERO_WIDER: f32 = 2.0;
/// Numbers below this are 0; the finest step is far above.
const ZERO_NUMBER: f64 = 1e-6;
/// No grid beyond this angle, degrees.
const WIDEST_DEG: f64 = 30.0;
/// Places along each edge of the view from which the span of the grid is found.
const EDGE_PLACES: usize = 8;
/// Labels are this far from the edge, pixels.
const LABEL_INSET: f32 = 16.0;

/// Span of H and V that a view shows.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Extent {
    h: (f64, f64),
    v: (f64, f64),
}

fn extent(scene: &Scene<'_>) -> Extent {
    let area = scene.viewport.area;
    let mut found = Extent { h: (WIDEST_DEG, -WIDEST_DEG), v: (WIDEST_DEG, -WIDEST_DEG) };
    for n in 0..=EDGE_PLACES {
        let share = n as f32 / EDGE_PLACES as f32;
        let (x, y) = (area.left + share * area.width(), area.top + share * area.height());
        let edges = [(x, area.top), (x, area.bottom), (area.left, y), (area.right, y)];
        for (x, y) in edges {
            let angle = scene.direction(Spot::new(x, y));
            let (h, v) = (angle.h.get(), angle.v.get());
            if h.is_finite() && v.is_finite() {
                found.h = (found.h.0.min(h), found.h.1.max(h));
                found.v = (found.v.0.min(v), found.v.1.max(v));
            }
        }
    }
    let held = |(low, high): (f64, f64)| (low.max(-WIDEST_DEG), high.min(WIDEST_DEG));
    Extent { h: held(found.h), v: held(found.v) }
}

/// A grid line as it is shown, with its number.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct GridLine {
    number: f64,
    is_level: bool,
    pieces: Vec<Vec<Spot>>,
}

/// The grid of one view.
pub(super) fn grid_lines(scene: &Scene<'_>, shown: &Shown) -> Vec<GridLine> {
    let span = extent(scene);
    let mut lines = Vec::new();
    if !(span.h.0 < span.h.1 && span.v.0 < span.v.1) {
        return lines;
    }
    let px_per_deg = f64::from(scene.viewport.area.width()) / (span.h.1 - span.h.0);
    let step = shown.grid_step(Deg::new(LEAST_SPACE_PX / px_per_deg));
    for is_level in [true, false] {
        let (along, range) = if is_level { (span.h, span.v) } else { (span.v, span.h) };
        for number in round_numbers(shown, range, step) {
            let fixed = shown.angle(number);
            let corner = |moving: f64| {
                let moving = Deg::new(moving);
                if is_level { AnglePoint { h: moving, v: fixed } } else { AnglePoint { h: fixed, v: moving } }
            };
            let pieces = above_floor(scene, &scene.line(corner(along.0), corner(along.1)));
            lines.push(GridLine { number, is_level, pieces });
        }
    }
    lines
}

/// Draws the lines.
pub(super) fn draw_grid(canvas: &mut Canvas, lines: &[GridLine]) {
    let pieces = |is_zero: bool| -> Vec<Vec<Spot>> {
        let wanted = lines.iter().filter(|line| (line.number.abs() < ZERO_NUMBER) == is_zero);
        wanted.flat_map(|line| line.pieces.clone()).collect()
    };
    canvas.stroke(&pieces(false), GRID_STROKE, GRID.at(ALPHA));
    canvas.stroke(&pieces(true), GRID_STROKE + ZERO_WIDER, GRID.at(ZERO_ALPHA));
}

/// Draws the numbers along the left and the upper edge, where there is room left.
pub(super) fn label_grid(
    canvas: &mut Canvas,
    labels: &mut Labels,
    scene: &Scene<'_>,
    shown: &Shown,
    lines: &[GridLine],
) {
    for line in lines {
        label(canvas, labels, scene, &shown.grid_label(line.number), line.is_level, &line.pieces);
    }
}

fn round_numbers(shown: &Shown, range: (f64, f64), step: f64) -> Vec<f64> {
    let first = (shown.number(Deg::new(range.0)) / step).ceil() as i64;
    let last = (shown.number(Deg::new(range.1)) / step).floor() as i64;
    (first..=last).map(|n| n as f64 * step).collect()
}

/// The pieces of a line that lie above the bay's floor line.
fn above_floor(scene: &Scene<'_>, line: &[Spot]) -> Vec<Vec<Spot>> {
    let is_wall = |spot: &Spot| scene.view.to_wall(scene.viewport.photo_place(*spot)).y_mm >= 0.0;
    line.split(|spot| !is_wall(spot)).filter(|piece| piece.len() > 1).map(<[Spot]>::to_vec).collect()
}

/// Labels a level line near the left edge and an upright one near the upper edge.
fn label(
    canvas: &mut Canvas,
    labels: &mut Labels,
    scene: &Scene<'_>,
    text: &str,
    is_level: bool,
    pieces: &[Vec<Spot>],
) {
    let face = Type::regular(LABEL_SIZE);
    let area = scene.viewport.area;
    let half_width = 0.5 * face.width(text) + LABEL_INSET;
    let edge = if is_level {
        Area { right: area.left + half_width + LABEL_INSET, ..area }
    } else {
        Area { bottom: area.top + LABEL_SIZE + LABEL_INSET, ..area }
    };
    let wanted = if is_level { area.left + half_width } else { area.top + 0.5 * LABEL_SIZE + LABEL_INSET };
    let crossing = pieces.iter().flat_map(|piece| piece.windows(2)).find_map(|ends| {
        let (from, to) = if is_level { (ends[0].x, ends[1].x) } else { (ends[0].y, ends[1].y) };
        let is_between = (from <= wanted) != (to <= wanted);
        is_between.then(|| ends[0].towards(ends[1], (wanted - from) / (to - from)))
    });
    if let Some(spot) = crossing.filter(|spot| edge.has(*spot)) {
        labels.put_at(canvas, face, text, PAPER, spot);
    }
}
