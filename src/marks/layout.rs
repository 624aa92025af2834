//! The bay's layout against the picture: which way is up, and where a mark that was not found should be.
//!
//! **Takes** found marks and the bay's list. **Gives** a map from the wall's face (mm, y up) to the photo (pixels, y
//! down), and tag corners in the order in which they stand on the wall. **How**: a printed code does not tell which way
//! is up, as two common sources print the same code half a turn apart; the places of the marks to one another do.

use super::found::FoundMark;
use super::projective::Projective;
use super::quad::Quad;
use crate::bay::Mark;
use crate::units::PxPoint;

/// Tags whose corners fix a projective map well enough to point at another mark.
const TAGS_FOR_PROJECTIVE: usize = 3;
/// Centres that fix a projective map.
const CENTRES_FOR_PROJECTIVE: usize = 4;
/// Places that fix an affine map.
const PLACES_FOR_AFFINE: usize = 3;
/// A tag's corners on the wall as parts of half its size: upper left, upper right, lower right, lower left.
const CORNERS: [(f64, f64); 4] = [(-1.0, 1.0), (1.0, 1.0), (1.0, -1.0), (-1.0, -1.0)];

/// A map from the wall's face to the photo.
#[derive(Debug, Clone, Copy)]
pub(super) struct WallMap {
    pub(super) map: Projective,
    /// Whether it follows perspective; an affine one is coarser.
    pub(super) is_projective: bool,
}

impl WallMap {
    /// The map that the found marks allow.
    pub(super) fn of(found: &[FoundMark], bay_marks: &[Mark]) -> Option<Self> {
        let tags = found.iter().filter(|mark| mark.corners.is_some()).count();
        let mut places = Vec::new();
        for mark in found {
            let on_wall = bay_marks.get(mark.index)?;
            match &mark.corners {
                Some(corners) => places.extend(corners_on_wall(on_wall).into_iter().zip(corners.iter().copied())),
                None => places.push((centre_on_wall(on_wall), mark.centre)),
            }
        }
        let may_be_projective = tags >= TAGS_FOR_PROJECTIVE || found.len() >= CENTRES_FOR_PROJECTIVE;
        if let Some(map) = may_be_projective.then(|| Projective::fit(&places)).flatten() {
            return Some(Self { map, is_projective: true });
        }
        if places.len() < PLACES_FOR_AFFINE {
            return None;
        }
        Projective::fit_affine(&places).map(|map| Self { map, is_projective: false })
    }

    /// Where the centre of a mark should be.
    pub(super) fn centre_of(&self, mark: &Mark) -> Option<PxPoint> {
        self.map.apply(centre_on_wall(mark))
    }

    /// Where the corners of a tag should be.
    pub(super) fn corners_of(&self, mark: &Mark) -> Option<Quad> {
        let mut corners = [PxPoint::default(); 4];
        for (corner, place) in corners.iter_mut().zip(corners_on_wall(mark)) {
            *corner = self.map.apply(place)?;
        }
        Some(corners)
    }
}

/// A mark's centre on the wall, mm.
pub(super) fn centre_on_wall(mark: &Mark) -> (f64, f64) {
    (mark.centre.x_mm, mark.centre.y_mm)
}

fn corners_on_wall(mark: &Mark) -> [(f64, f64); 4] {
    let half = 0.5 * mark.size.get();
    CORNERS.map(|(right, up)| (mark.centre.x_mm + half * right, mark.centre.y_mm + half * up))
}

/// Puts the corners of every found tag into the order in which they stand on the wall.
pub(super) fn order_corners(found: &mut [FoundMark], bay_marks: &[Mark]) {
    let (right, up) = wall_axes(found, bay_marks);
    for mark in found {
        if let Some(corners) = &mut mark.corners {
            *corners = ordered(corners, mark.centre, right, up);
        }
    }
}

/// The picture's directions of the wall's right and up, from the marks' centres: a turn and a scale, least squares.
/// With fewer than two marks the photo is taken as upright.
fn wall_axes(found: &[FoundMark], bay_marks: &[Mark]) -> (PxPoint, PxPoint) {
    let pairs: Vec<((f64, f64), PxPoint)> = found
        .iter()
        .filter_map(|mark| bay_marks.get(mark.index).map(|on_wall| (centre_on_wall(on_wall), mark.centre)))
        .collect();
    let n = pairs.len().max(1) as f64;
    let mean = pairs.iter().fold([0.0; 4], |sum, (wall, photo)| {
        [sum[0] + wall.0 / n, sum[1] + wall.1 / n, sum[2] + photo.x / n, sum[3] + photo.y / n]
    });
    let (mut along, mut across) = (0.0, 0.0);
    for (wall, photo) in &pairs {
        let (wx, wy) = (wall.0 - mean[0], mean[1] - wall.1);
        let (px, py) = (photo.x - mean[2], photo.y - mean[3]);
        along += wx * px + wy * py;
        across += wx * py - wy * px;
    }
    let length = along.hypot(across);
    let (cos, sin) = if pairs.len() >= 2 && length > 0.0 { (along / length, across / length) } else { (1.0, 0.0) };
    (PxPoint::new(cos, sin), PxPoint::new(sin, -cos))
}

fn ordered(corners: &Quad, centre: PxPoint, right: PxPoint, up: PxPoint) -> Quad {
    let fit = |first: usize| -> f64 {
        CORNERS
            .iter()
            .enumerate()
            .map(|(k, (r, u))| {
                let corner = corners[(first + k) % 4];
                let (dx, dy) = (corner.x - centre.x, corner.y - centre.y);
                r * (dx * right.x + dy * right.y) + u * (dx * up.x + dy * up.y)
            })
            .sum()
    };
    let best = (0..4).max_by(|&a, &b| fit(a).total_cmp(&fit(b))).unwrap_or(0);
    [0, 1, 2, 3].map(|k: usize| corners[(best + k) % 4])
}
