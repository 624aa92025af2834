//! The picture as a file's bytes.

use crate::error::Error;
use image::codecs::png::{CompressionType, FilterType, PngEncoder};
use image::{ExtendedColorType, ImageEncoder, RgbImage};
use jpeg_encoder::{ChromaSubsamplingMethod, Encoder, ImageBuffer, JpegColorType, SamplingFactor, rgb_to_ycbcr};

/// Quality of the JPEG: thin lines and small print stay clean, a picture takes a few hundred kilobytes.
const JPEG_QUALITY: u8 = 88;
/// Codes of a pixel.
const CHANNELS: usize = 3;

/// Type of the written file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PictureFormat {
    /// JPEG.
    Jpeg,
    /// PNG.
    Png,
}

/// Encodes a picture. Fails when it is empty or beyond what the format holds.
pub fn encode(picture: &RgbImage, format: PictureFormat) -> Result<Vec<u8>, Error> {
    let (width, height) = picture.dimensions();
    match format {
        PictureFormat::Jpeg => jpeg_with(picture, None),
        PictureFormat::Png => {
            let mut bytes = Vec::with_capacity(picture.as_raw().len() / 4);
            PngEncoder::new_with_quality(&mut bytes, CompressionType::Fast, FilterType::Adaptive)
                .write_image(picture.as_raw(), width, height, ExtendedColorType::Rgb8)
                .map_err(|error| plain_error(picture, &error.to_string()))?;
            Ok(bytes)
        }
    }
}

pub(super) fn plain_error(picture: &RgbImage, error: &str) -> Error {
    let (width, height) = picture.dimensions();
    Error::usage(
        format!("the annotated picture of {width} x {height} px cannot be encoded: {error}"),
        "leave --annotated out, and please report this as a defect",
    )
}

/// A JPEG, with an APP segment of this number and content when one is given.
pub(super) fn jpeg_with(picture: &RgbImage, segment: Option<(u8, &[u8])>) -> Result<Vec<u8>, Error> {
    let mut bytes = Vec::with_capacity(picture.as_raw().len() / 4);
    jpeg(&mut bytes, picture, segment).map_err(|error| plain_error(picture, &error.to_string()))?;
    Ok(bytes)
}

/// Colour takes half the resolution both ways, which saves a quarter of the time. Its mean over four pixels is kept: a single
/// one of them would leave pale fringes on words and lines.
fn jpeg(
    bytes: &mut Vec<u8>,
    picture: &RgbImage,
    segment: Option<(u8, &[u8])>,
) -> Result<(), jpeg_encoder::EncodingError> {
    let side = |side: u32| u16::try_from(side).unwrap_or(u16::MAX);
    let mut encoder = Encoder::new(bytes, JPEG_QUALITY);
    encoder.set_sampling_factor(SamplingFactor::R_4_2_0);
    encoder.set_chroma_subsampling_method(ChromaSubsamplingMethod::Average);
    if let Some((number, content)) = segment {
        encoder.add_app_segment(number, content.to_vec())?;
    }
    encoder.encode_image(Picture {
        codes: picture.as_raw(),
        width: side(picture.width()),
        height: side(picture.height()),
    })
}

/// The picture as the encoder asks for it. Its own reader of RGB takes five times as long to make luma and colour of it.
struct Picture<'a> {
    codes: &'a [u8],
    width: u16,
    height: u16,
}

impl ImageBuffer for Picture<'_> {
    fn get_jpeg_color_type(&self) -> JpegColorType {
        JpegColorType::Ycbcr
    }

    fn width(&self) -> u16 {
        self.width
    }

    fn height(&self) -> u16 {
        self.height
    }

    fn fill_buffers(&self, y: u16, buffers: &mut [Vec<u8>; 4]) {
        let width = usize::from(self.width);
        let [luma, blue, red, _] = buffers;
        let old = luma.len();
        for channel in [&mut *luma, &mut *blue, &mut *red] {
            channel.resize(old + width, 0);
        }
        let (pixels, _) = self.codes[CHANNELS * width * usize::from(y)..].as_chunks::<CHANNELS>();
        let channels = luma[old..].iter_mut().zip(&mut blue[old..]).zip(&mut red[old..]);
        for (((luma, blue), red), [r, g, b]) in channels.zip(pixels) {
            (*luma, *blue, *red) = rgb_to_ycbcr(*r, *g, *b);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::{ImageFormat, Rgb};

    #[test]
    fn both_formats_hold_the_picture() {
        let picture = RgbImage::from_fn(64, 40, |x, y| Rgb([(4 * x) as u8, (6 * y) as u8, 90]));
        let png = encode(&picture, PictureFormat::Png).unwrap();
        assert_eq!(image::load_from_memory_with_format(&png, ImageFormat::Png).unwrap().to_rgb8(), picture);
        let jpeg = encode(&picture, PictureFormat::Jpeg).unwrap();
        let back = image::load_from_memory_with_format(&jpeg, ImageFormat::Jpeg).unwrap().to_rgb8();
        assert_eq!(back.dimensions(), picture.dimensions());
    }
}
