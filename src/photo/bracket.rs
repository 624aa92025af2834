//! Photos of one still scene at several exposures, merged to one picture of light.
//!
//! **Takes** photos with their relative exposures and how each lies on the first among them ([`Frame`]), and the camera's
//! response. **Gives** a [`Photo`] of 16-bit samples, sRGB-encoded, in which full scale is that of the shortest exposure.
//! **How**: each photo's light over its exposure is a reading of the scene's; readings are averaged with the inverse of their
//! variance (M. Robertson, S. Borman and R. Stevenson, "Dynamic range improvement through multiple exposures", ICIP 1999),
//! which each photo tells itself ([`NoiseCurve`]). A sample's weight fades out before it is clipped, so that no seam is left
//! where a photo ends; the shortest exposure keeps its weight, and where it is clipped the result is.
//! **Weak when** the photos lie a fraction of a pixel apart: they are interpolated, which blurs a little.

use super::image::{Photo, Pixels};
use super::linear::{LinearImage, linear_to_srgb, srgb_to_linear};
use super::noise::NoiseCurve;
use super::pair::FoundShift;
use crate::units::PxPoint;
use rayon::prelude::*;

/// Codes between which a sample's weight fades out: sharpening and coding reach this far below clipped ones (own judgement).
const FADE: (f32, f32) = (205.0, 248.0);
/// Full scale of a 16-bit sample.
const FULL: f32 = 65_535.0;
/// Variance of a pixel where a photo does not tell its noise: 4,000 electrons at full scale, 3 of read noise.
const PHOTON_VARIANCE: f64 = 1.0 / 4_000.0;
const READ_VARIANCE: f64 = 5.6e-7;
/// Movements below this are none, pixels: interpolating would blur more than the movement does.
const STILL_PX: f64 = 0.12;

/// Where a place of one photo lies in another: a similarity, x' = ax - by + left, y' = bx + ay + top.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lie {
    a: f64,
    b: f64,
    left: f64,
    top: f64,
}

impl Lie {
    /// The photos lie on one another.
    pub const STILL: Self = Self { a: 1.0, b: 0.0, left: 0.0, top: 0.0 };

    /// From the first photo of a found movement to the second, or back.
    pub fn of(shift: &FoundShift, is_forward: bool) -> Self {
        let at = |x: f64| {
            let place = PxPoint::new(x, 0.0);
            if is_forward { shift.place_in_second(place) } else { shift.place_in_first(place) }
        };
        let (zero, one) = (at(0.0), at(1.0));
        Self { a: one.x - zero.x, b: one.y - zero.y, left: zero.x, top: zero.y }
    }

    /// First this, then `next`.
    #[must_use]
    pub fn then(&self, next: &Self) -> Self {
        let corner = next.place(PxPoint::new(self.left, self.top));
        Self {
            a: next.a * self.a - next.b * self.b,
            b: next.b * self.a + next.a * self.b,
            left: corner.x,
            top: corner.y,
        }
    }

    /// Where a place lies.
    pub fn place(&self, place: PxPoint) -> PxPoint {
        PxPoint::new(self.a * place.x - self.b * place.y + self.left, self.b * place.x + self.a * place.y + self.top)
    }

    /// The longest movement within a picture, which is at one of its corners; pixels.
    pub fn largest_px(&self, width: usize, height: usize) -> f64 {
        let corners = [(0, 0), (width, 0), (0, height), (width, height)];
        let moved = corners.map(|(x, y)| {
            let corner = PxPoint::new(x as f64, y as f64);
            self.place(corner).distance(corner)
        });
        moved.into_iter().fold(0.0, f64::max)
    }
}

/// One photo of the bracket.
#[derive(Debug, Clone, Copy)]
pub struct Frame<'a> {
    /// The photo.
    pub photo: &'a Photo,
    /// Its exposure over that of the shortest.
    pub exposure: f64,
    /// Where a place of the first frame lies in this photo.
    pub lie: Lie,
}

/// A frame, ready to be read.
struct Source<'a> {
    image: LinearImage<'a>,
    exposure: f32,
    lie: Lie,
    is_still: bool,
    /// Whether it is the shortest exposure.
    is_last_resort: bool,
    /// Inverse variance of scene light by a sample's code; none where it is clipped.
    weights: [f32; 256],
}

/// Merges frames to the picture of the first of them; `light_of` gives a sample's true light, 0..=1, for the light that sRGB reads.
pub fn merge(frames: &[Frame<'_>], light_of: &(dyn Fn(f32) -> f32 + Sync)) -> Option<Photo> {
    let base = frames.first()?.photo;
    let shortest = frames.iter().map(|frame| frame.exposure).fold(f64::MAX, f64::min);
    let sources: Vec<Source<'_>> =
        frames.par_iter().map(|frame| Source::new(frame, frame.exposure <= shortest, light_of)).collect();
    let (width, height) = (base.stored_width, base.stored_height);
    let mut samples = vec![0_u16; 3 * width * height];
    samples.par_chunks_exact_mut(3 * width).enumerate().for_each(|(row, line)| {
        for (column, pixel) in line.as_chunks_mut::<3>().0.iter_mut().enumerate() {
            let (x, y) = upright(base, column, row);
            *pixel = merged(&sources, x, y).map(encoded);
        }
    });
    Some(Photo { pixels: Pixels::Rgb16(samples), ..without_pixels(base) })
}

/// The same picture `gain` times as bright; what goes beyond full scale is clipped.
pub fn brightened(photo: &Photo, gain: f64) -> Photo {
    let table: Vec<u16> =
        (0..=u16::MAX).map(|sample| encoded(gain as f32 * srgb_to_linear(255.0 * f32::from(sample) / FULL))).collect();
    let pixels = match &photo.pixels {
        Pixels::Rgb16(samples) => Pixels::Rgb16(samples.par_iter().map(|sample| table[usize::from(*sample)]).collect()),
        other => other.clone(),
    };
    Photo { pixels, ..without_pixels(photo) }
}

fn without_pixels(photo: &Photo) -> Photo {
    Photo {
        file: photo.file.clone(),
        sha256: photo.sha256.clone(),
        pixels: Pixels::Gray8(Vec::new()),
        shot: photo.shot.clone(),
        flags: photo.flags.clone(),
        merged: photo.merged.clone(),
        ..*photo
    }
}

fn encoded(level: f32) -> u16 {
    (linear_to_srgb(level.clamp(0.0, 1.0)) / 255.0 * FULL + 0.5) as u16
}

/// Upright place of a stored pixel.
fn upright(photo: &Photo, column: usize, row: usize) -> (usize, usize) {
    let (right, bottom) = (photo.stored_width - 1 - column, photo.stored_height - 1 - row);
    let map = &photo.upright;
    if photo.orientation >= 5 && photo.orientation <= 8 {
        (if map.step_x > 0 { row } else { bottom }, if map.step_y > 0 { column } else { right })
    } else {
        (if map.step_x > 0 { column } else { right }, if map.step_y > 0 { row } else { bottom })
    }
}

impl<'a> Source<'a> {
    fn new(frame: &Frame<'a>, is_last_resort: bool, light_of: &(dyn Fn(f32) -> f32 + Sync)) -> Self {
        let image = LinearImage::new(frame.photo).through(light_of);
        let noise = NoiseCurve::measure(&image);
        let weights = std::array::from_fn(|code| {
            let level = f64::from(image.level_of_code(code as f32));
            let plain = PHOTON_VARIANCE * level + READ_VARIANCE;
            let variance =
                noise.as_ref().map_or(plain, |noise| noise.sigma_at(level).powi(2)).max(READ_VARIANCE / 10.0);
            let fade = if is_last_resort { 1.0 } else { ((FADE.1 - code as f32) / (FADE.1 - FADE.0)).clamp(0.0, 1.0) };
            fade * (frame.exposure.powi(2) / variance) as f32
        });
        let is_still = frame.lie.largest_px(frame.photo.width(), frame.photo.height()) < STILL_PX;
        Self { image, exposure: frame.exposure as f32, lie: frame.lie, is_still, is_last_resort, weights }
    }

    /// Scene light at a place of the base, and its weight; `None` beyond this photo's edge.
    fn read(&self, x: usize, y: usize) -> Option<([f32; 3], f32)> {
        if self.is_still {
            return Some(self.sample(x, y));
        }
        let place = self.lie.place(PxPoint::new(x as f64 + 0.5, y as f64 + 0.5));
        let (left, top) = (place.x - 0.5, place.y - 0.5);
        let photo = self.image.photo();
        let is_inside =
            left >= 0.0 && top >= 0.0 && left < photo.width() as f64 - 1.0 && top < photo.height() as f64 - 1.0;
        if !is_inside {
            return None;
        }
        let (column, row) = (left as usize, top as usize);
        let (fx, fy) = ((left - left.floor()) as f32, (top - top.floor()) as f32);
        let (mut light, mut least) = ([0.0; 3], f32::MAX);
        for (dx, dy, share) in
            [(0, 0, (1.0 - fx) * (1.0 - fy)), (1, 0, fx * (1.0 - fy)), (0, 1, (1.0 - fx) * fy), (1, 1, fx * fy)]
        {
            let (one, weight) = self.sample(column + dx, row + dy);
            for (sum, one) in light.iter_mut().zip(one) {
                *sum += share * one;
            }
            least = least.min(weight);
        }
        Some((light, least))
    }

    fn sample(&self, x: usize, y: usize) -> ([f32; 3], f32) {
        let brightest = self.image.photo().rgb_code(x, y).into_iter().fold(0.0, f32::max);
        let light = self.image.rgb(x, y).map(|level| level / self.exposure);
        (light, self.weights[(brightest as usize).min(255)])
    }
}

/// Scene light of a pixel, in parts of the shortest exposure's full scale.
fn merged(sources: &[Source<'_>], x: usize, y: usize) -> [f32; 3] {
    let (mut light, mut whole) = ([0.0; 3], 0.0);
    let mut last = None;
    for source in sources {
        let Some((own, weight)) = source.read(x, y) else { continue };
        if source.is_last_resort {
            last = Some(own);
            // Clipped in the shortest exposure: there is no more to be had.
            if source.is_still && source.image.is_clipped(x, y) {
                return own;
            }
        }
        for (sum, own) in light.iter_mut().zip(own) {
            *sum += weight * own;
        }
        whole += weight;
    }
    match last {
        Some(own) if whole <= 0.0 => own,
        // Beyond the edge of the shortest exposure, and clipped in the others.
        None if whole <= 0.0 => [1.0; 3],
        _ => light.map(|sum| sum / whole),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::photo::testing::{Noise, rgb_photo};

    fn shift(dx_px: f64, dy_px: f64, rotation_deg: f64) -> FoundShift {
        let centre = PxPoint::new(60.0, 40.0);
        FoundShift {
            dx_px,
            dy_px,
            sigma_x_px: 0.1,
            sigma_y_px: 0.1,
            rotation_deg,
            scale: 1.0,
            centre,
            agreeing: 9,
            tried: 9,
        }
    }

    #[test]
    fn lies_are_the_found_movements() {
        let (first, second) = (shift(3.0, -2.0, 0.4), shift(-1.0, 5.0, -0.2));
        let there = Lie::of(&first, true).then(&Lie::of(&second, true));
        let place = PxPoint::new(31.0, 77.0);
        let expected = second.place_in_second(first.place_in_second(place));
        assert!(there.place(place).distance(expected) < 1e-9);
        let back = there.then(&Lie::of(&second, false)).then(&Lie::of(&first, false));
        assert!(back.largest_px(120, 80) < 1e-9);
    }

    /// Truth: a ramp of light over four decades with noise, through sRGB at three exposures, turned either way by EXIF: the
    /// merged light is the ramp to the noise of the exposure that sees it best, where each alone is clipped or black.
    #[test]
    fn a_wide_ramp_is_merged() {
        const WIDTH: usize = 240;
        const HEIGHT: usize = 64;
        let ramp = |x: usize| 0.9 * 10f32.powf(-4.0 * x as f32 / WIDTH as f32);
        for orientation in 1..=8 {
            let shots: Vec<Photo> = [1.0f32, 8.0, 64.0]
                .iter()
                .map(|exposure| {
                    let noise = std::cell::RefCell::new(Noise(3 + *exposure as u64));
                    // Stored pixels; the ramp runs along the stored rows.
                    rgb_photo(WIDTH, HEIGHT, orientation, |x, _| {
                        let level = exposure * ramp(x);
                        let raw = level + (level / 6_000.0 + 1e-7).sqrt() * noise.borrow_mut().gauss() as f32;
                        [linear_to_srgb(raw.clamp(0.0, 1.0)).round() as u8; 3]
                    })
                })
                .collect();
            let frames: Vec<Frame<'_>> = [1.0, 8.0, 64.0]
                .into_iter()
                .zip(&shots)
                .map(|(exposure, photo)| Frame { photo, exposure, lie: Lie::STILL })
                .collect();
            let merged = merge(&frames, &|level| level).unwrap();
            let image = LinearImage::new(&merged);
            let stored = |x: usize| {
                let place = |y: usize| {
                    (0..merged.width())
                        .flat_map(|u| (0..merged.height()).map(move |v| (u, v)))
                        .find(|(u, v)| merged.upright.index(*u, *v) == y * WIDTH + x)
                        .unwrap()
                };
                (0..HEIGHT).map(|y| image.rgb(place(y).0, place(y).1)[1]).sum::<f32>() / HEIGHT as f32
            };
            for x in [0, 40, 80, 120, 160, 200, 239] {
                let miss = stored(x) / ramp(x) - 1.0;
                // Noise of 64 pixels, 0.4 % at the dark end, and the rounding of codes there.
                assert!(miss.abs() < 0.02, "orientation {orientation}, {x}: {miss}");
            }
        }
    }

    #[test]
    fn what_the_shortest_clips_stays_clipped_and_brightening_is_light() {
        let shots = [1u8, 4].map(|gain| rgb_photo(40, 20, 1, |x, _| [if x < 20 { 255 } else { 30 * gain.min(2) }; 3]));
        let frames = [(1.0, &shots[0]), (4.0, &shots[1])];
        let frames = frames.map(|(exposure, photo)| Frame { photo, exposure, lie: Lie::STILL });
        let merged = merge(&frames, &|level| level).unwrap();
        let image = LinearImage::new(&merged);
        assert!(image.is_clipped(5, 5) && !image.is_clipped(30, 5));
        let bright = brightened(&merged, 3.0);
        let ratio = LinearImage::new(&bright).luminance(30, 5) / image.luminance(30, 5);
        assert!((ratio - 3.0).abs() < 1e-2, "{ratio}");
    }
}
