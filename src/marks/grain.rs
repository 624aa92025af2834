//! How grainy a grey picture is at each level, so that noise is not searched for marks.
//!
//! **Takes** a [`Grey`] picture. **Gives** the standard deviation of means over 2 x 2 blocks against their level.
//! **How**: second differences along sampled rows (a steady slope cancels in them), the median of their size per level;
//! edges are too rare to move a median where a level is common. A rare level may be nothing but edges and print: it is
//! told by the common ones, because a camera's noise in codes changes slowly from level to level. **Weak when** more
//! than half of every common level is texture: it then counts as noise.

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
/// Nor does a bin with less than this share of the fullest one's: it may hold the blurred edges of marks alone.
const COMMON_SHARE: f64 = 0.1;
/// Most that noise grows from a bin to the next. Read noise alone, constant in light, grows in sRGB codes by 1.07 a bin
/// in the middle and by 1.36 near black; shot noise hardly changes.
const GROWTH_PER_BIN: f32 = 1.2;
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
                    // By the mean of the three, which white noise leaves independent of their second difference.
                    bins[bin_of((a + b + c) / 3)].push((a + c).abs_diff(2 * b));
                }
            }
        }
        let fullest = bins.iter().map(Vec::len).max().unwrap_or(0);
        let least = MIN_SAMPLES.max((COMMON_SHARE * fullest as f64) as usize);
        Self { sigma: spread(bins.map(|bin| sigma_of(bin, least))) }
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

fn sigma_of(mut sizes: Vec<u16>, least: usize) -> Option<f32> {
    if sizes.len() < least {
        return None;
    }
    let middle = sizes.len() / 2;
    let (_, median, _) = sizes.select_nth_unstable(middle);
    Some(MEDIAN_TO_SIGMA * f32::from(*median))
}

/// Noise per bin from those that tell: the least that one of them allows. The first and the last bin may be cut off at
/// black or white and so look free of noise: they tell only where no other does.
fn spread(told: [Option<f32>; BINS]) -> [f32; BINS] {
    let inner = 1..BINS - 1;
    let is_told_inside = told[inner.clone()].iter().any(Option::is_some);
    std::array::from_fn(|bin| {
        let telling = told.iter().enumerate().filter(|(other, _)| !is_told_inside || inner.contains(other));
        let allowed = telling.filter_map(|(other, sigma)| {
            let steps = bin.abs_diff(other) as i32;
            sigma.map(|sigma| sigma * GROWTH_PER_BIN.powi(steps))
        });
        allowed.min_by(f32::total_cmp).unwrap_or(0.0)
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

    /// A fine pattern of black and white on a plain, noisy wall: its blurred edges are the only pixels between black and
    /// the wall, and must not count as noise there.
    #[test]
    fn edges_of_print_are_no_noise() {
        let wave = |x: usize, y: usize| ((x as f32 * 1.3).sin() * (y as f32 * 1.1).sin()).clamp(-0.5, 0.5);
        let photo = gray_photo(400, 300, 1, |x, y| {
            let is_print = (100..220).contains(&x) && (100..220).contains(&y);
            let level = if is_print { 100.0 + 120.0 * wave(x, y) } else { 180.0 };
            level + 2.0 * hash_normal(x, y)
        });
        let grain = Grain::of(&Grey::of(&photo, 1));
        let [wall, between] = [180, 100].map(|code| grain.at(code * UNITS_PER_CODE) / f32::from(UNITS_PER_CODE));
        assert!((wall - 1.0).abs() < 0.15, "wall {wall}");
        // Ten bins away the noise may have grown by 1.2 each, no more.
        assert!(between < 1.15 * 1.2f32.powi(10), "between {between}");
    }

    #[test]
    fn tiny_and_flat_pictures_have_none() {
        for (w, h) in [(1, 1), (8, 8), (60, 60)] {
            assert!(Grain::of(&Grey::of(&gray_photo(w, h, 1, |_, _| 50.0), 1)).at(800) < 1e-6);
        }
    }
}
