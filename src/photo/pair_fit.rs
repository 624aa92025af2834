//! Matched patches to one movement of the camera: translation, and rotation and scale where the patches show them.
//!
//! **How**: every small set of patches proposes a movement, the one with most agreeing patches wins (all sets in a fixed
//! order, so the result is repeatable), and weighted least squares over those that agree gives movement and covariance.

use super::options::PhotoOptions;
use super::pair_match::Match;
use crate::units::PxPoint;
use nalgebra::{Matrix2, Matrix4, Vector2, Vector4};

/// Proposals come from this many of the best patches; a thousand and more pairs.
const PROPOSERS: usize = 60;
/// Rounds of judging agreement.
const ROUNDS: usize = 6;
/// Patches from which the scatter among them is estimated; with fewer the assumed one stands.
const ENOUGH_FOR_SCATTER: usize = 8;

/// A movement: translation at the centre, then change of scale and rotation (radians, from x towards y).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Movement {
    pub(super) centre: PxPoint,
    /// x and y at the centre, scale - 1, rotation.
    pub(super) parameters: Vector4<f64>,
}

/// A fitted movement.
#[derive(Debug)]
pub(super) struct Fit {
    pub(super) movement: Movement,
    pub(super) covariance: Matrix4<f64>,
    /// Patches that agree.
    pub(super) agreeing: usize,
}

impl Movement {
    fn still(centre: PxPoint) -> Self {
        Self { centre, parameters: Vector4::zeros() }
    }

    /// Shift of a place, pixels.
    pub(super) fn shift_at(&self, place: PxPoint) -> [f64; 2] {
        let (x, y) = (place.x - self.centre.x, place.y - self.centre.y);
        let p = &self.parameters;
        [p[0] + p[2] * x - p[3] * y, p[1] + p[2] * y + p[3] * x]
    }

    fn is_small(&self, options: &PhotoOptions) -> bool {
        self.parameters[3].abs() <= options.pair.most_rotation && self.parameters[2].abs() <= options.pair.most_scale
    }

    /// Squared distance of a match from the movement, in its own sigmas and the slack.
    fn distance(&self, found: &Weighted) -> f64 {
        let [x, y] = self.shift_at(found.place);
        let rest = found.shift - Vector2::new(x, y);
        (rest.transpose() * found.weight * rest)[0]
    }
}

/// A match and the inverse of its covariance, the slack included.
#[derive(Debug)]
struct Weighted {
    place: PxPoint,
    shift: Vector2<f64>,
    weight: Matrix2<f64>,
}

impl Weighted {
    fn new(found: &Match, options: &PhotoOptions) -> Option<Self> {
        let [xx, xy, yy] = found.covariance;
        let slack = options.pair.slack_px * options.pair.slack_px;
        let weight = Matrix2::new(xx + slack, xy, xy, yy + slack).try_inverse()?;
        Some(Self { place: found.place, shift: Vector2::from(found.shift), weight })
    }
}

/// Weighted least squares for translation (`free` = 2) or all four parameters; movement and inverse normal matrix.
fn solve(matches: &[&Weighted], centre: PxPoint, free: usize) -> Option<(Movement, Matrix4<f64>)> {
    let mut normal = Matrix4::zeros();
    let mut right = Vector4::zeros();
    for found in matches {
        let (x, y) = (found.place.x - centre.x, found.place.y - centre.y);
        let rows = nalgebra::Matrix2x4::new(1.0, 0.0, x, -y, 0.0, 1.0, y, x);
        let weighted = rows.transpose() * found.weight;
        normal += weighted * rows;
        right += weighted * found.shift;
    }
    if free == 2 {
        let inverse = normal.fixed_view::<2, 2>(0, 0).try_inverse()?;
        let shift = inverse * right.fixed_rows::<2>(0);
        let mut covariance = Matrix4::zeros();
        covariance.fixed_view_mut::<2, 2>(0, 0).copy_from(&inverse);
        let parameters = Vector4::new(shift[0], shift[1], 0.0, 0.0);
        return Some((Movement { centre, parameters }, covariance));
    }
    // Angles are thousands of times smaller than pixels: scaled so, the matrix is well conditioned.
    let reach = Vector4::new(1.0, 1.0, REACH_PX, REACH_PX).map(f64::recip);
    let scaling = Matrix4::from_diagonal(&reach);
    let inverse = (scaling * normal * scaling).try_inverse()?;
    let covariance = scaling * inverse * scaling;
    Some((Movement { centre, parameters: covariance * right }, covariance))
}

/// Distance at which an angle counts like a pixel when matrices are scaled.
const REACH_PX: f64 = 1000.0;

/// The movement that most patches agree on; `None` when there are none.
pub(super) fn fit(matches: &[Match], centre: PxPoint, options: &PhotoOptions) -> Option<Fit> {
    let mut sorted: Vec<&Match> = matches.iter().collect();
    sorted.sort_by(|a, b| spread(a).total_cmp(&spread(b)));
    let order: Vec<Weighted> = sorted.into_iter().filter_map(|found| Weighted::new(found, options)).collect();
    let best = propose(&order, centre, options)?;
    let agree = |movement: &Movement, scatter: f64| -> Vec<&Weighted> {
        order.iter().filter(|found| movement.distance(found) <= options.pair.agrees_within * scatter).collect()
    };
    let chi2 = |movement: &Movement, set: &[&Weighted]| set.iter().map(|found| movement.distance(found)).sum::<f64>();
    // Agreement is judged again with the better movement, and as strictly as the patches themselves agree, until it
    // settles; a few rounds are plenty.
    let (mut movement, mut covariance, mut scatter) = (best, Matrix4::zeros(), 1.0);
    for _ in 0..ROUNDS {
        let set = agree(&movement, scatter);
        let (shifted, of_shift) = solve(&set, centre, 2)?;
        (movement, covariance) = (shifted, of_shift);
        if let Some((turned, of_turn)) = solve(&set, centre, 4).filter(|(turned, _)| turned.is_small(options))
            && chi2(&shifted, &set) - chi2(&turned, &set) > options.pair.worth_it * scatter
        {
            (movement, covariance) = (turned, of_turn);
        }
        scatter = own_scatter(&movement, &set);
    }
    let agreeing = agree(&movement, 1.0).len();
    Some(Fit { movement, covariance: covariance * scatter, agreeing })
}

/// Variance of the patches' deviations in units of the assumed one: robust, from the median (1.386 for two axes).
fn own_scatter(movement: &Movement, set: &[&Weighted]) -> f64 {
    const MEDIAN_OF_CHI2: f64 = 1.386;
    if set.len() < ENOUGH_FOR_SCATTER {
        return 1.0;
    }
    let mut distances: Vec<f64> = set.iter().map(|found| movement.distance(found)).collect();
    let middle = distances.len() / 2;
    let median = *distances.select_nth_unstable_by(middle, f64::total_cmp).1;
    (median / MEDIAN_OF_CHI2).clamp(LEAST_SCATTER, 1.0)
}

/// The slack is a guess to the safe side; where the patches agree better than it, sigma may shrink this far.
const LEAST_SCATTER: f64 = 0.05;

/// Size of a match's uncertainty.
fn spread(found: &Match) -> f64 {
    found.covariance[0] + found.covariance[2]
}

/// The best of the movements that single patches (translation) and pairs propose.
fn propose(order: &[Weighted], centre: PxPoint, options: &PhotoOptions) -> Option<Movement> {
    // Agreement counts by how well a patch is placed, at most 1; so sharp patches beat many vague ones.
    let support = |movement: &Movement| -> f64 {
        let share = |found: &Weighted| (1.0 - movement.distance(found) / options.pair.agrees_within).max(0.0);
        order.iter().map(share).sum()
    };
    let proposers = &order[..order.len().min(PROPOSERS)];
    let mut best = (0.0, Movement::still(centre));
    let mut consider = |movement: Movement| {
        let votes = support(&movement);
        if movement.is_small(options) && votes > best.0 {
            best = (votes, movement);
        }
    };
    for (i, first) in proposers.iter().enumerate() {
        if let Some((movement, _)) = solve(&[first], centre, 2) {
            consider(movement);
        }
        for second in &proposers[..i] {
            // A level and an upright edge make up a translation together, but no rotation.
            for free in [2, 4] {
                if let Some((movement, _)) = solve(&[first, second], centre, free) {
                    consider(movement);
                }
            }
        }
    }
    (best.0 > 0.0).then_some(best.1)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn matched(x: f64, y: f64, shift: [f64; 2]) -> Match {
        Match { place: PxPoint::new(x, y), shift, covariance: [0.01, 0.0, 0.01] }
    }

    fn grid(shift: impl Fn(f64, f64) -> [f64; 2]) -> Vec<Match> {
        let places = (0..30).map(|i| (f64::from(i % 6) * 600.0, f64::from(i / 6) * 500.0));
        places.map(|(x, y)| matched(x, y, shift(x, y))).collect()
    }

    #[test]
    fn a_movement_is_found_among_false_matches() {
        let centre = PxPoint::new(1500.0, 1000.0);
        let truth = Movement { centre, parameters: Vector4::new(12.3, -7.1, 0.001, -0.004) };
        let mut matches = grid(|x, y| truth.shift_at(PxPoint::new(x, y)));
        for (i, found) in matches.iter_mut().enumerate().filter(|(i, _)| i % 3 == 0) {
            found.shift = [f64::from(i as u32) * 3.0 - 40.0, 25.0 - f64::from(i as u32) * 2.0];
        }
        let fit = fit(&matches, centre, &PhotoOptions::default()).unwrap();
        assert_eq!(fit.agreeing, 20);
        assert!((fit.movement.parameters - truth.parameters).amax() < 1e-9);
    }

    /// Edges alone: each match tells of one axis only, both together of the whole movement.
    #[test]
    fn edges_tell_what_they_can() {
        let centre = PxPoint::new(1500.0, 1000.0);
        let edge = |(i, found): (usize, Match)| match i % 2 {
            0 => Match { shift: [805.0, 3.0], covariance: [1e6, 0.0, 0.01], ..found },
            _ => Match { shift: [5.0, -797.0], covariance: [0.01, 0.0, 1e6], ..found },
        };
        let matches: Vec<Match> = grid(|_, _| [5.0, 3.0]).into_iter().enumerate().map(edge).collect();
        let fit = fit(&matches, centre, &PhotoOptions::default()).unwrap();
        assert!((fit.movement.parameters[0] - 5.0).abs() < 0.01 && (fit.movement.parameters[1] - 3.0).abs() < 0.01);
        let level_only: Vec<Match> = matches.iter().step_by(2).copied().collect();
        let vague = super::fit(&level_only, centre, &PhotoOptions::default()).unwrap();
        assert!(vague.covariance[(0, 0)].sqrt() > 20.0 && vague.covariance[(1, 1)].sqrt() < 0.2);
    }
}
