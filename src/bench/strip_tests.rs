//! Photos with everything that a camera or an editor adds, made here, cleaned, and searched byte by byte.
//!
//! The planted words are long enough not to stand in coded pixels by chance.

use super::strip::{Stripped, strip};
use crate::photo::{DecodeOptions, decode};
use exif::experimental::Writer;
use exif::{Exif, Field, In, Rational, Reader, Tag, Value};
use image::codecs::jpeg::JpegEncoder;
use image::{ExtendedColorType, ImageEncoder};
use std::io::Cursor;

const SIDE: (u32, u32) = (64, 48);
/// Words planted in what must go.
const SECRETS: [&[u8]; 13] = [
    b"SECRET-serial",
    b"SECRET-lens",
    b"SECRET-owner",
    b"SECRET-unique",
    b"SECRET-note",
    b"SECRET-model",
    b"SECRET-usercomment",
    b"SECRET-thumb",
    b"SECRET-xmp",
    b"SECRET-iptc",
    b"SECRET-comment",
    b"SECRET-mpf",
    b"SECRET-text",
];
/// Degrees, minutes and seconds of the planted place, as the file holds them.
const PLACE: [u32; 6] = [123_456_789, 987_654_321, 192_837_465, 564_738_291, 111_222_333, 333_222_111];

fn options() -> DecodeOptions {
    DecodeOptions { min_pixels: 1, refuse_flat_bottom: false, ..DecodeOptions::default() }
}

fn pixels() -> Vec<u8> {
    (0..SIDE.0 * SIDE.1).flat_map(|i| [(i * 7 % 251) as u8, (i / 3 % 256) as u8, (i * 31 % 239) as u8]).collect()
}

fn field(tag: Tag, ifd_num: In, value: Value) -> Field {
    Field { tag, ifd_num, value }
}

fn ascii(text: &[u8]) -> Value {
    Value::Ascii(vec![text.to_vec()])
}

fn ratio(pairs: &[u32]) -> Value {
    Value::Rational(pairs.chunks(2).map(|pair| Rational { num: pair[0], denom: pair[1] }).collect())
}

/// What must stay.
fn kept_fields() -> Vec<Field> {
    let values = [
        (Tag::Orientation, Value::Short(vec![6])),
        (Tag::ExposureTime, ratio(&[1, 60])),
        (Tag::FNumber, ratio(&[18, 10])),
        (Tag::PhotographicSensitivity, Value::Short(vec![400])),
        (Tag::DateTimeOriginal, ascii(b"2026:03:14 19:20:21")),
        (Tag::OffsetTimeOriginal, ascii(b"+01:00")),
        (Tag::FocalLength, ratio(&[577, 100])),
        (Tag::FocalLengthIn35mmFilm, Value::Short(vec![27])),
        (Tag::ColorSpace, Value::Short(vec![1])),
        (Tag::PixelXDimension, Value::Long(vec![SIDE.0])),
        (Tag::PixelYDimension, Value::Long(vec![SIDE.1])),
    ];
    values.into_iter().map(|(tag, value)| field(tag, In::PRIMARY, value)).collect()
}

/// A camera's whole block, in either byte order.
fn full_block(is_little_endian: bool) -> Vec<u8> {
    let mut fields = kept_fields();
    let undefined = |text: &[u8]| Value::Undefined(text.to_vec(), 0);
    let more = [
        (Tag::Model, ascii(SECRETS[5])),
        (Tag::BodySerialNumber, ascii(SECRETS[0])),
        (Tag::LensSerialNumber, ascii(SECRETS[1])),
        (Tag::CameraOwnerName, ascii(SECRETS[2])),
        (Tag::ImageUniqueID, ascii(SECRETS[3])),
        (Tag::MakerNote, undefined(SECRETS[4])),
        (Tag::UserComment, undefined(SECRETS[6])),
        (Tag::GPSLatitudeRef, ascii(b"N")),
        (Tag::GPSLatitude, ratio(&PLACE)),
    ];
    fields.extend(more.into_iter().map(|(tag, value)| field(tag, In::PRIMARY, value)));
    fields.push(field(Tag::Compression, In::THUMBNAIL, Value::Short(vec![6])));
    let mut writer = Writer::new();
    for field in &fields {
        writer.push_field(field);
    }
    writer.set_jpeg(SECRETS[7], In::THUMBNAIL);
    let mut bytes = Cursor::new(Vec::new());
    writer.write(&mut bytes, is_little_endian).unwrap();
    bytes.into_inner()
}

fn segment(marker: u8, parts: &[&[u8]]) -> Vec<u8> {
    let body = parts.concat();
    let length = u16::try_from(body.len() + 2).unwrap().to_be_bytes();
    [&[0xFF, marker], &length[..], &body].concat()
}

fn plain_jpeg() -> Vec<u8> {
    let mut file = Vec::new();
    let encoder = JpegEncoder::new_with_quality(&mut file, 90);
    encoder.write_image(&pixels(), SIDE.0, SIDE.1, ExtendedColorType::Rgb8).unwrap();
    file
}

fn full_jpeg(is_little_endian: bool) -> Vec<u8> {
    let plain = plain_jpeg();
    let added = [
        segment(0xE1, &[b"Exif\0\0", &full_block(is_little_endian)]),
        segment(0xE0, &[b"JFXX\0\x10", SECRETS[7]]),
        segment(0xE1, &[b"http://ns.adobe.com/xap/1.0/\0", SECRETS[8]]),
        segment(0xE1, &[b"http://ns.adobe.com/xmp/extension/\0", SECRETS[8]]),
        segment(0xE1, &[b"Exif\0\0", &full_block(false)]),
        segment(0xE2, &[b"ICC_PROFILE\0\x01\x01", b"KEPT-profile"]),
        segment(0xE2, &[b"MPF\0", SECRETS[11]]),
        segment(0xED, &[b"Photoshop 3.0\0", SECRETS[9]]),
        segment(0xEB, &[SECRETS[12]]),
        segment(0xFE, &[SECRETS[10]]),
    ]
    .concat();
    // A second picture behind the first, as a phone's gain map stands there.
    [&plain[..2], &added, &plain[2..], &full_block(false), &plain, SECRETS[11]].concat()
}

fn contains(bytes: &[u8], part: &[u8]) -> bool {
    bytes.windows(part.len()).any(|window| window == part)
}

fn assert_clean(found: &Stripped) {
    for secret in SECRETS {
        assert!(!contains(&found.bytes, secret), "{} is left", String::from_utf8_lossy(secret));
    }
    for number in PLACE {
        assert!(!contains(&found.bytes, &number.to_be_bytes()) && !contains(&found.bytes, &number.to_le_bytes()));
    }
    for word in [&b"GPS"[..], b"adobe.com", b"JFXX", b"MPF\0", b"Photoshop"] {
        assert!(!contains(&found.bytes, word), "{}", String::from_utf8_lossy(word));
    }
}

/// Both files decode to the same, and the kept fields are those that went in, and no others.
fn assert_same(before: &[u8], after: &[u8], exif: &Exif) {
    let (before, after) = (decode(before, "a", &options()).unwrap(), decode(after, "a", &options()).unwrap());
    assert_eq!(before.pixels, after.pixels);
    assert_eq!((before.orientation, after.orientation), (6, 6));
    assert_eq!(before.shot, after.shot);
    let text = |tag: Tag, value: &Value| format!("{tag}: {value:?}");
    let mut wanted: Vec<String> = kept_fields().iter().map(|field| text(field.tag, &field.value)).collect();
    let mut found: Vec<String> = exif.fields().map(|field| text(field.tag, &field.value)).collect();
    wanted.sort();
    found.sort();
    assert_eq!(found, wanted);
}

/// The scan with its coded data, and every table: all that stands from the first quantisation table on.
fn coded(jpeg: &[u8]) -> &[u8] {
    let start = jpeg.windows(2).position(|pair| pair == [0xFF, 0xDB]).unwrap();
    &jpeg[start..]
}

#[test]
fn a_jpeg_keeps_its_coded_bytes_and_loses_everything_else() {
    for is_little_endian in [false, true] {
        let full = full_jpeg(is_little_endian);
        assert!(SECRETS.iter().all(|secret| contains(&full, secret)), "the test plants every word");
        let found = strip(&full, "a.jpg", &options()).unwrap();
        assert_clean(&found);
        assert_eq!(coded(&found.bytes), coded(&plain_jpeg()), "coded data byte for byte");
        assert!(contains(&found.bytes, b"KEPT-profile"));
        let exif = Reader::new().read_from_container(&mut Cursor::new(&found.bytes)).unwrap();
        assert_same(&full, &found.bytes, &exif);
        let removed = found.removed.join("\n");
        let parts = ["GPS: ", "BodySerialNumber", "maker note, 11 bytes", "thumbnail", "XMP", "IPTC", "comment", "MPF"];
        for part in parts.iter().chain(&["second EXIF block", "behind the picture's end", "application segment 11"]) {
            assert!(removed.contains(part), "{part} is not listed:\n{removed}");
        }
        let again = strip(&found.bytes, "a.jpg", &options()).unwrap();
        assert_eq!((again.bytes, again.removed), (found.bytes, Vec::new()), "cleaning twice changes nothing");
    }
}

#[test]
fn a_progressive_jpeg_with_comments_between_its_scans_is_cleaned_too() {
    let mut plain = Vec::new();
    let mut encoder = jpeg_encoder::Encoder::new(&mut plain, 90);
    encoder.set_progressive(true);
    encoder.encode(&pixels(), SIDE.0 as u16, SIDE.1 as u16, jpeg_encoder::ColorType::Rgb).unwrap();
    let last_scan = plain.windows(2).rposition(|pair| pair == [0xFF, 0xDA]).unwrap();
    let (start, end) = plain.split_at(last_scan);
    let full = [start, &segment(0xFE, &[SECRETS[10]]), &[0xFF, 0xFF, 0xFF], end].concat();
    let found = strip(&full, "a.jpg", &options()).unwrap();
    assert!(!contains(&found.bytes, SECRETS[10]));
    assert_eq!(coded(&found.bytes), coded(&plain));
}

#[test]
fn a_photo_without_metadata_stays_as_it_is() {
    let plain = plain_jpeg();
    let found = strip(&plain, "a.jpg", &options()).unwrap();
    assert_eq!(found.bytes, plain);
    assert!(found.removed.is_empty());
}

fn png(has_all: bool) -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, SIDE.0, SIDE.1);
    encoder.set_color(png::ColorType::Rgb);
    if has_all {
        encoder.add_text_chunk("Comment".to_owned(), String::from_utf8_lossy(SECRETS[12]).into_owned()).unwrap();
        encoder
            .add_itxt_chunk("XML:com.adobe.xmp".to_owned(), String::from_utf8_lossy(SECRETS[8]).into_owned())
            .unwrap();
    }
    let mut writer = encoder.write_header().unwrap();
    if has_all {
        writer.write_chunk(png::chunk::eXIf, &full_block(true)).unwrap();
        writer.write_chunk(png::chunk::ChunkType(*b"prVt"), SECRETS[9]).unwrap();
        writer.write_chunk(png::chunk::tIME, &[7, 234, 3, 14, 19, 20, 21]).unwrap();
    }
    writer.write_image_data(&pixels()).unwrap();
    if has_all {
        writer.write_chunk(png::chunk::tEXt, &[b"Author\0", SECRETS[2]].concat()).unwrap();
    }
    writer.finish().unwrap();
    if has_all {
        bytes.extend_from_slice(SECRETS[11]);
    }
    bytes
}

#[test]
fn a_png_keeps_its_picture_and_loses_text_time_and_private_chunks() {
    let full = png(true);
    let found = strip(&full, "a.png", &options()).unwrap();
    assert_clean(&found);
    for kind in [&b"tEXt"[..], b"iTXt", b"tIME", b"prVt"] {
        assert!(contains(&full, kind) && !contains(&found.bytes, kind), "{}", String::from_utf8_lossy(kind));
    }
    let exif = Reader::new().read_from_container(&mut Cursor::new(&found.bytes)).unwrap();
    assert_same(&full, &found.bytes, &exif);
    let removed = found.removed.join("\n");
    for part in ["GPS: ", "text (comments, XMP)", "time of the last change", "chunk prVt", "behind the picture's end"] {
        assert!(removed.contains(part), "{part} is not listed:\n{removed}");
    }
    assert_eq!(strip(&png(false), "a.png", &options()).unwrap().bytes, png(false));
}
