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
    }
}
