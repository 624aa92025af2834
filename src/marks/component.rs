//! Connected dark shapes and their convex hulls.
//!
//! **Takes** runs of dark blocks. **Gives** per shape its hull, in blocks (outer corner of the first block at 0).
//! **How**: union-find over runs that touch, also corner to corner; a hull needs only the ends of each row's runs.

use super::threshold::Run;
use crate::units::PxPoint;

/// Least side of a shape's bounding box in blocks: a tag of 24 px, seen at 60 degrees, in blocks of 2 px.
const MIN_SIDE: u32 = 5;
/// Least sum of the two sides of the bounding box in blocks; keeps specks of noise out.
const MIN_SIDES_SUM: u32 = 14;

/// One connected dark shape.
#[derive(Debug, Clone)]
pub(super) struct Shape {
    /// Convex hull, clockwise in the picture (y down), no three points in line.
    pub(super) hull: Vec<PxPoint>,
    /// Dark blocks.
    pub(super) area: f64,
}

/// Shapes that are large enough to be a mark.
pub(super) fn shapes(runs: &[Run]) -> Vec<Shape> {
    let labels = label(runs);
    let boxes = bounding_boxes(runs, &labels);
    let mut members: Vec<(u32, u32)> = labels
        .iter()
        .enumerate()
        .filter(|&(_, &root)| boxes[root as usize].is_large())
        .map(|(run, &root)| (root, run as u32))
        .collect();
    members.sort_unstable();
    members
        .chunk_by(|a, b| a.0 == b.0)
        .map(|group| {
            let own: Vec<Run> = group.iter().map(|&(_, run)| runs[run as usize]).collect();
            Shape { hull: hull_of_runs(&own), area: own.iter().map(|run| f64::from(run.end - run.start)).sum() }
        })
        .collect()
}

/// The root run of each run's shape.
fn label(runs: &[Run]) -> Vec<u32> {
    let mut parent: Vec<u32> = (0..runs.len() as u32).collect();
    let mut above = 0;
    for this in 0..runs.len() {
        let run = runs[this];
        while above < this
            && (runs[above].row + 1 < run.row || (runs[above].row + 1 == run.row && runs[above].end < run.start))
        {
            above += 1;
        }
        let mut other = above;
        while other < this && runs[other].row + 1 == run.row && runs[other].start <= run.end {
            let (a, b) = (root(&mut parent, other as u32), root(&mut parent, this as u32));
            parent[a.max(b) as usize] = a.min(b);
            other += 1;
        }
    }
    (0..runs.len() as u32).map(|run| root(&mut parent, run)).collect()
}

fn root(parent: &mut [u32], mut run: u32) -> u32 {
    while parent[run as usize] != run {
        let next = parent[run as usize];
        parent[run as usize] = parent[next as usize];
        run = next;
    }
    run
}

#[derive(Debug, Clone, Copy)]
struct Bounds {
    left: u32,
    right: u32,
    top: u32,
    bottom: u32,
}

impl Bounds {
    const EMPTY: Self = Self { left: u32::MAX, right: 0, top: u32::MAX, bottom: 0 };

    fn is_large(&self) -> bool {
        let (width, height) = (self.right.saturating_sub(self.left), (self.bottom + 1).saturating_sub(self.top));
        width.min(height) >= MIN_SIDE && width + height >= MIN_SIDES_SUM
    }
}

/// Bounding box per root run (other entries stay empty).
fn bounding_boxes(runs: &[Run], labels: &[u32]) -> Vec<Bounds> {
    let mut boxes = vec![Bounds::EMPTY; runs.len()];
    for (run, &root) in runs.iter().zip(labels) {
        let bounds = &mut boxes[root as usize];
        bounds.left = bounds.left.min(run.start);
        bounds.right = bounds.right.max(run.end);
        bounds.top = bounds.top.min(run.row);
        bounds.bottom = bounds.bottom.max(run.row);
    }
    boxes
}

/// Hull of one shape's runs, which come row by row.
fn hull_of_runs(runs: &[Run]) -> Vec<PxPoint> {
    let mut points = Vec::new();
    for row in runs.chunk_by(|a, b| a.row == b.row) {
        let left = f64::from(row.iter().map(|run| run.start).min().unwrap_or(0));
        let right = f64::from(row.iter().map(|run| run.end).max().unwrap_or(0));
        let top = f64::from(row[0].row);
        points.extend([
            PxPoint::new(left, top),
            PxPoint::new(right, top),
            PxPoint::new(left, top + 1.0),
            PxPoint::new(right, top + 1.0),
        ]);
    }
    convex_hull(points)
}

/// Twice the signed area of the triangle a, b, c: positive when it turns clockwise in the picture (y down).
pub(super) fn turn(a: PxPoint, b: PxPoint, c: PxPoint) -> f64 {
    (b.x - a.x) * (c.y - a.y) - (b.y - a.y) * (c.x - a.x)
}

/// Convex hull by the monotone chain of Andrew (1979).
pub(super) fn convex_hull(mut points: Vec<PxPoint>) -> Vec<PxPoint> {
    points.sort_unstable_by(|a, b| a.x.total_cmp(&b.x).then(a.y.total_cmp(&b.y)));
    points.dedup();
    if points.len() < 3 {
        return points;
    }
    let mut hull = half_hull(points.iter().copied());
    hull.pop();
    let mut back = half_hull(points.iter().rev().copied());
    back.pop();
    hull.append(&mut back);
    hull
}

fn half_hull(points: impl Iterator<Item = PxPoint>) -> Vec<PxPoint> {
    let mut chain: Vec<PxPoint> = Vec::new();
    for point in points {
        while let [.., a, b] = chain[..] {
            if turn(a, b, point) > 0.0 {
                break;
            }
            chain.pop();
        }
        chain.push(point);
    }
    chain
}

/// Area of a polygon, positive when it runs clockwise in the picture.
pub(super) fn area(polygon: &[PxPoint]) -> f64 {
    let pairs = polygon.iter().zip(polygon.iter().cycle().skip(1));
    0.5 * pairs.map(|(a, b)| a.x * b.y - a.y * b.x).sum::<f64>()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(row: u32, start: u32, end: u32) -> Run {
        Run { row, start, end }
    }

    #[test]
    fn a_u_shape_is_one_shape_and_its_hull_is_the_box() {
        let mut runs: Vec<Run> = (0..9).flat_map(|row| [run(row, 2, 4), run(row, 8, 10)]).collect();
        runs.push(run(9, 2, 10));
        let found = shapes(&runs);
        assert_eq!(found.len(), 1);
        assert!((area(&found[0].hull) - 80.0).abs() < 1e-9);
        assert!((found[0].area - 44.0).abs() < 1e-9);
        assert_eq!(found[0].hull.len(), 4);
    }

    #[test]
    fn shapes_that_touch_at_a_corner_are_one_and_specks_are_dropped() {
        let mut runs: Vec<Run> = (0..8).map(|row| run(row, 0, 8)).collect();
        runs.extend((8..16).map(|row| run(row, 8, 16)));
        runs.push(run(18, 1, 3));
        let found = shapes(&runs);
        assert_eq!(found.len(), 1);
        assert!((found[0].area - 128.0).abs() < 1e-9);
    }
}
