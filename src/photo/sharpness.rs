//! Whether the photo as a whole is usable: how wide its sharpest edges are, and how much of it is white.
//!
//! **Takes** a [`Photo`]. **Gives** the spread of its sharpest edges in pixels, as the standard deviation of a Gaussian
//! blur, and the share of its pixels that are white.
//! **How**: strips along rows and columns are averaged across; at the steepest places of each the spread is that of the
//! blurred step of the same height and steepness, sigma = height / (sqrt(2 pi) steepness). Any photo of a wall and a floor
//! has some sharp edges, so the lower quartile over all strips is that of the blur.
//! **Weak when** no edge of wall or floor is in the picture: the soft edge of the beam itself is then all there is.

use super::image::Photo;
use super::linear::CLIPPED_FROM_CODE;
use super::options::PhotoOptions;

/// Pixels across a strip: noise is averaged, and an edge that leans by some degrees is still sharp.
const STRIP_PX: usize = 8;
/// From one strip to the next, pixels.
const STRIP_STEP_PX: usize = 40;
/// Pixels to each side of a steep place within which the height of its step is taken: room for a blur of 20 px.
const REACH_PX: usize = 40;
/// Baselines of the steepness, pixels, the longest first: noise makes the steepest place of a wide edge look steeper, the
/// more so the shorter the baseline is. The longest that the edge itself is wider than counts.
const BASES_PX: [usize; 3] = [12, 6, 3];
/// Steep places that are looked at in each strip.
const PLACES: usize = 3;
/// Distance of the samples of a difference that measures noise, pixels: beyond demosaicing and halved colour.
const NOISE_LAG_PX: usize = 4;
/// From the median size of a difference a - 2b + c to a standard deviation: 1.4826 / sqrt(6).
const MEDIAN_TO_SIGMA: f32 = 0.605_27;
/// Pixels sampled for the white share along each side, about.
const WHITE_SAMPLES: usize = 300;

/// Spread of the sharpest edges as the standard deviation of a Gaussian blur, pixels; `None` when the photo has too few
/// edges. A sharp photo has 1 to 3.
pub fn edge_spread_px(photo: &Photo, options: &PhotoOptions) -> Option<f64> {
    let (width, height) = (photo.width(), photo.height());
    let rows = strip_spreads(width, height, |along, across| photo.green_code(along, across), options);
    let columns = strip_spreads(height, width, |along, across| photo.green_code(across, along), options);
    let mut spreads: Vec<f32> = rows.into_iter().chain(columns).collect();
    if spreads.len() < options.sharpness.least_strips {
        return None;
    }
    let quarter = spreads.len() / 4;
    let (_, quartile, _) = spreads.select_nth_unstable_by(quarter, f32::total_cmp);
    Some(f64::from(*quartile))
}

/// Share of the pixels that are clipped in every channel, 0..=1, from a sample.
pub fn white_share(photo: &Photo) -> f64 {
    let step = |side: usize| (side / WHITE_SAMPLES).max(1);
    let (mut white, mut all) = (0usize, 0usize);
    for y in (0..photo.height()).step_by(step(photo.height())) {
        for x in (0..photo.width()).step_by(step(photo.width())) {
            white += usize::from(photo.rgb_code(x, y).iter().all(|&code| code >= CLIPPED_FROM_CODE));
            all += 1;
        }
    }
    white as f64 / all.max(1) as f64
}

/// The sharpest edge of each strip that has one.
fn strip_spreads(length: usize, depth: usize, code: impl Fn(usize, usize) -> f32, options: &PhotoOptions) -> Vec<f32> {
    let mut line = vec![0.0f32; length];
    (0..depth.saturating_sub(STRIP_PX))
        .step_by(STRIP_STEP_PX)
        .filter_map(|first| {
            line.fill(0.0);
            for across in first..first + STRIP_PX {
                for (along, sum) in line.iter_mut().enumerate() {
                    *sum += code(along, across) / STRIP_PX as f32;
                }
            }
            sharpest(&line, options)
        })
        .collect()
}

/// The sharpest edge of a strip, over the longest baseline that does not widen it.
fn sharpest(line: &[f32], options: &PhotoOptions) -> Option<f32> {
    let [longest, longer, shortest] = BASES_PX;
    [longest, longer]
        .into_iter()
        .find_map(|base| sharpest_over(line, base, options).filter(|spread| *spread >= base as f32))
        .or_else(|| sharpest_over(line, shortest, options))
}

fn sharpest_over(line: &[f32], base: usize, options: &PhotoOptions) -> Option<f32> {
    let smooth: Vec<f32> = line.windows(base).map(|part| part.iter().sum::<f32>() / base as f32).collect();
    let mut slopes: Vec<f32> =
        smooth.windows(base + 1).map(|part| (part[base] - part[0]).abs() / base as f32).collect();
    let least = options.sharpness.least_codes.max(options.sharpness.least_sigmas * noise(&smooth)?);
    let mut best: Option<f32> = None;
    for _ in 0..PLACES {
        let inner = REACH_PX..slopes.len().saturating_sub(REACH_PX);
        let place = inner.max_by(|&a, &b| slopes[a].total_cmp(&slopes[b]))?;
        let around = &smooth[place - REACH_PX..(place + base + REACH_PX).min(smooth.len())];
        let (low, high) =
            around.iter().fold((f32::INFINITY, f32::NEG_INFINITY), |(low, high), &v| (low.min(v), high.max(v)));
        if high - low > least {
            let spread = narrowed((high - low) / (std::f32::consts::TAU.sqrt() * slopes[place]), base);
            best = Some(best.map_or(spread, |best| best.min(spread)));
        }
        let end = (place + 2 * REACH_PX).min(slopes.len());
        slopes[place.saturating_sub(2 * REACH_PX)..end].fill(0.0);
    }
    best
}

/// Takes off what a mean and a difference over the baseline add to an edge's spread: a twelfth of its square each. Over
/// the shortest one the pixels themselves are as wide, and it stays.
fn narrowed(spread: f32, base: usize) -> f32 {
    let [.., shortest] = BASES_PX;
    let added = if base == shortest { 0.0 } else { (base * base) as f32 / 6.0 };
    (spread * spread - added).max(0.0).sqrt()
}

fn noise(smooth: &[f32]) -> Option<f32> {
    let mut sizes: Vec<f32> = smooth
        .windows(2 * NOISE_LAG_PX + 1)
        .map(|w| (w[0] - 2.0 * w[NOISE_LAG_PX] + w[2 * NOISE_LAG_PX]).abs())
        .collect();
    if sizes.is_empty() {
        return None;
    }
    let middle = sizes.len() / 2;
    let (_, median, _) = sizes.select_nth_unstable_by(middle, f32::total_cmp);
    Some(MEDIAN_TO_SIGMA * *median)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::photo::testing::{Noise, photo_of};

    /// A wall over a floor and a door, their edges blurred by `sigma` (logistic of the same steepness), with noise.
    fn room(sigma: f64, noise_codes: f64) -> Photo {
        let mut noise = Noise(3);
        let edge = |t: f64| 1.0 / (1.0 + (-t * 4.0 / (std::f64::consts::TAU.sqrt() * sigma)).exp());
        photo_of(900, 700, |x, y| {
            let (x, y) = (x as f64, y as f64);
            let level = 90.0 * edge(450.3 + 0.02 * x - y) * (0.2 + 0.8 * edge(600.4 - x));
            (10.0 + level + noise_codes * noise.gauss()).round().clamp(0.0, 255.0) as u8
        })
    }

    /// Truth: the spread that was drawn; the baseline of three pixels and the mean of three add 1.5 px in squares, the
    /// leaning edge another.
    #[test]
    fn the_spread_of_edges_is_that_of_the_blur() {
        for noise_codes in [0.0, 6.0] {
            for sigma in [1.0, 8.0, 14.0] {
                let found = edge_spread_px(&room(sigma, noise_codes), &PhotoOptions::default()).unwrap();
                let wanted = (sigma * sigma + 2.5_f64).sqrt();
                assert!((found / wanted - 1.0).abs() < 0.25, "sigma {sigma}, noise {noise_codes}: {found}");
            }
        }
    }

    #[test]
    fn flat_tiny_and_noisy_pictures_have_no_edges() {
        let mut noise = Noise(9);
        let noisy = photo_of(600, 500, |_, _| (60.0 + 14.0 * noise.gauss()).clamp(0.0, 255.0) as u8);
        assert_eq!(edge_spread_px(&noisy, &PhotoOptions::default()), None);
        for (width, height) in [(1, 1), (9, 9), (90, 40), (600, 400)] {
            assert_eq!(edge_spread_px(&photo_of(width, height, |_, _| 80), &PhotoOptions::default()), None);
        }
    }

    #[test]
    fn the_white_share_counts_white_pixels() {
        assert!((white_share(&photo_of(1000, 700, |x, _| if x < 250 { 255 } else { 200 })) - 0.25).abs() < 0.01);
        assert!(white_share(&photo_of(3, 2, |_, _| 10)).abs() < 1e-12);
    }
}
