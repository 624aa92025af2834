//! An EXIF block written anew from the few fields that a measurement uses.
//!
//! **Takes** the TIFF structure of a block. **Gives** a structure with the kept fields alone, or none when there is
//! nothing to keep. **How**: tags of EXIF 2.32 (CIPA DC-008). Only a field's first number is taken over, and text only in
//! the shape of a time, so that a kept field cannot carry anything else.

use super::strip::Ledger;
use crate::photo::EXIF_LIMIT_BYTES;
use exif::experimental::Writer;
use exif::{Context, Exif, Field, In, Reader, Tag, Value};
use std::io::Cursor;

/// Kept fields: what `photo` reads, and what makes sense of it.
const KEPT: &[Tag] = &[
    Tag::Orientation,
    Tag::ExposureTime,
    Tag::FNumber,
    Tag::PhotographicSensitivity,
    Tag::SensitivityType,
    Tag::StandardOutputSensitivity,
    Tag::RecommendedExposureIndex,
    Tag::ISOSpeed,
    Tag::DateTimeOriginal,
    Tag::OffsetTimeOriginal,
    Tag::FocalLength,
    Tag::FocalLengthIn35mmFilm,
    Tag::ColorSpace,
    Tag::PixelXDimension,
    Tag::PixelYDimension,
];
/// Fields that name a device or its owner.
const SERIALS: &[Tag] = &[Tag::BodySerialNumber, Tag::LensSerialNumber, Tag::CameraOwnerName, Tag::ImageUniqueID];
/// "YYYY:MM:DD HH:MM:SS".
const DATE_TIME_SHAPE: &[u8] = b"dddd:dd:dd dd:dd:dd";
/// Zones.
const ZONE_SHAPES: [&[u8]; 3] = [b"+dd:dd", b"-dd:dd", b"Z"];

/// The block with the kept fields alone.
pub(super) fn rewrite(block: &[u8], ledger: &mut Ledger) -> Option<Vec<u8>> {
    let parsed = (block.len() <= EXIF_LIMIT_BYTES)
        .then(|| {
            let outcome = Reader::new().continue_on_error(true).read_raw(block.to_vec());
            outcome.or_else(|error| error.distill_partial_result(|_| {})).ok()
        })
        .flatten();
    let Some(exif) = parsed else {
        ledger.remove("EXIF block that cannot be read", block.len());
        return None;
    };
    let fields: Vec<Field> = KEPT.iter().filter_map(|tag| clean(&exif, *tag)).collect();
    note_removed(&exif, &fields, ledger);
    if fields.is_empty() {
        return None;
    }
    let names: Vec<String> = fields.iter().map(|field| field.tag.to_string()).collect();
    ledger.kept.push(format!("EXIF: {}", names.join(", ")));
    write(&fields)
}

fn write(fields: &[Field]) -> Option<Vec<u8>> {
    let mut writer = Writer::new();
    for field in fields {
        writer.push_field(field);
    }
    let mut bytes = Cursor::new(Vec::new());
    // Only a value of an unknown type can fail, and none such is kept; were one, the comparison of both photos tells.
    writer.write(&mut bytes, false).ok()?;
    Some(bytes.into_inner())
}

fn clean(exif: &Exif, tag: Tag) -> Option<Field> {
    let value = match &exif.get_field(tag, In::PRIMARY)?.value {
        Value::Byte(list) => Value::Byte(vec![*list.first()?]),
        Value::Short(list) => Value::Short(vec![*list.first()?]),
        Value::Long(list) => Value::Long(vec![*list.first()?]),
        Value::SByte(list) => Value::SByte(vec![*list.first()?]),
        Value::SShort(list) => Value::SShort(vec![*list.first()?]),
        Value::SLong(list) => Value::SLong(vec![*list.first()?]),
        Value::Rational(list) => Value::Rational(vec![*list.first()?]),
        Value::SRational(list) => Value::SRational(vec![*list.first()?]),
        Value::Float(list) => Value::Float(vec![*list.first()?]),
        Value::Double(list) => Value::Double(vec![*list.first()?]),
        Value::Ascii(list) => Value::Ascii(vec![time(tag, list.first()?)?]),
        _ => return None,
    };
    Some(Field { tag, ifd_num: In::PRIMARY, value })
}

fn time(tag: Tag, text: &[u8]) -> Option<Vec<u8>> {
    let text = text.trim_ascii();
    let same = |(found, wanted): (&u8, &u8)| if *wanted == b'd' { found.is_ascii_digit() } else { found == wanted };
    let fits = |shape: &[u8]| text.len() == shape.len() && text.iter().zip(shape).all(same);
    let is_time = match tag {
        Tag::DateTimeOriginal => fits(DATE_TIME_SHAPE),
        Tag::OffsetTimeOriginal => ZONE_SHAPES.iter().any(|shape| fits(shape)),
        _ => false,
    };
    is_time.then(|| text.to_vec())
}

fn note_removed(exif: &Exif, kept: &[Field], ledger: &mut Ledger) {
    let is_kept = |field: &Field| field.ifd_num == In::PRIMARY && kept.iter().any(|other| other.tag == field.tag);
    let (mut place, mut serials, mut others, mut preview) = (Vec::new(), Vec::new(), Vec::new(), 0);
    for field in exif.fields().filter(|field| !is_kept(field)) {
        let name = field.tag.to_string();
        if field.ifd_num != In::PRIMARY {
            preview += 1;
        } else if field.tag.context() == Context::Gps {
            place.push(name);
        } else if SERIALS.contains(&field.tag) {
            serials.push(name);
        } else if field.tag == Tag::MakerNote {
            let bytes = if let Value::Undefined(note, _) = &field.value { note.len() } else { 0 };
            ledger.remove("maker note", bytes);
        } else {
            others.push(name);
        }
    }
    for (what, names) in [("GPS", place), ("serial numbers and owner", serials), ("further EXIF fields", others)] {
        if !names.is_empty() {
            ledger.removed.push(format!("{what}: {}", names.join(", ")));
        }
    }
    if preview > 0 {
        ledger.removed.push(format!("thumbnail and its {preview} EXIF fields"));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn field(tag: Tag, value: Value) -> Field {
        Field { tag, ifd_num: In::PRIMARY, value }
    }

    #[test]
    fn a_kept_field_carries_nothing_else() {
        let ascii = |text: &str| Value::Ascii(vec![text.as_bytes().to_vec()]);
        let block = write(&[
            field(Tag::Orientation, Value::Short(vec![6, 7777])),
            field(Tag::DateTimeOriginal, ascii("2026:03:14 19:20:21 at my own house")),
            field(Tag::OffsetTimeOriginal, ascii("+01:00 ")),
            field(Tag::ExposureTime, ascii("by someone")),
        ])
        .unwrap();
        let mut ledger = Ledger::default();
        let clean = rewrite(&block, &mut ledger).unwrap();
        let read = Reader::new().read_raw(clean).unwrap();
        let found: Vec<_> = read.fields().map(|field| (field.tag, format!("{:?}", field.value))).collect();
        let zone = format!("{:?}", ascii("+01:00"));
        assert_eq!(found, [(Tag::Orientation, "Short([6])".to_owned()), (Tag::OffsetTimeOriginal, zone)]);
        assert_eq!(ledger.removed, ["further EXIF fields: ExposureTime, DateTimeOriginal"]);
    }

    #[test]
    fn damaged_blocks_never_panic() {
        let short = |tag, number| field(tag, Value::Short(vec![number]));
        let whole = write(&[short(Tag::Orientation, 6), short(Tag::PhotographicSensitivity, 400)]).unwrap();
        for length in 0..whole.len() {
            rewrite(&whole[..length], &mut Ledger::default());
            for flip in [0x01, 0x80, 0xFF] {
                let mut bytes = whole.clone();
                bytes[length] ^= flip;
                rewrite(&bytes, &mut Ledger::default());
            }
        }
    }
}
