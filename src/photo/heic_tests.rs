//! HEIC: against another decoder (libheif, `fixtures/outside/photo/make_heic.py`), and files that want to mislead or to
//! exhaust, made from the same small ones.

#![expect(clippy::unwrap_used, clippy::panic, reason = "a test's helpers may fail as the tests do")]

use super::outside_tests::{check_means, fixture, small};
use super::*;
use crate::error::Error;
use crate::flag::FlagCode;

/// Rounding, and how halved colour is brought up; over a quarter of these pictures less than half a code in the mean.
const TOLERANCE: f64 = 0.5;
/// Size of the pictures as coded.
const CODED: (usize, usize) = (120, 88);
const FILES: [&str; 5] = ["plain-420.heic", "plain-444.heic", "grid-turned-6.heic", "deep.heic", "turned-7.heic"];
/// A shipped photo as a phone would store it.
const SHOT: &str = "turned-shot.heic";

fn found(bytes: &[u8], options: &DecodeOptions) -> Result<Photo, String> {
    decode(bytes, "photo.heic", options).map_err(|error| match error {
        Error::File { found, hint, .. } => {
            assert!(!hint.is_empty());
            found
        }
        other => panic!("{other:?}"),
    })
}

fn assert_found(bytes: &[u8], options: &DecodeOptions, part: &str) {
    let outcome = found(bytes, options);
    assert!(outcome.as_ref().is_err_and(|text| text.contains(part)), "need {part:?}, found {:?}", outcome.err());
}

fn pixels(name: &str) -> Pixels {
    found(&fixture(name), &small()).unwrap().pixels
}

#[test]
fn means_agree_with_another_decoder() {
    let photos = check_means("expected-heic.toml", |_| TOLERANCE);
    assert_eq!(photos.len(), 15);
    for (name, photo) in photos {
        if name == SHOT {
            let size = (photo.stored_width, photo.stored_height, photo.width(), photo.height());
            assert_eq!((size, photo.orientation), ((2000, 1500, 1500, 2000), 6), "as its JPEG, halved");
            continue;
        }
        assert_eq!((photo.format, photo.stored_width, photo.stored_height), (Format::Heic, CODED.0, CODED.1), "{name}");
        assert_eq!((photo.shot.iso, photo.shot.exposure_s, photo.flags.len()), (Some(400), Some(0.005), 0), "{name}");
        let turn = name.trim_end_matches(".heic").rsplit_once("turned-").map_or(1, |(_, turn)| turn.parse().unwrap());
        assert_eq!(photo.orientation, turn, "{name}");
        assert_eq!(matches!(photo.pixels, Pixels::Rgb16(_)), name == "deep.heic", "{name}");
    }
}

/// The turn moves no pixel: they lie as the sensor has them, as a lens file needs it, whatever container and EXIF say.
#[test]
fn pixels_lie_as_coded_whatever_the_turn() {
    let plain = pixels("plain-420.heic");
    for turn in 2..=8 {
        assert!(pixels(&format!("turned-{turn}.heic")) == plain, "{turn}");
    }
    assert!(pixels("exif-says-6.heic") == plain);
    assert!(pixels("grid.heic") == pixels("grid-turned-6.heic"));
}

#[test]
fn ten_bits_are_kept() {
    let Pixels::Rgb16(samples) = pixels("deep.heic") else { panic!("eight bits") };
    assert!(samples.iter().filter(|&&sample| sample % 257 != 0).count() > samples.len() / 2);
}

#[test]
fn the_name_may_be_wrong() {
    let flags = |name: &str| {
        let photo = decode(&fixture("grid.heic"), name, &small()).unwrap();
        photo.flags.iter().any(|flag| flag.code == FlagCode::WrongExtension)
    };
    assert!(flags("IMG_1.jpg") && flags("a/IMG_1.PNG") && !flags("IMG_1.HEIC") && !flags("a.heif") && !flags("photo"));
}

#[test]
fn limits_are_judged_before_decoding() {
    let (width, height) = CODED;
    for name in ["plain-420.heic", "grid.heic"] {
        let whole = fixture(name);
        assert_found(&whole, &DecodeOptions::default(), "120 x 88 pixels (0.01 megapixels), need 0.9 or more");
        assert_found(&whole, &DecodeOptions { max_pixels: width * height - 1, ..small() }, "megapixels or fewer");
        assert!(found(&whole, &DecodeOptions { max_pixels: width * height, ..small() }).is_ok());
        assert_found(&whole, &DecodeOptions { max_side_px: width - 1, ..small() }, "need sides of 1 to 119");
        // Less than the pictures' samples as 32-bit numbers take, more than the file.
        assert_found(&whole, &DecodeOptions { max_bytes: 4 * width * height, ..small() }, "memory");
    }
}

#[test]
fn a_file_cut_anywhere_is_an_error() {
    for name in FILES {
        let whole = fixture(name);
        for percent in (0..100).step_by(5) {
            assert!(found(&whole[..whole.len() * percent / 100], &small()).is_err(), "{name} cut at {percent} %");
        }
        assert_found(&whole[..whole.len() * 6 / 10], &small(), "photo incomplete");
        assert_found(&whole[..whole.len() - 1], &small(), "photo incomplete");
        assert!(found(&[&whole[..], b"more"].concat(), &small()).is_ok());
    }
}

#[test]
fn changed_bytes_never_panic() {
    const CHANGES: usize = 150;
    let mut noise = testing::Noise(11);
    let mut below = |limit: usize| (noise.uniform() * limit as f64) as usize;
    for name in FILES {
        let whole = fixture(name);
        // Half of the changes in the first kilobyte, where the container is.
        for (change, reach) in (0..CHANGES).zip([whole.len(), 1024].into_iter().cycle()) {
            let mut bytes = whole.clone();
            for _ in 0..=change % 3 {
                bytes[below(reach)] = below(256) as u8;
            }
            if let Ok(photo) = found(&bytes, &small()) {
                let last = photo.rgb_code(photo.width() - 1, photo.height() - 1);
                assert!(last.iter().all(|code| (0.0..=255.0).contains(code)));
            }
        }
    }
}

fn named(kind: [u8; 4], body: &[u8]) -> Vec<u8> {
    [&(body.len() as u32 + 8).to_be_bytes()[..], &kind, body].concat()
}

/// A file whose one item has `length` bytes, and is named `count` times as a tile of a grid.
fn with_tiles(length: u32, count: u16) -> Vec<u8> {
    let location = [&[0, 0, 0, 0, 0x44, 0, 0, 1, 0, 1, 0, 0, 0, 1, 0, 0, 0, 0][..], &length.to_be_bytes()].concat();
    let tiles = [&[0, 2][..], &count.to_be_bytes(), &[0, 1].repeat(count.into())].concat();
    let references = [&[0; 4][..], &named(*b"dimg", &tiles)].concat();
    let list = [&[0; 4][..], &named(*b"iloc", &location), &named(*b"iref", &references)].concat();
    [named(*b"ftyp", b"heic\0\0\0\0"), named(*b"meta", &list)].concat()
}

#[test]
fn a_small_file_that_asks_for_masses_is_refused_before_they_are_copied() {
    assert_found(&with_tiles(100_000, u16::MAX), &small(), "memory, need 768 MiB or less");
    assert_found(&with_tiles(u32::MAX, 1), &small(), "memory");
    let empty = [&[0, 0, 0, 0, 0, 0, 0, 1][..], &[0, 1, 0, 0, 0xFF, 0xFF]].concat();
    let list = [&[0; 4][..], &named(*b"iloc", &empty)].concat();
    let bytes = [named(*b"ftyp", b"heic\0\0\0\0"), named(*b"meta", &list)].concat();
    assert_found(&bytes, &small(), "list of pictures cannot be read");
    assert!(found(&with_tiles(10, 4), &small()).is_err_and(|text| !text.contains("memory")));
}

#[test]
fn odd_containers_are_errors() {
    let start = named(*b"ftyp", b"heic\0\0\0\0");
    let with = |rest: &[u8]| [&start[..], rest].concat();
    let list = named(*b"meta", &[0; 4]);
    assert_found(&start, &small(), "without one list of pictures");
    assert_found(&with(&list.repeat(2)), &small(), "without one list of pictures");
    assert!(found(&with(&list), &small()).is_err());
    assert_found(&with(&named(*b"meta", &[0; 2])), &small(), "list of pictures cannot be read");
    assert_found(&with(&[0, 0, 0, 3, b'm', b'e', b't', b'a']), &small(), "smaller than its own header");
    assert_found(&with(&[0, 0, 0, 1, b'm', b'e', b't', b'a', 0xFF]), &small(), "photo incomplete");
    assert_found(&with(&[&[0xFF; 4][..], b"meta", &[0; 40]].concat()), &small(), "photo incomplete");
}
