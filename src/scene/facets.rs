//! Facets of a reflector lamp: each throws its own small image of the filament, so the light under the cutoff is uneven.
//!
//! **Takes** number, depth and size of the images and a seed. **Gives** a factor on the lamp's light at a place of the
//! pattern. **How**: the images are flat-topped ellipses exp(-(x²/a² + y²/b²)²), strewn under the line and leaning as
//! the filament's image does on each side (own invention, no source); the factor is 1 + depth · (sum of the images,
//! of alternating sign). It acts on the light alone, not on the edge's form nor on stray light; truth sees it too.

use super::rng::{mix, unit};
use serde::{Deserialize, Serialize};

/// Facets of one lamp; number 0: a smooth lamp.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FacetSpec {
    /// Number of images.
    pub count: u32,
    /// How much one image adds or takes, share of the light there; at most 0.5.
    pub depth: f64,
    /// Half length of an image, degrees.
    pub half_length_deg: f64,
    /// Half height of an image, degrees.
    pub half_height_deg: f64,
    /// Reach of the images to both sides of the aim, degrees.
    pub reach_h_deg: f64,
    /// Reach below the line, degrees.
    pub reach_v_deg: f64,
    /// Seed of their places.
    pub seed: u64,
}

impl Default for FacetSpec {
    fn default() -> Self {
        Self {
            count: 0,
            depth: 0.0,
            half_length_deg: 1.2,
            half_height_deg: 0.25,
            reach_h_deg: 8.0,
            reach_v_deg: 3.0,
            seed: 0,
        }
    }
}

/// Images lean up to this much, degrees; more towards the sides.
const LEAN_DEG: f64 = 25.0;
/// The factor stays above this however many images overlap.
const LEAST_FACTOR: f64 = 0.1;
/// An image is nothing beyond this many half lengths: exp(-1.8^4) = 3e-5.
const REACH: f64 = 1.8;
/// Width of a bin of images along h, degrees.
const BIN_DEG: f64 = 0.5;

#[derive(Debug, Clone, Copy)]
struct Image {
    h: f64,
    v: f64,
    sin: f64,
    cos: f64,
    gain: f64,
}

/// All images, sorted into bins along h.
#[derive(Debug, Clone)]
pub(super) struct Facets {
    images: Vec<Image>,
    bins: Vec<Vec<u16>>,
    first_bin_deg: f64,
    inverse: (f64, f64),
}

impl Facets {
    /// The images; `None` for a smooth lamp.
    pub(super) fn new(spec: &FacetSpec) -> Option<Self> {
        if spec.count == 0 || spec.depth == 0.0 {
            return None;
        }
        let depth = spec.depth.clamp(0.0, 0.5);
        let images: Vec<Image> = (0..u64::from(spec.count.min(u32::from(u16::MAX))))
            .map(|n| {
                let draw = |k: u64| unit(mix(mix(spec.seed ^ k).wrapping_add(n)));
                let side = 2.0 * draw(1) - 1.0;
                let (sin, cos) = (-LEAN_DEG * side * draw(2)).to_radians().sin_cos();
                let gain = if n % 2 == 0 { depth } else { -depth };
                // Dense under the line, thin further down.
                Image { h: spec.reach_h_deg * side, v: -spec.reach_v_deg * draw(3).powi(2), sin, cos, gain }
            })
            .collect();
        let far = REACH * spec.half_length_deg.hypot(spec.half_height_deg);
        let first_bin_deg = -spec.reach_h_deg - far;
        let count = (2.0 * (spec.reach_h_deg + far) / BIN_DEG).ceil().max(1.0) as usize;
        let touches = |image: &Image, bin: usize| {
            let left = first_bin_deg + bin as f64 * BIN_DEG;
            image.h + far >= left && image.h - far <= left + BIN_DEG
        };
        let in_bin = |bin: usize| (0..images.len()).filter(|&n| touches(&images[n], bin)).map(|n| n as u16).collect();
        Some(Self {
            bins: (0..count).map(in_bin).collect(),
            images,
            first_bin_deg,
            inverse: (1.0 / spec.half_length_deg, 1.0 / spec.half_height_deg),
        })
    }

    /// Factor on the light at a place of the pattern, relative to the aim.
    pub(super) fn factor(&self, h: f64, v: f64) -> f64 {
        let bin = ((h - self.first_bin_deg) / BIN_DEG).floor();
        if bin < 0.0 || bin >= self.bins.len() as f64 {
            return 1.0;
        }
        let mut sum = 1.0;
        for &n in &self.bins[bin as usize] {
            let image = &self.images[usize::from(n)];
            let (dh, dv) = (h - image.h, v - image.v);
            let x = (dh * image.cos + dv * image.sin) * self.inverse.0;
            let y = (dv * image.cos - dh * image.sin) * self.inverse.1;
            let square = x * x + y * y;
            if square < REACH * REACH {
                sum += image.gain * (-square * square).exp();
            }
        }
        sum.max(LEAST_FACTOR)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_image_stands_out_by_its_depth() {
        let spec = FacetSpec { count: 1, depth: 0.2, seed: 5, ..FacetSpec::default() };
        let facets = Facets::new(&spec).unwrap();
        let image = facets.images[0];
        assert!((facets.factor(image.h, image.v) - 1.2).abs() < 1e-12);
        assert!((facets.factor(image.h, image.v + 1.0) - 1.0).abs() < 1e-4);
        assert!((facets.factor(60.0, 0.0) - 1.0).abs() < 1e-12);
    }

    #[test]
    fn bins_leave_nothing_out() {
        let spec = FacetSpec { count: 60, depth: 0.15, seed: 9, ..FacetSpec::default() };
        let facets = Facets::new(&spec).unwrap();
        let whole = Facets { bins: vec![(0..60).collect(); facets.bins.len()], ..facets.clone() };
        for i in 0..2000 {
            let (h, v) = (f64::from(i % 100) * 0.21 - 10.5, f64::from(i / 100) * 0.22 - 4.0);
            assert!((facets.factor(h, v) - whole.factor(h, v)).abs() < 1e-12);
        }
    }

    #[test]
    fn without_images_there_is_nothing() {
        assert!(Facets::new(&FacetSpec::default()).is_none());
    }
}
