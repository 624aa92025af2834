//! What a recorded picture says of itself, read back: its caption in the pixels, the reading in its metadata, and nothing of the
//! photo's place, owner and serial numbers.

#![cfg(feature = "records")]
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test's helpers must fail loudly, as the tests do")]

mod cases;

use ab_glyph::{Font, FontRef, PxScale, ScaleFont, point};
use cases::{fixtures, run};
use exif::experimental::Writer;
use exif::{Field, In, Rational, Tag, Value as ExifValue};
use image::GrayImage;
use serde_json::Value;
use std::fs;
use std::io::Cursor;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

/// Words that stand in the photo's metadata and must not come along.
const PRIVATE: [&str; 7] =
    ["SERIAL-BODY", "SERIAL-LENS", "SERIAL-MAKER", "OWNER-NAME", "UNIQUE-ID", "PLACE-XMP", "PLACE-IPTC"];
/// The caption's em, its distance from the left and the right, and the picture's width, px, as the picture draws them.
const CAPTION_PX: f32 = 36.0;
const CAPTION_LEFT: u32 = 36;
const WIDTH: u32 = 1600;
/// Columns of a line that tell where it stands.
const BEGINNING: u32 = 160;
const FONT: &[u8] = include_bytes!("../src/draw/fonts/DejaVuSans-Bold.ttf");

/// The photo with everything in it that tells of people, places and devices.
fn telling_photo() -> Vec<u8> {
    let photo = fs::read(fixtures().join("shots/shot-clean.jpg")).unwrap();
    let plain = exif::Reader::new().read_from_container(&mut Cursor::new(&photo)).unwrap();
    let ascii = |tag: Tag, text: &str| Field {
        tag,
        ifd_num: In::PRIMARY,
        value: ExifValue::Ascii(vec![text.as_bytes().to_vec()]),
    };
    let degrees = |whole: u32| {
        ExifValue::Rational([(whole, 1), (30, 1), (1234, 100)].map(|(num, denom)| Rational { num, denom }).to_vec())
    };
    let place = |tag: Tag, value: ExifValue| Field { tag, ifd_num: In::PRIMARY, value };
    let mut fields: Vec<Field> = plain.fields().map(|field| Field { ..field.clone() }).collect();
    fields.extend([
        ascii(Tag::BodySerialNumber, "SERIAL-BODY-4711"),
        ascii(Tag::LensSerialNumber, "SERIAL-LENS-4712"),
        ascii(Tag::CameraOwnerName, "OWNER-NAME"),
        ascii(Tag::ImageUniqueID, "UNIQUE-ID-4714"),
        ascii(Tag::GPSLatitudeRef, "N"),
        ascii(Tag::GPSLongitudeRef, "E"),
        place(Tag::GPSLatitude, degrees(12)),
        place(Tag::GPSLongitude, degrees(34)),
        place(Tag::MakerNote, ExifValue::Undefined(b"SERIAL-MAKER-4713".to_vec(), 0)),
    ]);
    let mut writer = Writer::new();
    for field in &fields {
        writer.push_field(field);
    }
    let mut tiff = Cursor::new(Vec::new());
    writer.write(&mut tiff, plain.little_endian()).unwrap();
    let segment = |marker: u8, content: &[u8]| {
        let length = u16::try_from(content.len() + 2).unwrap().to_be_bytes();
        [&[0xFF, marker][..], &length, content].concat()
    };
    let xmp = b"http://ns.adobe.com/xap/1.0/\0<x:xmpmeta xmlns:x=\"adobe:ns:meta/\">PLACE-XMP</x:xmpmeta>";
    let mut bytes = photo[..2].to_vec();
    bytes.extend(segment(0xE1, &[b"Exif\0\0", tiff.get_ref().as_slice()].concat()));
    bytes.extend(segment(0xE1, xmp));
    bytes.extend(segment(0xED, b"Photoshop 3.0\0PLACE-IPTC"));
    bytes.extend(segment(0xFE, b"OWNER-NAME"));
    bytes.extend(without_exif(&photo[2..]));
    bytes
}

/// The rest of a JPEG without its own EXIF.
fn without_exif(mut rest: &[u8]) -> Vec<u8> {
    let mut kept = Vec::new();
    while let [0xFF, marker @ 0xE0..=0xEF, high, low, ..] = rest {
        let length = 2 + usize::from(u16::from_be_bytes([*high, *low]));
        if *marker != 0xE1 {
            kept.extend(&rest[..length]);
        }
        rest = &rest[length..];
    }
    [kept, rest.to_vec()].concat()
}

fn holds(bytes: &[u8], text: &str) -> bool {
    bytes.windows(text.len()).any(|window| window == text.as_bytes())
}

/// Records the telling photo; gives the folder and the entry.
fn recorded(annotated: &str) -> (TempDir, Value) {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    fs::write(at.join("photo.jpg"), telling_photo()).unwrap();
    fs::copy(fixtures().join("bays/shot-clean.toml"), at.join("bay.toml")).unwrap();
    assert_eq!(run(at, &["record", "init", "shop"]).status.code(), Some(0));
    let words = "measure photo.jpg --bay bay.toml --lamp right --height-mm 699 --offset-mm 571 --record shop --by AB --vehicle x \
                 --json reading.json --annotated";
    let words: Vec<&str> = words.split_whitespace().chain([annotated]).collect();
    let output = run(at, &words);
    assert_eq!(output.status.code(), Some(1), "{}", String::from_utf8_lossy(&output.stderr));
    let shown = run(at, &["record", "show", "shop", "0", "--json"]).stdout;
    (folder, serde_json::from_slice(&shown).unwrap())
}

fn stored_picture(folder: &Path, entry: &Value, what: &str) -> PathBuf {
    let name = entry["lamps"][0]["readings"][0][what]["sha256"].as_str().unwrap();
    folder.join("shop/photos").join(&name[..2]).join(name)
}

/// The reading in a JPEG's XMP packet.
fn xmp_reading(jpeg: &[u8]) -> Value {
    use image::ImageDecoder;
    let mut decoder = image::codecs::jpeg::JpegDecoder::new(Cursor::new(jpeg)).unwrap();
    let xmp = String::from_utf8(decoder.xmp_metadata().unwrap().unwrap()).unwrap();
    let escaped = xmp.split("<lw:reading>").nth(1).unwrap().split("</lw:reading>").next().unwrap();
    serde_json::from_str(&escaped.replace("&lt;", "<").replace("&gt;", ">").replace("&amp;", "&")).unwrap()
}

/// The texts of a PNG's iTXt chunks.
fn png_texts(png: &[u8]) -> Vec<(String, String)> {
    let reader = png::Decoder::new(Cursor::new(png)).read_info().unwrap();
    reader.info().utf8_text.iter().map(|chunk| (chunk.keyword.clone(), chunk.get_text().unwrap())).collect()
}

/// A text as light on dark, one value a pixel, and where each letter begins.
fn set(text: &str, size: f32) -> (GrayImage, Vec<f32>) {
    let font = FontRef::try_from_slice(FONT).unwrap();
    // The em in pixels; the library counts from ascent to descent.
    let scale = PxScale::from(size * font.height_unscaled() / font.units_per_em().unwrap());
    let scaled = font.as_scaled(scale);
    let (mut x, mut last, mut starts) = (0.0_f32, None, Vec::new());
    let mut places = Vec::new();
    for letter in text.chars() {
        let id = font.glyph_id(letter);
        x += last.map_or(0.0, |last| scaled.kern(last, id));
        starts.push(x);
        places.push((id, x));
        x += scaled.h_advance(id);
        last = Some(id);
    }
    let mut picture = GrayImage::new(x.ceil() as u32 + 2, (1.4 * size) as u32);
    for (id, x) in places {
        let Some(outline) = font.outline_glyph(id.with_scale_and_position(scale, point(x, size))) else { continue };
        let corner = outline.px_bounds().min;
        outline.draw(|dx, dy, cover| {
            let (x, y) = (corner.x as i64 + i64::from(dx), corner.y as i64 + i64::from(dy));
            if let (Ok(x), Ok(y)) = (u32::try_from(x), u32::try_from(y))
                && x < picture.width()
                && y < picture.height()
            {
                let held = &mut picture.get_pixel_mut(x, y).0[0];
                *held = held.saturating_add((255.0 * cover) as u8);
            }
        });
    }
    (picture, starts)
}

/// How alike a part of a picture and a template are: correlation, 1 for the same.
fn alike(picture: &GrayImage, template: &GrayImage, at: (u32, u32), columns: (u32, u32)) -> f64 {
    let (mut n, mut a, mut b, mut aa, mut bb, mut ab) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
    for y in 0..template.height() {
        for x in columns.0..columns.1.min(template.width()) {
            let (px, py) = (at.0 + x, at.1 + y);
            if px >= picture.width() || py >= picture.height() {
                return -1.0;
            }
            let (seen, set) = (f64::from(picture.get_pixel(px, py).0[0]), f64::from(template.get_pixel(x, y).0[0]));
            n += 1.0;
            a += seen;
            b += set;
            aa += seen * seen;
            bb += set * set;
            ab += seen * set;
        }
    }
    let spread = (n * aa - a * a) * (n * bb - b * b);
    if spread > 0.0 { (n * ab - a * b) / spread.sqrt() } else { 0.0 }
}

/// Where a line stands in the lower half of a picture, and how alike it is there.
fn found(picture: &GrayImage, template: &GrayImage) -> ((u32, u32), f64) {
    let rows = picture.height() / 2..picture.height().saturating_sub(template.height());
    let places = rows.flat_map(|y| (CAPTION_LEFT - 1..=CAPTION_LEFT + 1).map(move |x| (x, y)));
    let likeness = |at| alike(picture, template, at, (0, BEGINNING.min(template.width())));
    let at = places.max_by(|a, b| likeness(*a).total_cmp(&likeness(*b))).unwrap();
    (at, alike(picture, template, at, (0, template.width())))
}

/// The caption as it breaks into lines.
fn broken(caption: &str) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in caption.split(' ') {
        match lines.last_mut() {
            Some(line) if set(&format!("{line} {word}"), CAPTION_PX).0.width() <= WIDTH - 2 * CAPTION_LEFT => {
                *line += " ";
                *line += word;
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

/// Truth: the record's id, its day and verdict, read letter by letter from the pixels against the font's own shapes.
#[test]
fn the_caption_is_there_to_be_read() {
    let (folder, entry) = recorded("seen.png");
    let (id, day) = (entry["id"].as_str().unwrap(), &entry["recorded"].as_str().unwrap()[..10]);
    let lines = broken(&format!("Record {id}, {day}, FAIL"));
    let png = fs::read(folder.path().join("seen.png")).unwrap();
    let jpeg = fs::read(stored_picture(folder.path(), &entry, "annotated")).unwrap();
    for bytes in [png, jpeg] {
        let picture = image::load_from_memory(&bytes).unwrap().into_luma8();
        for line in &lines {
            let (at, likeness) = found(&picture, &set(line, CAPTION_PX).0);
            // Half a pixel of shift and JPEG cost some likeness; another text comes to less than a half.
            assert!(likeness > 0.8, "{line}: {likeness} at {at:?}");
        }
        let (template, starts) = set(&lines[0], CAPTION_PX);
        let (at, _) = found(&picture, &template);
        let head = "Record ".len();
        for (n, letter) in id.chars().enumerate() {
            let columns = (starts[head + n] as u32, starts[head + n + 1].ceil() as u32);
            let likeness = |candidate: char| {
                let text = format!("{}{candidate}", &lines[0][..head + n]);
                alike(&picture, &set(&text, CAPTION_PX).0, at, columns)
            };
            let scores = "0123456789abcdef-".chars().map(|candidate| (candidate, likeness(candidate)));
            let read = scores.max_by(|a, b| a.1.total_cmp(&b.1)).unwrap().0;
            assert_eq!(read, letter, "letter {n} of {id}");
        }
    }
}

#[test]
fn the_metadata_is_the_reading() {
    let (folder, entry) = recorded("seen.png");
    let wanted = &entry["lamps"][0]["readings"][0]["reading"];
    let written: Value = serde_json::from_slice(&fs::read(folder.path().join("reading.json")).unwrap()).unwrap();
    assert_eq!(&written, wanted);
    let texts = png_texts(&fs::read(folder.path().join("seen.png")).unwrap());
    let text = |keyword: &str| &texts.iter().find(|(name, _)| name == keyword).unwrap().1;
    assert_eq!(&serde_json::from_str::<Value>(text("lampwright-reading")).unwrap(), wanted);
    assert!(text("Description").starts_with(&format!("Record {}, ", entry["id"].as_str().unwrap())), "{texts:?}");
    let jpeg = fs::read(stored_picture(folder.path(), &entry, "annotated")).unwrap();
    assert_eq!(&xmp_reading(&jpeg), wanted);
}

/// Truth: the words that were put into the photo are in the original, which is kept byte for byte, and nowhere else.
#[test]
fn place_owner_and_serial_numbers_stay_in_the_original() {
    let (folder, entry) = recorded("seen.jpg");
    let original = fs::read(folder.path().join("photo.jpg")).unwrap();
    for word in PRIVATE {
        assert!(holds(&original, word), "the test's photo holds {word}");
    }
    let facts = exif::Reader::new().read_from_container(&mut Cursor::new(&original)).unwrap();
    assert!(facts.get_field(Tag::GPSLatitude, In::PRIMARY).is_some());
    assert_eq!(fs::read(stored_picture(folder.path(), &entry, "photo")).unwrap(), original);
    let report = run(folder.path(), &["report", "0", "--store", "shop", "--out", "report.pdf", "--inspection"]);
    assert_eq!(report.status.code(), Some(0));
    let at = |name: &str| fs::read(folder.path().join(name)).unwrap();
    let filed = fs::read(stored_picture(folder.path(), &entry, "annotated")).unwrap();
    for (name, bytes) in [
        ("the picture", at("seen.jpg")),
        ("the filed picture", filed.clone()),
        ("the reading", at("reading.json")),
        ("the entry", entry.to_string().into_bytes()),
        ("the report", at("report.pdf")),
    ] {
        for word in PRIVATE {
            assert!(!holds(&bytes, word), "{name} holds {word}");
        }
    }
    for picture in [at("seen.jpg"), filed] {
        assert!(exif::Reader::new().read_from_container(&mut Cursor::new(&picture)).is_err(), "no EXIF at all");
        assert!(!holds(&picture, "GPS"));
    }
}
