//! Photos made in memory, for the tests of this stage.

use super::{Format, Photo, Pixels, ShotFacts, UprightMap};

/// A deterministic source of noise: a linear congruential generator (Knuth, MMIX), the upper bits of it.
pub(super) struct Noise(pub(super) u64);

impl Noise {
    /// Uniform in 0..1.
    pub(super) fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Gaussian of mean 0 and spread 1 (Box-Muller).
    pub(super) fn gauss(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.uniform()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.uniform()).cos()
    }
}

fn photo(width: usize, height: usize, orientation: u8, pixels: Pixels) -> Photo {
    Photo {
        file: "test".to_owned(),
        sha256: String::new(),
        format: Format::Png,
        pixels,
        stored_width: width,
        stored_height: height,
        orientation,
        upright: UprightMap::new(width, height, orientation),
        shot: ShotFacts::default(),
        flags: Vec::new(),
        merged: Vec::new(),
    }
}

/// A grey photo from a function of the pixel.
pub(super) fn photo_of(width: usize, height: usize, mut code: impl FnMut(usize, usize) -> u8) -> Photo {
    let pixels = (0..width * height).map(|i| code(i % width, i / width)).collect();
    photo(width, height, 1, Pixels::Gray8(pixels))
}

/// A colour photo from a function of the stored pixel.
pub(super) fn rgb_photo(width: usize, height: usize, orientation: u8, code: impl Fn(usize, usize) -> [u8; 3]) -> Photo {
    let pixels = (0..width * height).flat_map(|i| code(i % width, i / width)).collect();
    photo(width, height, orientation, Pixels::Rgb8(pixels))
}
