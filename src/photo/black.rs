//! What clipping at black adds to the dark parts of a noisy photo.
//!
//! A camera cannot write less than no light: where noise would take a pixel below black it is written as black, and the mean
//! of many pixels stands above the light that fell on them, by up to 0.4 of the noise's standard deviation. Dark walls of
//! noisy photos so seem several times as bright as they are.
//!
//! **Takes** a [`NoiseCurve`]. **Gives** [`BlackClip`]: the mean that a light is written as, and back; `None` where noise is
//! too weak to reach black.
//! **How**: noise of variance `r² + p·L` about the light L (read and shot noise), clipped at zero. With `z = L/σ`, the mean is
//! `σ·(φ(z) + z·Φ(z))` and the mean square `σ²·((1 + z²)·Φ(z) + z·φ(z))` (moments of the censored normal distribution, e.g.
//! Tobin 1958). r and p are those whose spread follows the measured one down into the dark, where clipping narrows it.
//! **Weak when** the camera smooths its noise after clipping by more than pictures usually do: the spread that is left then
//! hides how much was clipped. Colour coding alone leaves `KEPT` of a channel's noise in the luminance.

use super::noise::NoiseCurve;
use libm::erf;
use std::f64::consts::{PI, SQRT_2};

/// Share of a channel's noise that a pixel's luminance shows. Three equal, independent channels give the root of the summed
/// squares of the luminance weights, 0.75; halved colour and the JPEG's rounding move it by some hundredths.
const KEPT: f64 = 0.75;
/// Relative standard uncertainty of what is taken off, from that share: where light and noise are even, a share that is a
/// twentieth larger lowers the noise by a seventh.
pub const SIGMA_SHARE: f64 = 0.15;
/// Levels up to which the spread is followed: further up it is the wall's texture as much as noise.
const FOLLOWED_TO: f64 = 0.12;
/// Spread of ln(sigma) that the curve is followed with.
const LN_SPREAD: f64 = 0.05;
/// A mean of that many spreads or more is not clipped: `z` is above 2, where clipping adds less than half a percent.
const UNTOUCHED: f64 = 2.0 / KEPT;
/// Ranges of the search, light of full scale: read noise, and shot noise's variance per light (cameras hold some hundred to
/// some ten thousand electrons at full scale of the sensitivities in use).
const READ: (f64, f64) = (3e-4, 0.06);
const SHOT: (f64, f64) = (1e-5, 0.03);
/// Steps of the search along each, and how often it is narrowed.
const STEPS: usize = 15;
const NARROWED: usize = 3;

/// Noise that reaches below black.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BlackClip {
    /// Standard deviation of the read noise, parts of full scale.
    read: f64,
    /// Variance of the shot noise per light.
    shot: f64,
}

impl BlackClip {
    /// Of a camera whose noise is known: standard deviation of the read noise, and variance of the shot noise per light.
    pub fn with_noise(read: f64, shot: f64) -> Self {
        Self { read, shot }
    }

    /// What a photo's noise says; `None` where black is out of its reach.
    pub fn from_noise(noise: &NoiseCurve) -> Option<Self> {
        let knots: Vec<(f64, f64)> =
            noise.knots().map(|(level, sigma)| (level, sigma / KEPT)).filter(|knot| knot.0 < FOLLOWED_TO).collect();
        let &(darkest, spread) = knots.first()?;
        if darkest > UNTOUCHED * KEPT * spread {
            return None;
        }
        let (mut read, mut shot) = (READ, SHOT);
        let mut best = (f64::INFINITY, Self { read: read.0, shot: shot.0 });
        for _ in 0..NARROWED {
            for r in rising(read) {
                for p in rising(shot) {
                    let clip = Self { read: r, shot: p };
                    let misfit = clip.misfit(&knots);
                    if misfit < best.0 {
                        best = (misfit, clip);
                    }
                }
            }
            read = narrowed(read, best.1.read);
            shot = narrowed(shot, best.1.shot);
        }
        Some(best.1)
    }

    /// Mean that a light is written as; both in parts of full scale.
    pub fn mean_of(&self, light: f64) -> f64 {
        self.moments(light).0
    }

    /// The light that is written as a mean; below zero where chance left a mean that no light gives.
    pub fn light_of(&self, mean: f64) -> f64 {
        /// Newton's method on a convex, rising curve needs few; each is one `moments`.
        const NEWTON: usize = 12;
        const CLOSE: f64 = 1e-7;
        let floor = -0.5 * self.read;
        let mut light = mean;
        for _ in 0..NEWTON {
            let (found, _, slope) = self.moments(light);
            let next = (light + (mean - found) / slope.max(0.2)).max(floor);
            let moved = (next - light).abs();
            light = next;
            if moved < CLOSE {
                break;
            }
        }
        light
    }

    /// Mean, standard deviation and the mean's slope of clipped light.
    fn moments(&self, light: f64) -> (f64, f64, f64) {
        let sigma = (self.read * self.read + self.shot * light.max(0.0)).sqrt();
        let z = light / sigma;
        let density = (-0.5 * z * z).exp() / (2.0 * PI).sqrt();
        let below = 0.5 * (1.0 + erf(z / SQRT_2));
        let mean = density + z * below;
        let square = (1.0 + z * z) * below + z * density;
        (sigma * mean, sigma * (square - mean * mean).max(1e-9).sqrt(), below)
    }

    fn misfit(&self, knots: &[(f64, f64)]) -> f64 {
        knots
            .iter()
            .map(|&(mean, sigma)| {
                let off = ((self.moments(self.light_of(mean)).1 / sigma).ln() / LN_SPREAD).powi(2);
                (1.0 + off).sqrt() - 1.0
            })
            .sum()
    }
}

/// Values from one end of a range to the other, each the same factor above the last.
fn rising((from, to): (f64, f64)) -> impl Iterator<Item = f64> {
    let step = (to / from).powf(1.0 / (STEPS - 1) as f64);
    (0..STEPS).map(move |k| from * step.powi(k as i32))
}

/// The part of a range within a step of what was best.
fn narrowed((from, to): (f64, f64), best: f64) -> (f64, f64) {
    let step = (to / from).powf(1.0 / (STEPS - 1) as f64);
    (best / step, best * step)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::photo::linear::{LinearImage, linear_to_srgb};
    use crate::photo::testing::{Noise, photo_of, rgb_photo};
    use std::cell::RefCell;

    /// Closed form: at no light the mean is σ/√(2π); far above black it is the light.
    #[test]
    fn the_mean_of_clipped_noise_has_its_closed_form() {
        let clip = BlackClip { read: 0.01, shot: 0.0 };
        assert!((clip.mean_of(0.0) - 0.01 / (2.0 * PI).sqrt()).abs() < 1e-12);
        assert!((clip.mean_of(0.06) - 0.06).abs() < 1e-9);
        for light in [0.0, 0.002, 0.01, 0.05] {
            // Newton ends within 1e-7.
            assert!((clip.light_of(clip.mean_of(light)) - light).abs() < 1e-6, "{light}");
        }
    }

    /// Truth: steps of known light under noise that was put in, a channel by itself, clipped at black and rounded to codes. What
    /// clipping added comes off but for a quarter: the levels are few, and the share that luminance keeps is taken as known.
    #[test]
    fn noise_that_reaches_black_is_told_from_its_spread() {
        let lights = [0.0015, 0.004, 0.009, 0.03];
        let sigma = 0.008;
        let noise = RefCell::new(Noise(3));
        let photo = rgb_photo(1280, 640, 1, |x, _| {
            [(); 3].map(|()| {
                let light: f64 = lights[x / 320] + sigma * noise.borrow_mut().gauss();
                linear_to_srgb(light.max(0.0) as f32).round() as u8
            })
        });
        let curve = NoiseCurve::measure(&LinearImage::new(&photo)).unwrap();
        let clip = BlackClip::from_noise(&curve).unwrap();
        let truth = BlackClip { read: sigma, shot: 0.0 };
        for light in &lights[..3] {
            let seen = truth.mean_of(*light);
            let (added, left) = (seen - light, clip.light_of(seen) - light);
            assert!(left.abs() < 0.25 * added, "{light}: {left} is left of {added} ({clip:?})");
        }
    }

    #[test]
    fn weak_noise_does_not_reach_black() {
        let mut noise = Noise(4);
        let photo = photo_of(640, 480, |x, _| (30.0 + (x / 160) as f64 * 30.0 + noise.gauss()).round() as u8);
        assert_eq!(BlackClip::from_noise(&NoiseCurve::measure(&LinearImage::new(&photo)).unwrap()), None);
    }
}
