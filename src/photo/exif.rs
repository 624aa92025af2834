//! What the camera wrote about the shot: orientation, exposure, focal length, time.
//!
//! **Takes** the TIFF structure of an Exif block (JPEG APP1, PNG eXIf). **Gives** the orientation, 1 to 8, and
//! [`ShotFacts`]. **How**: tags of EXIF 2.32 (CIPA DC-008), read one by one, so that a broken tag costs itself alone.
//! **Never fails**: what is missing, of a wrong type or beyond any camera is `None`, orientation 1.

use super::decode::guarded;
use super::image::ShotFacts;
use exif::{Exif, In, Reader, Tag, Value};
use std::ops::RangeInclusive;

/// Largest block that is read; JPEG segments are smaller, a PNG chunk need not be.
pub(crate) const EXIF_LIMIT_BYTES: usize = 1 << 20;
/// Exposure times that a camera can mean, seconds (from memory: electronic shutters reach 1/180,000 s).
const EXPOSURE_S: RangeInclusive<f64> = 1e-6..=3600.0;
/// ISO speeds that a camera can mean (from memory: the highest sold is 4,560,000).
const ISO: RangeInclusive<f64> = 1.0..=10_000_000.0;
/// The 16-bit ISO field's value for "see the 32-bit fields" (EXIF 2.32, tag 0x8827).
const ISO_ELSEWHERE: f64 = 65_535.0;
/// f-numbers that a lens can have (from memory).
const F_NUMBER: RangeInclusive<f64> = 0.5..=128.0;
/// Focal lengths that a lens can have, millimetres (from memory).
const FOCAL_MM: RangeInclusive<f64> = 0.5..=3000.0;
/// Length of "YYYY:MM:DD HH:MM:SS".
const DATE_TIME_BYTES: usize = 19;
/// Length of "+HH:MM".
const OFFSET_BYTES: usize = 6;

/// What an Exif block says.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct ExifFacts {
    pub(super) orientation: u8,
    pub(super) shot: ShotFacts,
}

impl Default for ExifFacts {
    fn default() -> Self {
        Self { orientation: 1, shot: ShotFacts::default() }
    }
}

/// Reads an Exif block, as far as it can be read.
pub(super) fn read_exif(block: Vec<u8>) -> ExifFacts {
    if block.len() > EXIF_LIMIT_BYTES {
        return ExifFacts::default();
    }
    read_tiff(block)
}

/// The same of a whole TIFF file, as a DNG is one.
pub(super) fn read_tiff(block: Vec<u8>) -> ExifFacts {
    let parsed = guarded(|| {
        let outcome = Reader::new().continue_on_error(true).read_raw(block);
        outcome.or_else(|error| error.distill_partial_result(|_| {})).ok().map(|exif| facts(&exif))
    });
    parsed.flatten().unwrap_or_default()
}

fn facts(exif: &Exif) -> ExifFacts {
    let orientation = number(exif, Tag::Orientation).filter(|n| (1.0..=8.0).contains(n)).map_or(1, |n| n as u8);
    let within = |tag, range: &RangeInclusive<f64>| number(exif, tag).filter(|n| range.contains(n));
    let iso = within(Tag::PhotographicSensitivity, &ISO)
        .filter(|&iso| iso < ISO_ELSEWHERE)
        .or_else(|| within(Tag::ISOSpeed, &ISO))
        .or_else(|| within(Tag::RecommendedExposureIndex, &ISO));
    let shot = ShotFacts {
        exposure_s: within(Tag::ExposureTime, &EXPOSURE_S),
        iso: iso.map(|iso| iso as u32),
        f_number: within(Tag::FNumber, &F_NUMBER),
        focal_35mm: within(Tag::FocalLengthIn35mmFilm, &FOCAL_MM),
        focal_mm: within(Tag::FocalLength, &FOCAL_MM),
        captured: captured(exif),
    };
    ExifFacts { orientation, shot }
}

/// The first number of a tag, whatever numeric type it was written in.
fn number(exif: &Exif, tag: Tag) -> Option<f64> {
    let value = match &exif.get_field(tag, In::PRIMARY)?.value {
        Value::Byte(list) => f64::from(*list.first()?),
        Value::Short(list) => f64::from(*list.first()?),
        Value::Long(list) => f64::from(*list.first()?),
        Value::SByte(list) => f64::from(*list.first()?),
        Value::SShort(list) => f64::from(*list.first()?),
        Value::SLong(list) => f64::from(*list.first()?),
        Value::Rational(list) => list.first()?.to_f64(),
        Value::SRational(list) => list.first()?.to_f64(),
        Value::Float(list) => f64::from(*list.first()?),
        Value::Double(list) => *list.first()?,
        _ => return None,
    };
    value.is_finite().then_some(value)
}

fn text(exif: &Exif, tag: Tag) -> Option<&str> {
    match &exif.get_field(tag, In::PRIMARY)?.value {
        Value::Ascii(list) => std::str::from_utf8(list.first()?).ok().map(str::trim),
        _ => None,
    }
}

/// `YYYY-MM-DDTHH:MM:SS`, with the zone's offset where the file gives one.
fn captured(exif: &Exif) -> Option<String> {
    let stamp = text(exif, Tag::DateTimeOriginal)?;
    if !fits(stamp, "dddd:dd:dd dd:dd:dd", DATE_TIME_BYTES) || stamp.starts_with("0000") {
        return None;
    }
    let part = |from: usize, to: usize| stamp.get(from..to);
    let field = |from: usize| part(from, from + 2).and_then(|digits| digits.parse::<u32>().ok());
    let (month, day, hour, minute, second) = (field(5)?, field(8)?, field(11)?, field(14)?, field(17)?);
    if !(1..=12).contains(&month) || !(1..=31).contains(&day) || hour > 23 || minute > 59 || second > 60 {
        return None;
    }
    let offset = text(exif, Tag::OffsetTimeOriginal)
        .filter(|zone| *zone == "Z" || fits(zone, "+dd:dd", OFFSET_BYTES) || fits(zone, "-dd:dd", OFFSET_BYTES));
    let (date, time) = (part(0, 10)?.replace(':', "-"), part(11, DATE_TIME_BYTES)?);
    Some(format!("{date}T{time}{}", offset.unwrap_or_default()))
}

/// Whether a text has the shape of a pattern, in which `d` stands for a digit.
fn fits(text: &str, pattern: &str, length: usize) -> bool {
    let same = |(found, wanted): (u8, u8)| if wanted == b'd' { found.is_ascii_digit() } else { found == wanted };
    text.len() == length && text.bytes().zip(pattern.bytes()).all(same)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::photo::outside_tests::{fixture, small};
    use crate::photo::{Pixels, decode};
    use exif::experimental::Writer;
    use exif::{Field, Rational};

    fn field(tag: Tag, value: Value) -> Field {
        Field { tag, ifd_num: In::PRIMARY, value }
    }

    fn ratio(num: u32, denom: u32) -> Value {
        Value::Rational(vec![Rational { num, denom }])
    }

    fn ascii(text: &str) -> Value {
        Value::Ascii(vec![text.as_bytes().to_vec()])
    }

    fn block(fields: &[Field]) -> Vec<u8> {
        let mut writer = Writer::new();
        for field in fields {
            writer.push_field(field);
        }
        let mut bytes = std::io::Cursor::new(Vec::new());
        writer.write(&mut bytes, false).unwrap();
        bytes.into_inner()
    }

    fn full() -> Vec<Field> {
        vec![
            field(Tag::Orientation, Value::Short(vec![6])),
            field(Tag::ExposureTime, ratio(1, 200)),
            field(Tag::FNumber, ratio(18, 10)),
            field(Tag::PhotographicSensitivity, Value::Short(vec![400])),
            field(Tag::FocalLength, ratio(577, 100)),
            field(Tag::FocalLengthIn35mmFilm, Value::Short(vec![27])),
            field(Tag::DateTimeOriginal, ascii("2026:03:14 19:20:21")),
            field(Tag::OffsetTimeOriginal, ascii("+01:00")),
        ]
    }

    #[test]
    fn a_full_block_is_read() {
        let facts = read_exif(block(&full()));
        let shot = ShotFacts {
            exposure_s: Some(0.005),
            iso: Some(400),
            f_number: Some(1.8),
            focal_35mm: Some(27.0),
            focal_mm: Some(5.77),
            captured: Some("2026-03-14T19:20:21+01:00".to_owned()),
        };
        assert_eq!(facts, ExifFacts { orientation: 6, shot });
    }

    #[test]
    fn nonsense_is_none() {
        let read = |tag, value| read_exif(block(&[field(tag, value)]));
        for value in [ratio(0, 0), ratio(1, 0), ratio(0, 1), ratio(u32::MAX, 1), ascii("1/60"), Value::Short(vec![])] {
            assert_eq!(read(Tag::ExposureTime, value).shot.exposure_s, None);
        }
        for value in [0, 9, u16::MAX] {
            assert_eq!(read(Tag::Orientation, Value::Short(vec![value])).orientation, 1);
        }
        assert_eq!(read(Tag::FocalLengthIn35mmFilm, Value::Short(vec![0])).shot.focal_35mm, None);
        for text in ["0000:00:00 00:00:00", "2026:13:01 00:00:00", "2026-03-14 19:20:21", "    :  :     :  :  ", "é"] {
            assert_eq!(read(Tag::DateTimeOriginal, ascii(text)).shot.captured, None, "{text}");
        }
        // A type that the tag should not have, but a number all the same.
        assert_eq!(read(Tag::Orientation, Value::Long(vec![3])).orientation, 3);
        let wide = [
            field(Tag::PhotographicSensitivity, Value::Short(vec![u16::MAX])),
            field(Tag::RecommendedExposureIndex, Value::Long(vec![102_400])),
        ];
        assert_eq!(read_exif(block(&wide)).shot.iso, Some(102_400));
    }

    #[test]
    fn damaged_blocks_never_panic() {
        let whole = block(&full());
        for length in 0..whole.len() {
            read_exif(whole[..length].to_vec());
            for flip in [0x01, 0x80, 0xFF] {
                let mut bytes = whole.clone();
                bytes[length] ^= flip;
                read_exif(bytes);
            }
        }
        // A directory that names itself as the next one.
        assert_eq!(read_exif(b"II*\0\x08\0\0\0\0\0\x08\0\0\0".to_vec()), ExifFacts::default());
        assert_eq!(read_exif(vec![0; EXIF_LIMIT_BYTES + 1]), ExifFacts::default());
    }

    /// Every orientation against pixels: a stored 3 x 2 picture of known samples, and its upright corners worked by hand
    /// from the table of EXIF 2.32, tag 0x0112 (which side of the scene the first row and column are).
    #[test]
    fn every_orientation_turns_the_pixels_upright() {
        const STORED: [u8; 6] = [10, 20, 30, 40, 50, 60];
        // Upright pictures, row by row.
        let upright: [(usize, [u8; 6]); 8] = [
            (3, [10, 20, 30, 40, 50, 60]),
            (3, [30, 20, 10, 60, 50, 40]),
            (3, [60, 50, 40, 30, 20, 10]),
            (3, [40, 50, 60, 10, 20, 30]),
            (2, [10, 40, 20, 50, 30, 60]),
            (2, [40, 10, 50, 20, 60, 30]),
            (2, [60, 30, 50, 20, 40, 10]),
            (2, [30, 60, 20, 50, 10, 40]),
        ];
        for (orientation, (width, wanted)) in (1_u16..).zip(upright) {
            let mut bytes = Vec::new();
            let mut encoder = ::png::Encoder::new(&mut bytes, 3, 2);
            encoder.set_color(::png::ColorType::Grayscale);
            let mut writer = encoder.write_header().unwrap();
            let exif = block(&[field(Tag::Orientation, Value::Short(vec![orientation]))]);
            writer.write_chunk(::png::chunk::eXIf, &exif).unwrap();
            writer.write_image_data(&STORED).unwrap();
            writer.finish().unwrap();
            let photo = decode(&bytes, "a.png", &small()).unwrap();
            assert_eq!(photo.pixels, Pixels::Gray8(STORED.to_vec()), "pixels stay as stored");
            assert_eq!((photo.width(), u16::from(photo.orientation)), (width, orientation));
            let places = (0..photo.height()).flat_map(|y| (0..width).map(move |x| (x, y)));
            let seen: Vec<u8> = places.map(|(x, y)| photo.green_code(x, y) as u8).collect();
            assert_eq!(seen, wanted, "orientation {orientation}");
        }
    }

    #[test]
    fn exposure_data_is_read_from_a_jpeg_and_its_absence_is_noted() {
        let plain = fixture("baseline-420.jpg");
        let body = [b"Exif\0\0", &block(&full())[..]].concat();
        let length = u16::try_from(body.len() + 2).unwrap().to_be_bytes();
        let with_exif = [&plain[..2], &[0xFF, 0xE1], &length, &body, &plain[2..]].concat();
        let photo = decode(&with_exif, "a.jpg", &small()).unwrap();
        assert_eq!((photo.shot.iso, photo.flags.len()), (Some(400), 0));
        let photo = decode(&plain, "a.jpg", &small()).unwrap();
        assert_eq!(photo.flags[0].code, crate::flag::FlagCode::ExifMissing);
        assert_eq!(photo.flags[0].text, "The photo does not say its exposure time, ISO speed, f-number.");
    }
}
