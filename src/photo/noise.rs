//! How noisy the photo is at each level of light, measured from the photo itself.
//!
//! **Takes** a [`LinearImage`]. **Gives** a [`NoiseCurve`]: standard deviation of one pixel's luminance against luminance,
//! both in parts of full scale.
//! **How**: in a subsample of small blocks, second differences along the row (a steady slope cancels in them) of pixels
//! so far apart that the camera's and the JPEG's smoothing does not link them. A block's spread comes from the mean
//! magnitude of its differences, the spread of a level is the median of its blocks. Blocks with clipped pixels are left out.
//! **Weak when** more than half of the blocks of a level are textured: texture then counts as noise. Neighbouring pixels
//! of a JPEG share noise, so a mean over n pixels is noisier than sigma/sqrt(n).

use super::image::{Photo, Pixels};
use super::linear::LinearImage;

/// Distance of the pixels in a difference: beyond the reach of demosaicing and of halved colour (2 pixels each).
const LAG_PX: usize = 4;
/// Side of a block.
const BLOCK_PX: usize = 8;
/// Pixels that a row of a block's differences is made of.
const LINE_PX: usize = BLOCK_PX + 2 * LAG_PX;
/// Blocks that are looked at, about; three times as many change the curve by some two percent.
const BLOCKS: usize = 4_000;
/// Bins of the square root of the level, on which shot noise is even.
const BINS: usize = 24;
/// A bin with fewer blocks tells nothing.
const MIN_BLOCKS: usize = 20;
/// Likewise one with less than this share of all blocks: levels that only occur on edges are rarer.
const MIN_SHARE: f64 = 0.01;
/// Variance of a second difference a - 2b + c of independent pixels, in variances of one.
const DIFFERENCE_VARIANCE: f32 = 6.0;
/// Mean magnitude of a Gaussian in standard deviations, sqrt(2/pi). (The median would jump with the whole codes that the
/// differences are made of.)
const MEAN_OF_MAGNITUDE: f32 = 0.797_885;
/// Variance of rounding to a step, in squares of the step.
const ROUNDING_VARIANCE: f64 = 1.0 / 12.0;

/// Standard deviation of a pixel's luminance at each level.
#[derive(Debug, Clone, PartialEq)]
pub struct NoiseCurve {
    /// (square root of the level, sigma), in rising order; never empty.
    knots: Vec<(f64, f64)>,
    /// Whether rounding to 8-bit codes sets a floor.
    rounds_to_8_bits: bool,
}

impl NoiseCurve {
    /// Measures the curve; `None` when no unclipped part of the photo is large enough.
    pub fn measure(image: &LinearImage<'_>) -> Option<Self> {
        let (width, height) = image.read_size();
        let reach = LINE_PX;
        if width < reach || height < BLOCK_PX {
            return None;
        }
        let step = (((width * height) as f64 / BLOCKS as f64).sqrt() as usize).max(BLOCK_PX);
        let mut bins: [Vec<(f32, f32)>; BINS] = std::array::from_fn(|_| Vec::new());
        for top in (0..=height - BLOCK_PX).step_by(step) {
            for left in (0..=width - reach).step_by(step) {
                if let Some((level, sigma)) = block_noise(image, left, top) {
                    let bin = (level.max(0.0).sqrt() * BINS as f32) as usize;
                    bins[bin.min(BINS - 1)].push((level.max(0.0).sqrt(), sigma));
                }
            }
        }
        let blocks: usize = bins.iter().map(Vec::len).sum();
        let enough = MIN_BLOCKS.max((MIN_SHARE * blocks as f64) as usize);
        let knots: Vec<_> = bins.iter_mut().filter(|bin| bin.len() >= enough).map(|bin| knot(bin)).collect();
        (!knots.is_empty()).then(|| Self { knots, rounds_to_8_bits: has_8_bits(image.photo()) })
    }

    /// Levels and the standard deviation measured there, rising.
    pub fn knots(&self) -> impl Iterator<Item = (f64, f64)> {
        self.knots.iter().map(|(root, sigma)| (root * root, *sigma))
    }

    /// Standard deviation of a pixel's luminance where the mean luminance is `level`. Beyond the levels that the photo
    /// holds, that of the nearest one.
    pub fn sigma_at(&self, level: f64) -> f64 {
        let root = level.max(0.0).sqrt();
        let above = self.knots.partition_point(|knot| knot.0 < root);
        let sigma = match (above.checked_sub(1).map(|below| self.knots[below]), self.knots.get(above)) {
            (Some(low), Some(high)) => low.1 + (root - low.0) / (high.0 - low.0) * (high.1 - low.1),
            (Some(only), None) => only.1,
            (None, Some(only)) => only.1,
            (None, None) => 0.0,
        };
        // A denoised dark part can be quite flat; rounding to a code still hides that much.
        sigma.max(if self.rounds_to_8_bits { ROUNDING_VARIANCE.sqrt() * code_step(level) } else { 0.0 })
    }
}

/// Light of one 8-bit code at a level: slope of the sRGB curve (IEC 61966-2-1).
fn code_step(level: f64) -> f64 {
    const LINEAR_BELOW: f64 = 0.003_130_8;
    let slope = if level <= LINEAR_BELOW { 1.0 / 12.92 } else { 2.4 / 1.055 * level.powf(1.4 / 2.4) };
    slope / 255.0
}

fn has_8_bits(photo: &Photo) -> bool {
    matches!(photo.pixels, Pixels::Gray8(_) | Pixels::Rgb8(_))
}

/// Mean level and spread of one block; `None` when a pixel of it is clipped.
fn block_noise(image: &LinearImage<'_>, left: usize, top: usize) -> Option<(f32, f32)> {
    let (mut sum, mut magnitude) = (0.0, 0.0);
    for row in 0..BLOCK_PX {
        let y = top + row;
        let line = image.unclipped::<LINE_PX>(left, y)?;
        for column in 0..BLOCK_PX {
            let (before, at, after) = (line[column], line[column + LAG_PX], line[column + 2 * LAG_PX]);
            sum += at;
            magnitude += (before - 2.0 * at + after).abs();
        }
    }
    let count = (BLOCK_PX * BLOCK_PX) as f32;
    Some((sum / count, magnitude / (count * MEAN_OF_MAGNITUDE * DIFFERENCE_VARIANCE.sqrt())))
}

/// Mean root of the level and median spread of a bin's blocks.
fn knot(bin: &mut [(f32, f32)]) -> (f64, f64) {
    let middle = bin.len() / 2;
    let root = bin.iter().map(|block| f64::from(block.0)).sum::<f64>() / bin.len() as f64;
    let (_, median, _) = bin.select_nth_unstable_by(middle, |a, b| a.1.total_cmp(&b.1));
    (root, f64::from(median.1))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::photo::linear::{AmbientAlignment, srgb_to_linear};
    use crate::photo::testing::{Noise, photo_of};

    const WIDTH: usize = 640;
    const HEIGHT: usize = 480;

    /// Grey steps of 160 pixels, on a slope, with Gaussian noise of a known number of codes.
    fn stepped(codes: [f64; 4], sigma_codes: f64, seed: u64) -> Photo {
        let mut noise = Noise(seed);
        photo_of(WIDTH, HEIGHT, |x, y| {
            let code = codes[x / 160] + y as f64 * 0.01 + sigma_codes * noise.gauss();
            code.round().clamp(0.0, 255.0) as u8
        })
    }

    /// Truth: noise of the codes and of rounding, through the slope of the sRGB curve. Tolerance 8 %: a bin has some
    /// hundred blocks of 64 linked differences, and the slope of the curve changes across the noise.
    #[test]
    fn the_noise_that_was_put_in_is_found_at_each_level() {
        let codes = [40.0, 90.0, 150.0, 220.0];
        for sigma_codes in [1.5, 4.0] {
            let photo = stepped(codes, sigma_codes, 11);
            let curve = NoiseCurve::measure(&LinearImage::new(&photo)).unwrap();
            for code in codes {
                let level = f64::from(srgb_to_linear(code as f32 + 2.4));
                let wanted = (sigma_codes * sigma_codes + ROUNDING_VARIANCE).sqrt() * code_step(level);
                let found = curve.sigma_at(level);
                assert!((found / wanted - 1.0).abs() < 0.08, "code {code}: {found} against {wanted}");
            }
        }
    }

    #[test]
    fn an_ambient_photo_adds_its_noise() {
        let (lamp, dark) = (stepped([120.0; 4], 3.0, 1), stepped([120.0; 4], 3.0, 2));
        let single = NoiseCurve::measure(&LinearImage::new(&lamp)).unwrap();
        let image = LinearImage::with_ambient(&lamp, &dark, &AmbientAlignment::default());
        let ratio = NoiseCurve::measure(&image).unwrap().sigma_at(0.0) / single.sigma_at(0.19);
        assert!((ratio / std::f64::consts::SQRT_2 - 1.0).abs() < 0.08, "{ratio}");
    }

    #[test]
    fn clipped_parts_say_nothing_and_flat_ones_keep_the_rounding() {
        assert_eq!(NoiseCurve::measure(&LinearImage::new(&photo_of(WIDTH, HEIGHT, |_, _| 255))), None);
        assert_eq!(NoiseCurve::measure(&LinearImage::new(&photo_of(4, 4, |_, _| 90))), None);
        let flat = photo_of(WIDTH, HEIGHT, |x, _| if x < 320 { 90 } else { 254 });
        let curve = NoiseCurve::measure(&LinearImage::new(&flat)).unwrap();
        let level = f64::from(srgb_to_linear(90.0));
        assert!((curve.sigma_at(level) - ROUNDING_VARIANCE.sqrt() * code_step(level)).abs() < 1e-12);
    }

    /// Edges cross a twelfth of the blocks; the median moves by less than a tenth, and levels that only edges have are
    /// not made knots.
    #[test]
    fn edges_do_not_count_as_noise() {
        let plain = stepped([100.0; 4], 2.0, 5);
        let mut noise = Noise(5);
        let crossed = photo_of(WIDTH, HEIGHT, |x, y| {
            let code = if x % 320 < 3 || y % 240 < 2 { 30.0 } else { 100.0 + y as f64 * 0.01 };
            (code + 2.0 * noise.gauss()).round().clamp(0.0, 255.0) as u8
        });
        let sigma = |photo: &Photo| NoiseCurve::measure(&LinearImage::new(photo)).unwrap().sigma_at(0.13);
        let ratio = sigma(&crossed) / sigma(&plain);
        assert!((ratio - 1.0).abs() < 0.1, "{ratio}");
    }
}
