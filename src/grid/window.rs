//! Means of light over small footprints in the photo.
//!
//! **Takes** the linear photo, then box after box of it. **Gives** the mean light and the share of clipped samples of any
//! footprint inside the box. **How**: neighbouring footprints read the same pixels many times, so a box is turned into
//! light once, four numbers a pixel; bilinear samples about one pixel apart are then read from there.

use crate::photo::LinearImage;
use crate::units::PxPoint;

/// Pixels along the photo's edge that are left out.
const PHOTO_MARGIN_PX: f64 = 2.0;
/// Pixels around a box that footprints within it reach: half a cell and the neighbour that a sample is mixed with.
const REACH_PX: f64 = 12.0;
/// Pixels that are turned into light at once at most (4 MiB); a larger box is read pixel by pixel.
const LARGEST_BOX: usize = 1 << 18;

/// A parallelogram in the photo.
#[derive(Debug, Clone, Copy)]
pub(super) struct Footprint {
    /// Its middle.
    pub(super) place: PxPoint,
    /// Its two sides.
    pub(super) along_h: PxPoint,
    pub(super) along_v: PxPoint,
}

/// A part of the photo as light.
pub(super) struct LightWindow<'a> {
    image: &'a LinearImage<'a>,
    left: usize,
    top: usize,
    width: usize,
    height: usize,
    /// Red, green, blue, and 1 where clipped; rows from the top.
    light: Vec<[f32; 4]>,
}

impl<'a> LightWindow<'a> {
    pub(super) fn new(image: &'a LinearImage<'a>) -> Self {
        Self { image, left: 0, top: 0, width: 0, height: 0, light: Vec::new() }
    }

    /// Moves to another box, given by two corners.
    pub(super) fn load(&mut self, corners: Option<(PxPoint, PxPoint)>) {
        self.light.clear();
        (self.width, self.height) = (0, 0);
        let Some((low, high)) = corners else { return };
        let (whole_width, whole_height) = (self.image.photo().width(), self.image.photo().height());
        let begin = |place: f64| (place - REACH_PX).max(0.0) as usize;
        let end = |place: f64, size: usize| ((place + REACH_PX).max(0.0) as usize).min(size);
        (self.left, self.top) = (begin(low.x), begin(low.y));
        let (right, bottom) = (end(high.x, whole_width), end(high.y, whole_height));
        let (width, height) = (right.saturating_sub(self.left), bottom.saturating_sub(self.top));
        if width * height > LARGEST_BOX {
            return;
        }
        (self.width, self.height) = (width, height);
        self.light.reserve(width * height);
        for y in self.top..bottom.max(self.top) {
            self.image.append_row(self.left..right.max(self.left), y, &mut self.light);
        }
    }

    /// Mean light over a footprint and the share of clipped samples; `None` outside the photo.
    pub(super) fn mean(&self, footprint: &Footprint) -> Option<([f32; 3], f32)> {
        let lattice = Lattice::over(footprint);
        let (width, height) = (self.image.photo().width() as f64, self.image.photo().height() as f64);
        let (low, high) = lattice.bounds();
        let is_inside = low.x > PHOTO_MARGIN_PX
            && low.y > PHOTO_MARGIN_PX
            && high.x < width - PHOTO_MARGIN_PX
            && high.y < height - PHOTO_MARGIN_PX;
        if !is_inside {
            return None;
        }
        let sum = if self.holds(low, high) { self.sum_loaded(&lattice) } else { self.sum_unloaded(&lattice) };
        let samples = (lattice.count_h * lattice.count_v) as f32;
        Some(([sum[0] / samples, sum[1] / samples, sum[2] / samples], sum[3] / samples))
    }

    /// Whether the box holds all neighbours of all samples between two places.
    fn holds(&self, low: PxPoint, high: PxPoint) -> bool {
        let (left, top) = (self.left as f64 + HALF_PX, self.top as f64 + HALF_PX);
        let (columns, rows) = (self.width as f64 - 1.0, self.height as f64 - 1.0);
        low.x >= left && low.y >= top && high.x < left + columns && high.y < top + rows
    }

    /// Sum of the samples, all of which the box holds.
    fn sum_loaded(&self, lattice: &Lattice) -> [f32; 4] {
        let (left, top) = (self.left as f64 + HALF_PX, self.top as f64 + HALF_PX);
        let mut sum = [0.0; 4];
        lattice.each(|x, y| {
            let (x, y) = (x - left, y - top);
            // Truncation is the floor: places inside the box are positive. Signed 32-bit numbers convert fastest.
            let (column, row) = (x as i32, y as i32);
            let at = row as usize * self.width + column as usize;
            let (Some(&[p, q]), Some(&[r, s])) =
                (self.light[at..].first_chunk::<2>(), self.light[at + self.width..].first_chunk::<2>())
            else {
                return;
            };
            add(&[p, q, r, s], ((x - f64::from(column)) as f32, (y - f64::from(row)) as f32), &mut sum);
        });
        sum
    }

    /// Sum of the samples, read from the photo one by one.
    fn sum_unloaded(&self, lattice: &Lattice) -> [f32; 4] {
        let mut sum = [0.0; 4];
        lattice.each(|x, y| {
            let (x, y) = (x - HALF_PX, y - HALF_PX);
            let (left, top) = (x as usize, y as usize);
            let four = [(left, top), (left + 1, top), (left, top + 1), (left + 1, top + 1)]
                .map(|(x, y)| self.image.light_and_clipping(x, y));
            add(&four, ((x - left as f64) as f32, (y - top as f64) as f32), &mut sum);
        });
        sum
    }
}

/// From a pixel's corner to its middle.
const HALF_PX: f64 = 0.5;

/// Adds one bilinear sample between a pixel and its neighbours to the right, below, and both; clipped counts as the pixel
/// up and left, which is the bilinear sample with no share of the others.
#[inline]
fn add(&[p, q, r, s]: &[[f32; 4]; 4], (right, below): (f32, f32), sum: &mut [f32; 4]) {
    let (right, below) = ([right, right, right, 0.0], [below, below, below, 0.0]);
    for channel in 0..4 {
        let upper = p[channel] + right[channel] * (q[channel] - p[channel]);
        let lower = r[channel] + right[channel] * (s[channel] - r[channel]);
        sum[channel] += upper + below[channel] * (lower - upper);
    }
}

/// Places about one pixel apart that fill a footprint evenly.
struct Lattice {
    first: PxPoint,
    step_h: PxPoint,
    step_v: PxPoint,
    count_h: usize,
    count_v: usize,
}

impl Lattice {
    fn over(footprint: &Footprint) -> Self {
        let Footprint { place, along_h, along_v } = footprint;
        let count = |side: &PxPoint| (side.x * side.x + side.y * side.y).sqrt().ceil().max(1.0);
        let (count_h, count_v) = (count(along_h), count(along_v));
        let (step_h, step_v) = (
            PxPoint::new(along_h.x / count_h, along_h.y / count_h),
            PxPoint::new(along_v.x / count_v, along_v.y / count_v),
        );
        let (before_h, before_v) = (0.5 * (count_h - 1.0), 0.5 * (count_v - 1.0));
        let first = PxPoint::new(
            place.x - before_h * step_h.x - before_v * step_v.x,
            place.y - before_h * step_h.y - before_v * step_v.y,
        );
        Self { first, step_h, step_v, count_h: count_h as usize, count_v: count_v as usize }
    }

    /// The least and the greatest coordinates of all places.
    fn bounds(&self) -> (PxPoint, PxPoint) {
        let (last_h, last_v) = ((self.count_h - 1) as f64, (self.count_v - 1) as f64);
        let span = |first: f64, by_h: f64, by_v: f64| {
            (first + by_h.min(0.0) + by_v.min(0.0), first + by_h.max(0.0) + by_v.max(0.0))
        };
        let (left, right) = span(self.first.x, last_h * self.step_h.x, last_v * self.step_v.x);
        let (top, bottom) = span(self.first.y, last_h * self.step_h.y, last_v * self.step_v.y);
        (PxPoint::new(left, top), PxPoint::new(right, bottom))
    }

    #[inline]
    fn each(&self, mut visit: impl FnMut(f64, f64)) {
        for b in 0..self.count_v as i32 {
            let b = f64::from(b);
            let (x, y) = (self.first.x + b * self.step_v.x, self.first.y + b * self.step_v.y);
            for a in 0..self.count_h as i32 {
                let a = f64::from(a);
                visit(x + a * self.step_h.x, y + a * self.step_h.y);
            }
        }
    }
}
