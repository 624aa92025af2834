//! What was measured in the beam: the cutoff as fitted, its flat line, the elbow and the hot spot, each with U.

use super::canvas::{Canvas, dashed, ellipse};
use super::labels::Labels;
use super::palette::{BEAM, DASH, HOT, STROKE};
use super::place::Scene;
use super::plane::{Area, Spot};
use crate::beam::{BeamFeatures, Cutoff};
use crate::units::{AnglePoint, Deg};

/// How far the flat line is drawn to both sides of where it was read, degrees.
const FLAT_HALF_DEG: f64 = 2.6;
/// Radius of the elbow's ring, pixels.
const ELBOW_RING: f32 = 22.0;
/// The cutoff's name is at least so far from the edge of the view, pixels.
const NAME_INSET: f32 = 60.0;
/// Half the length of the hot spot's cross, pixels.
const CROSS_HALF: f32 = 16.0;
/// Half the length of the caps of a bar that shows U, pixels.
const CAP_HALF: f32 = 12.0;
/// How far that bar stands aside, so that an arrow does not cover it, pixels.
const BAR_ASIDE: f32 = 44.0;
/// Opacity of the ellipse of U.
const ELLIPSE_ALPHA: f32 = 0.75;
/// Least half axis of the ellipse of U, pixels.
const LEAST_ELLIPSE: f32 = 7.0;

/// Draws what there is; with labels in a view that is close enough for them.
pub(super) fn draw_beam(
    canvas: &mut Canvas,
    labels: &mut Labels,
    scene: &Scene<'_>,
    features: &BeamFeatures,
    is_labelled: bool,
) {
    if let Some(cutoff) = &features.cutoff {
        let flat = dashed(&flat_line(scene, cutoff), DASH);
        canvas.stroke_cased(&flat, 0.5 * STROKE, BEAM);
    }
    let fitted: Option<Vec<Spot>> = features.cutoff_line.iter().map(|angle| scene.at(angle.h, angle.v)).collect();
    let fitted = fitted.unwrap_or_default();
    canvas.stroke_cased(std::slice::from_ref(&fitted), STROKE, BEAM);
    if is_labelled {
        draw_bars(canvas, scene, features);
    }
    draw_elbow(canvas, labels, scene, features);
    draw_hot_spot(canvas, labels, scene, features, is_labelled);
    if is_labelled {
        put_names(canvas, labels, scene, features, &fitted);
    }
}

/// Names the elbow, and the cutoff at its visible end farthest from the elbow.
fn put_names(canvas: &mut Canvas, labels: &mut Labels, scene: &Scene<'_>, features: &BeamFeatures, fitted: &[Spot]) {
    let elbow = features.elbow.as_ref().and_then(|elbow| scene.at(elbow.h.value, elbow.v.value));
    if let Some(elbow) = elbow {
        labels.put(canvas, "elbow", BEAM, ring_area(elbow), (1.0, 1.0));
    }
    let inside = scene.viewport.area.grown(-NAME_INSET);
    let from_elbow = |spot: &Spot| elbow.map_or(0.0, |elbow| spot.distance(elbow));
    let end = fitted.iter().filter(|spot| inside.has(**spot)).max_by(|a, b| from_elbow(a).total_cmp(&from_elbow(b)));
    if let Some(area) = end.and_then(|end| Area::around(&[*end])) {
        labels.put(canvas, "cutoff", BEAM, area.grown(STROKE), (0.0, -1.0));
    }
}

/// The flat line: through the cutoff where it was read, at its tilt.
fn flat_line(scene: &Scene<'_>, cutoff: &Cutoff) -> Vec<Spot> {
    let slope = cutoff.tilt.radians().tan();
    let at =
        |reach: f64| AnglePoint { h: cutoff.scan_h + Deg::new(reach), v: cutoff.v.value + Deg::new(slope * reach) };
    scene.line(at(-FLAT_HALF_DEG), at(FLAT_HALF_DEG))
}

/// Bars of ± U with caps: beside the place where the cutoff was read, and below the elbow.
fn draw_bars(canvas: &mut Canvas, scene: &Scene<'_>, features: &BeamFeatures) {
    let mut bars: Vec<Vec<Spot>> = Vec::new();
    if let Some(cutoff) = &features.cutoff {
        let at = |v: Deg| scene.at(cutoff.scan_h, v).map(|spot| spot.moved(-BAR_ASIDE, 0.0));
        let u = cutoff.v.expanded();
        bars.extend(bar(at(cutoff.v.value - u), at(cutoff.v.value + u), (CAP_HALF, 0.0)));
    }
    if let Some(elbow) = &features.elbow {
        let at = |h: Deg| scene.at(h, elbow.v.value).map(|spot| spot.moved(0.0, BAR_ASIDE));
        let u = elbow.h.expanded();
        bars.extend(bar(at(elbow.h.value - u), at(elbow.h.value + u), (0.0, CAP_HALF)));
    }
    canvas.stroke_cased(&bars, 0.6 * STROKE, BEAM);
}

fn bar(low: Option<Spot>, high: Option<Spot>, (right, down): (f32, f32)) -> Vec<Vec<Spot>> {
    let (Some(low), Some(high)) = (low, high) else { return Vec::new() };
    let cap = |at: Spot| vec![at.moved(-right, -down), at.moved(right, down)];
    vec![vec![low, high], cap(low), cap(high)]
}

fn ring_area(centre: Spot) -> Area {
    Area { left: centre.x, top: centre.y, right: centre.x, bottom: centre.y }.grown(ELBOW_RING)
}

fn draw_elbow(canvas: &mut Canvas, labels: &mut Labels, scene: &Scene<'_>, features: &BeamFeatures) {
    let Some(elbow) = &features.elbow else { return };
    let Some(centre) = scene.at(elbow.h.value, elbow.v.value) else { return };
    canvas.stroke_cased(&[ellipse(centre, ELBOW_RING, ELBOW_RING)], 0.7 * STROKE, BEAM);
    labels.keep_free(ring_area(centre));
}

fn draw_hot_spot(
    canvas: &mut Canvas,
    labels: &mut Labels,
    scene: &Scene<'_>,
    features: &BeamFeatures,
    is_labelled: bool,
) {
    let Some(spot) = &features.hot_spot else { return };
    let centre = scene.at(spot.h.value, spot.v.value).filter(|centre| scene.viewport.area.has(*centre));
    let Some(centre) = centre else { return };
    let reach = |to: Option<Spot>| to.map_or(LEAST_ELLIPSE, |to| to.distance(centre).max(LEAST_ELLIPSE));
    let half_width = reach(scene.at(spot.h.value + spot.h.expanded(), spot.v.value));
    let half_height = reach(scene.at(spot.h.value, spot.v.value + spot.v.expanded()));
    let outline = ellipse(centre, half_width, half_height);
    let outline = if spot.is_clipped { dashed(&outline, (DASH.0 * 0.5, DASH.1 * 0.6)) } else { vec![outline] };
    canvas.stroke(&outline, 0.5 * STROKE, HOT.at(ELLIPSE_ALPHA));
    let cross = [
        vec![centre.moved(-CROSS_HALF, 0.0), centre.moved(CROSS_HALF, 0.0)],
        vec![centre.moved(0.0, -CROSS_HALF), centre.moved(0.0, CROSS_HALF)],
    ];
    canvas.stroke_cased(&cross, 0.6 * STROKE, HOT);
    let area = Area { left: centre.x, top: centre.y, right: centre.x, bottom: centre.y };
    let area = area.grown(half_width.max(half_height).clamp(CROSS_HALF, 3.0 * CROSS_HALF));
    labels.keep_free(area);
    if is_labelled {
        let text = if spot.is_clipped { "hot spot (estimated)" } else { "hot spot" };
        labels.put(canvas, text, HOT, area, (0.0, 1.0));
    }
}
