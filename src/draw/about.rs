//! What an annotated picture carries inside: its caption and the reading's JSON, so that it still says what it is when it is
//! attached to someone else's file.
//!
//! **Takes** a picture and [`About`]. **Gives** a PNG with iTXt chunks (PNG specification, third edition, 11.3.3.4) or a JPEG
//! with one XMP packet (XMP specification, part 3, 1.1.3). Nothing of the photo's own metadata comes along: no place, no serial
//! number. A reading that does not fit the format's limit is left out, and the caption stays.

use super::encode::{PictureFormat, encode, jpeg_with, plain_error};
use crate::error::Error;
use image::RgbImage;
use png::{BitDepth, ColorType, Compression, Encoder, Filter};
use std::borrow::Cow;

/// Keyword of the reading's iTXt chunk.
pub const READING_KEYWORD: &str = "lampwright-reading";
/// PNG's own keyword for a caption.
const CAPTION_KEYWORD: &str = "Description";
/// First bytes of an XMP segment.
const XMP_START: &[u8] = b"http://ns.adobe.com/xap/1.0/\0";
/// Most bytes of an XMP packet in a JPEG: a segment's 65,535 less its length and the first bytes.
const MOST_XMP: usize = 65_502;
/// Most bytes of text that go into a PNG: readers refuse more than a few megabytes.
const MOST_TEXT: usize = 1 << 20;
/// Number of JPEG's APP segment that holds XMP.
const XMP_SEGMENT: u8 = 1;

/// What a picture says of itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct About<'a> {
    /// One line for people.
    pub caption: &'a str,
    /// The reading, JSON.
    pub reading: &'a str,
}

/// Encodes a picture with what it says of itself. Fails when it is empty or beyond what the format holds.
pub fn encode_about(picture: &RgbImage, format: PictureFormat, about: &About<'_>) -> Result<Vec<u8>, Error> {
    match format {
        PictureFormat::Png => {
            // A picture that cannot be is refused in the same words as one without text.
            if picture.width() == 0 || picture.height() == 0 {
                return encode(picture, format);
            }
            png(picture, about).map_err(|error| plain_error(picture, &error.to_string()))
        }
        PictureFormat::Jpeg => {
            let packet =
                [packet(about, true), packet(about, false)].into_iter().find(|packet| packet.len() <= MOST_XMP);
            let segment = packet.map(|packet| [XMP_START, packet.as_bytes()].concat());
            jpeg_with(picture, segment.as_deref().map(|segment| (XMP_SEGMENT, segment)))
        }
    }
}

fn png(picture: &RgbImage, about: &About<'_>) -> Result<Vec<u8>, png::EncodingError> {
    let mut bytes = Vec::with_capacity(picture.as_raw().len() / 4);
    let mut encoder = Encoder::new(&mut bytes, picture.width(), picture.height());
    encoder.set_color(ColorType::Rgb);
    encoder.set_depth(BitDepth::Eight);
    encoder.set_compression(Compression::Fast);
    encoder.set_filter(Filter::Adaptive);
    for (keyword, text) in [(CAPTION_KEYWORD, about.caption), (READING_KEYWORD, about.reading)] {
        if text.len() <= MOST_TEXT {
            encoder.add_itxt_chunk(keyword.to_owned(), text.to_owned())?;
        }
    }
    let mut writer = encoder.write_header()?;
    writer.write_image_data(picture.as_raw())?;
    writer.finish()?;
    Ok(bytes)
}

/// An XMP packet: the caption as the picture's description, the reading in a namespace of our own.
fn packet(about: &About<'_>, is_with_reading: bool) -> String {
    let reading =
        if is_with_reading { format!("<lw:reading>{}</lw:reading>", escaped(about.reading)) } else { String::new() };
    format!(
        "<?xpacket begin=\"\u{feff}\" id=\"W5M0MpCehiHzreSzNTczkc9d\"?><x:xmpmeta xmlns:x=\"adobe:ns:meta/\">\
         <rdf:RDF xmlns:rdf=\"http://www.w3.org/1999/02/22-rdf-syntax-ns#\"><rdf:Description rdf:about=\"\" \
         xmlns:dc=\"http://purl.org/dc/elements/1.1/\" xmlns:lw=\"urn:lampwright:reading:1#\">\
         <dc:description><rdf:Alt><rdf:li xml:lang=\"x-default\">{}</rdf:li></rdf:Alt></dc:description>{reading}\
         </rdf:Description></rdf:RDF></x:xmpmeta><?xpacket end=\"r\"?>",
        escaped(about.caption)
    )
}

/// Text as XML holds it; characters that XML has no place for are left out.
fn escaped(text: &str) -> String {
    let is_allowed = |c: &char| !c.is_control() || ['\t', '\n', '\r'].contains(c);
    text.chars()
        .filter(is_allowed)
        .map(|c| match c {
            '&' => Cow::Borrowed("&amp;"),
            '<' => Cow::Borrowed("&lt;"),
            '>' => Cow::Borrowed("&gt;"),
            other => Cow::Owned(other.to_string()),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::{ImageDecoder, ImageFormat, Rgb};
    use std::io::Cursor;

    const READING: &str = r#"{"a":"<b> & \"c\"","d":-0.57}"#;

    fn picture() -> RgbImage {
        RgbImage::from_fn(64, 40, |x, y| Rgb([(4 * x) as u8, (6 * y) as u8, 90]))
    }

    fn xmp(jpeg: &[u8]) -> String {
        let mut decoder = image::codecs::jpeg::JpegDecoder::new(Cursor::new(jpeg)).unwrap();
        String::from_utf8(decoder.xmp_metadata().unwrap().unwrap()).unwrap()
    }

    #[test]
    fn a_png_holds_picture_caption_and_reading() {
        let about = About { caption: "Record 1, 2026-11-26, ±", reading: READING };
        let bytes = encode_about(&picture(), PictureFormat::Png, &about).unwrap();
        assert_eq!(image::load_from_memory_with_format(&bytes, ImageFormat::Png).unwrap().to_rgb8(), picture());
        let reader = png::Decoder::new(Cursor::new(&bytes)).read_info().unwrap();
        let texts: Vec<(String, String)> =
            reader.info().utf8_text.iter().map(|chunk| (chunk.keyword.clone(), chunk.get_text().unwrap())).collect();
        let wanted = [(CAPTION_KEYWORD, about.caption), (READING_KEYWORD, READING)];
        assert_eq!(texts, wanted.map(|(keyword, text)| (keyword.to_owned(), text.to_owned())));
    }

    #[test]
    fn a_jpeg_holds_picture_caption_and_reading() {
        let about = About { caption: "Record <1>", reading: READING };
        let bytes = encode_about(&picture(), PictureFormat::Jpeg, &about).unwrap();
        let back = image::load_from_memory_with_format(&bytes, ImageFormat::Jpeg).unwrap();
        assert_eq!(back.to_rgb8().dimensions(), picture().dimensions());
        let xmp = xmp(&bytes);
        assert!(xmp.contains("Record &lt;1&gt;"), "{xmp}");
        let reading = xmp.split("<lw:reading>").nth(1).unwrap().split("</lw:reading>").next().unwrap();
        assert_eq!(reading.replace("&lt;", "<").replace("&gt;", ">").replace("&amp;", "&"), READING);
    }

    #[test]
    fn a_reading_beyond_the_limit_is_left_out_and_the_caption_stays() {
        let long = "x".repeat(MOST_XMP);
        let bytes =
            encode_about(&picture(), PictureFormat::Jpeg, &About { caption: "Record 1", reading: &long }).unwrap();
        let xmp = xmp(&bytes);
        assert!(xmp.contains("Record 1") && !xmp.contains("lw:reading>"));
    }
}
