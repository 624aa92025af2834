//! A tag sought by its own picture where the other marks say that it is: what remains readable in noise that hides its
//! outline.
//!
//! **Takes** a grey window, the tag's expected corners in it and its code. **Gives** the likeliest places, best first;
//! whether the tag is there is decided by its code (`decode`). **How**: the matched filter for white noise. The mean
//! over most of each of the field's 100 modules is compared with the drawn field by its correlation, both freed of their
//! plane, so that light which changes slowly across the tag does not count. All shifts are tried in steps of a fifth to
//! two fifths of a module, with the sizes and turns that the map leaves open; the best are moved uphill.

use super::decode::{FIELD_SIDE, is_field_white, square_to_photo};
use super::quad::Quad;
use super::shrink::Grey;
use super::tag_family::{SQUARE_SIDE, turned};
use crate::units::PxPoint;

/// Side of the mean over a module, in modules: pixels beyond it are blurred into its neighbours.
const BOX_SHARE: f64 = 0.7;
/// Step of the lattice on which all shifts are tried, modules; every other place of it is a shift.
const LATTICE: f64 = 0.2;
/// Correlation from which on a place is moved uphill. Noise over 100 modules correlates by 0.1; 0.4 is four times that.
const PROMISING: f64 = 0.4;
/// Places that are moved uphill at most, and their least distance in modules.
const MAX_PLACES: usize = 4;
const APART: f64 = 1.5;
/// Correlation at the top from which on a place is worth a reading. Over the 10^5 shifts, sizes and turns and after the
/// climb noise alone gets beyond 0.5 in one picture of six, beyond 0.6 in none of 24; at 0.6 a module still stands only
/// 0.75 of its noise off the middle, and a fifth of the code would be misread.
const WORTH_READING: f64 = 0.6;
/// First steps uphill: modules, share of the size, radians; halved this many times.
const CLIMB_STEPS: [f64; 4] = [0.2, 0.2, 0.03, 0.03];
const CLIMB_HALVINGS: usize = 3;
/// Rounds of steps at one size at most.
const MAX_ROUNDS: usize = 6;

const FIELD: usize = FIELD_SIDE * FIELD_SIDE;

/// How a tag may differ from what is expected.
#[derive(Debug, Clone, Copy)]
pub(super) struct Tolerance {
    /// Factors on the size.
    pub(super) sizes: &'static [f64],
    /// Turns, radians.
    pub(super) turns: &'static [f64],
}

/// A place that shows the tag's picture: corners in the window's blocks, clockwise.
#[derive(Debug, Clone, Copy)]
pub(super) struct Likely {
    pub(super) corners: Quad,
    pub(super) correlation: f64,
}

/// The likeliest places of a code in a window; `expected` are its corners there.
pub(super) fn likely_places(grey: &Grey, expected: &Quad, code: u64, tolerance: Tolerance) -> Vec<Likely> {
    let Some(shape) = Shape::of(expected) else { return Vec::new() };
    let boxes = Boxes::of(grey, (BOX_SHARE * shape.module).round().max(1.0) as usize);
    let drawings = [0, 1, 2, 3].map(|turns| drawing(turned(code, turns)));
    let mut places = Vec::new();
    let lattice = Lattice::of(&boxes, (LATTICE * shape.module).round().max(1.0) as usize);
    for &size in tolerance.sizes {
        for &turn in tolerance.turns {
            lattice.promising(&shape.steps(size, turn), &drawings, |place, score| {
                places.push((score, Pose { x: place.x, y: place.y, size, turn }));
            });
        }
    }
    places.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut kept: Vec<Pose> = Vec::new();
    for (_, pose) in places {
        let is_far = |other: &Pose| (other.x - pose.x).hypot(other.y - pose.y) > APART * shape.module;
        if kept.len() < MAX_PLACES && kept.iter().all(is_far) {
            kept.push(pose);
        }
    }
    let tops = kept.into_iter().map(|pose| climb(&boxes, &shape, &drawings, pose));
    let mut likely: Vec<Likely> = tops
        .filter(|(score, _)| *score >= WORTH_READING)
        .map(|(correlation, pose)| Likely { corners: shape.corners(pose), correlation })
        .collect();
    likely.sort_by(|a, b| b.correlation.total_cmp(&a.correlation));
    likely
}

/// A shift of the tag's middle, a factor on its size and a turn.
#[derive(Debug, Clone, Copy)]
struct Pose {
    x: f64,
    y: f64,
    size: f64,
    turn: f64,
}

/// The expected tag about its middle.
struct Shape {
    /// Side of a module, blocks.
    module: f64,
    /// Centres of the field's modules and the corners, from the middle.
    centres: [(f64, f64); FIELD],
    corners: [(f64, f64); 4],
}

impl Shape {
    fn of(expected: &Quad) -> Option<Self> {
        let map = square_to_photo(expected)?;
        let half = 0.5 * SQUARE_SIDE as f64;
        let middle = map.apply((half, half))?;
        let from_middle = |place: PxPoint| (place.x - middle.x, place.y - middle.y);
        let mut centres = [(0.0, 0.0); FIELD];
        for (k, centre) in centres.iter_mut().enumerate() {
            let (column, row) = ((k % FIELD_SIDE) as f64 - 0.5, (k / FIELD_SIDE) as f64 - 0.5);
            *centre = from_middle(map.apply((column, row))?);
        }
        let around: f64 = (0..4).map(|k| expected[k].distance(expected[(k + 1) % 4])).sum();
        let module = around / (4 * SQUARE_SIDE) as f64;
        (module >= 1.0 && module.is_finite()).then(|| Self { module, centres, corners: expected.map(from_middle) })
    }

    fn steps(&self, size: f64, turn: f64) -> [(f64, f64); FIELD] {
        self.centres.map(|place| turned_place(place, size, turn))
    }

    fn corners(&self, pose: Pose) -> Quad {
        self.corners.map(|place| {
            let (x, y) = turned_place(place, pose.size, pose.turn);
            PxPoint::new(pose.x + x, pose.y + y)
        })
    }
}

fn turned_place((x, y): (f64, f64), size: f64, turn: f64) -> (f64, f64) {
    let (sin, cos) = turn.sin_cos();
    (size * (x * cos - y * sin), size * (x * sin + y * cos))
}

/// The field's whiteness, freed of its plane and scaled to length 1.
fn drawing(code: u64) -> [f32; FIELD] {
    let mut white = [0.0f32; FIELD];
    for (k, value) in white.iter_mut().enumerate() {
        *value = f32::from(u8::from(is_field_white(code, k / FIELD_SIDE, k % FIELD_SIDE)));
    }
    let mut sums = Sums::default();
    for (k, &value) in white.iter().enumerate() {
        sums.add(k, value, &[[0.0; FIELD]; 4]);
    }
    let length = sums.rest().sqrt();
    for (k, value) in white.iter_mut().enumerate() {
        let (x, y) = cell(k);
        *value = (*value - sums.one / FIELD as f32 - (sums.x * x + sums.y * y) / SQUARES) / length;
    }
    white
}

/// Place of a cell of the field from its middle.
fn cell(k: usize) -> (f32, f32) {
    let middle = 0.5 * (FIELD_SIDE - 1) as f32;
    ((k % FIELD_SIDE) as f32 - middle, (k / FIELD_SIDE) as f32 - middle)
}

/// Sum of the squares of the cells' columns (or rows) from the middle: n²(n² - 1)/12 for n a side.
const SQUARES: f32 = (FIELD * (FIELD - 1)) as f32 / 12.0;

/// Sums over the field from which the correlation with four drawings follows.
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    one: f32,
    x: f32,
    y: f32,
    square: f32,
    drawn: [f32; 4],
}

impl Sums {
    fn add(&mut self, k: usize, value: f32, drawings: &[[f32; FIELD]; 4]) {
        let (x, y) = cell(k);
        self.one += value;
        self.x += value * x;
        self.y += value * y;
        self.square += value * value;
        for (sum, drawing) in self.drawn.iter_mut().zip(drawings) {
            *sum += value * drawing[k];
        }
    }

    /// Sum of squares less those of the plane.
    fn rest(&self) -> f32 {
        self.square - self.one * self.one / FIELD as f32 - (self.x * self.x + self.y * self.y) / SQUARES
    }

    /// Correlation with the drawing that suits best.
    fn correlation(&self) -> f64 {
        let best = self.drawn.into_iter().fold(0.0, f32::max);
        let rest = self.rest();
        // Rounding leaves the rest of a flat field slightly off 0; it correlates with nothing.
        if rest > LEAST_REST * self.square { f64::from(best / rest.sqrt()) } else { 0.0 }
    }
}

/// Part of the sum of squares that rounding of 32-bit floats may leave.
const LEAST_REST: f32 = 1e-5;

/// Sums over boxes of a picture in constant time.
struct Boxes {
    width: usize,
    height: usize,
    side: usize,
    /// Sum above and left of each place, rows of `width + 1`; it may wrap, differences do not.
    integral: Vec<u32>,
}

impl Boxes {
    fn of(grey: &Grey, side: usize) -> Self {
        let (width, height) = (grey.width, grey.height);
        let mut integral = vec![0u32; (width + 1) * (height + 1)];
        for y in 0..height {
            let (above, line) = integral.split_at_mut((y + 1) * (width + 1));
            let above = &above[y * (width + 1)..];
            let mut sum = 0u32;
            for ((out, upper), &level) in line[1..=width].iter_mut().zip(&above[1..]).zip(&grey.levels[y * width..]) {
                sum = sum.wrapping_add(u32::from(level));
                *out = sum.wrapping_add(*upper);
            }
        }
        Self { width, height, side, integral }
    }

    /// Mean level of the box whose first block is (x, y); it must lie inside.
    fn mean(&self, x: usize, y: usize) -> f32 {
        let at = |x: usize, y: usize| self.integral[y * (self.width + 1) + x];
        let (right, bottom) = (x + self.side, y + self.side);
        let sum = at(right, bottom).wrapping_sub(at(right, y)).wrapping_sub(at(x, bottom)).wrapping_add(at(x, y));
        sum as f32 / (self.side * self.side) as f32
    }

    /// Mean level of the box around a place; `None` when it leaves the picture.
    fn around(&self, x: f64, y: f64) -> Option<f32> {
        let half = 0.5 * self.side as f64;
        let (left, top) = ((x - half).round(), (y - half).round());
        let is_inside = left >= 0.0
            && top >= 0.0
            && left + self.side as f64 <= self.width as f64
            && top + self.side as f64 <= self.height as f64;
        is_inside.then(|| self.mean(left as usize, top as usize))
    }
}

/// Box means on a lattice, even and odd columns apart, so that every other place is read in one run.
struct Lattice {
    step: usize,
    /// Half the side of a box: from a box's first block to its middle.
    half: f64,
    /// Columns of each of the two planes.
    columns: usize,
    rows: usize,
    planes: [Vec<f32>; 2],
}

impl Lattice {
    fn of(boxes: &Boxes, step: usize) -> Self {
        let count = |size: usize| size.saturating_sub(boxes.side) / step;
        let (columns, rows) = (count(boxes.width) / 2, count(boxes.height));
        let plane = |parity: usize| {
            (0..rows).flat_map(move |row| {
                (0..columns).map(move |column| boxes.mean((2 * column + parity) * step, row * step))
            })
        };
        Self { step, half: 0.5 * boxes.side as f64, columns, rows, planes: [plane(0).collect(), plane(1).collect()] }
    }

    /// Tells every place of the middle at which the field correlates well.
    fn promising(&self, steps: &[(f64, f64); FIELD], drawings: &[[f32; FIELD]; 4], mut tell: impl FnMut(PxPoint, f64)) {
        let on_lattice = |t: f64| (t / self.step as f64).round() as isize;
        let cells: Vec<(isize, isize)> = steps.iter().map(|&(x, y)| (on_lattice(x), on_lattice(y))).collect();
        let reach = cells.iter().map(|cell| cell.0.abs().max(cell.1.abs())).max().unwrap_or(0) as usize;
        let margin = reach.div_ceil(2);
        let count = self.columns.saturating_sub(2 * margin + 1);
        let mut sums = vec![Sums::default(); count];
        for row in (reach..self.rows.saturating_sub(reach)).step_by(2) {
            sums.fill(Sums::default());
            for (k, &(right, down)) in cells.iter().enumerate() {
                let parity = right.rem_euclid(2);
                let first = (margin as isize + (right - parity) / 2) as usize;
                let line = (row as isize + down) as usize * self.columns + first;
                let values = &self.planes[parity as usize][line..line + count];
                for (sums, &value) in sums.iter_mut().zip(values) {
                    sums.add(k, value, drawings);
                }
            }
            for (place, sums) in sums.iter().enumerate() {
                let score = sums.correlation();
                if score >= PROMISING {
                    let at = |lattice: usize| (lattice * self.step) as f64 + self.half;
                    tell(PxPoint::new(at(2 * (place + margin)), at(row)), score);
                }
            }
        }
    }
}

/// Moves a pose to the top of the correlation.
fn climb(boxes: &Boxes, shape: &Shape, drawings: &[[f32; FIELD]; 4], start: Pose) -> (f64, Pose) {
    let score_of = |pose: &Pose| score(boxes, shape, drawings, pose);
    let (mut best, mut pose) = (score_of(&start), start);
    for halving in 0..=CLIMB_HALVINGS {
        let scale = 0.5f64.powi(halving as i32);
        for _ in 0..MAX_ROUNDS {
            let before = best;
            for (axis, step) in CLIMB_STEPS.iter().enumerate() {
                for sign in [-1.0, 1.0] {
                    let mut next = pose;
                    let step = sign * scale * step;
                    match axis {
                        0 => next.x += step * shape.module,
                        1 => next.y += step * shape.module,
                        2 => next.size *= 1.0 + step,
                        _ => next.turn += step,
                    }
                    let score = score_of(&next);
                    if score > best {
                        (best, pose) = (score, next);
                    }
                }
            }
            if best <= before {
                break;
            }
        }
    }
    (best, pose)
}

fn score(boxes: &Boxes, shape: &Shape, drawings: &[[f32; FIELD]; 4], pose: &Pose) -> f64 {
    let mut sums = Sums::default();
    for (k, &place) in shape.centres.iter().enumerate() {
        let (x, y) = turned_place(place, pose.size, pose.turn);
        let Some(value) = boxes.around(pose.x + x, pose.y + y) else { return 0.0 };
        sums.add(k, value, drawings);
    }
    sums.correlation()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::marks::tag_family::code_of;
    use crate::marks::testing::{gray_photo, hash_normal};
    use crate::photo::Photo;

    const UNSURE: Tolerance = Tolerance { sizes: &[0.93, 1.0, 1.07], turns: &[-0.08, 0.0, 0.08] };

    fn square(centre: (f64, f64), side: f64) -> Quad {
        let half = 0.5 * side;
        [(-half, -half), (half, -half), (half, half), (-half, half)]
            .map(|(x, y)| PxPoint::new(centre.0 + x, centre.1 + y))
    }

    /// A tag of 64 px of code `id` at (150, 120): noise of 14 codes on a contrast of 16.
    fn noisy(id: Option<u32>) -> Photo {
        gray_photo(300, 260, 1, |x, y| {
            let module = |t: usize, middle: f64| (t as f64 + 0.5 - middle + 40.0).div_euclid(8.0);
            let (column, row) = (module(x, 150.0), module(y, 120.0));
            let inside = (0.0..10.0).contains(&column) && (0.0..10.0).contains(&row);
            let code = id.and_then(code_of);
            let is_black = code.is_some_and(|code| inside && !is_field_white(code, row as usize, column as usize));
            (if is_black { 20.0 } else { 36.0 }) + 14.0 * hash_normal(x, y)
        })
    }

    #[test]
    fn a_tag_under_noise_is_found_from_a_place_that_is_far_off() {
        let (photo, code) = (noisy(Some(40)), code_of(40).unwrap());
        let found = likely_places(&Grey::of(&photo, 1), &square((190.0, 150.0), 60.0), code, UNSURE);
        for (found, truth) in found[0].corners.iter().zip(square((150.0, 120.0), 64.0)) {
            assert!(found.distance(truth) < 3.0, "{found:?} {truth:?}");
        }
        assert!(found[0].correlation > 0.8);
    }

    #[test]
    fn noise_alone_shows_nothing() {
        let code = code_of(40).unwrap();
        let found = likely_places(&Grey::of(&noisy(None), 1), &square((150.0, 120.0), 64.0), code, UNSURE);
        assert!(found.is_empty(), "{found:?}");
    }
}
