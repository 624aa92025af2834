//! Pictures for the tests of this stage, made without the code under test.

use crate::photo::{Format, Photo, Pixels, ShotFacts, UprightMap};

/// A grey photo whose *upright* pixel (x, y) holds the given code, stored under an EXIF orientation.
pub(super) fn gray_photo(width: usize, height: usize, orientation: u8, code: impl Fn(usize, usize) -> f32) -> Photo {
    let is_turned = orientation >= 5;
    let (stored_width, stored_height) = if is_turned { (height, width) } else { (width, height) };
    let upright = UprightMap::new(stored_width, stored_height, orientation);
    let mut samples = vec![0; width * height];
    for y in 0..height {
        for x in 0..width {
            samples[upright.index(x, y)] = code(x, y).round().clamp(0.0, 255.0) as u8;
        }
    }
    Photo {
        file: "test".into(),
        sha256: String::new(),
        format: Format::Png,
        pixels: Pixels::Gray8(samples),
        stored_width,
        stored_height,
        orientation,
        upright,
        shot: ShotFacts::default(),
        flags: Vec::new(),
        merged: Vec::new(),
    }
}

/// A standard normal number for each pixel, the same every time (Box and Muller 1958 on a mixed counter).
pub(super) fn hash_normal(x: usize, y: usize) -> f32 {
    let unit = |salt: u64| {
        let mut bits = (x as u64) << 32 ^ (y as u64) << 8 ^ salt;
        // Finaliser of splitmix64 (Steele, Lea and Flood 2014).
        bits = bits.wrapping_mul(0x9e37_79b9_7f4a_7c15);
        bits = (bits ^ (bits >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        bits = (bits ^ (bits >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((bits ^ (bits >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    };
    ((-2.0 * (1.0 - unit(1)).ln()).sqrt() * (std::f64::consts::TAU * unit(2)).cos()) as f32
}
