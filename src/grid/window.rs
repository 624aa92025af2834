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
        let Footprint { place, along_h, along_v } = footprint;
        let count = |side: &PxPoint| (side.x * side.x + side.y * side.y).sqrt().ceil().max(1.0) as usize;
        let (count_h, count_v) = (count(along_h), count(along_v));
        let (step_h, step_v) = (1.0 / count_h as f64, 1.0 / count_v as f64);
        let (width, height) = (self.image.photo().width() as f64, self.image.photo().height() as f64);
        let mut sum = [0.0f32; 4];
        for b in 0..count_v {
            let fb = (b as f64 + 0.5) * step_v - 0.5;
            for a in 0..count_h {
                let fa = (a as f64 + 0.5) * step_h - 0.5;
                let x = place.x + fa * along_h.x + fb * along_v.x;
                let y = place.y + fa * along_h.y + fb * along_v.y;
                let is_inside = x > PHOTO_MARGIN_PX
                    && y > PHOTO_MARGIN_PX
                    && x < width - PHOTO_MARGIN_PX
                    && y < height - PHOTO_MARGIN_PX;
                if !is_inside {
                    return None;
                }
                self.add(x - 0.5, y - 0.5, &mut sum);
            }
        }
        let samples = (count_h * count_v) as f32;
        Some(([sum[0] / samples, sum[1] / samples, sum[2] / samples], sum[3] / samples))
    }

    /// Adds one bilinear sample; clipped counts as the nearest pixel up and left.
    #[inline]
    fn add(&self, x: f64, y: f64, sum: &mut [f32; 4]) {
        // Truncation is the floor: places inside the photo are positive.
        let (left, top) = (x as usize, y as usize);
        let (fx, fy) = ((x - left as f64) as f32, (y - top as f64) as f32);
        let [p, q, r, s] = self.four(left, top);
        for channel in 0..3 {
            let upper = p[channel] + fx * (q[channel] - p[channel]);
            let lower = r[channel] + fx * (s[channel] - r[channel]);
            sum[channel] += upper + fy * (lower - upper);
        }
        sum[3] += p[3];
    }

    /// The pixel and its neighbours to the right, below, and both.
    #[inline]
    fn four(&self, x: usize, y: usize) -> [[f32; 4]; 4] {
        let (column, row) = (x.wrapping_sub(self.left), y.wrapping_sub(self.top));
        if column < self.width.saturating_sub(1) && row < self.height.saturating_sub(1) {
            let at = row * self.width + column;
            let (upper, lower) = (&self.light[at..at + 2], &self.light[at + self.width..at + self.width + 2]);
            return [upper[0], upper[1], lower[0], lower[1]];
        }
        [(x, y), (x + 1, y), (x, y + 1), (x + 1, y + 1)].map(|(x, y)| self.image.light_and_clipping(x, y))
    }
}
