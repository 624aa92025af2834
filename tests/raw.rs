//! DNG: files written here, byte by byte, of a rendered scene whose truth is known, and ones that must be refused.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test's helpers must fail loudly, as the tests do"
)]

mod cases;
mod dng;

use dng::{Dng, Layout};
use std::fs;

/// A small picture, for what must be refused before any pixel counts.
fn small(change: impl FnOnce(&mut Dng)) -> Vec<u8> {
    let light = vec![[0.2; 3]; 40 * 30];
    let mut dng = Dng::new(40, 30, light, Layout::Mosaic([0, 1, 1, 2]));
    change(&mut dng);
    dng.bytes()
}

/// What `measure` says of a file that it cannot read.
fn refused(bytes: &[u8]) -> String {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("IMG_1.DNG"), bytes).unwrap();
    let bay = cases::path_text(&cases::fixtures().join("bays/shot-clean.toml"));
    let words = ["measure", "IMG_1.DNG", "--bay", &bay, "--lamp", "right", "--height-mm", "699", "--json", "-"];
    let output = cases::run(folder.path(), &words);
    let said = String::from_utf8(output.stderr).unwrap();
    assert_eq!((output.status.code(), output.stdout.len()), (Some(2), 0), "{said}");
    assert!(said.starts_with("error: IMG_1.DNG: ") && said.contains("hint: ") && said.lines().count() <= 3, "{said}");
    said
}

#[cfg(not(feature = "raw"))]
#[test]
fn a_dng_is_one_error_that_names_the_build_it_needs() {
    let said = refused(&small(|_| {}));
    assert!(said.contains("a DNG (raw) photo") && said.contains("--features raw"), "{said}");
}

#[cfg(feature = "raw")]
mod read {
    use super::*;
    use cases::{case, load, measure, prepare_spec};
    use image::{ImageDecoder, ImageReader};
    use lampwright::bench::fixture_compare::compare;
    use lampwright::photo::{DecodeOptions, decode};
    use lampwright::scene::{ToneKind, sample};

    /// IEC 61966-2-1.
    fn light(code: u8) -> f64 {
        let encoded = f64::from(code) / 255.0;
        if encoded <= 0.040_45 { encoded / 12.92 } else { ((encoded + 0.055) / 1.055).powf(2.4) }
    }

    /// Truth: the scene's own. The camera puts no tone curve on it and does not sharpen, so that its light is known from its
    /// samples; tolerances and reasons are those of the manifest's dark rooms.
    fn holds_the_truth(layout: Layout, size: Option<(u32, u32)>, side_divisor: u64) {
        let folder = tempfile::tempdir().unwrap();
        let mut spec = sample("clean", 0, size).unwrap();
        (spec.sensor.tone, spec.sensor.tone_strength, spec.sensor.sharpening) = (ToneKind::Srgb, 0.0, 0.0);
        let mut ready = prepare_spec(&spec, folder.path());
        let mut decoder = ImageReader::open(&ready.args[0]).unwrap().into_decoder().unwrap();
        let orientation = decoder.orientation().unwrap().to_exif();
        let picture = image::DynamicImage::from_decoder(decoder).unwrap().to_rgb8();
        let table: Vec<f64> = (0..=255).map(light).collect();
        let pixels = picture.pixels().map(|pixel| pixel.0.map(|code| table[usize::from(code)])).collect();
        let mut dng = Dng::new(picture.width(), picture.height(), pixels, layout);
        dng.orientation = u16::from(orientation);
        let path = folder.path().join("IMG_1.DNG");
        fs::write(&path, dng.bytes()).unwrap();
        let (_, of_jpeg) = measure(folder.path(), &ready.args);
        ready.args[0] = cases::path_text(&path);
        let (_, reading) = measure(folder.path(), &ready.args);
        assert_eq!((&reading["status"], &reading["photo"]["format"]), (&"measured".into(), &"dng".into()));
        assert_eq!(reading["photo"]["orientation"], orientation);
        assert_eq!((&reading["photo"]["iso"], &reading["photo"]["focal_35mm"]), (&400.into(), &26.0.into()));
        for side in ["width", "height"] {
            let wanted = of_jpeg["photo"][side].as_u64().unwrap() / side_divisor;
            assert_eq!(reading["photo"][side], wanted, "{side}");
        }
        let truth = ready.truth.unwrap();
        let tolerance = &load().tolerances[case("clean-0").tolerance.as_ref().unwrap()];
        let found = compare(&reading["features"], &truth, tolerance);
        assert!(found.faults.is_empty(), "{:#?}\n{:#}", found.faults, reading["features"]);
        // A raw file's tone is known: its share may not exceed what the JPEG of the same light leaves open.
        let u = |reading: &serde_json::Value| reading["features"]["cutoff"]["u_deg"].as_f64().unwrap();
        assert!(u(&reading) < 1.1 * u(&of_jpeg), "{} against {}", u(&reading), u(&of_jpeg));
    }

    #[test]
    fn a_mosaic_is_read_as_the_light_it_is() {
        holds_the_truth(Layout::Mosaic([1, 2, 0, 1]), None, 2);
    }

    #[test]
    fn full_colour_is_read_as_the_light_it_is() {
        // Smaller, because uncompressed colour of 12 megapixels exceeds the limit of a file.
        holds_the_truth(Layout::FullColour, Some((2800, 2100)), 1);
    }

    #[test]
    fn what_cannot_be_read_is_named() {
        let compressed = |kind| small(|dng| dng.compression = kind);
        assert!(refused(&compressed(34_892)).contains("compressed as JPEG, which loses light levels"));
        assert!(refused(&compressed(52_546)).contains("compressed as JPEG XL"));
        assert!(refused(&compressed(32_773)).contains("compressed as"));
        assert!(refused(&small(|dng| dng.layout = Layout::Mosaic([0, 3, 3, 2]))).contains("megapixels"));
        assert!(refused(&small(|_| {})).contains("megapixels"));
    }

    fn large(change: impl FnOnce(&mut Dng)) -> Vec<u8> {
        let mut dng = Dng::new(2000, 2000, vec![[0.2; 3]; 4_000_000], Layout::Mosaic([0, 1, 1, 2]));
        change(&mut dng);
        dng.bytes()
    }

    #[test]
    fn a_cut_or_contradictory_file_is_one_error() {
        let whole = large(|_| {});
        assert!(refused(&whole[..whole.len() - 1]).contains("photo incomplete"));
        assert!(refused(&whole[..whole.len() / 2]).contains("photo incomplete"));
        assert!(refused(&large(|dng| dng.white = dng.black)).contains("contradict"));
        assert!(refused(&large(|dng| dng.stated_bytes = Some(100))).contains("fewer bytes"));
        assert!(refused(&large(|dng| dng.layout = Layout::Mosaic([0, 0, 1, 2]))).contains("no Bayer pattern"));
    }

    /// Whatever a few bytes of the directory are, it is a picture or an error.
    #[test]
    fn changed_bytes_never_end_the_program() {
        const DIRECTORY_BYTES: usize = 420;
        let whole = small(|_| {});
        let options = DecodeOptions { min_pixels: 1, ..DecodeOptions::default() };
        assert!(decode(&whole, "a.dng", &options).is_ok());
        for at in 8..DIRECTORY_BYTES {
            for value in [0x00, 0x01, 0x7F, 0xFF] {
                let mut bytes = whole.clone();
                bytes[at] = value;
                if let Ok(photo) = decode(&bytes, "a.dng", &options) {
                    assert!(photo.rgb_code(photo.width() - 1, photo.height() - 1)[1] <= 255.0);
                }
            }
        }
    }
}
