//! Quadrant marks in the picture: discs split in four, upper left and lower right black.
//!
//! **Takes** a grey picture. **Gives** every place that shows such a mark: centre, edge directions, radius. Which mark
//! of the bay it is, is decided by the layout (`name`). **How**: (1) blocks at which two opposite neighbours are
//! brighter than the two others by a good part of the local contrast; (2) circles around them must cross exactly four
//! edges, half a turn apart in pairs, with the black sectors at the upper left and the lower right within 45 degrees;
//! (3) the radius at which the circles stop doing so is that of the disc; both black sectors must end there, which
//! corners of tags and texture do not do.

use super::options::FindOptions;
use super::quadrant_fit::QuadrantGuess;
use super::shrink::{Grey, UNITS_PER_CODE};
use super::threshold::{Contrast, contrast_tiles};
use super::tried::{Fate, Tried, TriedKind, TriedList};
use crate::photo::linear::srgb_to_linear;
use crate::units::PxPoint;
use std::f64::consts::{FRAC_PI_2, PI, TAU};

/// Distance of the four tested neighbours from the middle, blocks.
const NEIGHBOUR: usize = 3;
/// Local contrast below which nothing is sought.
const CONTRAST: Contrast = Contrast { split: 0.5, least_codes: 4.0, least_share: 0.25 };
/// Samples on a circle.
const CIRCLE: usize = 48;
/// Smallest circle, blocks, and the factor from one to the next.
const FIRST_RADIUS: f64 = 2.5;
const RADIUS_STEP: f64 = 1.12;

/// A quadrant mark as seen, before the fit.
#[derive(Debug, Clone, Copy)]
pub(super) struct QuadrantSight {
    /// Start of the fit.
    pub(super) guess: QuadrantGuess,
    /// Mean radius of the two black sectors along their middle lines, pixels of the photo.
    pub(super) dark_radius: f64,
}

/// All sights of quadrant marks.
pub(super) fn sights(grey: &Grey, tried: &TriedList, options: &FindOptions) -> Vec<QuadrantSight> {
    let mut out: Vec<(QuadrantSight, PxPoint)> = Vec::new();
    for (_, centre) in candidates(grey, options) {
        if out.iter().any(|(_, known)| known.distance(centre) < options.quadrant.apart) {
            continue;
        }
        match examine(grey, centre, options) {
            Some(sight) => out.push((sight, centre)),
            None => tried.add(|| Tried {
                kind: TriedKind::Quadrant,
                outline: vec![grey.to_photo(centre)],
                fate: Fate::Shape,
                why: "circles around it do not cross four edges as a disc's do".to_owned(),
            }),
        }
    }
    out.into_iter().map(|(sight, _)| sight).collect()
}

/// Blocks that look like a crossing, strongest first.
fn candidates(grey: &Grey, options: &FindOptions) -> Vec<(f32, PxPoint)> {
    let (w, h) = (grey.width, grey.height);
    let mut found = Vec::new();
    for tile in contrast_tiles(grey, CONTRAST, options) {
        for y in tile.top.max(NEIGHBOUR)..tile.bottom.min(h.saturating_sub(NEIGHBOUR)) {
            for x in tile.left.max(NEIGHBOUR)..tile.right.min(w.saturating_sub(NEIGHBOUR)) {
                let strength = crossing(&grey.levels, y * w + x, w);
                if strength > options.quadrant.cross_share * f32::from(tile.range) {
                    found.push((strength / f32::from(tile.range), PxPoint::new(x as f64 + 0.5, y as f64 + 0.5)));
                }
            }
        }
    }
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut kept: Vec<(f32, PxPoint)> = Vec::new();
    for candidate in found {
        if kept.len() < options.quadrant.most_candidates
            && kept.iter().all(|(_, other)| other.distance(candidate.1) >= options.quadrant.apart)
        {
            kept.push(candidate);
        }
    }
    kept
}

/// By how much the darker bright neighbour exceeds the brighter dark one: on the diagonals as a mark stands upright, or
/// along rows and columns as when it is turned by 45 degrees either way.
fn crossing(levels: &[u16], at: usize, width: usize) -> f32 {
    let (d, down) = (NEIGHBOUR - 1, (NEIGHBOUR - 1) * width);
    let diagonal =
        margin([levels[at - down + d], levels[at + down - d]], [levels[at - down - d], levels[at + down + d]]);
    let (far, far_down) = (NEIGHBOUR, NEIGHBOUR * width);
    let (level, upright) = ([levels[at - far], levels[at + far]], [levels[at - far_down], levels[at + far_down]]);
    diagonal.max(margin(level, upright)).max(margin(upright, level))
}

fn margin(bright: [u16; 2], dark: [u16; 2]) -> f32 {
    f32::from(bright[0].min(bright[1])) - f32::from(dark[0].max(dark[1]))
}

/// What one circle shows.
#[derive(Debug, Clone, Copy)]
struct Ring {
    /// Directions of the four edges: right, up, left, down (radians, clockwise from the picture's right).
    edges: [f64; 4],
}

/// Follows circles outwards and tells what stands there.
fn examine(grey: &Grey, start: PxPoint, options: &FindOptions) -> Option<QuadrantSight> {
    let mut centre = start;
    let mut rings: Vec<(f64, Ring, PxPoint)> = Vec::new();
    let mut radius = FIRST_RADIUS;
    let limit = options.quadrant.most_radius_share * grey.width.min(grey.height) as f64;
    let split = split_level(grey, centre, FIRST_RADIUS)?;
    while radius < limit {
        let Some(ring) = ring_at(grey, centre, radius, split, options) else { break };
        centre = recentred(centre, radius, &ring);
        rings.push((radius, ring, centre));
        radius *= RADIUS_STEP;
    }
    let reach = rings.last()?.0;
    if reach < options.quadrant.least_radius {
        return None;
    }
    // The outermost circles touch the disc's rim, which bends their edges.
    let &(_, ring, centre) = rings.iter().rev().find(|ring| ring.0 <= options.quadrant.rim_share * reach)?;
    let (right, up) = (mean_axis(ring.edges[0], ring.edges[2]), mean_axis(ring.edges[1], ring.edges[3]));
    let upper_left = middle_of(up, right + PI);
    let radii = [upper_left, upper_left + PI].map(|direction| dark_end(grey, centre, direction, split, limit));
    let (first, second) = (radii[0]?, radii[1]?);
    let inner = first.min(second);
    if first.max(second) > options.quadrant.most_radii_ratio * inner || inner < options.quadrant.least_radius {
        return None;
    }
    let block = grey.block as f64;
    let radius = options.quadrant.fit_share * reach.min(inner);
    let light = |direction: f64| {
        let spot = polar(centre, direction, 0.7 * radius);
        let code = grey.sample(spot.x, spot.y)? / f64::from(UNITS_PER_CODE);
        Some(f64::from(srgb_to_linear(code as f32)).max(LEAST_LIGHT).ln())
    };
    let upper_right = middle_of(up, right);
    let guess = QuadrantGuess {
        centre: grey.to_photo(centre),
        right,
        up,
        radius: radius * block,
        light_ln: [light(upper_right)?, light(upper_right + PI)?],
    };
    Some(QuadrantSight { guess, dark_radius: 0.5 * (first + second) * block })
}

/// Least light, as a share of full scale.
const LEAST_LIGHT: f64 = 3e-4;

fn polar(centre: PxPoint, direction: f64, radius: f64) -> PxPoint {
    PxPoint::new(centre.x + radius * direction.cos(), centre.y + radius * direction.sin())
}

/// Level between dark and bright on a circle.
fn split_level(grey: &Grey, centre: PxPoint, radius: f64) -> Option<f64> {
    let levels = circle(grey, centre, radius)?;
    let low = levels.iter().copied().fold(f64::INFINITY, f64::min);
    let high = levels.iter().copied().fold(0.0, f64::max);
    Some(0.5 * (low + high))
}

fn circle(grey: &Grey, centre: PxPoint, radius: f64) -> Option<[f64; CIRCLE]> {
    let mut levels = [0.0; CIRCLE];
    for (k, level) in levels.iter_mut().enumerate() {
        let spot = polar(centre, k as f64 / CIRCLE as f64 * TAU, radius);
        *level = grey.sample(spot.x, spot.y)?;
    }
    Some(levels)
}

/// The four edges on a circle, if it shows a mark's sectors.
fn ring_at(grey: &Grey, centre: PxPoint, radius: f64, inner_split: f64, options: &FindOptions) -> Option<Ring> {
    let levels = circle(grey, centre, radius)?;
    let low = levels.iter().copied().fold(f64::INFINITY, f64::min);
    let high = levels.iter().copied().fold(0.0, f64::max);
    // The contrast of the innermost circle must go on; light may change outwards, so this circle sets its own split.
    if low > inner_split || high < inner_split {
        return None;
    }
    let split = 0.5 * (low + high);
    let mut edges = Vec::with_capacity(4);
    for k in 0..CIRCLE {
        let (a, b) = (levels[k], levels[(k + 1) % CIRCLE]);
        if (a < split) != (b < split) {
            let place = k as f64 + (split - a) / (b - a);
            edges.push((place / CIRCLE as f64 * TAU, b < split));
        }
    }
    let edges: [(f64, bool); 4] = edges.try_into().ok()?;
    // Clockwise from the right: the lower right sector is black, so darkness begins at the right edge.
    let first = (0..4).filter(|&k| edges[k].1).min_by(|&a, &b| turn_of(edges[a].0).total_cmp(&turn_of(edges[b].0)))?;
    let at = |k: usize| edges[(first + k) % 4].0;
    let ring = Ring { edges: [at(0), at(3), at(2), at(1)] };
    is_mark(&ring, options.quadrant.opposite + options.quadrant.opposite_off_centre / radius, options).then_some(ring)
}

/// Size of an angle's difference from 0.
fn turn_of(angle: f64) -> f64 {
    wrapped(angle).abs()
}

/// An angle in -pi..pi.
fn wrapped(angle: f64) -> f64 {
    (angle + PI).rem_euclid(TAU) - PI
}

/// Direction of a line from its two ends, near the first.
fn mean_axis(first: f64, opposite: f64) -> f64 {
    wrapped(first + 0.5 * wrapped(opposite - PI - first))
}

/// The direction halfway between two directions less than half a turn apart.
fn middle_of(a: f64, b: f64) -> f64 {
    wrapped(a + 0.5 * wrapped(b - a))
}

fn is_mark(ring: &Ring, opposite: f64, options: &FindOptions) -> bool {
    let [right, up, left, down] = ring.edges;
    let is_paired = wrapped(left - PI - right).abs() < opposite && wrapped(down - PI - up).abs() < opposite;
    let sector = wrapped(mean_axis(right, left) - mean_axis(up, down)).abs();
    let middle_turn = wrapped(middle_of(mean_axis(up, down), mean_axis(right, left)) + 0.5 * FRAC_PI_2).abs();
    is_paired
        && sector > options.quadrant.least_sector
        && sector < PI - options.quadrant.least_sector
        && middle_turn < options.quadrant.most_turn
}

/// Moves the centre to where the lines through opposite edges meet.
fn recentred(centre: PxPoint, radius: f64, ring: &Ring) -> PxPoint {
    let [right, up, left, down] = ring.edges.map(|direction| polar(centre, direction, radius));
    let (dx1, dy1) = (right.x - left.x, right.y - left.y);
    let (dx2, dy2) = (up.x - down.x, up.y - down.y);
    let cross = dx1 * dy2 - dy1 * dx2;
    let t = ((down.x - left.x) * dy2 - (down.y - left.y) * dx2) / cross;
    let meeting = PxPoint::new(left.x + t * dx1, left.y + t * dy1);
    if meeting.distance(centre) < 0.5 * radius { meeting } else { centre }
}

/// Where a black sector ends along a direction.
fn dark_end(grey: &Grey, centre: PxPoint, direction: f64, split: f64, limit: f64) -> Option<f64> {
    const STEP: f64 = 0.25;
    let mut radius = FIRST_RADIUS;
    while radius < limit {
        let spot = polar(centre, direction, radius);
        if grey.sample(spot.x, spot.y)? > split {
            return Some(radius);
        }
        radius += STEP;
    }
    None
}
