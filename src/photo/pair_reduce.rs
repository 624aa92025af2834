//! Two photos of different light made comparable: smaller, on a logarithmic scale, without their shading.

use super::image::{Photo, Pixels};
use super::linear::light_code;
use rayon::prelude::*;

/// Added to the code before the logarithm, 8-bit codes: about the noise of a dark photo, so that it does not swell.
const DARK_CODES: f32 = 8.0;
/// Rows that one task works on.
const TASK_ROWS: usize = 32;

/// A small picture of 32-bit values, row by row.
#[derive(Debug, Clone)]
pub(super) struct Field {
    pub(super) width: usize,
    pub(super) height: usize,
    pub(super) data: Vec<f32>,
}

/// A window of a photo in units of `factor` pixels, which are averaged.
#[derive(Debug, Clone, Copy)]
pub(super) struct Window {
    pub(super) left: usize,
    pub(super) top: usize,
    pub(super) width: usize,
    pub(super) height: usize,
    pub(super) factor: usize,
}

impl Window {
    /// The whole photo.
    pub(super) fn whole(photo: &Photo, factor: usize) -> Self {
        Self { left: 0, top: 0, width: photo.width() / factor, height: photo.height() / factor, factor }
    }
}

impl Field {
    /// The logarithm of the green (or grey) samples of a window. The window must lie within the photo.
    pub(super) fn cut(photo: &Photo, window: &Window) -> Self {
        let mut data = vec![0.0; window.width * window.height];
        let fill = |(task, rows): (usize, &mut [f32])| {
            let top = window.top + task * TASK_ROWS;
            log_rows(photo, &Window { top, height: rows.len() / window.width, ..*window }, rows);
        };
        if window.width > 0 {
            data.par_chunks_mut(TASK_ROWS * window.width).enumerate().for_each(fill);
        }
        Self { width: window.width, height: window.height, data }
    }

    /// Half the size, pixels averaged in fours.
    pub(super) fn halved(&self) -> Self {
        let (width, height) = (self.width / 2, self.height / 2);
        let mut data = Vec::with_capacity(width * height);
        for y in 0..height {
            let rows = &self.data[2 * y * self.width..(2 * y + 2) * self.width];
            let (upper, lower) = rows.split_at(self.width);
            let pairs = upper.as_chunks::<2>().0.iter().zip(lower.as_chunks::<2>().0);
            data.extend(pairs.map(|(a, b)| (a[0] + a[1] + b[0] + b[1]) / 4.0));
        }
        Self { width, height, data }
    }

    /// Minus its mean over a square of 2·`radius` + 1: what is left is edges and texture.
    pub(super) fn without_shading(&self, radius: usize) -> Self {
        let mean = self.box_mean(radius);
        let data = self.data.iter().zip(&mean.data).map(|(value, mean)| value - mean).collect();
        Self { data, ..*self }
    }

    /// Smoothed by the 3 x 3 binomial weights; the edge repeats.
    pub(super) fn smoothed(&self) -> Self {
        let (w, h) = (self.width, self.height);
        let mut across = self.data.clone();
        for (row, out) in self.data.chunks_exact(w).zip(across.chunks_exact_mut(w)) {
            for x in 1..w.saturating_sub(1) {
                out[x] = (row[x - 1] + 2.0 * row[x] + row[x + 1]) / 4.0;
            }
        }
        let mut data = across.clone();
        for i in w..(w * h).saturating_sub(w) {
            data[i] = (across[i - w] + 2.0 * across[i] + across[i + w]) / 4.0;
        }
        Self { data, ..*self }
    }

    /// Without a rim of that many pixels; the field must be larger than two rims.
    pub(super) fn trimmed(&self, rim: usize) -> Self {
        let (width, height) = (self.width - 2 * rim, self.height - 2 * rim);
        let rows = self.data.chunks_exact(self.width).skip(rim).take(height);
        Self { width, height, data: rows.flat_map(|row| row[rim..rim + width].iter().copied()).collect() }
    }

    /// Mean over a square around each pixel, cut off at the edge.
    fn box_mean(&self, radius: usize) -> Self {
        let mut across = Self { data: vec![0.0; self.data.len()], ..*self };
        for (row, out) in self.data.chunks_exact(self.width).zip(across.data.chunks_exact_mut(self.width)) {
            running_mean(radius, self.width, |i| row[i], |i, mean| out[i] = mean);
        }
        // Down the columns, a row at a time: sums of whole rows keep the memory in order.
        let mut sums = vec![0.0_f32; self.width];
        let mut mean = Self { data: vec![0.0; self.data.len()], ..*self };
        let row = |y: usize| &across.data[y * self.width..(y + 1) * self.width];
        for y in 0..radius.min(self.height) {
            sums.iter_mut().zip(row(y)).for_each(|(sum, value)| *sum += value);
        }
        for y in 0..self.height {
            if y + radius < self.height {
                sums.iter_mut().zip(row(y + radius)).for_each(|(sum, value)| *sum += value);
            }
            if y > radius {
                sums.iter_mut().zip(row(y - radius - 1)).for_each(|(sum, value)| *sum -= value);
            }
            let count = (y + radius + 1).min(self.height) - y.saturating_sub(radius);
            let out = &mut mean.data[y * self.width..(y + 1) * self.width];
            out.iter_mut().zip(&sums).for_each(|(mean, sum)| *mean = sum / count as f32);
        }
        mean
    }
}

fn running_mean(radius: usize, length: usize, value: impl Fn(usize) -> f32, mut put: impl FnMut(usize, f32)) {
    let mut sum: f32 = (0..radius.min(length)).map(&value).sum();
    for i in 0..length {
        if i + radius < length {
            sum += value(i + radius);
        }
        if i > radius {
            sum -= value(i - radius - 1);
        }
        let count = (i + radius + 1).min(length) - i.saturating_sub(radius);
        put(i, sum / count as f32);
    }
}

/// The logarithm of a window's mean codes.
fn log_rows(photo: &Photo, window: &Window, out: &mut [f32]) {
    match &photo.pixels {
        Pixels::Rgb8(samples) => sum_rows(photo, window, out, |i| f32::from(samples[3 * i + 1])),
        Pixels::Gray8(samples) => sum_rows(photo, window, out, |i| f32::from(samples[i])),
        Pixels::Rgb16(samples) => sum_rows(photo, window, out, |i| f32::from(samples[3 * i + 1]) / 257.0),
        Pixels::Gray16(samples) => sum_rows(photo, window, out, |i| f32::from(samples[i]) / 257.0),
        Pixels::Light(samples) => sum_rows(photo, window, out, |i| light_code(samples[3 * i + 1])),
    }
    let per_pixel = 1.0 / (window.factor * window.factor) as f32;
    for value in out {
        *value = (*value * per_pixel + DARK_CODES).ln();
    }
}

/// Sums of `factor` x `factor` pixels, walked along the stored rows, whichever way the picture is turned.
#[inline]
fn sum_rows(photo: &Photo, window: &Window, out: &mut [f32], code: impl Fn(usize) -> f32) {
    let (factor, width) = (window.factor, window.width);
    let (left, top) = (window.left * factor, window.top * factor);
    let start = photo.upright.index(left, top) as isize;
    let (step_x, step_y) = (photo.upright.step_x, photo.upright.step_y);
    let is_turned = step_x.abs() > 1;
    let (inner_step, outer_step) = if is_turned { (step_y, step_x) } else { (step_x, step_y) };
    let (inner_cells, outer_cells) = if is_turned { (window.height, width) } else { (width, window.height) };
    for outer in 0..outer_cells * factor {
        let mut at = start + outer as isize * outer_step;
        for inner in 0..inner_cells {
            let mut sum = 0.0;
            for _ in 0..factor {
                sum += code(at as usize);
                at += inner_step;
            }
            let cell = if is_turned { inner * width + outer / factor } else { outer / factor * width + inner };
            out[cell] += sum;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::photo::testing::{photo_of, rgb_photo};

    #[test]
    fn a_window_is_the_upright_mean() {
        let photo = rgb_photo(12, 8, 6, |x, y| [0, (10 * x + y) as u8, 0]);
        let window = Window { left: 1, top: 2, width: 2, height: 3, factor: 2 };
        let field = Field::cut(&photo, &window);
        for (i, value) in field.data.iter().enumerate() {
            let (x, y) = (2 * (1 + i % 2), 2 * (2 + i / 2));
            let places = [(x, y), (x + 1, y), (x, y + 1), (x + 1, y + 1)];
            let mean: f32 = places.iter().map(|&(x, y)| photo.green_code(x, y) / 4.0).sum();
            assert!((value - (mean + DARK_CODES).ln()).abs() < 1e-5);
        }
    }

    /// A constant factor of light is a constant on the logarithmic scale, and a slow change cancels to first order.
    #[test]
    fn shading_cancels() {
        let photo = photo_of(80, 60, |x, _| (100 + x) as u8);
        let field = Field::cut(&photo, &Window::whole(&photo, 1)).without_shading(5);
        let inner = field.data.chunks_exact(80).flat_map(|row| &row[6..74]);
        assert!(inner.copied().all(|value| value.abs() < 2e-3));
    }
}
