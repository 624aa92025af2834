//! How grainy a grey picture is at each level, so that noise is not searched for marks.
//!
//! **Takes** a [`Grey`] picture. **Gives** the standard deviation of means over 2 x 2 blocks against their level.
//! **How**: second differences along sampled rows (a steady slope cancels in them), the median of their size per level;
//! edges are too rare to move a median. **Weak when** more than half of a level is texture: it then counts as noise.

use super::shrink::{Grey, UNITS_PER_CODE};

/// Bins of the level, eight codes each.
const BINS: usize = 32;
const BIN_UNITS: u16 = 8 * UNITS_PER_CODE;
/// Distance of the three means of a difference, blocks: beyond the reach of the 3 x 3 kernel that smooths.
const LAG: usize = 4;
/// Differences that are looked at, about.
const SAMPLES: usize = 12_000;
/// A bin with fewer differences tells nothing.
const MIN_SAMPLES: usize = 40;
/// From the median size of a difference a - 2b + c to the standard deviation of one mean: 1.4826 / sqrt(6).
const MEDIAN_TO_SIGMA: f32 = 0.605_27;

/// Noise against level.
#[derive(Debug, Clone, Copy)]
pub(super) struct Grain {
    /// Standard deviation per bin, units.
    sigma: [f32; BINS],
}

impl Grain {
    /// Measures a picture; one that is too small counts as free of noise.
    pub(super) fn of(grey: &Grey) -> Self {
        let reach = 2 * LAG + 2;
        let mut bins: [Vec<u16>; BINS] = std::array::from_fn(|_| Vec::new());
        if grey.width > reach && grey.height > 1 {
            let step = ((grey.width * grey.height) as f64 / SAMPLES as f64).sqrt().max(1.0) as usize;
            for y in (0..grey.height - 1).step_by(step) {
                for x in (0..grey.width - reach).step_by(step) {
                    let [a, b, c] = [0, LAG, 2 * LAG].map(|shift| mean(grey, x + shift, y));
                    bins[bin_of(b)].push((a + c).abs_diff(2 * b));
                }
            }
        }
        Self { sigma: filled(bins.map(sigma_of)) }
    }

    /// Standard deviation of a mean over 2 x 2 blocks at a level, both in units.
    pub(super) fn at(&self, level: u16) -> f32 {
        self.sigma[bin_of(level)]
    }
}

fn bin_of(level: u16) -> usize {
    usize::from(level / BIN_UNITS).min(BINS - 1)
}

fn mean(grey: &Grey, x: usize, y: usize) -> u16 {
    let at = y * grey.width + x;
    let below = at + grey.width;
    (grey.levels[at] + grey.levels[at + 1] + grey.levels[below] + grey.levels[below + 1]) / 4
}

fn sigma_of(mut sizes: Vec<u16>) -> Option<f32> {
    if sizes.len() < MIN_SAMPLES {
        return None;
    }
    let middle = sizes.len() / 2;
    let (_, median, _) = sizes.select_nth_unstable(middle);
    Some(MEDIAN_TO_SIGMA * f32::from(*median))
}

/// Bins that tell nothing take the nearest one below that does, or else the nearest above.
fn filled(bins: [Option<f32>; BINS]) -> [f32; BINS] {
    let mut last = bins.iter().flatten().next().copied().unwrap_or(0.0);
    bins.map(|bin| {
        last = bin.unwrap_or(last);
        last
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::marks::testing::{gray_photo, hash_normal};

    /// Truth: white noise of 6 codes in pixels leaves 3 in a mean of four; 10 % for some thousand differences and for
    /// rounding. Stripes of another level, a tenth of the picture, must not count.
    #[test]
    fn the_noise_that_was_put_in_is_found() {
        let photo = gray_photo(400, 300, 1, |x, y| {
            let level = if x % 200 < 20 { 200.0 } else { 90.0 };
            level + 6.0 * hash_normal(x, y)
        });
        let sigma = Grain::of(&Grey::of(&photo, 1)).at(90 * UNITS_PER_CODE) / f32::from(UNITS_PER_CODE);
        assert!((sigma / 3.0 - 1.0).abs() < 0.1, "{sigma}");
    }

    #[test]
    fn tiny_and_flat_pictures_have_none() {
        for (w, h) in [(1, 1), (8, 8), (60, 60)] {
            assert!(Grain::of(&Grey::of(&gray_photo(w, h, 1, |_, _| 50.0), 1)).at(800) < 1e-6);
        }
    }
}
