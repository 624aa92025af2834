//! Outside check of the decoders: pictures of `fixtures/outside/photo`, whose means Pillow (libjpeg-turbo) gave;
//! versions stand in its `expected.toml`.

use super::*;
use serde::Deserialize;

/// JPEG decoders may differ by rounding in the inverse transform and in how halved colour is brought up; over a quarter
/// of these pictures (2,640 pixels) that leaves less than half a code in the mean. PNG must be exact, up to the four
/// decimals of the file.
const JPEG_TOLERANCE: f64 = 0.5;
const PNG_TOLERANCE: f64 = 1e-4;

#[derive(Deserialize)]
struct Expected {
    made_with: String,
    picture: Vec<Picture>,
}

#[derive(Deserialize)]
struct Picture {
    file: String,
    quarters: [Vec<f64>; 4],
}

pub(super) fn fixture(name: &str) -> Vec<u8> {
    std::fs::read(format!("{}/fixtures/outside/photo/{name}", env!("CARGO_MANIFEST_DIR"))).unwrap()
}

pub(super) fn small() -> DecodeOptions {
    DecodeOptions { min_pixels: 1, ..DecodeOptions::default() }
}

fn quarters(photo: &Photo) -> [[f64; 3]; 4] {
    let (w, h) = (photo.width() / 2, photo.height() / 2);
    [(0, 0), (w, 0), (0, h), (w, h)].map(|(left, top)| {
        let mut sums = [0.0; 3];
        for (x, y) in (top..top + h).flat_map(|y| (left..left + w).map(move |x| (x, y))) {
            for (sum, code) in sums.iter_mut().zip(photo.rgb_code(x, y)) {
                *sum += f64::from(code);
            }
        }
        sums.map(|sum| sum / (w * h) as f64)
    })
}

/// Decodes every picture of a list, and holds its means against those of the other decoder.
pub(super) fn check_means(list: &str, tolerance: impl Fn(Format) -> f64) -> Vec<(String, Photo)> {
    let expected: Expected = toml::from_str(&String::from_utf8(fixture(list)).unwrap()).unwrap();
    let mut misses = Vec::new();
    let mut photos = Vec::new();
    for picture in expected.picture {
        let photo = decode(&fixture(&picture.file), &picture.file, &small()).unwrap();
        let tolerance = tolerance(photo.format);
        let is_grey = matches!(photo.pixels, Pixels::Gray8(_) | Pixels::Gray16(_));
        assert_eq!(is_grey, picture.quarters[0].len() == 1, "{}", picture.file);
        for (ours, theirs) in quarters(&photo).iter().zip(&picture.quarters) {
            for (value, wanted) in ours.iter().zip(theirs) {
                if (value - wanted).abs() > tolerance {
                    misses.push(format!("{}: {value:.4}, {} gives {wanted}", picture.file, expected.made_with));
                }
            }
        }
        photos.push((picture.file, photo));
    }
    assert!(misses.is_empty(), "{misses:#?}");
    photos
}

#[test]
fn means_agree_with_another_decoder() {
    let tolerance = |format| if format == Format::Png { PNG_TOLERANCE } else { JPEG_TOLERANCE };
    assert!(check_means("expected.toml", tolerance).len() >= 15);
}

/// Sixteen bits come through whole: the means above could not tell 16 bits from 8.
#[test]
fn sixteen_bits_are_kept() {
    let photo = decode(&fixture("rgb16.png"), "rgb16.png", &small()).unwrap();
    let Pixels::Rgb16(samples) = &photo.pixels else { panic!("{:?}", photo.format) };
    assert!(samples.iter().filter(|&&sample| sample % 257 != 0).count() > samples.len() / 2);
}
