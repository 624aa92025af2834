//! A small grey picture to search in: the photo averaged over square blocks of pixels.
//!
//! **Takes** the photo and the block's side in pixels. **Gives** [`Grey`]: upright, encoded luma in steps of 1/16 code.
//! **How**: sums run along the stored rows, so memory is read once and in order; the small picture alone is turned
//! upright. Luma is that of BT.601, which JFIF uses: JPEG halves the resolution of colour but not of luma.

use crate::photo::linear::light_code;
use crate::photo::{Photo, Pixels};
use crate::units::PxPoint;
use rayon::prelude::*;
use std::array::from_fn;
use std::ops::AddAssign;

/// Luma weights of red, green and blue (ITU-R BT.601, used by JFIF).
const LUMA: [f32; 3] = [0.299, 0.587, 0.114];
/// Units of [`Grey::levels`] in one 8-bit code.
pub(super) const UNITS_PER_CODE: u16 = 16;
/// Largest block: a column of it then adds up in 16 bits.
const MAX_BLOCK: usize = 256;
/// Side of the tiles in which the small picture is turned: both its reads and its writes then stay in cache.
const TURN_TILE: usize = 32;

/// An upright grey picture made of averaged blocks of a photo.
#[derive(Debug, Clone)]
pub(super) struct Grey {
    /// Columns.
    pub(super) width: usize,
    /// Rows.
    pub(super) height: usize,
    /// Luma of each block in units of 1/16 code, rows from the top.
    pub(super) levels: Vec<u16>,
    /// Side of a block in pixels of the photo.
    pub(super) block: usize,
    /// The photo's place of the outer corner of the first block.
    pub(super) origin: PxPoint,
}

impl Grey {
    /// The whole photo in blocks of `block` x `block` pixels; a last part block is left out.
    pub(super) fn of(photo: &Photo, block: usize) -> Self {
        let block = block.clamp(1, MAX_BLOCK);
        let (columns, rows) = (photo.stored_width / block, photo.stored_height / block);
        let stored = sum_blocks(photo, block, columns, rows);
        let is_turned = photo.orientation >= 5 && photo.orientation <= 8;
        let (width, height) = if is_turned { (rows, columns) } else { (columns, rows) };
        let spare_x = photo.width() - width * block;
        let spare_y = photo.height() - height * block;
        let origin = PxPoint::new(
            if photo.upright.step_x < 0 { spare_x as f64 } else { 0.0 },
            if photo.upright.step_y < 0 { spare_y as f64 } else { 0.0 },
        );
        Self { width, height, levels: turn_upright(stored, columns, rows, photo.orientation), block, origin }
    }

    /// A window of the photo, pixel by pixel; the window is cut to the photo.
    pub(super) fn window(photo: &Photo, left: usize, top: usize, width: usize, height: usize) -> Self {
        let width = width.min(photo.width().saturating_sub(left));
        let height = height.min(photo.height().saturating_sub(top));
        let mut levels = Vec::with_capacity(width * height);
        for y in top..top + height {
            levels.extend((left..left + width).map(|x| (luma(photo, x, y) * f32::from(UNITS_PER_CODE)) as u16));
        }
        Self { width, height, levels, block: 1, origin: PxPoint::new(left as f64, top as f64) }
    }

    /// The picture in blocks of twice the side; a last part block is left out.
    pub(super) fn halved(&self) -> Self {
        let (width, height) = (self.width / 2, self.height / 2);
        let mut levels = Vec::with_capacity(width * height);
        for y in 0..height {
            let row = |k: usize| self.levels[k * self.width..(k + 1) * self.width].as_chunks::<2>().0;
            levels.extend(row(2 * y).iter().zip(row(2 * y + 1)).map(|(a, b)| (a[0] + a[1] + b[0] + b[1]) / 4));
        }
        Self { width, height, levels, block: 2 * self.block, origin: self.origin }
    }

    /// The photo's place of a place in this picture (in blocks, outer corner of the first at 0).
    pub(super) fn to_photo(&self, place: PxPoint) -> PxPoint {
        let block = self.block as f64;
        PxPoint::new(self.origin.x + place.x * block, self.origin.y + place.y * block)
    }

    /// The level between block centres, in units; `None` outside.
    pub(super) fn sample(&self, x: f64, y: f64) -> Option<f64> {
        let (x, y) = (x - 0.5, y - 0.5);
        if !(x >= 0.0 && y >= 0.0) {
            return None;
        }
        let (column, row) = (x as usize, y as usize);
        if column + 1 >= self.width || row + 1 >= self.height {
            return None;
        }
        let (fx, fy) = (x - column as f64, y - row as f64);
        let at = row * self.width + column;
        let upper = f64::from(self.levels[at]) * (1.0 - fx) + f64::from(self.levels[at + 1]) * fx;
        let below = at + self.width;
        let lower = f64::from(self.levels[below]) * (1.0 - fx) + f64::from(self.levels[below + 1]) * fx;
        Some(upper * (1.0 - fy) + lower * fy)
    }

    /// The picture blurred by the 3 x 3 binomial kernel: noise falls to 3/8.
    pub(super) fn smoothed(&self) -> Self {
        let (w, h) = (self.width, self.height);
        if w < 3 || h < 3 {
            return self.clone();
        }
        let row = |k: usize| &self.levels[k * w..(k + 1) * w];
        let mut levels = Vec::with_capacity(w * h);
        let mut columns = vec![0u16; w];
        levels.extend_from_slice(row(0));
        for y in 1..h - 1 {
            for (sum, ((&a, &b), &c)) in columns.iter_mut().zip(row(y - 1).iter().zip(row(y)).zip(row(y + 1))) {
                *sum = a + 2 * b + c;
            }
            levels.push(row(y)[0]);
            levels.extend(columns.windows(3).map(|three| (three[0] + 2 * three[1] + three[2]) / 16));
            levels.push(row(y)[w - 1]);
        }
        levels.extend_from_slice(row(h - 1));
        Self { levels, ..*self }
    }
}

/// Luma of upright pixel (x, y) as an encoded code, 0..=255.
pub(super) fn luma(photo: &Photo, x: usize, y: usize) -> f32 {
    let rgb = photo.rgb_code(x, y);
    LUMA[0] * rgb[0] + LUMA[1] * rgb[1] + LUMA[2] * rgb[2]
}

fn sum_blocks(photo: &Photo, block: usize, columns: usize, rows: usize) -> Vec<u16> {
    const UNITS_16_BIT: f32 = 257.0;
    let shape = Shape { stride: photo.stored_width, block, columns, rows };
    let scale = f32::from(UNITS_PER_CODE) / (block * block) as f32;
    // Whole numbers are faster than floats where the sums are short; weights of 16 fraction bits lose under 0.1 %.
    let fixed = LUMA.map(|weight| (weight * scale * FIXED_ONE).round() as u32);
    let rgb_8 = |s: [u32; 3]| ((fixed[0] * s[0] + fixed[1] * s[1] + fixed[2] * s[2]) >> FIXED_BITS) as u16;
    let weights = LUMA.map(|weight| weight * scale / UNITS_16_BIT);
    let rgb_16 = |s: [u32; 3]| (weights[0] * s[0] as f32 + weights[1] * s[1] as f32 + weights[2] * s[2] as f32) as u16;
    match &photo.pixels {
        Pixels::Gray8(samples) => shape.average::<u8, u16, 1>(samples, |[sum]| (scale * sum as f32) as u16),
        Pixels::Gray16(samples) => {
            shape.average::<u16, u32, 1>(samples, |[sum]| (scale / UNITS_16_BIT * sum as f32) as u16)
        }
        Pixels::Rgb8(samples) => shape.average::<u8, u16, 3>(samples, rgb_8),
        Pixels::Rgb16(samples) => shape.average::<u16, u32, 3>(samples, rgb_16),
        Pixels::Light(samples) => {
            let codes: Vec<u16> = samples.par_iter().map(|&light| (UNITS_16_BIT * light_code(light)) as u16).collect();
            shape.average::<u16, u32, 3>(&codes, rgb_16)
        }
    }
}

/// Fraction bits of the whole-number luma weights.
const FIXED_BITS: u32 = 16;
/// One, with that many fraction bits.
const FIXED_ONE: f32 = 65_536.0;

/// Rows of blocks that one thread adds up at a time.
const BAND_ROWS: usize = 64;

/// How the stored samples fall into blocks.
struct Shape {
    stride: usize,
    block: usize,
    columns: usize,
    rows: usize,
}

impl Shape {
    /// Adds up each block channel by channel and gives its level. `S` holds the sum of a block's column.
    fn average<T, S, const CHANNELS: usize>(
        &self,
        samples: &[T],
        level: impl Fn([u32; CHANNELS]) -> u16 + Sync,
    ) -> Vec<u16>
    where
        T: Copy + Into<S> + Sync,
        S: Copy + Default + AddAssign + Into<u32>,
    {
        let length = self.stride * CHANNELS;
        let used = self.columns * self.block * CHANNELS;
        let mut out = vec![0; self.columns * self.rows];
        // Bands of rows side by side; an empty picture has none.
        out.par_chunks_mut((self.columns * BAND_ROWS).max(1)).enumerate().for_each(|(band, out)| {
            let mut sums = vec![S::default(); used];
            for (line, out) in out.chunks_mut(self.columns).enumerate() {
                let row = band * BAND_ROWS + line;
                let samples_of = |y: usize| &samples[y * length..y * length + used];
                for (sum, &sample) in sums.iter_mut().zip(samples_of(row * self.block)) {
                    *sum = sample.into();
                }
                for y in row * self.block + 1..(row + 1) * self.block {
                    for (sum, &sample) in sums.iter_mut().zip(samples_of(y)) {
                        *sum += sample.into();
                    }
                }
                let (pixels, _) = sums.as_chunks::<CHANNELS>();
                // Blocks of two and four are the common cases; their fixed size lets the compiler unroll.
                match self.block {
                    2 => fill::<S, CHANNELS, 2>(out, pixels, &level),
                    4 => fill::<S, CHANNELS, 4>(out, pixels, &level),
                    block => {
                        for (out, block) in out.iter_mut().zip(pixels.chunks_exact(block)) {
                            *out = level(from_fn(|k| block.iter().map(|pixel| pixel[k].into()).sum()));
                        }
                    }
                }
            }
        });
        out
    }
}

/// The levels of a row of blocks from the sums of their columns.
fn fill<S, const CHANNELS: usize, const BLOCK: usize>(
    out: &mut [u16],
    columns: &[[S; CHANNELS]],
    level: &impl Fn([u32; CHANNELS]) -> u16,
) where
    S: Copy + Into<u32>,
{
    let (blocks, _) = columns.as_chunks::<BLOCK>();
    for (out, block) in out.iter_mut().zip(blocks) {
        let mut sums = [0u32; CHANNELS];
        for column in block {
            for (sum, part) in sums.iter_mut().zip(column.iter()) {
                *sum += (*part).into();
            }
        }
        *out = level(sums);
    }
}

fn turn_upright(stored: Vec<u16>, columns: usize, rows: usize, orientation: u8) -> Vec<u16> {
    let map = crate::photo::UprightMap::new(columns, rows, orientation);
    if orientation <= 1 || orientation > 8 {
        return stored;
    }
    let mut upright = vec![0; stored.len()];
    for top in (0..map.height).step_by(TURN_TILE) {
        for left in (0..map.width).step_by(TURN_TILE) {
            for y in top..(top + TURN_TILE).min(map.height) {
                for x in left..(left + TURN_TILE).min(map.width) {
                    upright[y * map.width + x] = stored[map.index(x, y)];
                }
            }
        }
    }
    upright
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::marks::testing::gray_photo;

    #[test]
    fn blocks_average_and_keep_their_place_in_every_orientation() {
        for orientation in 1..=8 {
            let photo = gray_photo(7, 5, orientation, |x, y| (10 * x + y) as f32);
            let grey = Grey::of(&photo, 2);
            for y in 0..grey.height {
                for x in 0..grey.width {
                    let (left, top) = (2 * x + grey.origin.x as usize, 2 * y + grey.origin.y as usize);
                    let mean = (0..4).map(|k| photo.green_code(left + k % 2, top + k / 2)).sum::<f32>() / 4.0;
                    let level = f32::from(grey.levels[y * grey.width + x]) / f32::from(UNITS_PER_CODE);
                    assert!((level - mean).abs() < 0.1, "orientation {orientation} at {x},{y}: {level} {mean}");
                }
            }
        }
    }

    #[test]
    fn a_picture_smaller_than_a_block_gives_an_empty_one() {
        let grey = Grey::of(&gray_photo(1, 1, 1, |_, _| 9.0), 2);
        assert_eq!((grey.width, grey.height, grey.levels.len()), (0, 0, 0));
    }
}
