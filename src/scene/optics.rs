//! What lens and hand do to the picture: Gaussian blur and motion blur.
//!
//! **Takes / Gives** a [`Canvas`] of linear light. **How**: separable convolution, edges repeated.

use rayon::prelude::*;

/// A picture of linear light: rows of interleaved channels.
#[derive(Debug, Clone)]
pub(super) struct Canvas {
    pub(super) width: usize,
    pub(super) height: usize,
    /// Values per pixel: 3 for colour, 1 for luminance.
    pub(super) channels: usize,
    pub(super) data: Vec<f32>,
}

/// The kernel reaches this many standard deviations to each side; what is cut is 0.3 % and is scaled back in.
const REACH_SIGMA: f64 = 3.0;
/// Below this a blur changes nothing that 8 bits show.
const LEAST_SIGMA_PX: f64 = 0.15;

fn kernel(sigma: f64) -> Vec<f32> {
    let reach = (REACH_SIGMA * sigma).ceil() as i32;
    // Each tap is the Gaussian's mean over its pixel (midpoint of five places): true for narrow kernels too.
    let mean = |i: i32| (-2..=2).map(|k| (-0.5 * ((f64::from(i) + 0.2 * f64::from(k)) / sigma).powi(2)).exp()).sum();
    let taps: Vec<f64> = (-reach..=reach).map(mean).collect();
    let whole: f64 = taps.iter().sum();
    taps.iter().map(|tap| (tap / whole) as f32).collect()
}

/// Values that stay in registers while all taps are added up.
const BLOCK: usize = 16;

/// Weighted sum of lines, one for each tap, all as long as `row`.
fn weigh<'a>(row: &mut [f32], taps: &[f32], line: impl Fn(usize) -> &'a [f32]) {
    let whole = row.len() / BLOCK * BLOCK;
    let (blocks, rest) = row.split_at_mut(whole);
    let lines: Vec<&[f32]> = (0..taps.len()).map(line).collect();
    for (n, block) in blocks.chunks_exact_mut(BLOCK).enumerate() {
        let mut sums = [0.0_f32; BLOCK];
        for (tap, line) in taps.iter().zip(&lines) {
            let values = &line[n * BLOCK..][..BLOCK];
            sums.iter_mut().zip(values).for_each(|(sum, value)| *sum += tap * value);
        }
        block.copy_from_slice(&sums);
    }
    for (n, out) in rest.iter_mut().enumerate() {
        *out = taps.iter().zip(&lines).map(|(tap, line)| tap * line[whole + n]).sum();
    }
}

impl Canvas {
    /// Blurs by a Gaussian of this standard deviation, pixels.
    pub(super) fn blur(&mut self, sigma_px: f64) {
        if sigma_px < LEAST_SIGMA_PX {
            return;
        }
        let taps = kernel(sigma_px);
        let reach = taps.len() / 2;
        let (channels, stride) = (self.channels, self.width * self.channels);
        self.data.par_chunks_mut(stride).for_each_init(
            || vec![0.0_f32; stride + 2 * reach * channels],
            |padded, row| {
                for i in 0..reach * channels {
                    padded[i] = row[i % channels];
                    padded[stride + reach * channels + i] = row[stride - channels + i % channels];
                }
                padded[reach * channels..][..stride].copy_from_slice(row);
                weigh(row, &taps, |place| &padded[place * channels..][..stride]);
            },
        );
        let source = std::mem::take(&mut self.data);
        let mut target = vec![0.0_f32; source.len()];
        let last = self.height as isize - 1;
        target.par_chunks_mut(stride).enumerate().for_each(|(y, row)| {
            weigh(row, &taps, |place| {
                let from = (y as isize + place as isize - reach as isize).clamp(0, last) as usize;
                &source[from * stride..][..stride]
            });
        });
        self.data = target;
    }

    /// Smears along a straight path of this length, centred, direction counterclockwise from the right.
    pub(super) fn smear_along(&mut self, length_px: f64, direction_deg: f64) {
        let count = length_px.round() as usize;
        if count < 2 {
            return;
        }
        let (sin, cos) = direction_deg.to_radians().sin_cos();
        let offsets: Vec<(isize, isize)> = (0..count)
            .map(|i| {
                let along = i as f64 - 0.5 * (count - 1) as f64;
                ((along * cos).round() as isize, (-along * sin).round() as isize)
            })
            .collect();
        let (stride, channels, last) = (self.width * self.channels, self.channels, self.height as isize - 1);
        let source = std::mem::take(&mut self.data);
        let mut target = vec![0.0_f32; source.len()];
        let share = 1.0 / count as f32;
        target.par_chunks_mut(stride).enumerate().for_each(|(y, row)| {
            for (dx, dy) in &offsets {
                let from = (y as isize + dy).clamp(0, last) as usize;
                let line = &source[from * stride..][..stride];
                // Beyond the picture's edge the shifted row repeats its last pixel.
                let shift = dx.unsigned_abs().min(self.width - 1) * channels;
                let (inner, lost, edge) = if *dx >= 0 {
                    (&line[shift..], stride - shift..stride, stride - channels)
                } else {
                    (&line[..stride - shift], 0..shift, 0)
                };
                let start = if *dx >= 0 { 0 } else { shift };
                row[start..start + inner.len()].iter_mut().zip(inner).for_each(|(out, v)| *out += share * v);
                for place in lost {
                    row[place] += share * line[edge + place % channels];
                }
            }
        });
        self.data = target;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: a Gaussian of deviation s spreads a point with variance s² (plus 1/12 px² for the pixel's width at most).
    #[test]
    fn blur_keeps_the_light_and_has_its_width() {
        let mut canvas = Canvas { width: 61, height: 61, channels: 3, data: vec![0.0; 61 * 61 * 3] };
        for c in 0..3 {
            canvas.data[(30 * 61 + 30) * 3 + c] = 1.0;
        }
        canvas.blur(2.0);
        let (mut sum, mut square) = (0.0, 0.0);
        for y in 0..61 {
            for x in 0..61 {
                let value = f64::from(canvas.data[(y * 61 + x) * 3 + 1]);
                sum += value;
                square += value * (x as f64 - 30.0).powi(2);
            }
        }
        assert!((sum - 1.0).abs() < 1e-5, "sum {sum}");
        assert!((square - 4.0).abs() < 0.2, "variance {square}");
    }

    #[test]
    fn motion_spreads_along_its_direction_only() {
        let mut canvas = Canvas { width: 31, height: 31, channels: 1, data: vec![0.0; 31 * 31] };
        canvas.data[15 * 31 + 15] = 1.0;
        canvas.smear_along(5.0, 0.0);
        let row: f32 = canvas.data[15 * 31..16 * 31].iter().sum();
        assert!((row - 1.0).abs() < 1e-6);
        assert_eq!(canvas.data[15 * 31..16 * 31].iter().filter(|v| **v > 0.0).count(), 5);
    }
}
