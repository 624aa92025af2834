//! The photo as a file: turned as stored, JPEG with EXIF.
//!
//! **Takes** upright sRGB bytes. **Gives** JPEG bytes. **How**: orientation by the eight cases of EXIF 2.32, colour
//! averaged over 2 x 2 pixels (4:2:0, as phones do), EXIF as a small big-endian TIFF.

use crate::error::Error;
use jpeg_encoder::{ChromaSubsamplingMethod, ColorType, Encoder, SamplingFactor};
use rayon::prelude::*;
use std::borrow::Cow;

/// What the EXIF block says of the exposure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Shot {
    /// EXIF orientation, 1 to 8.
    pub(super) orientation: u8,
    /// Exposure time, seconds.
    pub(super) exposure_s: f64,
    /// Sensitivity.
    pub(super) iso: u16,
    /// Focal length equivalent to 35 mm film, mm.
    pub(super) f35_mm: f64,
}

/// Aperture of the invented camera.
pub(super) const F_NUMBER: f64 = 1.8;
/// Its crop factor.
const CROP: f64 = 5.0;
/// Date of every scene: invented.
const DATE: &[u8] = b"2026:02:03 20:15:00\0";

/// Upright pixel that is stored at (column, row), for an upright picture of this size.
fn upright_of(orientation: u8, column: usize, row: usize, width: usize, height: usize) -> (usize, usize) {
    match orientation {
        2 => (width - 1 - column, row),
        3 => (width - 1 - column, height - 1 - row),
        4 => (column, height - 1 - row),
        5 => (row, column),
        6 => (width - 1 - row, column),
        7 => (width - 1 - row, height - 1 - column),
        8 => (row, height - 1 - column),
        _ => (column, row),
    }
}

/// The stored row on which an upright pixel lies, its middle as a share of the read-out 0..1.
pub(super) fn readout_share(orientation: u8, x: usize, y: usize, width: usize, height: usize) -> f64 {
    let (across, down) = ((x as f64 + 0.5) / width as f64, (y as f64 + 0.5) / height as f64);
    match orientation {
        3 | 4 => 1.0 - down,
        5 | 8 => across,
        6 | 7 => 1.0 - across,
        _ => down,
    }
}

/// Encodes an upright picture as it is stored.
pub(super) fn encode(upright: &[u8], size: (u32, u32), quality: u8, shot: &Shot) -> Result<Vec<u8>, Error> {
    let (width, height) = (size.0 as usize, size.1 as usize);
    let (stored_width, stored_height) = if shot.orientation >= 5 { (height, width) } else { (width, height) };
    let stored = turned(upright, shot.orientation, (width, height), stored_width);
    let mut file = Vec::with_capacity(stored.len() / 8);
    let wrong = |error: String| Error::file("photo", format!("not encoded: {error}"), "use sides of 8 to 16384 px");
    let side = |side: usize| u16::try_from(side).map_err(|error| wrong(error.to_string()));
    let mut encoder = Encoder::new(&mut file, quality);
    encoder.set_sampling_factor(SamplingFactor::R_4_2_0);
    encoder.set_chroma_subsampling_method(ChromaSubsamplingMethod::Average);
    encoder.add_exif_metadata(&exif(shot)).map_err(|error| wrong(error.to_string()))?;
    encoder
        .encode(&stored, side(stored_width)?, side(stored_height)?, ColorType::Rgb)
        .map_err(|error| wrong(error.to_string()))?;
    Ok(file)
}

/// The picture as the sensor's rows store it; in squares, as upright rows lie far apart along a stored one.
fn turned(upright: &[u8], orientation: u8, (width, height): (usize, usize), stored_width: usize) -> Cow<'_, [u8]> {
    const SQUARE: usize = 32;
    if orientation <= 1 {
        return Cow::Borrowed(upright);
    }
    let mut stored = vec![0_u8; upright.len()];
    stored.par_chunks_mut(stored_width * 3 * SQUARE).enumerate().for_each(|(strip, lines)| {
        for left in (0..stored_width).step_by(SQUARE) {
            let end = (left + SQUARE).min(stored_width);
            for (row, line) in lines.chunks_exact_mut(stored_width * 3).enumerate() {
                for (column, pixel) in (left..end).zip(line[left * 3..end * 3].chunks_exact_mut(3)) {
                    let (x, y) = upright_of(orientation, column, strip * SQUARE + row, width, height);
                    pixel.copy_from_slice(&upright[(y * width + x) * 3..][..3]);
                }
            }
        }
    });
    Cow::Owned(stored)
}

/// Values of one TIFF entry.
enum Entry {
    Ascii(&'static [u8]),
    Short(u16),
    Long(u32),
    Rational(u32, u32),
}

/// Appends one directory at the end of `file` (offsets count from its start); values that do not fit follow it.
fn directory(file: &mut Vec<u8>, entries: &[(u16, Entry)]) {
    const ENTRY_BYTES: usize = 12;
    let mut behind = file.len() + 2 + ENTRY_BYTES * entries.len() + 4;
    let mut extra: Vec<u8> = Vec::new();
    file.extend((entries.len() as u16).to_be_bytes());
    for (tag, entry) in entries {
        let (kind, count, value): (u16, u32, Vec<u8>) = match entry {
            Entry::Ascii(text) => (2, text.len() as u32, text.to_vec()),
            Entry::Short(number) => (3, 1, number.to_be_bytes().to_vec()),
            Entry::Long(number) => (4, 1, number.to_be_bytes().to_vec()),
            Entry::Rational(over, under) => (5, 1, [over.to_be_bytes(), under.to_be_bytes()].concat()),
        };
        file.extend(tag.to_be_bytes());
        file.extend(kind.to_be_bytes());
        file.extend(count.to_be_bytes());
        if value.len() <= 4 {
            let mut field = value;
            field.resize(4, 0);
            file.extend(field);
        } else {
            file.extend((behind as u32).to_be_bytes());
            let padded = value.len() + value.len() % 2;
            behind += padded;
            let start = extra.len();
            extra.extend(value);
            extra.resize(start + padded, 0);
        }
    }
    file.extend(0_u32.to_be_bytes());
    file.extend(extra);
}

/// The TIFF block of the APP1 segment.
fn exif(shot: &Shot) -> Vec<u8> {
    let build = |exif_at: u32| {
        let mut file = b"MM\0*\0\0\0\x08".to_vec();
        directory(
            &mut file,
            &[
                (0x010F, Entry::Ascii(b"Lampwright\0")),
                (0x0110, Entry::Ascii(b"synthetic scene\0")),
                (0x0112, Entry::Short(u16::from(shot.orientation))),
                (0x0132, Entry::Ascii(DATE)),
                (0x8769, Entry::Long(exif_at)),
            ],
        );
        file
    };
    let mut file = build(0);
    file = build(file.len() as u32);
    let thousandths = |number: f64| (1000.0 * number).round() as u32;
    directory(
        &mut file,
        &[
            (0x829A, Entry::Rational((1e6 * shot.exposure_s).round() as u32, 1_000_000)),
            (0x829D, Entry::Rational(thousandths(F_NUMBER), 1000)),
            (0x8827, Entry::Short(shot.iso)),
            (0x9003, Entry::Ascii(DATE)),
            (0x920A, Entry::Rational(thousandths(shot.f35_mm / CROP), 1000)),
            (0xA405, Entry::Short(shot.f35_mm.round() as u16)),
        ],
    );
    file
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::metadata::Orientation;
    use image::{DynamicImage, ImageDecoder, RgbImage};

    fn shot(orientation: u8) -> Shot {
        Shot { orientation, exposure_s: 0.01, iso: 200, f35_mm: 26.4 }
    }

    /// Source: the image crate's own reading of EXIF orientation.
    #[test]
    fn every_orientation_comes_back_upright() {
        let picture = RgbImage::from_fn(48, 32, |x, y| {
            image::Rgb([if x < 16 { 250 } else { 20 }, if y < 16 { 250 } else { 20 }, 30])
        });
        for orientation in 1..=8 {
            let file = encode(picture.as_raw(), (48, 32), 95, &shot(orientation)).unwrap();
            let mut decoder = image::codecs::jpeg::JpegDecoder::new(std::io::Cursor::new(&file)).unwrap();
            let found = decoder.orientation().unwrap();
            assert_eq!(Some(found), Orientation::from_exif(orientation));
            let mut back = DynamicImage::from_decoder(decoder).unwrap();
            back.apply_orientation(found);
            let back = back.to_rgb8();
            assert_eq!(back.dimensions(), (48, 32));
            for (x, y) in [(4, 4), (40, 4), (4, 28), (40, 28)] {
                let (want, got) = (picture.get_pixel(x, y), back.get_pixel(x, y));
                let far = (0..3).map(|c| want[c].abs_diff(got[c])).max();
                assert!(far < Some(30), "orientation {orientation} at ({x}, {y}): {want:?}, {got:?}");
            }
        }
    }

    /// Source: the kamadak-exif crate reads what was written.
    #[test]
    fn exif_block_is_readable() {
        let (fields, _) = exif::parse_exif(&super::exif(&shot(6))).unwrap();
        let text = |tag: exif::Tag| {
            let field = fields.iter().find(|f| f.tag == tag).unwrap_or_else(|| panic!("{tag} is missing"));
            field.display_value().to_string()
        };
        assert_eq!(text(exif::Tag::FNumber), "1.8");
        assert_eq!(text(exif::Tag::PhotographicSensitivity), "200");
        assert_eq!(text(exif::Tag::ExposureTime), "1/100");
        assert_eq!(text(exif::Tag::FocalLengthIn35mmFilm), "26");
        assert_eq!(text(exif::Tag::DateTimeOriginal), "2026-02-03 20:15:00");
    }

    #[test]
    fn readout_runs_along_stored_rows() {
        for orientation in 1..=8 {
            let (width, height) = (40, 30);
            let rows = if orientation >= 5 { width } else { height };
            for row in [0, 7, rows - 1] {
                let (x, y) = upright_of(orientation, 3, row, width, height);
                let share = readout_share(orientation, x, y, width, height);
                let expected = (row as f64 + 0.5) / rows as f64;
                assert!((share - expected).abs() < 1e-9, "orientation {orientation}, row {row}: {share}");
            }
        }
    }
}
