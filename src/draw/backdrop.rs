//! The photo under the drawing: the window of a viewport, scaled, dimmed where it is bright and lifted where it is dark.
//!
//! **How** scaled down by the mean over the stored pixels under each pixel of the picture, scaled up between pixel
//! centres, straight from the pixels as stored. Tone: a power curve that brings the window's median to one darkness, so
//! that drawn lines show on any wall and the wall can be recognised.

use super::canvas::Canvas;
use super::palette::VOID;
use super::viewport::Viewport;
use crate::photo::linear::light_code;
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
/// Every how many columns of the picture one counts for the median.
const MEDIAN_STEP: usize = 7;
/// Same for its rows: a few thousand pixels place a median to a code.
const MEDIAN_ROW_STEP: usize = 31;
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
    let line_at = |n: usize| Sampling::at(n as f64, viewport.top_px, viewport.scale, photo.height());
    let tone = tone_curve(photo, &columns, (0..bottom - top).map(line_at));
    let rows = &mut canvas.picture.as_flat_samples_mut().samples[top * row_bytes..bottom * row_bytes];
    rows.par_chunks_mut(row_bytes).enumerate().for_each_init(Vec::new, |strip, (n, row)| {
        fill_row(&mut row[left * CHANNELS..right * CHANNELS], strip, photo, &columns, &line_at(n), &tone);
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

/// Codes of the photo added up downwards, one place per column of the photo. A code times [`WEIGHT`] fits, and so does the
/// sum over 257 rows; a window takes at most some 20, as photo and picture are of limited size.
type Strip = Vec<[u16; CHANNELS]>;

/// Fills one row of the picture: first down the photo's columns, so that neighbours share that work, then along the row.
fn fill_row(row: &mut [u8], strip: &mut Strip, photo: &Photo, columns: &[Sampling], line: &Sampling, tone: &[u8; 256]) {
    let Some(span) = span(columns) else { return row.chunks_exact_mut(CHANNELS).for_each(leave_void) };
    strip.clear();
    strip.resize(span.len(), [0; CHANNELS]);
    let height = match *line {
        Sampling::Outside => return row.chunks_exact_mut(CHANNELS).for_each(leave_void),
        Sampling::Mean(y0, y1) => {
            (y0..y1).for_each(|y| add_row(strip, photo, span.start, y, 1));
            y1 - y0
        }
        Sampling::Between(y0, y1, wy) => {
            add_row(strip, photo, span.start, y0, (WEIGHT - wy) as u16);
            add_row(strip, photo, span.start, y1, wy as u16);
            1
        }
    };
    for (pixel, column) in row.chunks_exact_mut(CHANNELS).zip(columns) {
        let codes = match *column {
            Sampling::Outside => {
                leave_void(pixel);
                continue;
            }
            Sampling::Mean(x0, x1) => mean(&strip[x0 - span.start..x1 - span.start], height),
            Sampling::Between(x0, x1, wx) => between(strip[x0 - span.start], strip[x1 - span.start], wx),
        };
        for (out, code) in pixel.iter_mut().zip(codes) {
            *out = tone[usize::from(code)];
        }
    }
}

fn leave_void(pixel: &mut [u8]) {
    pixel.copy_from_slice(&VOID.rgb);
}

/// Columns of the photo that any of the picture's columns needs.
fn span(columns: &[Sampling]) -> Option<std::ops::Range<usize>> {
    let ends = columns.iter().filter_map(|column| match *column {
        Sampling::Outside => None,
        Sampling::Mean(first, end) => Some((first, end)),
        Sampling::Between(first, next, _) => Some((first, next + 1)),
    });
    ends.reduce(|all, one| (all.0.min(one.0), all.1.max(one.1))).map(|(first, end)| first..end)
}

/// Adds a part of the photo's row `y`, from column `first` on, to the strip.
fn add_row(strip: &mut [[u16; CHANNELS]], photo: &Photo, first: usize, y: usize, weight: u16) {
    let at = |n: usize| photo.upright.index(first + n, y);
    match &photo.pixels {
        Pixels::Rgb8(p) if photo.upright.step_x == 1 => {
            let codes = &p[CHANNELS * at(0)..CHANNELS * (at(0) + strip.len())];
            for (sum, code) in strip.as_flattened_mut().iter_mut().zip(codes) {
                *sum += u16::from(*code) * weight;
            }
        }
        Pixels::Rgb8(p) => add_each(strip, weight, |n| [0, 1, 2].map(|c| p[3 * at(n) + c])),
        Pixels::Gray8(p) => add_each(strip, weight, |n| [p[at(n)]; CHANNELS]),
        Pixels::Gray16(p) => add_each(strip, weight, |n| [(p[at(n)] >> 8) as u8; CHANNELS]),
        Pixels::Rgb16(p) => add_each(strip, weight, |n| [0, 1, 2].map(|c| (p[3 * at(n) + c] >> 8) as u8)),
        Pixels::Light(p) => add_each(strip, weight, |n| [0, 1, 2].map(|c| light_code(p[3 * at(n) + c]) as u8)),
    }
}

fn add_each(strip: &mut [[u16; CHANNELS]], weight: u16, codes: impl Fn(usize) -> [u8; CHANNELS]) {
    for (n, sums) in strip.iter_mut().enumerate() {
        for (sum, code) in sums.iter_mut().zip(codes(n)) {
            *sum += u16::from(code) * weight;
        }
    }
}

fn mean(sums: &[[u16; CHANNELS]], height: usize) -> [u8; CHANNELS] {
    let mut total = [0_u32; CHANNELS];
    for sum in sums {
        total.iter_mut().zip(sum).for_each(|(total, sum)| *total += u32::from(*sum));
    }
    // Both are whole and below 2^24, so the quotient's whole part is exact; dividing floats is faster.
    let count = (sums.len() * height) as f32;
    total.map(|total| (total as f32 / count) as u8)
}

fn between(before: [u16; CHANNELS], after: [u16; CHANNELS], wx: u32) -> [u8; CHANNELS] {
    std::array::from_fn(|c| {
        ((u32::from(before[c]) * (WEIGHT - wx) + u32::from(after[c]) * wx) / (WEIGHT * WEIGHT)) as u8
    })
}

/// New code of every code, from the median over a part of the window.
fn tone_curve(photo: &Photo, columns: &[Sampling], lines: impl Iterator<Item = Sampling>) -> [u8; 256] {
    let columns: Vec<Sampling> = columns.iter().copied().step_by(MEDIAN_STEP).collect();
    let (mut row, mut strip) = (vec![0; columns.len() * CHANNELS], Strip::new());
    let as_it_is = std::array::from_fn(|code| code as u8);
    let mut counts = [0_usize; 256];
    for line in lines.step_by(MEDIAN_ROW_STEP) {
        fill_row(&mut row, &mut strip, photo, &columns, &line, &as_it_is);
        for pixel in row.chunks_exact(CHANNELS) {
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
            merged: Vec::new(),
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
