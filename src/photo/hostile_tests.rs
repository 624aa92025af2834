//! Files that want to mislead or to exhaust: made here from small valid ones.

use super::outside_tests::{fixture, small};
use super::*;
use crate::error::Error;

const JPEGS: [&str; 6] = [
    "baseline-444.jpg",
    "baseline-420.jpg",
    "baseline-420-restart.jpg",
    "baseline-grey.jpg",
    "progressive-420.jpg",
    "progressive-grey.jpg",
];

fn found(bytes: &[u8]) -> Result<Photo, String> {
    decode(bytes, "photo.jpg", &small()).map_err(|error| match error {
        Error::File { path, found, hint } => {
            assert_eq!(path, "photo.jpg");
            assert!(!hint.is_empty());
            found
        }
        other => panic!("{other:?}"),
    })
}

fn assert_found(bytes: &[u8], part: &str) {
    let outcome = found(bytes);
    assert!(outcome.as_ref().is_err_and(|text| text.contains(part)), "need {part:?}, found {:?}", outcome.err());
}

fn place_of(bytes: &[u8], marker: u8) -> usize {
    bytes.windows(2).position(|pair| pair == [0xFF, marker]).unwrap()
}

/// A segment with its marker and length.
fn segment(marker: u8, body: &[u8]) -> Vec<u8> {
    let length = u16::try_from(body.len() + 2).unwrap().to_be_bytes();
    [&[0xFF, marker], &length[..], body].concat()
}

/// The file with something put in after its SOI marker.
fn with_segments(bytes: &[u8], segments: &[u8]) -> Vec<u8> {
    [&bytes[..2], segments, &bytes[2..]].concat()
}

fn next_random(state: &mut u64) -> usize {
    *state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
    (*state >> 33) as usize
}

#[test]
fn a_jpeg_cut_anywhere_is_an_error() {
    for name in JPEGS {
        let whole = fixture(name);
        assert!(found(&whole).is_ok(), "{name}");
        for length in 0..whole.len() {
            assert!(found(&whole[..length]).is_err(), "{name} cut to {length} of {} bytes", whole.len());
        }
        assert_found(&whole[..whole.len() - 2], "photo incomplete");
    }
}

#[test]
fn a_png_cut_anywhere_is_an_error() {
    for name in ["palette.png", "grey16-interlaced.png"] {
        let whole = fixture(name);
        assert!(found(&whole).is_ok());
        for length in (0..whole.len()).step_by(7).chain(whole.len() - 20..whole.len()) {
            assert!(found(&whole[..length]).is_err(), "{name} cut to {length}");
        }
        assert_found(&whole[..whole.len() / 2], "photo incomplete");
    }
}

/// A cut file that was given an end marker looks whole; a lenient decoder fills it up with a made-up part.
#[test]
fn a_cut_jpeg_with_a_new_end_marker_is_an_error() {
    // The reader's head start of 8 bytes and one more code word hide a cut that short.
    const HIDDEN_BYTES: usize = 12;
    for name in
        ["baseline-444.jpg", "baseline-422.jpg", "baseline-420.jpg", "baseline-420-restart.jpg", "baseline-grey.jpg"]
    {
        let whole = fixture(name);
        for length in place_of(&whole, 0xDA)..whole.len() - 2 - HIDDEN_BYTES {
            let closed = [&whole[..length], &[0xFF, 0xD9]].concat();
            assert!(found(&closed).is_err(), "{name} cut to {length} of {}", whole.len());
        }
    }
    let whole = fixture("progressive-420.jpg");
    let last_scan = whole.windows(2).rposition(|pair| pair == [0xFF, 0xDA]).unwrap();
    assert_found(&[&whole[..last_scan], &[0xFF, 0xD9]].concat(), "photo incomplete");
}

#[test]
fn a_hole_in_the_coded_data_is_an_error() {
    for name in ["baseline-444.jpg", "baseline-420.jpg", "baseline-grey.jpg"] {
        let mut holed = fixture(name);
        let start = place_of(&holed, 0xDA) + 100;
        let end = start + (holed.len() - start) / 2;
        holed[start..end].fill(0);
        assert_found(&holed, "photo damaged");
        let lost = fixture(name);
        assert!(found(&[&lost[..start], &lost[end..]].concat()).is_err());
    }
}

#[test]
fn flipped_bits_never_panic() {
    const FLIPS: usize = 400;
    let mut state = 7;
    for name in JPEGS.into_iter().chain(["palette.png", "grey16-interlaced.png"]) {
        let whole = fixture(name);
        for _ in 0..FLIPS {
            let mut bytes = whole.clone();
            let place = next_random(&mut state) % bytes.len();
            bytes[place] ^= 1 << (next_random(&mut state) % 8);
            if let Ok(photo) = found(&bytes) {
                let last = photo.rgb_code(photo.width() - 1, photo.height() - 1);
                assert!(last.iter().all(|code| (0.0..=255.0).contains(code)));
            }
        }
        let is_png = name.ends_with("png");
        let mut bytes = whole.clone();
        bytes[whole.len() / 2] ^= 0x10;
        assert!(!is_png || found(&bytes).is_err(), "a wrong checksum must be an error");
    }
}

#[test]
fn what_follows_the_picture_is_ignored() {
    let first = fixture("baseline-420.jpg");
    let pixels = found(&first).unwrap().pixels;
    let second = fixture("progressive-444.jpg");
    for tail in [&second[..], b"PK\x03\x04 zip", b"<html><script>", &[0; 5000], &[0xFF]] {
        assert_eq!(found(&[&first[..], tail].concat()).unwrap().pixels, pixels);
    }
    let png = fixture("palette.png");
    assert!(found(&[&png[..], b"<html>"].concat()).is_ok());
}

/// A file as phones write it with a gain map or a second view: an index (CIPA DC-007) in the first picture, and a second
/// picture behind its end marker.
#[test]
fn of_several_pictures_the_first_counts_and_must_be_whole() {
    let (first, second) = (with_flat_bottom(160, 0, [0; 3], 0), fixture("baseline-grey.jpg"));
    let index = segment(0xE2, b"MPF\0II*\0\x08\0\0\0\0\0\0\0\0\0");
    let first_with_index = with_segments(&first, &index);
    let whole = [&first_with_index[..], &second].concat();
    assert_eq!(found(&whole).unwrap().pixels, found(&first).unwrap().pixels);
    // The cut at 60 % lies in the first picture, that at 90 % in the second.
    let end = first_with_index.len();
    assert!(end > whole.len() * 60 / 100 && end < whole.len() * 90 / 100, "{end} of {}", whole.len());
    for percent in (5..100).step_by(5) {
        let length = whole.len() * percent / 100;
        assert_eq!(found(&whole[..length]).is_ok(), length >= end, "cut at {percent} %");
    }
    assert_found(&whole[..whole.len() * 60 / 100], "photo incomplete");
    // A second picture pushed up against the cut must not complete the first.
    assert!(found(&[&first_with_index[..end * 60 / 100], &second].concat()).is_err());
}

/// A preview picture inside the Exif block has an end marker of its own, which must not be taken for the photo's.
#[test]
fn a_preview_inside_the_metadata_is_not_the_picture() {
    let photo = fixture("baseline-420.jpg");
    let preview = fixture("baseline-grey.jpg");
    let bytes = with_segments(&photo, &segment(0xE1, &[b"Exif\0\0", &preview[..]].concat()));
    assert_eq!(found(&bytes).unwrap().pixels, found(&photo).unwrap().pixels);
    let last = bytes.len() - 2;
    assert_found(&bytes[..last], "photo incomplete");
}

#[test]
fn metadata_in_masses_is_ignored() {
    let photo = fixture("baseline-420.jpg");
    let many = segment(0xE2, b"ICC_PROFILE\0\x01\xFF rest").repeat(10_000);
    assert!(found(&with_segments(&photo, &many)).is_ok());
    // Extended XMP that announces 4 GB.
    let xmp = [b"http://ns.adobe.com/xmp/extension/\0", &[b'A'; 32][..], &[0xFF; 4], &[0; 4], b"x"].concat();
    assert!(found(&with_segments(&photo, &segment(0xE1, &xmp))).is_ok());
}

#[test]
fn kinds_that_no_camera_writes_are_named() {
    let whole = fixture("baseline-420.jpg");
    let frame = place_of(&whole, 0xC0);
    let changed = |offset: usize, value: &[u8]| {
        let mut bytes = whole.clone();
        bytes[frame + offset..frame + offset + value.len()].copy_from_slice(value);
        bytes
    };
    assert_found(&changed(1, &[0xC9]), "arithmetic");
    assert_found(&changed(1, &[0xC3]), "lossless");
    assert_found(&changed(1, &[0xC5]), "hierarchical");
    assert_found(&changed(4, &[12]), "12 bits");
    assert_found(&changed(5, &[0, 0]), "120 x 0");
    assert_found(&changed(7, &[0, 0]), "0 x 88");
    assert_found(&changed(5, &[0xFD, 0xE8, 0xFD, 0xE8]), "65000 x 65000");
    assert_found(&changed(5, &[0x40, 0, 0x40, 0]), "110 megapixels or fewer");
    assert_found(&changed(11, &[0x41]), "colour sampling");
    assert_found(&fixture("scans-420.jpg"), "baseline JPEG in 3 scans");
    let cmyk =
        [&whole[..frame], &segment(0xC0, &[8, 0, 88, 0, 120, 4, 1, 17, 0, 2, 17, 0, 3, 17, 0, 4, 17, 0])].concat();
    let scans = (1..=4).flat_map(|id| [&segment(0xDA, &[1, id, 0, 0, 63, 0])[..], &[0; 9]].concat());
    assert_found(&cmyk.into_iter().chain(scans).chain([0xFF, 0xD9]).collect::<Vec<_>>(), "CMYK");
}

#[test]
fn five_hundred_scans_are_refused_before_decoding() {
    let whole = fixture("progressive-420.jpg");
    let first = place_of(&whole, 0xDA);
    let scan = [&segment(0xDA, &[1, 1, 0, 1, 63, 0])[..], &[0; 9]].concat().repeat(500);
    assert_found(&[&whole[..first], &scan, &whole[first..]].concat(), "more than 100 scans");
}

#[test]
fn a_missing_restart_marker_is_an_error() {
    let mut bytes = fixture("baseline-420-restart.jpg");
    let place = place_of(&bytes, 0xD2);
    bytes.drain(place..place + 2);
    assert_found(&bytes, "restart");
}

#[test]
fn limits_are_the_options() {
    let whole = fixture("progressive-420.jpg");
    let text = decode(&whole, "photo.jpg", &DecodeOptions::default()).unwrap_err().to_string();
    assert!(text.contains("120 x 88 pixels (0.01 megapixels), need 0.9 or more"), "{text}");
    let strict = |change: fn(&mut DecodeOptions)| {
        let mut options = small();
        change(&mut options);
        decode(&whole, "photo.jpg", &options).unwrap_err().to_string()
    };
    assert!(strict(|o| o.max_progressive_pixels = 120 * 88 - 1).contains("progressive"));
    assert!(strict(|o| o.max_side_px = 119).contains("need sides of 1 to 119"));
    assert!(strict(|o| o.max_scans = 2).contains("more than 2 scans"));
    assert!(strict(|o| o.max_bytes = 4 * 120 * 88).contains("memory"));
    let exact = DecodeOptions { min_pixels: 120 * 88, max_pixels: 1, max_progressive_pixels: 120 * 88, ..small() };
    assert!(decode(&whole, "photo.jpg", &exact).is_ok());
}

#[test]
fn other_files_are_named() {
    assert_found(b"", "empty");
    assert_found(b"\r\n<!DOCTYPE html><html>", "web page");
    assert_found(b"\0\0\0\x18ftypmif1\0\0\0\0mif1avif", "AVIF");
    assert_found(b"\0\0\0\x18ftypmp42\0\0\0\0isommp42", "a video");
    assert_found(b"\0\0\0\x18ftyp", "a video");
    assert_found(b"\0\0\0\x18ftypavif\0\0\0\0", "AVIF");
    assert_found(b"RIFF\x10\0\0\0WEBPVP8 ", "WebP");
    assert_found(b"%PDF-1.7", "PDF");
    assert_found(b"hello", "5 bytes of unknown type");
    assert_found(&[0; 4096], "unknown type");
}

#[cfg(not(feature = "heic"))]
#[test]
fn without_its_feature_a_heic_is_named_with_the_way_out() {
    let text = decode(&fixture("plain-420.heic"), "IMG_1.HEIC", &small()).unwrap_err().to_string();
    assert!(text.contains("does not read") && text.contains("set the camera to JPEG"), "{text}");
}

#[test]
fn a_wrong_extension_is_only_noted() {
    let flags = |bytes: &[u8], name: &str| {
        let photo = decode(bytes, name, &small()).unwrap();
        photo.flags.iter().any(|flag| flag.code == crate::flag::FlagCode::WrongExtension)
    };
    let (jpeg, png) = (fixture("baseline-420.jpg"), fixture("palette.png"));
    assert!(flags(&jpeg, "a/b.png") && flags(&png, "b.JPG") && flags(&jpeg, "b.heic"));
    assert!(
        !flags(&jpeg, "b.JPG") && !flags(&jpeg, "b.jpeg") && !flags(&png, "c.d/b.png") && !flags(&jpeg, "c.png/photo")
    );
}

/// A picture of noise above rows of one flat colour.
fn with_flat_bottom(height: u32, flat_rows: u32, color: [u8; 3], extra: u8) -> Vec<u8> {
    let mut state = 3;
    let picture = ::image::RgbImage::from_fn(96, height, |x, y| {
        let is_flat = y + flat_rows >= height;
        let noise = (next_random(&mut state) % 40) as u8;
        ::image::Rgb(if is_flat { color.map(|c| c.saturating_add(extra * (x % 2) as u8)) } else { [60 + noise; 3] })
    });
    let mut bytes = Vec::new();
    ::image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, 95).encode_image(&picture).unwrap();
    bytes
}

#[test]
fn a_half_grey_picture_is_not_taken_for_a_whole_one() {
    assert_found(&with_flat_bottom(160, 80, [128; 3], 0), "one flat colour");
    assert_found(&with_flat_bottom(160, 24, [128; 3], 0), "one flat colour");
    assert_found(&with_flat_bottom(160, 80, [60, 40, 20], 0), "one flat colour");
    // Near misses: a dark floor, a blown-out wall, a narrow strip, a floor with some texture.
    assert!(found(&with_flat_bottom(160, 80, [0; 3], 0)).is_ok());
    assert!(found(&with_flat_bottom(160, 80, [255; 3], 0)).is_ok());
    assert!(found(&with_flat_bottom(160, 8, [128; 3], 0)).is_ok());
    assert!(found(&with_flat_bottom(160, 80, [128; 3], 12)).is_ok());
    let lenient = DecodeOptions { refuse_flat_bottom: false, ..small() };
    assert!(decode(&with_flat_bottom(160, 80, [128; 3], 0), "photo.jpg", &lenient).is_ok());
}

fn png_chunk(kind: [u8; 4], body: &[u8]) -> Vec<u8> {
    let crc = kind.iter().chain(body).fold(u32::MAX, |crc, &byte| {
        (0..8).fold(crc ^ u32::from(byte), |crc, _| if crc & 1 == 1 { (crc >> 1) ^ 0xEDB8_8320 } else { crc >> 1 })
    });
    [&(body.len() as u32).to_be_bytes()[..], &kind, body, &(!crc).to_be_bytes()].concat()
}

/// The PNG with chunks put in after its header.
fn with_chunks(png: &[u8], chunks: &[u8]) -> Vec<u8> {
    const HEADER_END: usize = 8 + 25;
    [&png[..HEADER_END], chunks, &png[HEADER_END..]].concat()
}

#[test]
fn png_chunks_that_swell_are_left_alone() {
    let png = fixture("rgb8-interlaced.png");
    let pixels = found(&png).unwrap().pixels;
    for kind in [*b"zTXt", *b"iCCP", *b"iTXt", *b"tEXt", *b"eXIf"] {
        let body = [b"name\0\0", &vec![b'x'; 400_000][..]].concat();
        assert_eq!(found(&with_chunks(&png, &png_chunk(kind, &body))).unwrap().pixels, pixels, "{kind:?}");
    }
    let animation = png_chunk(*b"acTL", &[0xFF, 0xFF, 0xFF, 0x0F, 0, 0, 0, 0]);
    if let Ok(photo) = found(&with_chunks(&png, &animation)) {
        assert_eq!(photo.pixels, pixels);
    }
    // An Exif block beyond the decoder's side limit of 16 MiB: an error or ignored, never taken in.
    let huge = png_chunk(*b"eXIf", &vec![0; 20 << 20]);
    if let Ok(photo) = found(&with_chunks(&png, &huge)) {
        assert_eq!((photo.pixels, photo.orientation), (pixels, 1));
    }
}

#[test]
fn a_png_header_of_a_gigabyte_is_refused() {
    let header = |width: u32, height: u32| {
        let body = [&width.to_be_bytes()[..], &height.to_be_bytes(), &[8, 6, 0, 0, 0]].concat();
        [b"\x89PNG\r\n\x1A\n", &png_chunk(*b"IHDR", &body)[..], &png_chunk(*b"IDAT", b"x"), &png_chunk(*b"IEND", b"")]
            .concat()
    };
    assert_found(&header(16_384, 16_384), "110 megapixels or fewer");
    assert_found(&header(u32::MAX >> 1, 4), "need sides of 1 to 16384");
    assert!(found(&header(0, 4)).is_err());
}
