//! Which quadrant mark is which: they carry no code, so the bay's layout tells.
//!
//! **Takes** seen quadrant marks, marks already known (tags, places by hand) and the bay's list. **Gives** pairs of
//! mark and sight. **How**: known marks and trial pairs make three places, these an affine map, and that points at the
//! other marks; with four pairs a projective map follows and is tried on all again. A map counts only if each mark's
//! edges and size, sent through it, look as the mark does in the picture: so a mirrored or turned naming cannot stand.
//! The map that explains most marks wins, then the one that explains them best.
//!
//! **Weak when** there are four marks in a nearly regular layout: then only edges and sizes speak.

use super::found::FoundMark;
use super::layout::{WallMap, centre_on_wall};
use super::projective::Projective;
use super::quadrant::QuadrantSight;
use super::quadrant_fit::QuadrantPlace;
use crate::bay::Mark;
use crate::units::PxPoint;
use std::f64::consts::{FRAC_1_SQRT_2, PI, TAU};

/// Sights that are tried at most, those with the surest centres.
const MAX_SIGHTS: usize = 12;
/// How far a mark may be from its expected place, as a share of the layout's extent in the picture: an affine map
/// misses perspective; a projective one only the survey's errors.
const REACH_AFFINE: f64 = 0.2;
const REACH_PROJECTIVE: f64 = 0.03;
/// How far an edge may be turned against the map, radians.
const TURN_AFFINE: f64 = 0.6;
const TURN_PROJECTIVE: f64 = 0.25;
/// How far the natural logarithm of a radius may be off.
const SIZE_AFFINE: f64 = 0.6;
const SIZE_PROJECTIVE: f64 = 0.35;
/// Places that make an affine map; a naming with fewer says nothing.
const PLACES_FOR_MAP: usize = 3;
/// Spreads by which turns and sizes are weighed against each other when maps are compared.
const TURN_SPREAD: f64 = 0.05;
const SIZE_SPREAD: f64 = 0.15;

/// A seen and fitted quadrant mark.
#[derive(Debug, Clone, Copy)]
pub(super) struct Seen {
    pub(super) sight: QuadrantSight,
    pub(super) place: QuadrantPlace,
}

/// How strictly a map is held against the picture.
#[derive(Debug, Clone, Copy)]
struct Tolerance {
    reach: f64,
    turn: f64,
    size: f64,
}

const AFFINE: Tolerance = Tolerance { reach: REACH_AFFINE, turn: TURN_AFFINE, size: SIZE_AFFINE };
/// Three places fix an affine map whatever they are, so edges and sizes must speak clearly: a wall seen from 30 degrees
/// aside turns edges by 0.1 and changes sizes by 0.15 against an affine map.
const THREE_PLACES: Tolerance = Tolerance { reach: REACH_AFFINE, turn: 0.2, size: 0.25 };
const PROJECTIVE: Tolerance = Tolerance { reach: REACH_PROJECTIVE, turn: TURN_PROJECTIVE, size: SIZE_PROJECTIVE };

/// A naming: pairs of place in the bay's list and place among the seen, and what they cost.
#[derive(Debug, Clone, Default)]
struct Naming {
    pairs: Vec<(usize, usize)>,
    cost: f64,
}

/// Names the seen marks among `wanted` (places in the bay's list).
pub(super) fn name(seen: &[Seen], wanted: &[usize], known: &[FoundMark], bay_marks: &[Mark]) -> Vec<(usize, usize)> {
    let mut order: Vec<usize> = (0..seen.len()).collect();
    order.sort_by(|&a, &b| seen[a].place.doubt.total_cmp(&seen[b].place.doubt));
    order.truncate(MAX_SIGHTS);
    let task = Task { seen, order, wanted, known, bay_marks };
    let mut best = Naming::default();
    if let Some(map) = WallMap::of(known, bay_marks) {
        let tolerance = if map.is_projective { PROJECTIVE } else { AFFINE };
        task.follow(&map.map, tolerance, &mut best);
    }
    if best.pairs.len() < wanted.len().min(seen.len()) {
        let mut trial = Vec::new();
        task.try_pairs(&mut trial, &mut best);
    }
    best.pairs
}

struct Task<'a> {
    seen: &'a [Seen],
    /// Places among the seen that are tried.
    order: Vec<usize>,
    wanted: &'a [usize],
    known: &'a [FoundMark],
    bay_marks: &'a [Mark],
}

impl Task<'_> {
    /// Tries every way to make three places out of known marks and trial pairs.
    fn try_pairs(&self, trial: &mut Vec<(usize, usize)>, best: &mut Naming) {
        if self.known.len() + trial.len() >= PLACES_FOR_MAP {
            if let Some(map) = Projective::fit_affine(&self.places(trial)) {
                self.follow(&map, AFFINE, best);
            }
            return;
        }
        // Marks in ascending order: each set of marks is tried once.
        let first = trial.last().map_or(0, |&(mark, _)| mark + 1);
        for &mark in self.wanted.iter().filter(|&&mark| mark >= first) {
            for &sight in &self.order {
                if trial.iter().all(|&(_, other)| other != sight) {
                    trial.push((mark, sight));
                    self.try_pairs(trial, best);
                    trial.pop();
                }
            }
        }
    }

    /// Known and paired places on the wall and in the photo.
    fn places(&self, pairs: &[(usize, usize)]) -> Vec<((f64, f64), PxPoint)> {
        let known = self.known.iter().map(|mark| (centre_on_wall(&self.bay_marks[mark.index]), mark.centre));
        let paired =
            pairs.iter().map(|&(mark, sight)| (centre_on_wall(&self.bay_marks[mark]), self.seen[sight].place.centre));
        known.chain(paired).collect()
    }

    /// Names all marks by a map, makes the map better with them, and keeps the outcome if it is the best so far.
    fn follow(&self, map: &Projective, tolerance: Tolerance, best: &mut Naming) {
        let mut naming = self.by_map(map, tolerance);
        let places = self.places(&naming.pairs);
        naming = match Projective::fit(&places) {
            Some(better) => self.by_map(&better, PROJECTIVE),
            None => self.by_map(map, THREE_PLACES),
        };
        if self.known.len() + naming.pairs.len() < PLACES_FOR_MAP {
            return;
        }
        let is_better = naming.pairs.len() > best.pairs.len()
            || (naming.pairs.len() == best.pairs.len() && naming.cost < best.cost);
        if is_better {
            *best = naming;
        }
    }

    fn by_map(&self, map: &Projective, tolerance: Tolerance) -> Naming {
        let extent = self.extent(map);
        let mut options = Vec::new();
        for &mark in self.wanted {
            for &sight in &self.order {
                if let Some(cost) = self.cost(map, mark, sight, tolerance, extent) {
                    options.push((cost, mark, sight));
                }
            }
        }
        options.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut naming = Naming::default();
        for (cost, mark, sight) in options {
            if naming.pairs.iter().all(|&(m, s)| m != mark && s != sight) {
                naming.pairs.push((mark, sight));
                naming.cost += cost;
            }
        }
        naming
    }

    /// Extent of the layout in the photo, pixels.
    fn extent(&self, map: &Projective) -> f64 {
        let places: Vec<PxPoint> = self.bay_marks.iter().filter_map(|mark| map.apply(centre_on_wall(mark))).collect();
        places.iter().flat_map(|a| places.iter().map(|b| a.distance(*b))).fold(0.0, f64::max)
    }

    /// What it costs that a mark is a sight; `None` when it cannot be.
    fn cost(&self, map: &Projective, mark: usize, sight: usize, tolerance: Tolerance, extent: f64) -> Option<f64> {
        let on_wall = &self.bay_marks[mark];
        let Seen { sight, place } = &self.seen[sight];
        let off = map.apply(centre_on_wall(on_wall))?.distance(place.centre) / (tolerance.reach * extent);
        let [right, up] = map.steps_at(centre_on_wall(on_wall))?;
        let turns = [turn_between(right, place.right), turn_between(up, place.up)];
        let half = 0.5 * on_wall.size.get();
        // The middle of the upper left sector.
        let radius = half * FRAC_1_SQRT_2 * (up.x - right.x).hypot(up.y - right.y);
        let size = (radius / sight.dark_radius).ln().abs();
        let fits = off <= 1.0 && turns.iter().all(|turn| *turn <= tolerance.turn) && size <= tolerance.size;
        let squares = off * off
            + turns.iter().map(|turn| (turn / TURN_SPREAD).powi(2)).sum::<f64>()
            + (size / SIZE_SPREAD).powi(2);
        fits.then_some(squares)
    }
}

/// Angle between a step in the photo and a direction.
fn turn_between(step: PxPoint, direction: f64) -> f64 {
    let difference = step.y.atan2(step.x) - direction;
    ((difference + PI).rem_euclid(TAU) - PI).abs()
}
