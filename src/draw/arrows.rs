//! Arrows from where the beam is to where it must be, one per axis, because each has its own screw.
//!
//! The tip is exactly where the beam must be. A way too short to be seen gets its tail from behind the start.

use super::canvas::Canvas;
use super::labels::Labels;
use super::limits::Goal;
use super::palette::{Ink, MOVE, NIGHT};
use super::place::Scene;
use super::plane::{Area, Spot};
use super::polygon::fill_polygon;
use super::units_shown::Shown;
use crate::aim::{Advice, AxisAdvice, Direction};
use crate::units::{AnglePoint, Deg};

/// Length and width of the head, pixels.
const HEAD: (f32, f32) = (46.0, 58.0);
/// Width of the shaft.
const SHAFT: f32 = 20.0;
/// Least length of an arrow in a view.
const LEAST_LENGTH: f32 = 100.0;
/// Width of the dark line around an arrow.
const EDGE: f32 = 6.0;

/// One way that the beam must go.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Move<'a> {
    pub(super) from: AnglePoint,
    pub(super) to: AnglePoint,
    /// The axes that it changes.
    advice: Vec<&'a AxisAdvice>,
}

/// The beam's place after the move of one axis.
fn moved(from: AnglePoint, advice: &AxisAdvice) -> AnglePoint {
    let none = Deg::default();
    let (dh, dv) = match advice.direction {
        Direction::Up => (none, advice.by),
        Direction::Down => (none, -advice.by),
        Direction::Left => (-advice.by, none),
        Direction::Right => (advice.by, none),
        Direction::None => (none, none),
    };
    AnglePoint { h: from.h + dh, v: from.v + dv }
}

/// A move per axis that must change; a single one where both axes judge the same place.
pub(super) fn moves<'a>(goal: &Goal, advice: &'a Advice) -> Vec<Move<'a>> {
    let vertical = advice.vertical.as_ref().map(|advice| (goal.vertical_at, advice));
    let horizontal = advice.horizontal.as_ref().map(|advice| (goal.horizontal_at, advice));
    let mut moves: Vec<Move<'a>> = Vec::new();
    for (from, advice) in [vertical, horizontal].into_iter().flatten() {
        if advice.direction == Direction::None {
            continue;
        }
        match moves.last_mut().filter(|_| goal.is_one_place()) {
            Some(earlier) => {
                earlier.to = moved(earlier.to, advice);
                earlier.advice.push(advice);
            }
            None => moves.push(Move { from, to: moved(from, advice), advice: vec![advice] }),
        }
    }
    moves
}

/// Draws the arrows, `size` times as thick as in a close view, with the length of the way beside each when `shown` is
/// given.
pub(super) fn draw_arrows(
    canvas: &mut Canvas,
    labels: &mut Labels,
    scene: &Scene<'_>,
    moves: &[Move<'_>],
    size: f32,
    shown: Option<&Shown>,
) {
    let mut drawn: Vec<(Area, String, bool)> = Vec::new();
    for way in moves {
        let (Some(start), Some(tip)) = (scene.at(way.from.h, way.from.v), scene.at(way.to.h, way.to.v)) else {
            continue;
        };
        let direction = way.advice.first().map_or(Direction::None, |advice| advice.direction);
        let corners = arrow(start, tip, direction, size);
        paint(canvas, &corners, MOVE);
        let Some(area) = Area::around(&corners) else { continue };
        labels.keep_free(area);
        let Some(shown) = shown else { continue };
        let parts =
            way.advice.iter().map(|one| format!("{} {}", shown.at_wall(one.by_at_wall), one.direction.as_str()));
        drawn.push((area, parts.collect::<Vec<String>>().join(", "), area.width() > area.height()));
    }
    for (area, text, is_level) in drawn {
        labels.put(canvas, &text, MOVE, area, if is_level { (0.0, -1.0) } else { (-1.0, 0.0) });
    }
}

/// A filled arrow with a dark edge.
pub(super) fn paint(canvas: &mut Canvas, corners: &[Spot], ink: Ink) {
    let closed: Vec<Spot> = corners.iter().chain(corners.first()).copied().collect();
    canvas.stroke(&[closed], EDGE, NIGHT.at(0.85));
    fill_polygon(canvas, corners, ink);
}

/// Corners of an arrow whose tip is exact; its direction falls back on the advice's where start and tip coincide.
fn arrow(start: Spot, tip: Spot, direction: Direction, size: f32) -> Vec<Spot> {
    let length = start.distance(tip);
    let (ux, uy) =
        if length > 0.5 { ((tip.x - start.x) / length, (tip.y - start.y) / length) } else { unit(direction) };
    arrow_along(tip, (ux, uy), length.max(size * LEAST_LENGTH), size * SHAFT, (size * HEAD.0, size * HEAD.1))
}

/// Direction in the picture, y down.
fn unit(direction: Direction) -> (f32, f32) {
    match direction {
        Direction::Up => (0.0, -1.0),
        Direction::Left => (-1.0, 0.0),
        Direction::Right => (1.0, 0.0),
        Direction::Down | Direction::None => (0.0, 1.0),
    }
}

fn arrow_along(tip: Spot, (ux, uy): (f32, f32), length: f32, shaft: f32, head: (f32, f32)) -> Vec<Spot> {
    let at = |back: f32, aside: f32| tip.moved(-ux * back - uy * aside, -uy * back + ux * aside);
    vec![
        tip,
        at(head.0, 0.5 * head.1),
        at(head.0, 0.5 * shaft),
        at(length, 0.5 * shaft),
        at(length, -0.5 * shaft),
        at(head.0, -0.5 * shaft),
        at(head.0, -0.5 * head.1),
    ]
}

/// An arrow that fills a square box, for beside words.
pub(super) fn icon(area: Area, direction: Direction) -> Vec<Spot> {
    let (ux, uy) = unit(direction);
    let centre = Spot::new(0.5 * (area.left + area.right), 0.5 * (area.top + area.bottom));
    let half = 0.5 * area.height();
    let tip = centre.moved(ux * half, uy * half);
    arrow_along(tip, (ux, uy), 2.0 * half, 0.62 * half, (half, 1.7 * half))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::aim::Turn;
    use crate::units::Mm;

    fn advice(direction: Direction) -> AxisAdvice {
        let by = Deg::new(0.4);
        AxisAdvice { direction, by, by_at_wall: Mm::new(70.0), screw: None, turn: Turn::Unknown, turns: None }
    }

    /// By the axes: H grows to the right, V grows up.
    #[test]
    fn the_beam_moves_the_way_that_the_advice_says() {
        let from = AnglePoint::new(-2.0, -1.0);
        let cases = [
            (Direction::Up, -2.0, -0.6),
            (Direction::Down, -2.0, -1.4),
            (Direction::Left, -2.4, -1.0),
            (Direction::Right, -1.6, -1.0),
            (Direction::None, -2.0, -1.0),
        ];
        for (direction, h, v) in cases {
            let to = moved(from, &advice(direction));
            assert!((to.h.get() - h).abs() < 1e-12 && (to.v.get() - v).abs() < 1e-12, "{direction:?}: {to:?}");
        }
    }

    #[test]
    fn the_tip_is_exact_and_the_tail_lies_behind() {
        let (start, tip) = (Spot::new(200.0, 200.0), Spot::new(200.0, 210.0));
        let corners = arrow(start, tip, Direction::Down, 1.0);
        assert_eq!(corners[0], tip);
        let area = Area::around(&corners).unwrap();
        assert!((area.top - (tip.y - LEAST_LENGTH)).abs() < 1e-3 && (area.bottom - tip.y).abs() < 1e-3, "{area:?}");
        let long = arrow(start, Spot::new(200.0, 500.0), Direction::Down, 1.0);
        assert!((Area::around(&long).unwrap().top - start.y).abs() < 1e-3);
        for direction in [Direction::Up, Direction::Left, Direction::Right] {
            let corners = arrow(start, start, direction, 1.0);
            let (ux, uy) = unit(direction);
            assert!(corners[1..].iter().all(|c| (c.x - start.x) * ux + (c.y - start.y) * uy <= 0.0), "{direction:?}");
        }
    }
}
