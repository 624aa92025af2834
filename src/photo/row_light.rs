//! Light along rows of the photo, many pixels at a time.
//!
//! The usual photo (8-bit colour, upright, no ambient photo) lies in memory as its rows run: it is read through the table of
//! its codes alone. Any other is read pixel by pixel.

use super::image::Pixels;
use super::linear::{CLIPPED_FROM_SAMPLE, LUMINANCE_WEIGHTS, LinearImage};
use std::ops::Range;

/// Units of full scale in which light is added up along a row: under a thousandth of the darkest code.
pub const SUM_UNITS: f32 = 4_194_304.0;
/// Light beyond this many times full scale is added up as this: a raw photo may exceed full scale where it is clipped.
const MOST_SUMMED: f32 = 4.0;

/// Light in whole parts of [`SUM_UNITS`].
pub(super) fn light_units(light: f32) -> i32 {
    (SUM_UNITS * light.clamp(-MOST_SUMMED, MOST_SUMMED)).round() as i32
}

impl LinearImage<'_> {
    /// Width and height of the rows that [`Self::unclipped`] reads: those of the memory where the photo can be read along them,
    /// whichever way up it was held, else the upright ones.
    pub fn read_size(&self) -> (usize, usize) {
        let photo = self.photo();
        if self.lies_as_rgb8() { (photo.stored_width, photo.stored_height) } else { (photo.width(), photo.height()) }
    }

    fn lies_as_rgb8(&self) -> bool {
        matches!((&self.photo().pixels, &self.ambient), (Pixels::Rgb8(_), None))
    }

    /// Luminance of `N` pixels of a row of [`Self::read_size`] from (x, y) on; `None` when any of them is clipped.
    pub fn unclipped<const N: usize>(&self, x: usize, y: usize) -> Option<[f32; N]> {
        let photo = self.photo();
        let mut levels = [0.0; N];
        match (&photo.pixels, &self.ambient) {
            (Pixels::Rgb8(samples), None) => {
                let first = 3 * (y * photo.stored_width + x);
                let samples = &samples[first..first + 3 * N];
                if samples.iter().any(|&sample| sample >= CLIPPED_FROM_SAMPLE) {
                    return None;
                }
                let [of_red, of_green, of_blue] = LUMINANCE_WEIGHTS;
                for (level, [red, green, blue]) in levels.iter_mut().zip(samples.as_chunks::<3>().0) {
                    let light = |sample: &u8| self.table[usize::from(*sample)];
                    *level = of_red * light(red) + of_green * light(green) + of_blue * light(blue);
                }
            }
            _ => {
                for (k, level) in levels.iter_mut().enumerate() {
                    if self.is_clipped(x + k, y) {
                        return None;
                    }
                    *level = self.luminance(x + k, y);
                }
            }
        }
        Some(levels)
    }

    /// Sum of the luminance over a part of an upright row.
    pub fn row_luminance(&self, columns: Range<usize>, y: usize) -> f64 {
        let photo = self.photo();
        match (&photo.pixels, &self.ambient) {
            // As in `append_sums`.
            (Pixels::Rgb8(samples), None) if photo.upright.step_x == 1 && !columns.is_empty() => {
                let first = 3 * photo.upright.index(columns.start, y);
                let (pixels, _) = samples[first..first + 3 * columns.len()].as_chunks::<3>();
                // Whole numbers add up faster than floats, which wait for one another.
                let mut sums = [0i64; 3];
                for pixel in pixels {
                    for (sum, sample) in sums.iter_mut().zip(pixel.iter()) {
                        *sum += i64::from(self.units[usize::from(*sample)]);
                    }
                }
                let parts = sums.iter().zip(LUMINANCE_WEIGHTS);
                parts.map(|(sum, weight)| *sum as f64 * f64::from(weight)).sum::<f64>() / f64::from(SUM_UNITS)
            }
            _ => columns.map(|x| f64::from(self.luminance(x, y))).sum(),
        }
    }

    /// Appends the running sums along a part of an upright row, from 0 before its first pixel to that of all its pixels: red,
    /// green and blue in parts of [`SUM_UNITS`], and the number of clipped pixels. Sums wrap; the difference of two of them
    /// is right while the light between them stays under 512 pixels of full scale.
    pub fn append_sums(&self, columns: Range<usize>, y: usize, out: &mut Vec<[i32; 4]>) {
        let photo = self.photo();
        let mut sum = [0i32; 4];
        out.push(sum);
        let mut add = |light: [i32; 4]| {
            for (sum, light) in sum.iter_mut().zip(light) {
                *sum = sum.wrapping_add(light);
            }
            out.push(sum);
        };
        let of_sample = |pixel: [u8; 3]| {
            let [red, green, blue] = pixel.map(|sample| self.units[usize::from(sample)]);
            let is_clipped = pixel.iter().any(|&sample| sample >= CLIPPED_FROM_SAMPLE);
            [red, green, blue, i32::from(is_clipped)]
        };
        match (&photo.pixels, &self.ambient) {
            // The usual photo, as it lies in memory: its pixels follow one another.
            (Pixels::Rgb8(samples), None) if photo.upright.step_x == 1 && !columns.is_empty() => {
                let first = 3 * photo.upright.index(columns.start, y);
                let (pixels, _) = samples[first..first + 3 * columns.len()].as_chunks::<3>();
                for pixel in pixels {
                    add(of_sample(*pixel));
                }
            }
            (Pixels::Rgb8(samples), None) => {
                let (pixels, _) = samples.as_chunks::<3>();
                columns.for_each(|x| add(of_sample(pixels[photo.upright.index(x, y)])));
            }
            _ => columns.for_each(|x| {
                let [red, green, blue, clipped] = self.light_and_clipping(x, y);
                let [red, green, blue] = [red, green, blue].map(light_units);
                add([red, green, blue, clipped as i32]);
            }),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::photo::Photo;
    use crate::photo::image::UprightMap;
    use crate::photo::testing::rgb_photo;

    /// A row read at once is what its pixels are one by one, in every orientation and as 16-bit samples.
    #[test]
    fn rows_are_their_pixels() {
        for orientation in [1, 3, 6, 8] {
            let rgb = rgb_photo(40, 30, orientation, |x, y| [(5 * x) as u8, (7 * y) as u8, (x + 6 * y) as u8]);
            let wide = match &rgb.pixels {
                Pixels::Rgb8(p) => Pixels::Rgb16(p.iter().map(|&sample| u16::from(sample) * 257).collect()),
                _ => unreachable!(),
            };
            // The same samples, taken as they lie in memory.
            let (width, height) = (rgb.stored_width, rgb.stored_height);
            let as_stored = Photo { upright: UprightMap::new(width, height, 1), ..rgb.clone() };
            let stored = LinearImage::new(&as_stored);
            let stored_levels: Vec<f32> = (3..15).map(|x| stored.luminance(x, 9)).collect();
            let wide = Photo { pixels: wide, ..rgb.clone() };
            for image in [LinearImage::new(&rgb), LinearImage::new(&wide)] {
                let levels: Vec<f32> = (3..15).map(|x| image.luminance(x, 9)).collect();
                let along = image.unclipped::<12>(3, 9).unwrap();
                let wanted = if image.lies_as_rgb8() { &stored_levels } else { &levels };
                assert!(along.iter().zip(wanted).all(|(a, b)| (a - b).abs() < 1e-6));
                let whole: f64 = levels.iter().map(|&level| f64::from(level)).sum();
                assert!((image.row_luminance(3..15, 9) - whole).abs() < 1e-5);
                let mut sums = Vec::new();
                image.append_sums(3..15, 9, &mut sums);
                let green: f64 = (3..15).map(|x| f64::from(image.rgb(x, 9)[1])).sum();
                assert_eq!((sums.len(), sums[0]), (13, [0; 4]));
                assert!((f64::from(sums[12][1]) / f64::from(SUM_UNITS) - green).abs() < 1e-5);
            }
        }
    }
}
