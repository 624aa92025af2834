//! The marks: found ones outlined with their id, left-out ones crossed, missing ones dashed where they should be.

use super::canvas::{Canvas, dashed, ellipse};
use super::labels::Labels;
use super::palette::{DASH, Ink, MARK, MARK_OFF, STROKE};
use super::plane::{Area, Spot};
use super::viewport::Viewport;
use crate::bay::{Bay, MarkKind};
use crate::marks::{FoundMark, Marks};
use crate::units::PxPoint;
use crate::wall::WallView;

/// The outline is this much larger than the mark, so that the mark stays visible.
const CLEARANCE: f32 = 1.3;
/// Least half width of an outline, pixels of the picture.
const LEAST_HALF: f32 = 20.0;
/// Half width where the mark's size in the photo is not known.
const UNKNOWN_HALF: f32 = 32.0;

/// Draws all marks of the bay.
pub(super) fn draw_marks(
    canvas: &mut Canvas,
    labels: &mut Labels,
    viewport: &Viewport,
    bay: &Bay,
    marks: &Marks,
    view: Option<&WallView>,
) {
    let outlines: Vec<Vec<Spot>> = marks.found.iter().map(|mark| outline(viewport, bay, mark, view)).collect();
    for area in outlines.iter().filter_map(|outline| Area::around(outline)) {
        labels.keep_free(area);
    }
    for (mark, outline) in marks.found.iter().zip(&outlines) {
        let Some(area) = Area::around(outline) else { continue };
        let is_left_out = view.is_some_and(|view| view.residuals.iter().any(|r| r.index == mark.index && !r.is_used));
        let ink = if is_left_out { MARK_OFF } else { MARK };
        canvas.stroke_cased(std::slice::from_ref(outline), STROKE, ink);
        if is_left_out {
            canvas.stroke_cased(&cross(area), STROKE, ink);
        }
        let by_hand = if mark.is_by_hand { ", by hand" } else { "" };
        let text =
            if is_left_out { format!("mark {} left out", mark.id) } else { format!("mark {}{by_hand}", mark.id) };
        put(canvas, labels, viewport, &text, ink, area);
    }
    for mark in &marks.missing {
        let Some(expected) = mark.expected else { continue };
        let half = size_px(bay, mark.index, expected, viewport, view).unwrap_or(UNKNOWN_HALF).max(LEAST_HALF);
        let centre = viewport.show(expected);
        let area = Area { left: centre.x, top: centre.y, right: centre.x, bottom: centre.y }.grown(half);
        canvas.stroke_cased(&dashed(&corners(area), (DASH.0 * 0.5, DASH.1 * 0.6)), STROKE, MARK_OFF);
        labels.keep_free(area);
        put(canvas, labels, viewport, &format!("mark {} not found", mark.id), MARK_OFF, area);
    }
}

/// Labels a mark away from the middle of the view, where the beam is.
fn put(canvas: &mut Canvas, labels: &mut Labels, viewport: &Viewport, text: &str, ink: Ink, area: Area) {
    let middle = 0.5 * (viewport.area.top + viewport.area.bottom);
    let is_upper = 0.5 * (area.top + area.bottom) < middle;
    labels.put(canvas, text, ink, area, (0.0, if is_upper { -1.0 } else { 1.0 }));
}

fn corners(area: Area) -> Vec<Spot> {
    let Area { left, top, right, bottom } = area;
    [(left, top), (right, top), (right, bottom), (left, bottom), (left, top)].map(|(x, y)| Spot::new(x, y)).to_vec()
}

fn cross(area: Area) -> [Vec<Spot>; 2] {
    let Area { left, top, right, bottom } = area.grown(6.0);
    [vec![Spot::new(left, top), Spot::new(right, bottom)], vec![Spot::new(right, top), Spot::new(left, bottom)]]
}

/// A tag's own corners, enlarged; a circle around any other mark.
fn outline(viewport: &Viewport, bay: &Bay, mark: &FoundMark, view: Option<&WallView>) -> Vec<Spot> {
    let centre = viewport.show(mark.centre);
    let Some(corners) = &mark.corners else {
        let half = size_px(bay, mark.index, mark.centre, viewport, view).unwrap_or(UNKNOWN_HALF).max(LEAST_HALF);
        return match bay.marks.get(mark.index).map(|mark| mark.kind) {
            Some(MarkKind::Tag36h11) => {
                self::corners(Area { left: centre.x, top: centre.y, right: centre.x, bottom: centre.y }.grown(half))
            }
            _ => ellipse(centre, half, half),
        };
    };
    let shown = corners.map(|corner| viewport.show(corner));
    let reach = shown.iter().map(|corner| corner.distance(centre)).sum::<f32>() / shown.len() as f32;
    // A square's corner is √2 times as far as its side.
    let factor = CLEARANCE.max(LEAST_HALF * std::f32::consts::SQRT_2 / reach.max(1.0));
    shown.iter().chain(shown.first()).map(|corner| centre.towards(*corner, factor)).collect()
}

/// Half the mark's size in the picture, enlarged, when the wall's view tells it.
fn size_px(bay: &Bay, index: usize, _at: PxPoint, viewport: &Viewport, view: Option<&WallView>) -> Option<f32> {
    let mark = bay.marks.get(index)?;
    let per_mm = view?.px_per_mm(mark.centre).column(0).norm() * viewport.scale;
    let half = CLEARANCE * (0.5 * mark.size.get() * per_mm) as f32;
    half.is_finite().then_some(half)
}
