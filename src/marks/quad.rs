//! Four-sided dark shapes: from a hull to four corners, placed to a fraction of a block.
//!
//! **Takes** a shape and the grey picture it came from. **Gives** four corners, clockwise in the picture, in blocks.
//! **How**: the hull's vertices that carry least area are dropped until four are left; then each side is moved to the
//! steepest rise of brightness outwards and fitted with a straight line, and neighbouring lines are intersected.

use super::component::{Shape, area, turn};
use super::options::FindOptions;
use super::shrink::Grey;
use crate::units::PxPoint;

/// Places along a side where its edge is sought.
const EDGE_SAMPLES: usize = 15;
/// Step of the search in blocks.
const STEP: f64 = 0.25;

/// Least sine between neighbouring sides: lines that are nearly parallel meet nowhere useful.
const LEAST_SINE: f64 = 0.1;

/// Corners of a dark quadrilateral, clockwise in the picture.
pub(super) type Quad = [PxPoint; 4];

/// The quad of a shape, when it has one.
pub(super) fn quad_of(shape: &Shape, grey: &Grey, options: &FindOptions) -> Option<Quad> {
    let rough = four_corners(&shape.hull)?;
    let kept = area(&rough);
    if kept < options.quad.least_area_kept * area(&shape.hull)
        || shape.area < options.quad.least_fill * kept
        || !is_plausible(&rough, options)
    {
        return None;
    }
    let fine = snap(&rough, grey, options).filter(|quad| is_plausible(quad, options)).unwrap_or(rough);
    Some(snap(&fine, grey, options).filter(|quad| is_plausible(quad, options)).unwrap_or(fine))
}

/// What keeps a shape from being a quad, with its numbers.
pub(super) fn why_no_quad(shape: &Shape, options: &FindOptions) -> String {
    let Some(rough) = four_corners(&shape.hull) else { return "fewer than four corners".to_owned() };
    let (kept, hull) = (area(&rough), area(&shape.hull));
    let (kept_share, fill) = (kept / hull, shape.area / kept);
    if kept_share < options.quad.least_area_kept {
        return format!("four corners hold {kept_share:.2} of its area, need {}", options.quad.least_area_kept);
    }
    if fill < options.quad.least_fill {
        return format!("{fill:.2} of it is dark, need {}", options.quad.least_fill);
    }
    let sides = [0, 1, 2, 3].map(|k: usize| rough[k].distance(rough[(k + 1) % 4]));
    let longest = sides.into_iter().fold(0.0, f64::max);
    let shortest = sides.into_iter().fold(f64::INFINITY, f64::min);
    format!(
        "sides of {shortest:.1} to {longest:.1} blocks, need {} or more and a ratio of {} at most",
        options.quad.least_side, options.quad.most_side_ratio
    )
}

/// Convex, clockwise, and with sides of fitting length.
pub(super) fn is_plausible(quad: &Quad, options: &FindOptions) -> bool {
    let is_convex = (0..4).all(|k| turn(quad[k], quad[(k + 1) % 4], quad[(k + 2) % 4]) > 0.0);
    let sides = [0, 1, 2, 3].map(|k: usize| quad[k].distance(quad[(k + 1) % 4]));
    let longest = sides.into_iter().fold(0.0, f64::max);
    let shortest = sides.into_iter().fold(f64::INFINITY, f64::min);
    is_convex && shortest >= options.quad.least_side && longest <= options.quad.most_side_ratio * shortest
}

/// Drops the vertices that carry least area.
fn four_corners(hull: &[PxPoint]) -> Option<Quad> {
    let mut corners = hull.to_vec();
    while corners.len() > 4 {
        let n = corners.len();
        let weight = |k: usize| turn(corners[(k + n - 1) % n], corners[k], corners[(k + 1) % n]).abs();
        let least = (0..n).min_by(|&a, &b| weight(a).total_cmp(&weight(b)))?;
        corners.remove(least);
    }
    corners.try_into().ok()
}

/// Moves each side to the edge it stands for.
fn snap(quad: &Quad, grey: &Grey, options: &FindOptions) -> Option<Quad> {
    let mut lines = [(PxPoint::default(), PxPoint::default()); 4];
    for (k, line) in lines.iter_mut().enumerate() {
        *line = snapped_side(quad[k], quad[(k + 1) % 4], grey, options)?;
    }
    let mut corners = *quad;
    for (k, corner) in corners.iter_mut().enumerate() {
        *corner = meeting(lines[(k + 3) % 4], lines[k])?;
    }
    Some(corners)
}

/// Two points of the straight line through the edge near the side from `a` to `b`; outside is on the left of a to b in
/// the picture (the corners run clockwise).
fn snapped_side(a: PxPoint, b: PxPoint, grey: &Grey, options: &FindOptions) -> Option<(PxPoint, PxPoint)> {
    let length = a.distance(b);
    let out = PxPoint::new((b.y - a.y) / length, -(b.x - a.x) / length);
    let reach = (options.quad.reach_share * length).max(options.quad.least_reach);
    let mut places: Vec<(f64, f64)> = Vec::with_capacity(EDGE_SAMPLES);
    for k in 0..EDGE_SAMPLES {
        let along = (k as f64 + 1.0) / (EDGE_SAMPLES as f64 + 1.0);
        let base = PxPoint::new(a.x + along * (b.x - a.x), a.y + along * (b.y - a.y));
        if let Some(offset) = steepest_rise(base, out, reach, grey) {
            places.push((along, offset));
        }
    }
    if places.len() < EDGE_SAMPLES / 2 {
        return None;
    }
    let mut offsets: Vec<f64> = places.iter().map(|place| place.1).collect();
    offsets.sort_unstable_by(f64::total_cmp);
    let middle = offsets[offsets.len() / 2];
    places.retain(|place| (place.1 - middle).abs() <= options.quad.outlier.max(0.5 * reach));
    let (offset, slope) = fit_line(&places)?;
    let at = |along: f64| {
        let shift = offset + slope * along;
        PxPoint::new(a.x + along * (b.x - a.x) + shift * out.x, a.y + along * (b.y - a.y) + shift * out.y)
    };
    Some((at(0.0), at(1.0)))
}

/// Offset along `out` where brightness rises most steeply.
fn steepest_rise(base: PxPoint, out: PxPoint, reach: f64, grey: &Grey) -> Option<f64> {
    let mut best = (0.0, 0.0);
    let steps = (reach / STEP).ceil() as i32;
    for step in -steps..=steps {
        let offset = f64::from(step) * STEP;
        let level = |t: f64| grey.sample(base.x + t * out.x, base.y + t * out.y);
        let rise = level(offset + 0.5)? - level(offset - 0.5)?;
        if rise > best.0 {
            best = (rise, offset);
        }
    }
    (best.0 > 0.0).then_some(best.1)
}

fn fit_line(places: &[(f64, f64)]) -> Option<(f64, f64)> {
    let n = places.len() as f64;
    let (mean_x, mean_y) = places.iter().fold((0.0, 0.0), |sum, place| (sum.0 + place.0 / n, sum.1 + place.1 / n));
    let spread: f64 = places.iter().map(|place| (place.0 - mean_x).powi(2)).sum();
    if places.len() < 3 || spread <= f64::EPSILON {
        return None;
    }
    let slope = places.iter().map(|place| (place.0 - mean_x) * (place.1 - mean_y)).sum::<f64>() / spread;
    Some((mean_y - slope * mean_x, slope))
}

/// Where two lines, each given by two points, meet.
fn meeting(first: (PxPoint, PxPoint), second: (PxPoint, PxPoint)) -> Option<PxPoint> {
    let (dx1, dy1) = (first.1.x - first.0.x, first.1.y - first.0.y);
    let (dx2, dy2) = (second.1.x - second.0.x, second.1.y - second.0.y);
    let cross = dx1 * dy2 - dy1 * dx2;
    if cross.abs() < LEAST_SINE * dx1.hypot(dy1) * dx2.hypot(dy2) || cross.abs() <= f64::EPSILON {
        return None;
    }
    let t = ((second.0.x - first.0.x) * dy2 - (second.0.y - first.0.y) * dx2) / cross;
    Some(PxPoint::new(first.0.x + t * dx1, first.0.y + t * dy1))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::marks::component::shapes;
    use crate::marks::testing::gray_photo;
    use crate::marks::threshold::{Contrast, dark_runs};

    #[test]
    fn a_turned_dark_square_gives_its_corners() {
        let (sin, cos) = 20f64.to_radians().sin_cos();
        let photo = gray_photo(90, 80, 1, |x, y| {
            let (dx, dy) = (x as f64 + 0.5 - 44.3, y as f64 + 0.5 - 39.6);
            let (u, v) = (dx * cos + dy * sin, dy * cos - dx * sin);
            let inside = (18.0 - u.abs()).min(18.0 - v.abs()).clamp(-0.5, 0.5) + 0.5;
            (200.0 - 170.0 * inside) as f32
        });
        let grey = Grey::of(&photo, 1);
        let runs =
            dark_runs(&grey, Contrast { split: 0.4, least_codes: 5.0, least_share: 0.25 }, &FindOptions::default());
        let quads: Vec<Quad> =
            shapes(&runs).iter().filter_map(|shape| quad_of(shape, &grey, &FindOptions::default())).collect();
        assert_eq!(quads.len(), 1);
        for (u, v) in [(-18.0, -18.0), (18.0, -18.0), (18.0, 18.0), (-18.0, 18.0)] {
            let corner = PxPoint::new(44.3 + u * cos - v * sin, 39.6 + u * sin + v * cos);
            let nearest = quads[0].iter().map(|found| found.distance(corner)).fold(f64::INFINITY, f64::min);
            assert!(nearest < 0.4, "{nearest}");
        }
    }
}
