//! The photo under the drawing: the window of a viewport, scaled, dimmed where it is bright and lifted where it is dark.
//!
//! **How** scaled down by the mean over the stored pixels under each pixel of the picture, scaled up between pixel
//! centres, straight from the pixels as stored. Tone: a power curve that brings the window's median to one darkness, so
//! that drawn lines show on any wall and the wall can be recognised.

use super::canvas::Canvas;
use super::palette::VOID;
use super::viewport::Viewport;
use crate::photo::{Photo, Pixels};
use rayon::prelude::*;

/// Code that the window's median is brought to.
const MEDIAN_CODE: f64 = 62.0;
/// Code that the brightest becomes, so that lines are brighter than it.
const PEAK_CODE: f64 = 156.0;
/// Least exponent of the tone curve: more lift shows only noise.
const MOST_LIFT: f64 = 0.42;
/// Greatest exponent of the tone curve: more would drown the wall above the cutoff.
const MOST_DIMMING: f64 = 1.1;
/// Every how many pixels one counts for the median.
const MEDIAN_STEP: usize = 37;
/// Channels of a pixel.
const CHANNELS: usize = 3;

/// Puts the photo's window into the canvas.
pub(super) fn lay_photo(canvas: &mut Canvas, photo: &Photo, viewport: &Viewport) {
    let canvas_width = canvas.picture.width() as usize;
    let area = viewport.area;
    let (left, right) = (area.left as usize, (area.right as usize).min(canvas_width));
    let (top, bottom) = (area.top as usize, (area.bottom as usize).min(canvas.picture.height() as usize));
    if left >= right || top >= bottom {
        return;
    }
    let columns: Vec<Sampling> = (left..right)
        .map(|x| Sampling::at((x - left) as f64, viewport.left_px, viewport.scale, photo.width()))
        .collect();
    let row_bytes = canvas_width * CHANNELS;
    let rows = &mut canvas.picture.as_flat_samples_mut().samples[top * row_bytes..bottom * row_bytes];
    rows.par_chunks_mut(row_bytes).enumerate().for_each(|(n, row)| {
        let line = Sampling::at(n as f64, viewport.top_px, viewport.scale, photo.height());
        let wanted = &mut row[left * CHANNELS..right * CHANNELS];
        fill_row(wanted, photo, &columns, &line);
    });
    let tone = tone_curve(rows, row_bytes, left * CHANNELS..right * CHANNELS);
    rows.par_chunks_mut(row_bytes).enumerate().for_each(|(n, row)| {
        let is_row_in =
            !matches!(Sampling::at(n as f64, viewport.top_px, viewport.scale, photo.height()), Sampling::Outside);
        for (pixel, column) in row[left * CHANNELS..right * CHANNELS].chunks_exact_mut(CHANNELS).zip(&columns) {
            if is_row_in && !matches!(column, Sampling::Outside) {
                for code in pixel.iter_mut() {
                    *code = tone[usize::from(*code)];
                }
            }
        }
    });
}

/// Which pixels of the photo one column or row of the picture is made of.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Sampling {
    /// None.
    Outside,
    /// The mean over these, end excluded.
    Mean(usize, usize),
    /// A pixel, the next, and the next one's weight out of 256.
    Between(usize, usize, u32),
}

/// Weights of two neighbours add up to this.
const WEIGHT: u32 = 256;

impl Sampling {
    fn at(place: f64, start_px: f64, scale: f64, size: usize) -> Self {
        let (from, to) = (start_px + place / scale, start_px + (place + 1.0) / scale);
        let centre = 0.5 * (from + to);
        if !(centre >= 0.0 && centre < size as f64) {
            return Self::Outside;
        }
        if scale <= 1.0 {
            let first = from.max(0.0).floor() as usize;
            return Self::Mean(first, (to.floor() as usize).clamp(first + 1, size));
        }
        let before = (centre - 0.5).max(0.0);
        let first = before.floor() as usize;
        Self::Between(first, (first + 1).min(size - 1), ((before - before.floor()) * f64::from(WEIGHT)) as u32)
    }
}

fn fill_row(row: &mut [u8], photo: &Photo, columns: &[Sampling], line: &Sampling) {
    match &photo.pixels {
        Pixels::Rgb8(p) => fill_with(row, photo, columns, line, |i| [p[3 * i], p[3 * i + 1], p[3 * i + 2]]),
        Pixels::Gray8(p) => fill_with(row, photo, columns, line, |i| [p[i]; CHANNELS]),
        Pixels::Gray16(p) => fill_with(row, photo, columns, line, |i| [(p[i] >> 8) as u8; CHANNELS]),
        Pixels::Rgb16(p) => {
            fill_with(row, photo, columns, line, |i| [3 * i, 3 * i + 1, 3 * i + 2].map(|i| (p[i] >> 8) as u8));
        }
    }
}

fn fill_with(
    row: &mut [u8],
    photo: &Photo,
    columns: &[Sampling],
    line: &Sampling,
    codes: impl Fn(usize) -> [u8; CHANNELS],
) {
    match *line {
        Sampling::Outside => {
            for pixel in row.chunks_exact_mut(CHANNELS) {
                pixel.copy_from_slice(&VOID.rgb);
            }
        }
        Sampling::Mean(y0, y1) => {
            for (pixel, column) in row.chunks_exact_mut(CHANNELS).zip(columns) {
                let Sampling::Mean(x0, x1) = *column else {
                    pixel.copy_from_slice(&VOID.rgb);
                    continue;
                };
                let mut sum = [0_u32; CHANNELS];
                for y in y0..y1 {
                    for x in x0..x1 {
                        let code = codes(photo.upright.index(x, y));
                        for (sum, code) in sum.iter_mut().zip(code) {
                            *sum += u32::from(code);
                        }
                    }
                }
                let count = ((x1 - x0) * (y1 - y0)) as u32;
                for (out, sum) in pixel.iter_mut().zip(sum) {
                    *out = (sum / count) as u8;
                }
            }
        }
        Sampling::Between(y0, y1, wy) => {
            // Neighbours in the picture mostly lie between the same two columns of the photo.
            let mut last = (usize::MAX, [[0_u32; CHANNELS]; 2]);
            let down = |x: usize| {
                let (above, below) = (codes(photo.upright.index(x, y0)), codes(photo.upright.index(x, y1)));
                let mut mixed = [0_u32; CHANNELS];
                for (mixed, (a, b)) in mixed.iter_mut().zip(above.into_iter().zip(below)) {
                    *mixed = u32::from(a) * (WEIGHT - wy) + u32::from(b) * wy;
                }
                mixed
            };
            for (pixel, column) in row.chunks_exact_mut(CHANNELS).zip(columns) {
                let Sampling::Between(x0, x1, wx) = *column else {
                    pixel.copy_from_slice(&VOID.rgb);
                    continue;
                };
                if last.0 != x0 {
                    last = (x0, [down(x0), down(x1)]);
                }
                for (c, out) in pixel.iter_mut().enumerate() {
                    *out = ((last.1[0][c] * (WEIGHT - wx) + last.1[1][c] * wx) / (WEIGHT * WEIGHT)) as u8;
                }
            }
        }
    }
}

/// New code of every code.
fn tone_curve(rows: &[u8], row_bytes: usize, span: std::ops::Range<usize>) -> [u8; 256] {
    let mut counts = [0_usize; 256];
    for row in rows.chunks_exact(row_bytes) {
        for pixel in row[span.clone()].chunks_exact(CHANNELS).step_by(MEDIAN_STEP) {
            counts[usize::from(pixel[1])] += 1;
        }
    }
    let total: usize = counts.iter().sum();
    let mut seen = 0;
    let median = counts.iter().position(|count| {
        seen += count;
        2 * seen >= total
    });
    let share = (median.unwrap_or(0).max(1) as f64 / 255.0).min(254.0 / 255.0);
    let exponent = ((MEDIAN_CODE / PEAK_CODE).ln() / share.ln()).clamp(MOST_LIFT, MOST_DIMMING);
    std::array::from_fn(|code| (PEAK_CODE * (code as f64 / 255.0).powf(exponent)).round() as u8)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::draw::palette::NIGHT;
    use crate::draw::plane::Area;
    use crate::photo::{Format, ShotFacts, UprightMap};

    fn photo(width: usize, height: usize, orientation: u8, code: impl Fn(usize, usize) -> u8) -> Photo {
        let pixels = (0..width * height).map(|i| code(i % width, i / width)).collect();
        Photo {
            file: "test".to_owned(),
            sha256: String::new(),
            format: Format::Png,
            pixels: Pixels::Gray8(pixels),
            stored_width: width,
            stored_height: height,
            orientation,
            upright: UprightMap::new(width, height, orientation),
            shot: ShotFacts::default(),
            flags: Vec::new(),
        }
    }

    fn laid(photo: &Photo, scale: f64) -> Canvas {
        let (width, height) = ((photo.width() as f64 * scale) as u32, (photo.height() as f64 * scale) as u32);
        let mut canvas = Canvas::new(width, height, NIGHT);
        let area = Area::new(0.0, 0.0, width as f32, height as f32);
        lay_photo(&mut canvas, photo, &Viewport { left_px: 0.0, top_px: 0.0, scale, area });
        canvas
    }

    /// A photo stored on its side with its upright left half bright shows its left half bright.
    #[test]
    fn the_photo_is_shown_upright_at_every_scale() {
        let turned = photo(40, 60, 6, |_, y| if y >= 30 { 200 } else { 10 });
        for scale in [0.25, 1.0, 3.0] {
            let canvas = laid(&turned, scale);
            let (width, height) = canvas.picture.dimensions();
            let code = |part: f32| canvas.picture.get_pixel((width as f32 * part) as u32, height / 2).0[1];
            assert!(code(0.1) > code(0.9) + 40, "scale {scale}: {} {}", code(0.1), code(0.9));
        }
    }

    #[test]
    fn dark_is_lifted_and_bright_is_dimmed() {
        for (code, range) in [(6_u8, 25..80_u8), (60, 50..75), (200, 90..140), (255, 150..160), (0, 0..5)] {
            let canvas = laid(&photo(20, 10, 1, |_, _| code), 2.0);
            let shown = canvas.picture.get_pixel(10, 10).0[0];
            assert!(range.contains(&shown), "{code} became {shown}");
        }
    }

    #[test]
    fn outside_the_photo_is_plain() {
        let small = photo(20, 10, 1, |_, _| 255);
        let mut canvas = Canvas::new(80, 40, NIGHT);
        let area = Area::new(0.0, 0.0, 80.0, 40.0);
        lay_photo(&mut canvas, &small, &Viewport { left_px: -10.0, top_px: 0.0, scale: 2.0, area });
        assert_eq!(canvas.picture.get_pixel(5, 5).0, VOID.rgb);
        assert!(canvas.picture.get_pixel(40, 10).0[0] > 150);
        assert_eq!(canvas.picture.get_pixel(40, 30).0, VOID.rgb);
    }
}
