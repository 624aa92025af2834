//! A small part of the photo at full resolution, ready for fitting.
//!
//! **Takes** the photo and a box in it. **Gives** luma codes with their places; large marks are averaged over small
//! blocks in linear light, as they hold more pixels than a fit needs.

use super::shrink::luma;
use crate::photo::LinearImage;
use crate::photo::linear::linear_to_srgb;
use crate::units::PxPoint;

/// A rectangle of (averaged) pixels.
#[derive(Debug, Clone)]
pub(super) struct Patch {
    /// Columns.
    pub(super) width: usize,
    /// Rows.
    pub(super) height: usize,
    /// Encoded luma, 0..=255, rows from the top.
    pub(super) codes: Vec<f32>,
    /// Whether the light was at least what the code says, but not known beyond.
    pub(super) clipped: Vec<bool>,
    /// The photo's place of the outer corner of the first sample.
    pub(super) origin: PxPoint,
    /// Side of a sample in pixels of the photo.
    pub(super) block: usize,
}

impl Patch {
    /// The samples of the box from `low` to `high`, cut to the photo; `None` when nothing is left.
    pub(super) fn cut(image: &LinearImage, low: PxPoint, high: PxPoint, block: usize) -> Option<Self> {
        let photo = image.photo();
        let block = block.max(1);
        if !(low.x.is_finite() && low.y.is_finite() && high.x.is_finite() && high.y.is_finite()) {
            return None;
        }
        let (left, top) = (low.x.floor().max(0.0) as usize, low.y.floor().max(0.0) as usize);
        let right = (high.x.ceil().max(0.0) as usize).min(photo.width());
        let bottom = (high.y.ceil().max(0.0) as usize).min(photo.height());
        let width = right.saturating_sub(left) / block;
        let height = bottom.saturating_sub(top) / block;
        if width == 0 || height == 0 {
            return None;
        }
        let mut codes = Vec::with_capacity(width * height);
        let mut clipped = Vec::with_capacity(width * height);
        for row in 0..height {
            for column in 0..width {
                let (code, is_clipped) = sample(image, left + column * block, top + row * block, block);
                codes.push(code);
                clipped.push(is_clipped);
            }
        }
        Some(Self { width, height, codes, clipped, origin: PxPoint::new(left as f64, top as f64), block })
    }

    /// The photo's place of a sample's centre.
    pub(super) fn centre_of(&self, column: usize, row: usize) -> PxPoint {
        let block = self.block as f64;
        PxPoint::new(self.origin.x + (column as f64 + 0.5) * block, self.origin.y + (row as f64 + 0.5) * block)
    }
}

fn sample(image: &LinearImage, left: usize, top: usize, block: usize) -> (f32, bool) {
    if block == 1 {
        return (luma(image.photo(), left, top), image.is_clipped(left, top));
    }
    let mut light = 0.0;
    let mut is_clipped = false;
    for y in top..top + block {
        for x in left..left + block {
            light += image.level_of_code(luma(image.photo(), x, y).clamp(0.0, 255.0));
            is_clipped |= image.is_clipped(x, y);
        }
    }
    (linear_to_srgb(light / (block * block) as f32), is_clipped)
}

/// Light at a place of the photo by bilinear weights; `None` outside.
pub(super) fn light_at(image: &LinearImage, place: PxPoint) -> Option<f64> {
    let photo = image.photo();
    let (x, y) = (place.x - 0.5, place.y - 0.5);
    if !(x >= 0.0 && y >= 0.0) {
        return None;
    }
    let (column, row) = (x as usize, y as usize);
    if column + 1 >= photo.width() || row + 1 >= photo.height() {
        return None;
    }
    let (fx, fy) = (x - column as f64, y - row as f64);
    let light =
        |dx: usize, dy: usize| f64::from(image.level_of_code(luma(photo, column + dx, row + dy).clamp(0.0, 255.0)));
    let upper = light(0, 0) * (1.0 - fx) + light(1, 0) * fx;
    let lower = light(0, 1) * (1.0 - fx) + light(1, 1) * fx;
    Some(upper * (1.0 - fy) + lower * fy)
}
