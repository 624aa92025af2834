//! The part of the wall that a rule wants dark: hatched, so that someone looks there.

use super::canvas::{Canvas, dashed};
use super::labels::Labels;
use super::palette::{DARK_ZONE, DASH, STROKE};
use super::place::Scene;
use super::plane::{Area, Spot};
use crate::aim::{DarkZone, SeenBy};
use crate::units::{AnglePoint, Deg};

/// How far an open side is drawn, degrees from the zone's other side or from straight ahead.
const OPEN_SIDE_DEG: f64 = 4.0;
/// How far up it is drawn, degrees.
const OPEN_TOP_DEG: f64 = 1.5;
/// How much of it the close-up must hold, degrees above its edge.
const SEEN_DEG: f64 = 0.3;
/// Between two lines of the hatching, degrees of H; they climb at 45 degrees.
const HATCH_STEP_DEG: f64 = 0.35;
/// Width of the hatching, as a part of the main lines'.
const HATCH_STROKE: f32 = 0.4;
/// Opacity of the hatching.
const HATCH_ALPHA: f32 = 0.75;

/// Spans of H and V that are drawn.
fn shown(zone: &DarkZone) -> ((Deg, Deg), (Deg, Deg)) {
    let open = Deg::new(OPEN_SIDE_DEG);
    let left = zone.left.unwrap_or_else(|| zone.right.unwrap_or_default() - open);
    let right = zone.right.unwrap_or_else(|| zone.left.unwrap_or_default() + open);
    ((left, right), (zone.above, zone.above + Deg::new(OPEN_TOP_DEG)))
}

/// A place just inside, over or beside where the cutoff is read, which a picture must show.
pub(super) fn place_to_show(zone: &DarkZone, beside: Deg) -> AnglePoint {
    let ((left, right), (above, _)) = shown(zone);
    let h = if beside < left {
        left
    } else if beside > right {
        right
    } else {
        beside
    };
    AnglePoint { h, v: above + Deg::new(SEEN_DEG) }
}

/// Lines at 45 degrees through a box of H and V.
fn hatching((left, right): (Deg, Deg), (low, high): (Deg, Deg)) -> Vec<(AnglePoint, AnglePoint)> {
    let (width, height) = ((right - left).get(), (high - low).get());
    let count = ((width + height) / HATCH_STEP_DEG).floor() as usize;
    let at = |h: f64, v: f64| AnglePoint { h: left + Deg::new(h), v: low + Deg::new(v) };
    (1..=count)
        .map(|n| {
            // The line h - v = reach - height, from where it enters the box to where it leaves it.
            let reach = n as f64 * HATCH_STEP_DEG - height;
            let from = if reach < 0.0 { (0.0, -reach) } else { (reach, 0.0) };
            let along = (width - from.0).min(height - from.1);
            (at(from.0, from.1), at(from.0 + along, from.1 + along))
        })
        .collect()
}

/// Draws it.
pub(super) fn draw_dark_zone(canvas: &mut Canvas, scene: &Scene<'_>, zone: &DarkZone) {
    let (h, v) = shown(zone);
    let lines: Vec<Vec<Spot>> = hatching(h, v).into_iter().map(|(from, to)| scene.line(from, to)).collect();
    canvas.stroke(&lines, HATCH_STROKE * STROKE, DARK_ZONE.at(HATCH_ALPHA));
    let corner = |h: Deg| AnglePoint { h, v: v.0 };
    let mut edges = vec![scene.line(corner(h.0), corner(h.1))];
    for side in [zone.left, zone.right].into_iter().flatten() {
        edges.push(scene.line(corner(side), AnglePoint { h: side, v: v.1 }));
    }
    let edges: Vec<Vec<Spot>> = edges.iter().flat_map(|edge| dashed(edge, DASH)).collect();
    canvas.stroke_cased(&edges, 0.6 * STROKE, DARK_ZONE);
}

/// Names it in a view that is close enough.
pub(super) fn label_dark_zone(canvas: &mut Canvas, labels: &mut Labels, scene: &Scene<'_>, zone: &DarkZone) {
    let (h, v) = shown(zone);
    let middle = scene.at((h.0 + h.1) * 0.5, v.0 + Deg::new(SEEN_DEG)).into_iter();
    let inside = scene.viewport.area;
    let near = [h.0, h.1].into_iter().filter_map(|h| scene.at(h, v.0 + Deg::new(SEEN_DEG)));
    if let Some(area) = middle.chain(near).find(|spot| inside.has(*spot)).and_then(|spot| Area::around(&[spot])) {
        let words = match zone.seen_by {
            SeenBy::Eye => "dark zone: look here",
            SeenBy::LightMeter => "dark zone: light meter",
        };
        labels.put(canvas, words, DARK_ZONE, area, (0.0, -1.0));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn zone(left: Option<f64>, right: Option<f64>) -> DarkZone {
        DarkZone {
            above: Deg::new(-0.3),
            left: left.map(Deg::new),
            right: right.map(Deg::new),
            free_of: "light".to_owned(),
            seen_by: SeenBy::Eye,
        }
    }

    #[test]
    fn hatching_stays_inside_and_climbs_at_45_degrees() {
        for zone in [zone(Some(0.0), None), zone(None, Some(0.0)), zone(None, None), zone(Some(-0.2), Some(0.1))] {
            let (h, v) = shown(&zone);
            let lines = hatching(h, v);
            assert!(lines.len() > 3, "{lines:?}");
            for (from, to) in lines {
                for place in [from, to] {
                    let (x, y) = (place.h.get(), place.v.get());
                    assert!(x > h.0.get() - 1e-9 && x < h.1.get() + 1e-9, "{place:?}");
                    assert!(y > v.0.get() - 1e-9 && y < v.1.get() + 1e-9, "{place:?}");
                }
                assert!(((to.h - from.h).get() - (to.v - from.v).get()).abs() < 1e-9);
            }
        }
    }

    #[test]
    fn a_mirrored_zone_is_drawn_on_the_other_side() {
        let ((left, right), _) = shown(&zone(Some(0.0), None));
        let ((mirrored_left, mirrored_right), _) = shown(&zone(None, Some(0.0)));
        assert_eq!((left, right), (Deg::new(0.0) - mirrored_right, Deg::new(0.0) - mirrored_left));
        assert_eq!(place_to_show(&zone(None, Some(0.0)), Deg::new(2.0)).h, Deg::new(0.0));
    }
}
