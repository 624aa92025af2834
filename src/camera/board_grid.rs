//! A checkerboard's corners put in order: grown from one corner to its neighbours, whatever way the board is turned.
//!
//! **Takes** candidates with their saddles' curvature. **Gives** a [`Grid`]: which candidate stands at which column and row.
//! **How**: the zero directions of a saddle are the board's edges, which give the first step; from there each step is
//! predicted from the one before or beside it. Neighbours on a board turn the saddle's sign, which sorts out what is none.

use nalgebra::{Matrix2, Vector2};
use std::collections::{BTreeMap, VecDeque};

/// A neighbour lies within this angle of the edge's direction (tangent), and within this share of a predicted step.
const LARGEST_TANGENT: f64 = 0.35;
const STEP_SHARE: f64 = 0.28;
/// Steps on a board change from square to square by less than this factor.
const STEP_CHANGE: f64 = 1.6;
/// Directions: right, down, left, up.
const DIRECTIONS: [(i32, i32); 4] = [(1, 0), (0, 1), (-1, 0), (0, -1)];

/// A saddle in the picture.
#[derive(Debug, Clone, Copy)]
pub(super) struct Corner {
    pub(super) place: Vector2<f64>,
    /// Second derivatives.
    pub(super) curvature: Matrix2<f64>,
}

impl Corner {
    /// The two edges through the corner: directions in which the curvature is zero, unit vectors, the second clockwise of the
    /// first in the picture (x right, y down).
    fn edges(&self) -> Option<[Vector2<f64>; 2]> {
        let (a, b, c) = (self.curvature.m11, self.curvature.m12, self.curvature.m22);
        let root = (b * b - a * c).sqrt();
        if !(root > 0.0 && root.is_finite()) {
            return None;
        }
        // a·t² + 2b·t + c = 0 for t = x/y, by the two quotients that never divide by a difference.
        let q = -(b + root.copysign(b));
        let (first, second) = (Vector2::new(q, a).normalize(), Vector2::new(c, q).normalize());
        Some(if first.perp(&second) > 0.0 { [first, second] } else { [first, -second] })
    }

    /// Whether it is brighter between two directions than across.
    fn is_bright_between(&self, right: Vector2<f64>, down: Vector2<f64>) -> bool {
        let middle = right.normalize() + down.normalize();
        middle.dot(&(self.curvature * middle)) > 0.0
    }
}

/// Candidates by column and row, from the seed.
#[derive(Debug, Clone, Default)]
pub(super) struct Grid {
    nodes: BTreeMap<(i32, i32), usize>,
    places: BTreeMap<(i32, i32), Vector2<f64>>,
}

/// Grows the grid about a seed.
pub(super) fn grow(corners: &[Corner], seed: usize) -> Grid {
    let mut grid = Grid::default();
    let Some([right, down]) = corners[seed].edges() else { return grid };
    let mut taken = vec![false; corners.len()];
    let is_bright = corners[seed].is_bright_between(right, down);
    grid.put((0, 0), seed, corners[seed].place);
    taken[seed] = true;
    let along = |direction: (i32, i32)| right * f64::from(direction.0) + down * f64::from(direction.1);
    for direction in DIRECTIONS {
        if let Some(found) = first_step(corners, seed, along(direction), &taken) {
            let is_other = corners[found].is_bright_between(right, down) != is_bright;
            if is_other {
                grid.put(direction, found, corners[found].place);
                taken[found] = true;
            }
        }
    }
    let mut open: VecDeque<(i32, i32)> = grid.nodes.keys().copied().collect();
    while let Some(node) = open.pop_front() {
        for direction in DIRECTIONS {
            let next = (node.0 + direction.0, node.1 + direction.1);
            if grid.nodes.contains_key(&next) {
                continue;
            }
            let Some(step) = grid.step(node, direction) else { continue };
            let from = grid.places[&node];
            let Some(found) = nearest(corners, from + step, STEP_SHARE * step.norm(), &taken) else { continue };
            let (right, down) = grid.axes(node, direction, corners[found].place - from).unwrap_or((right, down));
            let is_even = (next.0 + next.1).rem_euclid(2) == 0;
            if corners[found].is_bright_between(right, down) != (is_bright == is_even) {
                continue;
            }
            grid.put(next, found, corners[found].place);
            taken[found] = true;
            open.push_back(next);
            // A node beside it may now see a step that it could not predict before.
            open.push_back(node);
        }
    }
    grid
}

/// The nearest candidate in a direction.
fn first_step(corners: &[Corner], seed: usize, direction: Vector2<f64>, taken: &[bool]) -> Option<usize> {
    let mut best = None;
    let mut least = f64::INFINITY;
    for (index, corner) in corners.iter().enumerate().filter(|(index, _)| !taken[*index]) {
        let to = corner.place - corners[seed].place;
        let (ahead, aside) = (to.dot(&direction), to.perp(&direction).abs());
        if ahead > 0.0 && aside < LARGEST_TANGENT * ahead && to.norm() < least {
            least = to.norm();
            best = Some(index);
        }
    }
    best
}

fn nearest(corners: &[Corner], place: Vector2<f64>, within: f64, taken: &[bool]) -> Option<usize> {
    let far = |index: &usize| (corners[*index].place - place).norm();
    let found = (0..corners.len()).filter(|index| !taken[*index]).min_by(|a, b| far(a).total_cmp(&far(b)))?;
    (far(&found) < within).then_some(found)
}

impl Grid {
    fn put(&mut self, node: (i32, i32), index: usize, place: Vector2<f64>) {
        self.nodes.insert(node, index);
        self.places.insert(node, place);
    }

    pub(super) fn len(&self) -> usize {
        self.nodes.len()
    }

    fn between(&self, from: (i32, i32), to: (i32, i32)) -> Option<Vector2<f64>> {
        Some(self.places.get(&to)? - self.places.get(&from)?)
    }

    /// The step to the neighbour in a direction: the one that led here, bent as it bent before; else that of a row beside.
    fn step(&self, node: (i32, i32), direction: (i32, i32)) -> Option<Vector2<f64>> {
        let (dx, dy) = direction;
        let behind = (node.0 - dx, node.1 - dy);
        let beside = [(dy, dx), (-dy, -dx)].into_iter().find_map(|(sx, sy)| {
            let side = (node.0 + sx, node.1 + sy);
            self.between(side, (side.0 + dx, side.1 + dy))
        });
        let Some(last) = self.between(behind, node) else { return beside };
        let Some(before) = self.between((behind.0 - dx, behind.1 - dy), behind) else {
            return Some(beside.unwrap_or(last));
        };
        // Perspective shrinks steps by nearly one factor.
        let change = (last.norm() / before.norm()).clamp(1.0 / STEP_CHANGE, STEP_CHANGE);
        Some(last * change)
    }

    /// The board's right and down at a node, from its own steps and the one just found.
    fn axes(
        &self,
        node: (i32, i32),
        direction: (i32, i32),
        step: Vector2<f64>,
    ) -> Option<(Vector2<f64>, Vector2<f64>)> {
        let own = |towards: (i32, i32)| {
            let ahead = (node.0 + towards.0, node.1 + towards.1);
            let behind = (node.0 - towards.0, node.1 - towards.1);
            self.between(node, ahead).or_else(|| self.between(behind, node))
        };
        let sign = f64::from(direction.0 + direction.1);
        if direction.0 == 0 { Some((own((1, 0))?, step * sign)) } else { Some((step * sign, own((0, 1))?)) }
    }

    fn bounds(&self) -> ((i32, i32), (i32, i32)) {
        let columns = self.nodes.keys().map(|node| node.0);
        let rows = self.nodes.keys().map(|node| node.1);
        (
            (columns.clone().min().unwrap_or(0), columns.max().unwrap_or(0)),
            (rows.clone().min().unwrap_or(0), rows.max().unwrap_or(0)),
        )
    }

    /// Columns and rows that it spans.
    pub(super) fn extent(&self) -> (usize, usize) {
        let (columns, rows) = self.bounds();
        ((columns.1 - columns.0 + 1) as usize, (rows.1 - rows.0 + 1) as usize)
    }

    /// The candidates row by row when the grid is whole, turned so that it has `columns` x `rows`; never mirrored.
    pub(super) fn ordered(&self, columns: usize, rows: usize) -> Option<Vec<usize>> {
        let (wide, high) = self.extent();
        if self.len() != columns * rows {
            return None;
        }
        let ((left, right), (top, bottom)) = self.bounds();
        let mut turns: Vec<Vec<(i32, i32)>> = Vec::new();
        if (wide, high) == (columns, rows) {
            let nodes: Vec<(i32, i32)> = (top..=bottom).flat_map(|y| (left..=right).map(move |x| (x, y))).collect();
            turns.push(nodes.iter().rev().copied().collect());
            turns.push(nodes);
        }
        if (high, wide) == (columns, rows) {
            // A quarter turn: the new columns run down, the new rows to the left.
            let nodes: Vec<(i32, i32)> =
                (left..=right).rev().flat_map(|x| (top..=bottom).map(move |y| (x, y))).collect();
            turns.push(nodes.iter().rev().copied().collect());
            turns.push(nodes);
        }
        // The first corner is the one nearest the picture's upper left.
        let start = |nodes: &Vec<(i32, i32)>| {
            nodes.first().and_then(|node| self.places.get(node)).map_or(f64::MAX, |p| p.x + p.y)
        };
        let nodes = turns.into_iter().min_by(|a, b| start(a).total_cmp(&start(b)))?;
        nodes.iter().map(|node| self.nodes.get(node).copied()).collect()
    }

    /// Whether a neighbour that is missing would lie outside the picture.
    pub(super) fn runs_out(&self, corners: &[Corner], size: (f64, f64)) -> bool {
        /// Corners this near the border cannot be told, pixels.
        const BORDER: f64 = 9.0;
        let is_out = |place: Vector2<f64>| {
            place.x < BORDER || place.y < BORDER || place.x > size.0 - BORDER || place.y > size.1 - BORDER
        };
        self.nodes.iter().any(|(node, index)| {
            DIRECTIONS.into_iter().any(|direction| {
                let next = (node.0 + direction.0, node.1 + direction.1);
                !self.nodes.contains_key(&next)
                    && self.step(*node, direction).is_some_and(|step| is_out(corners[*index].place + step))
            })
        })
    }
}
