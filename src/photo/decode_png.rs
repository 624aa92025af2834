//! PNG bytes to pixels, 8 or 16 bits a sample, alpha dropped.
//!
//! **Takes** the file's bytes. **Gives** samples as stored, grey or RGB; palettes and 1- to 4-bit greys become 8 bits.
//! **How**: row by row into the one full-size buffer, checksums on; text and colour profiles are never inflated. Of an
//! animated file the still picture counts.
//! **Fails when** the file ends before its IEND chunk, a checksum is wrong, or a limit is exceeded.

use super::decode::{DecodeOptions, Defect, Picture, check_memory, check_size, guarded};
use super::exif::EXIF_LIMIT_BYTES;
use super::image::Pixels;
use ::png::{BitDepth, ColorType, Decoder, DecodingError, Limits, Reader, Transformations};
use std::io::Cursor;

/// Memory that the decoder may take besides the picture: some rows, and chunks such as Exif.
const SIDE_LIMIT_BYTES: usize = 16 << 20;
/// Per pass of the interlacing (PNG specification, 8.2): first column and row, step of columns and rows.
const ADAM7_PASSES: [(usize, usize, usize, usize); 7] =
    [(0, 0, 8, 8), (4, 0, 8, 8), (0, 4, 4, 8), (2, 0, 4, 4), (0, 2, 2, 4), (1, 0, 2, 2), (0, 1, 1, 2)];

/// Decodes the still picture of a PNG file.
pub(super) fn decode_png(bytes: &[u8], options: &DecodeOptions) -> Result<Picture, Defect> {
    guarded(|| decode_guarded(bytes, options))
        .unwrap_or_else(|| Err(Defect::new("photo damaged: its data leads the decoder astray", "copy the file again")))
}

fn decode_guarded(bytes: &[u8], options: &DecodeOptions) -> Result<Picture, Defect> {
    let mut decoder = Decoder::new_with_limits(Cursor::new(bytes), Limits { bytes: SIDE_LIMIT_BYTES });
    decoder.set_ignore_text_chunk(true);
    decoder.set_ignore_iccp_chunk(true);
    decoder.set_transformations(Transformations::EXPAND);
    let header = decoder.read_header_info().map_err(|error| defect(&error, bytes))?;
    let (width, height) = (header.width as usize, header.height as usize);
    let pixels = check_size(width, height, "PNG", options.max_pixels, options)?;
    let mut reader = decoder.read_info().map_err(|error| defect(&error, bytes))?;
    let (color, depth) = reader.output_color_type();
    let (stored, kept) = match color {
        ColorType::Grayscale => (1, 1),
        ColorType::GrayscaleAlpha => (2, 1),
        ColorType::Rgba => (4, 3),
        ColorType::Rgb | ColorType::Indexed => (3, 3),
    };
    let sample_bytes = if depth == BitDepth::Sixteen { 2 } else { 1 };
    check_memory(pixels.checked_mul(kept * sample_bytes), options)?;
    let layout = Layout { width, height, stored, kept };
    let outcome = match (sample_bytes, kept) {
        (1, 1) => read_rows(&mut reader, &layout, |b: [u8; 1]| b[0]).map(Pixels::Gray8),
        (1, _) => read_rows(&mut reader, &layout, |b: [u8; 1]| b[0]).map(Pixels::Rgb8),
        (_, 1) => read_rows(&mut reader, &layout, u16::from_be_bytes).map(Pixels::Gray16),
        (_, _) => read_rows(&mut reader, &layout, u16::from_be_bytes).map(Pixels::Rgb16),
    };
    let pixels = outcome.and_then(|pixels| reader.finish().map(|()| pixels)).map_err(|error| defect(&error, bytes))?;
    let exif = reader.info().exif_metadata.as_ref().filter(|block| block.len() <= EXIF_LIMIT_BYTES);
    Ok(Picture { width, height, pixels, exif: exif.map(|block| block.to_vec()), container_orientation: None })
}

struct Layout {
    width: usize,
    height: usize,
    /// Samples a pixel in the file.
    stored: usize,
    /// Samples a pixel that are kept.
    kept: usize,
}

/// Where the rows of the file go: first column, row, step of columns; in the file's order.
fn row_places(layout: &Layout, is_interlaced: bool) -> Vec<(usize, usize, usize)> {
    if !is_interlaced {
        return (0..layout.height).map(|y| (0, y, 1)).collect();
    }
    let filled = ADAM7_PASSES.into_iter().filter(|&(x, ..)| x < layout.width);
    filled.flat_map(|(x, y, step_x, step_y)| (y..layout.height).step_by(step_y).map(move |y| (x, y, step_x))).collect()
}

/// Reads all rows, of the plain or the interlaced order, dropping what comes after the kept samples of each pixel.
fn read_rows<S: Copy + Default, const BYTES: usize>(
    reader: &mut Reader<Cursor<&[u8]>>,
    layout: &Layout,
    sample: impl Fn([u8; BYTES]) -> S,
) -> Result<Vec<S>, DecodingError> {
    let mut samples = vec![S::default(); layout.width * layout.height * layout.kept];
    let mut places = row_places(layout, reader.info().interlaced).into_iter();
    while let Some(row) = reader.next_row()? {
        let Some((first, line, step)) = places.next() else { break };
        let pixels = row.data().chunks_exact(layout.stored * BYTES);
        for (pixel, column) in pixels.zip((first..layout.width).step_by(step)) {
            let place = (line * layout.width + column) * layout.kept;
            let target = &mut samples[place..place + layout.kept];
            for (kept, found) in target.iter_mut().zip(pixel.as_chunks::<BYTES>().0) {
                *kept = sample(*found);
            }
        }
    }
    Ok(samples)
}

fn defect(error: &DecodingError, bytes: &[u8]) -> Defect {
    const AGAIN: &str = "take the photo again or copy the file again, and give it unedited";
    let is_short = matches!(error, DecodingError::IoError(io) if io.kind() == std::io::ErrorKind::UnexpectedEof);
    if is_short {
        let length = bytes.len();
        return Defect::new(
            format!("photo incomplete: the file ends after {length} bytes, before its picture does"),
            AGAIN,
        );
    }
    Defect::new(format!("photo damaged: {error}"), AGAIN)
}
