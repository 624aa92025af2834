//! Hostile files, made from one small photo: a shipped one, scaled down to just above the least size that is read.

use image::imageops::FilterType;
use image::{ImageEncoder, RgbImage};
use std::path::Path;
use std::sync::LazyLock;
use toml::{Table, Value};

static PICTURE: LazyLock<RgbImage> = LazyLock::new(|| {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/shots/shot-clean.jpg");
    image::imageops::resize(&image::open(path).unwrap().into_rgb8(), 1200, 900, FilterType::Triangle)
});

fn encoded(picture: &RgbImage, is_progressive: bool) -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut encoder = jpeg_encoder::Encoder::new(&mut bytes, 90);
    encoder.set_progressive(is_progressive);
    let (width, height) = (picture.width() as u16, picture.height() as u16);
    encoder.encode(picture, width, height, jpeg_encoder::ColorType::Rgb).unwrap();
    bytes
}

static JPEG: LazyLock<Vec<u8>> = LazyLock::new(|| encoded(&PICTURE, false));

/// The photo as a baseline JPEG.
pub(crate) fn jpeg() -> Vec<u8> {
    JPEG.clone()
}

/// The photo as a progressive JPEG.
pub(crate) fn progressive() -> Vec<u8> {
    encoded(&PICTURE, true)
}

/// The photo as a PNG, with what `more` adds to its header.
pub(crate) fn png(more: impl FnOnce(&mut png::Info<'_>)) -> Vec<u8> {
    let mut info = png::Info::with_size(PICTURE.width(), PICTURE.height());
    info.bit_depth = png::BitDepth::Eight;
    info.color_type = png::ColorType::Rgb;
    more(&mut info);
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::with_info(&mut bytes, info).unwrap();
    encoder.set_compression(png::Compression::Fast);
    let mut writer = encoder.write_header().unwrap();
    writer.write_image_data(&PICTURE).unwrap();
    writer.finish().unwrap();
    bytes
}

/// A whole picture of 65,500 x 16 pixels.
pub(crate) fn long_strip() -> Vec<u8> {
    encoded(&RgbImage::from_fn(65_500, 16, |x, y| image::Rgb([(x ^ y) as u8; 3])), false)
}

/// The JPEG with another size in its frame header.
pub(crate) fn with_jpeg_size(jpeg: &[u8], width: u16, height: u16) -> Vec<u8> {
    let mut bytes = jpeg.to_vec();
    let frame = bytes.windows(2).position(|pair| pair == [0xFF, 0xC0]).unwrap();
    bytes[frame + 5..frame + 7].copy_from_slice(&height.to_be_bytes());
    bytes[frame + 7..frame + 9].copy_from_slice(&width.to_be_bytes());
    bytes
}

fn chunk(kind: [u8; 4], body: &[u8]) -> Vec<u8> {
    let mut crc = crc32fast::Hasher::new();
    crc.update(&kind);
    crc.update(body);
    [&(body.len() as u32).to_be_bytes()[..], &kind, body, &crc.finalize().to_be_bytes()].concat()
}

/// The PNG with another size in its header, whose checksum is right.
pub(crate) fn with_png_size(width: u32, height: u32) -> Vec<u8> {
    const HEADER: std::ops::Range<usize> = 8..33;
    let mut bytes = png(|_| ());
    let header = [&width.to_be_bytes()[..], &height.to_be_bytes(), &[8, 2, 0, 0, 0]].concat();
    bytes.splice(HEADER, chunk(*b"IHDR", &header));
    bytes
}

/// The JPEG with a segment after its start.
pub(crate) fn with_segment(jpeg: &[u8], marker: u8, body: &[u8]) -> Vec<u8> {
    let length = u16::try_from(body.len() + 2).unwrap().to_be_bytes();
    [&jpeg[..2], &[0xFF, marker], &length, body, &jpeg[2..]].concat()
}

/// The JPEG with an Exif block.
pub(crate) fn with_exif(jpeg: &[u8], exif: &[u8]) -> Vec<u8> {
    with_segment(jpeg, 0xE1, &[b"Exif\0\0", exif].concat())
}

/// A progressive JPEG with that many scans more.
pub(crate) fn many_scans(count: usize) -> Vec<u8> {
    let whole = progressive();
    let first = whole.windows(2).position(|pair| pair == [0xFF, 0xDA]).unwrap();
    let scan = [0xFF, 0xDA, 0, 8, 1, 1, 0, 1, 63, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0];
    [&whole[..first], &scan.repeat(count), &whole[first..]].concat()
}

/// Bits to bytes, as JPEG stuffs them.
#[derive(Default)]
struct Bits {
    bytes: Vec<u8>,
    held: u32,
    count: u32,
}

impl Bits {
    fn put(&mut self, bits: u32, count: u32) {
        self.held = (self.held << count) | bits;
        self.count += count;
        while self.count >= 8 {
            self.count -= 8;
            let byte = (self.held >> self.count) as u8;
            self.held &= (1 << self.count) - 1;
            self.bytes.push(byte);
            if byte == 0xFF {
                self.bytes.push(0);
            }
        }
    }

    fn end(mut self) -> Vec<u8> {
        self.put(0x7F, 7);
        self.bytes
    }
}

/// A grey progressive JPEG whose scans each say in a few hundred bytes that nothing changes in any block (ITU-T T.81, G.1.2.2:
/// runs of 2^14 blocks and more), band after band and bit after bit, as the standard allows.
pub(crate) fn dear_scans(width: u16, height: u16, scans: usize) -> Vec<u8> {
    let blocks = u32::from(width / 8) * u32::from(height / 8);
    let segment =
        |marker: u8, body: &[u8]| [&[0xFF, marker], &(body.len() as u16 + 2).to_be_bytes()[..], body].concat();
    // One symbol, the code of one bit 0.
    let table = |class: u8, symbol: u8| {
        let mut body = vec![class, 1];
        body.extend([0; 15]);
        body.push(symbol);
        segment(0xC4, &body)
    };
    let [h1, h0] = height.to_be_bytes();
    let [w1, w0] = width.to_be_bytes();
    let quantizer = [&[0][..], &[1; 64]].concat();
    let mut bytes = [0xFF, 0xD8].to_vec();
    bytes.extend(segment(0xDB, &quantizer));
    bytes.extend(segment(0xC2, &[8, h1, h0, w1, w0, 1, 1, 0x11, 0]));
    bytes.extend([table(0x00, 0), table(0x10, 0xE0)].concat());
    bytes.extend(segment(0xDA, &[1, 1, 0x00, 0, 0, 0]));
    let mut level = Bits::default();
    (0..blocks).for_each(|_| level.put(0, 1));
    bytes.extend(level.end());
    // First all bands at once at bit 13, then bit after bit, then single coefficients.
    let passes = (0..13_u8).map(|low| if low == 0 { 13 } else { (14 - low) << 4 | (13 - low) });
    for pass in passes.chain([0x10]).cycle().take(scans) {
        bytes.extend(segment(0xDA, &[1, 1, 0x00, 1, 63, pass]));
        let mut runs = Bits::default();
        let mut left = blocks;
        while left > 0 {
            // Runs of 2^14 + 14 further bits.
            let run = left.clamp(1 << 14, (1 << 15) - 1);
            runs.put(0, 1);
            runs.put(run - (1 << 14), 14);
            left = left.saturating_sub(run);
        }
        bytes.extend(runs.end());
    }
    bytes.extend([0xFF, 0xD9]);
    bytes
}

/// Exif blocks whose directories point at themselves, at one another, or at far too much.
pub(crate) fn circular_exif() -> Vec<Vec<u8>> {
    let head = |first: u32| [&b"II*\0"[..], &first.to_le_bytes()].concat();
    let entry = |tag: u16, kind: u16, count: u32, value: u32| {
        [&tag.to_le_bytes()[..], &kind.to_le_bytes(), &count.to_le_bytes(), &value.to_le_bytes()].concat()
    };
    let directory = |entries: &[Vec<u8>], next: u32| {
        [&(entries.len() as u16).to_le_bytes()[..], &entries.concat(), &next.to_le_bytes()].concat()
    };
    // Pointers to the Exif, GPS and interoperability directories, all of them at the first.
    let pointers = [entry(0x8769, 4, 1, 8), entry(0x8825, 4, 1, 8), entry(0xA005, 4, 1, 8)];
    let chain = |count: u32| {
        let each = (0..count).flat_map(|k| directory(&[entry(0x0112, 3, 1, 1)], 8 + (k + 1) % count * 18));
        head(8).into_iter().chain(each).collect::<Vec<u8>>()
    };
    vec![
        [head(8), directory(&[entry(0x0112, 3, 1, 1)], 8)].concat(),
        [head(8), directory(&pointers, 8)].concat(),
        chain(2),
        chain(3000),
        [head(8), vec![0xFF; 60_000]].concat(),
        [head(8), directory(&vec![entry(0x9286, 2, u32::MAX, 0); 4000], 8)].concat(),
        [head(8), directory(&vec![entry(0x829A, 5, 4000, 0); 4000], 8)].concat(),
        head(u32::MAX),
        b"II*\0".to_vec(),
    ]
}

/// PNG files whose texts and profiles grow a thousandfold when unpacked.
pub(crate) fn png_bombs() -> Vec<(&'static str, Vec<u8>)> {
    const SWOLLEN: usize = 100 << 20;
    const COPIES: usize = 10;
    let packed = {
        let mut bytes = Vec::new();
        let mut encoder = png::Encoder::new(&mut bytes, 1, 1);
        encoder.add_ztxt_chunk("k".to_owned(), "a".repeat(SWOLLEN)).unwrap();
        encoder.write_header().unwrap().write_image_data(&[0]).unwrap();
        let at = bytes.windows(4).position(|kind| kind == b"zTXt").unwrap();
        let length = u32::from_be_bytes(bytes[at - 4..at].try_into().unwrap()) as usize;
        // Behind keyword, its end and the method.
        bytes[at + 4 + 3..at + 4 + length].to_vec()
    };
    let whole = png(|_| ());
    let with = |kind: [u8; 4], head: &[u8], copies: usize| {
        let body = [head, &packed].concat();
        [&whole[..33], &chunk(kind, &body).repeat(copies), &whole[33..]].concat()
    };
    vec![
        ("ztxt.png", with(*b"zTXt", b"k\0\0", COPIES)),
        ("itxt.png", with(*b"iTXt", b"k\0\x01\0\0\0", COPIES)),
        ("iccp.png", with(*b"iCCP", b"k\0\0", 1)),
        ("iccp-again.png", with(*b"iCCP", b"k\0\0", COPIES)),
        ("flat.png", flat_png(6000, 4000)),
    ]
}

/// A picture of one colour, a few kilobytes for tens of megapixels.
fn flat_png(width: u32, height: u32) -> Vec<u8> {
    let picture = vec![90_u8; (width * height) as usize];
    let mut bytes = Vec::new();
    let encoder = image::codecs::png::PngEncoder::new(&mut bytes);
    encoder.write_image(&picture, width, height, image::ExtendedColorType::L8).unwrap();
    bytes
}

/// Where a number stands in a TOML file: keys and places.
pub(crate) type NumberPath = Vec<String>;

/// All numbers of a TOML text.
pub(crate) fn numbers(text: &str) -> Vec<NumberPath> {
    fn walk(value: &Value, path: &mut NumberPath, found: &mut Vec<NumberPath>) {
        let mut inner = |key: String, value: &Value| {
            path.push(key);
            walk(value, path, found);
            path.pop();
        };
        match value {
            Value::Integer(_) | Value::Float(_) => found.push(path.clone()),
            Value::Array(list) => list.iter().enumerate().for_each(|(k, value)| inner(k.to_string(), value)),
            Value::Table(table) => table.iter().for_each(|(key, value)| inner(key.clone(), value)),
            _ => {}
        }
    }
    let mut found = Vec::new();
    walk(&Value::Table(text.parse().unwrap()), &mut Vec::new(), &mut found);
    found
}

/// The text with another number there.
pub(crate) fn with_number(text: &str, path: &[String], number: f64) -> String {
    let mut root = Value::Table(text.parse::<Table>().unwrap());
    let place = path.iter().try_fold(&mut root, |value, key| match value {
        Value::Array(list) => list.get_mut(key.parse::<usize>().ok()?),
        Value::Table(table) => table.get_mut(key),
        _ => None,
    });
    *place.unwrap() = Value::Float(number);
    toml::to_string(&root).unwrap()
}
