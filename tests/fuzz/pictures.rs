//! Small photos to start from.

use image::RgbImage;
use image::imageops::FilterType;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::LazyLock;

pub(crate) fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Every file of a folder, in the order of their names.
pub(crate) fn files(folder: &str, endings: &[&str]) -> Vec<Vec<u8>> {
    let entries = fs::read_dir(root().join(folder)).unwrap().map(|entry| entry.unwrap().path());
    let has_ending = |path: &PathBuf| path.extension().is_some_and(|own| endings.iter().any(|ending| own == *ending));
    let mut paths: Vec<PathBuf> = entries.filter(has_ending).collect();
    paths.sort();
    paths.iter().map(|path| fs::read(path).unwrap()).filter(|bytes| bytes.len() < 100_000).collect()
}

static PICTURES: LazyLock<Vec<RgbImage>> = LazyLock::new(|| {
    let open = |name: &str| {
        let picture = image::open(root().join(format!("fixtures/shots/{name}.jpg"))).unwrap().into_rgb8();
        image::imageops::resize(&picture, 1200, 900, FilterType::Triangle)
    };
    ["shot-clean", "shot-quadrant-marks"].map(open).into()
});

/// Shipped shots, scaled down to just above the least size that is read, with the bays they belong to.
pub(crate) fn shots() -> &'static [RgbImage] {
    &PICTURES
}

/// As a JPEG.
pub(crate) fn jpeg(picture: &RgbImage, quality: u8) -> Vec<u8> {
    let mut bytes = Vec::new();
    let encoder = jpeg_encoder::Encoder::new(&mut bytes, quality);
    let (width, height) = (picture.width() as u16, picture.height() as u16);
    encoder.encode(picture, width, height, jpeg_encoder::ColorType::Rgb).unwrap();
    bytes
}
