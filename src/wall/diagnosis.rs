//! Likely causes of marks that do not fit the bay file, for the hint of a refusal; nothing is measured with them.
//!
//! **Takes** the observations. **Gives** a [`Diagnosis`] when one is likely, and the shape of a tag as seen.
//! **How**: plain homographies through some of the points (`homography.rs`), held against the others.

use crate::units::{PxPoint, WallPoint};
use crate::wall::estimate::{Context, start};
use crate::wall::fit::{CameraFacts, context};
use crate::wall::observation::Observation;
use crate::wall::options::FitOptions;
use crate::wall::projection::Projection;

/// Two marks seem to be exchanged when each is seen within this share of their distance of the other's place.
const EXCHANGED_SHARE: f64 = 0.2;
/// Centres fit when none is off by more than this share of the marks' spread.
const CENTRES_FIT_SHARE: f64 = 0.01;
/// Tags count as scaled together when their sizes are off by more than this and agree within half of it.
const SCALED_SHARE: f64 = 0.01;

/// A likely cause.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Diagnosis {
    /// The marks with these ids are exchanged.
    Exchanged(u32, u32),
    /// Left and right are exchanged.
    Mirrored,
    /// Every tag is this many times as large as the bay file says.
    TagsScaled(f64),
}

/// A tag as seen on the wall.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Shape {
    /// Mean edge, mm.
    pub(super) size_mm: f64,
    /// Edge by the bay file, mm.
    pub(super) stated_mm: f64,
    /// Turn of its upper and lower edge, degrees, counterclockwise.
    pub(super) turn_deg: f64,
}

/// Size and turn of a tag as the projection sees it; `None` for other marks.
pub(super) fn seen_shape(observation: &Observation, projection: &Projection) -> Option<Shape> {
    let corners: Vec<WallPoint> = observation.places.iter().map(|place| projection.to_wall(*place)).collect();
    let ([a, b, c, d], [first, second, ..]) = (corners.as_slice(), observation.walls.as_slice()) else { return None };
    let edges = a.distance_mm(*b) + b.distance_mm(*c) + c.distance_mm(*d) + d.distance_mm(*a);
    let along = (b.x_mm - a.x_mm + c.x_mm - d.x_mm, b.y_mm - a.y_mm + c.y_mm - d.y_mm);
    Some(Shape {
        size_mm: edges / corners.len() as f64,
        stated_mm: first.distance_mm(*second),
        turn_deg: along.1.atan2(along.0).to_degrees(),
    })
}

/// The likely cause, if one stands out.
pub(super) fn diagnose(observations: &[Observation], camera: &CameraFacts) -> Option<Diagnosis> {
    let (context, _) = context(observations, camera, &FitOptions::default());
    from_centres(observations, &context).or_else(|| exchanged(observations, &context))
}

fn projection(context: &Context, observations: &[&Observation]) -> Option<Projection> {
    let parameters = start(context, observations)?;
    Projection::new(context.frame, context.lens, parameters.as_slice())
}

/// What the centres alone, without the tags' shapes, make of the wall.
fn from_centres(observations: &[Observation], context: &Context) -> Option<Diagnosis> {
    let centres: Vec<Observation> = observations
        .iter()
        .map(|observation| Observation {
            places: vec![centre_place(&observation.places)],
            walls: vec![observation.centre],
            ..observation.clone()
        })
        .collect();
    let view = projection(context, &centres.iter().collect::<Vec<_>>())?;
    let fits = centres.iter().all(|centre| {
        let gap = view.to_wall(centre.places[0]).distance_mm(centre.centre);
        gap < CENTRES_FIT_SHARE * context.frame.scale_mm
    });
    if !fits {
        return None;
    }
    // Wall y is up and picture y is down: an unmirrored view has a negative determinant.
    if view.wall_jacobian(context.frame.centre).determinant() > 0.0 {
        return Some(Diagnosis::Mirrored);
    }
    let ratios: Vec<f64> = observations
        .iter()
        .filter_map(|observation| seen_shape(observation, &view))
        .map(|shape| shape.size_mm / shape.stated_mm)
        .collect();
    let mean = ratios.iter().sum::<f64>() / ratios.len().max(1) as f64;
    let is_common = ratios.len() >= 2 && ratios.iter().all(|ratio| (ratio - mean).abs() < 0.5 * SCALED_SHARE);
    (is_common && (mean - 1.0).abs() > SCALED_SHARE).then_some(Diagnosis::TagsScaled(mean))
}

/// Centre of a tag's corners: where its diagonals cross, which the projection keeps.
fn centre_place(places: &[PxPoint]) -> PxPoint {
    let [a, b, c, d] = places else { return places[0] };
    let (first, second) = ((c.x - a.x, c.y - a.y), (d.x - b.x, d.y - b.y));
    let cross = first.0 * second.1 - first.1 * second.0;
    let along = ((b.x - a.x) * second.1 - (b.y - a.y) * second.0) / cross;
    let centre = PxPoint::new(a.x + along * first.0, a.y + along * first.1);
    if centre.x.is_finite() && centre.y.is_finite() { centre } else { *a }
}

/// Two marks each of which the others see in the other's place.
fn exchanged(observations: &[Observation], context: &Context) -> Option<Diagnosis> {
    for first in 0..observations.len() {
        for second in first + 1..observations.len() {
            let others: Vec<&Observation> = observations
                .iter()
                .enumerate()
                .filter(|(place, _)| *place != first && *place != second)
                .map(|(_, observation)| observation)
                .collect();
            let Some(projection) = projection(context, &others) else { continue };
            let (one, other) = (&observations[first], &observations[second]);
            let apart = one.centre.distance_mm(other.centre);
            let is_at = |seen: &Observation, place: WallPoint| {
                let centre = mean(seen.places.iter().map(|place| projection.to_wall(*place)));
                centre.distance_mm(place) < EXCHANGED_SHARE * apart
            };
            if is_at(one, other.centre) && is_at(other, one.centre) {
                return Some(Diagnosis::Exchanged(one.id, other.id));
            }
        }
    }
    None
}

fn mean(points: impl Iterator<Item = WallPoint> + Clone) -> WallPoint {
    let count = points.clone().count() as f64;
    let sum = points.fold((0.0, 0.0), |sum, point| (sum.0 + point.x_mm, sum.1 + point.y_mm));
    WallPoint::new(sum.0 / count, sum.1 / count)
}
